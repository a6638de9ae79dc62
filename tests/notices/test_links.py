"""A notice leads to the page, where the page can be found from a phone."""

from typing import Any

import pytest

from monitor.links import base_url, is_only_here
from monitor.notices.words import NO_BURNER
from monitor.settings import Web
from tests.engine.house import House, settings_of


def text_of(web: dict[str, Any]) -> tuple[str, str]:
    """Id and text of the first notice of a frost."""
    house = House(settings=settings_of(web=web))
    house.air(3.0, by="20:10")
    house.air(-0.5, by="21:00")
    first = house.notices()[0]
    return first.notice, first.text


def test_a_notice_names_its_own_page_before_the_caution() -> None:
    """The caution about burners stays last."""
    notice, text = text_of({"listen": "0.0.0.0:8380", "hosts": ["house.example.org"]})

    assert f"\nOn the page: http://house.example.org:8380/notice/{notice}\n" in text
    assert text.endswith(NO_BURNER)


def test_a_page_that_only_the_guard_s_own_machine_finds_is_not_named() -> None:
    """A phone could not open it."""
    assert "On the page" not in text_of({})[1]
    assert "On the page" not in text_of({"listen": "0.0.0.0:8380"})[1]


def test_the_report_leads_to_its_own_page() -> None:
    """By its date."""
    house = House(settings=settings_of(web={"listen": "192.0.2.7:8380"}))
    house.air(5.0, by="2027-01-15 07:00")

    (report,) = house.said(about="report")
    assert report.text.endswith("\nOn the page: http://192.0.2.7:8380/report/2027-01-15")


@pytest.mark.parametrize(
    ("web", "url", "only_here"),
    [
        ({}, "http://127.0.0.1:8380", True),
        ({"listen": "[::1]:8380"}, "http://[::1]:8380", True),
        ({"listen": "0.0.0.0:8380"}, "http://localhost:8380", True),
        ({"listen": "192.0.2.7:8380"}, "http://192.0.2.7:8380", False),
        ({"listen": "0.0.0.0:8380", "hosts": ["pi.example"]}, "http://pi.example:8380", False),
        ({"hosts": ["house.example.org"]}, "https://house.example.org", False),
        ({"listen": "0.0.0.0:8443", "hosts": ["pi.example"], "tls_cert_file": "c", "tls_key_file": "k"},
         "https://pi.example:8443", False),
    ],
)  # fmt: skip
def test_where_the_page_is_found(web: dict[str, Any], url: str, only_here: bool) -> None:
    """On loopback with a name of its own it stands behind a proxy that speaks TLS."""
    settings = Web.model_validate(web)

    assert (base_url(settings), is_only_here(settings)) == (url, only_here)
