"""From the notifiers' tables of a configuration to notifiers."""

import sys
from importlib.metadata import EntryPoint, EntryPoints
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

import monitor.delivery
from monitor.delivery import (
    create_notifiers,
    load_kind,
    notifier_kinds,
    notifier_problems,
    problems,
    record_only,
)
from monitor.errors import AftercareError, SettingsError
from monitor.settings import Settings
from monitor.testing import RecordingNotifier
from tests.delivery.cases import SECRET


def settings(**notifiers: dict[str, Any]) -> Settings:
    """A site with these notifiers."""
    return Settings.model_validate(
        {
            "file": Path("/etc/aftercare/monitor.toml"),
            "site": {
                "name": "Heather Bank",
                "timezone": "Europe/London",
                "latitude_deg": 54.6,
                "longitude_deg": -3.1,
            },
            "houses": {"cold": {}},
            "sensors": {"bench-a": {"house": "cold", "topic": "heather/cold/bench-a"}},
            "notifiers": notifiers,
        }
    )


LOG = {"type": "journal"}
MAIL = {"type": "email", "host": "127.0.0.1", "from": "house@example.org", "to": ["grower@example.org"]}
HOOK = {"type": "webhook", "url": "http://127.0.0.1:9000/in", "secret_file": "hook-secret"}


def secret_of(name: str) -> str:
    """The only secret there is."""
    if name != "hook-secret":
        raise AftercareError(f"there is no file {name}.")
    return SECRET


@pytest.fixture
def _other_packages(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three kinds of other packages: a good one, one with a name of ours, one that cannot be imported."""
    kind = SimpleNamespace(
        KIND="siren",
        problems=lambda name, values: [],
        create=lambda name, values, files: RecordingNotifier(),
    )
    monkeypatch.setitem(sys.modules, "siren_package", kind)  # type: ignore[misc]
    points = EntryPoints(
        [
            EntryPoint("siren", "siren_package", "monitor.notifiers"),
            EntryPoint("journal", "siren_package", "monitor.notifiers"),
            EntryPoint("broken", "no_such_package", "monitor.notifiers"),
        ]
    )
    monkeypatch.setattr(monitor.delivery, "entry_points", lambda group: points)


def test_the_kinds_that_come_with_the_program() -> None:
    """Nothing appears or vanishes unnoticed (snapshot)."""
    assert notifier_kinds() == ("apprise", "cap", "email", "journal", "mqtt", "webhook")


def test_every_table_becomes_a_notifier_of_its_name() -> None:
    """Nothing is connected yet: no server runs here."""
    made = create_notifiers(settings(log=LOG, mail=MAIL, hook=HOOK), secret_of)

    assert list(made) == ["log", "mail", "hook"]
    assert repr(made["mail"]) == "Email(127.0.0.1:25, none)"
    assert record_only(settings(log=LOG, mail=MAIL)) == {"log"}


def test_all_problems_are_found_at_once_with_file_and_key() -> None:
    """Wrong values, unknown types and unknown keys."""
    broken = settings(mail={**MAIL, "port": 0}, hook={**HOOK, "sceret": "x"}, x={"type": "pigeon"})

    found = [str(problem) for problem in problems(broken)]

    file = "/etc/aftercare/monitor.toml"
    unknown_key = "this key is not known here. It may be one of: url, secret_file, ca_file, timeout_s."
    kinds = "apprise, cap, email, journal, mqtt, webhook"
    assert found == [
        f"{file}, notifiers.mail.port: this must be a whole number from 1 to 65535.",
        f"{file}, notifiers.hook.sceret: {unknown_key}",
        f"{file}, notifiers.x.type: there is no type 'pigeon'. It may be one of: {kinds}.",
    ]
    with pytest.raises(SettingsError) as caught:
        create_notifiers(broken, secret_of)
    assert [str(problem) for problem in caught.value.problems] == found


def test_a_secret_that_is_missing_or_wrong_is_a_problem_of_its_notifier() -> None:
    """Found when the notifiers are made, before anything runs."""
    login = {**MAIL, "username": "house", "password_file": "nowhere"}
    with pytest.raises(SettingsError) as caught:
        create_notifiers(settings(mail=login, hook=HOOK), secret_of)
    assert str(caught.value) == "/etc/aftercare/monitor.toml, notifiers.mail: there is no file nowhere."
    with pytest.raises(SettingsError) as caught:
        create_notifiers(settings(hook=HOOK), lambda name: "no secret")
    assert "notifiers.hook.secret_file: the file must hold whsec_" in str(caught.value)


def test_a_table_without_a_type_is_a_problem() -> None:
    """Asked before the settings as a whole exist."""
    assert [key for key, _, _ in notifier_problems("x", {"host": "127.0.0.1"})] == ["type"]


@pytest.mark.usefixtures("_other_packages")
def test_another_package_adds_a_kind_by_an_entry_point() -> None:
    """One line in its own metadata, no change of ours."""
    assert "siren" in notifier_kinds()
    assert isinstance(create_notifiers(settings(s={"type": "siren"}), secret_of)["s"], RecordingNotifier)


@pytest.mark.usefixtures("_other_packages")
def test_a_kind_that_two_packages_offer_is_a_problem() -> None:
    """Also when one of them is ours."""
    with pytest.raises(SettingsError, match="more than one installed package offers the type 'journal'"):
        load_kind("journal")


@pytest.mark.usefixtures("_other_packages")
def test_a_kind_that_cannot_be_imported_is_a_problem() -> None:
    """One sentence, no traceback."""
    found = notifier_problems("x", {"type": "broken"})

    assert found == [
        (
            "type",
            "the type 'broken' cannot be loaded (ModuleNotFoundError).",
            "Install its package again.",
        )
    ]


def test_relative_names_stand_beside_the_configuration(tmp_path: Path) -> None:
    """The spool of the CAP files; the broker's own settings reach the notifier that publishes."""
    lamp = {"type": "mqtt", "topic": "heather/notices"}
    given = settings(lamp=lamp, spool={"type": "cap", "directory": "cap"})

    made = create_notifiers(given.model_copy(update={"file": tmp_path / "monitor.toml"}), secret_of)

    assert repr(made["spool"]) == f"Cap({tmp_path}/cap)"
    assert not (tmp_path / "cap").exists()
    assert repr(made["lamp"]) == "Mqtt(127.0.0.1:1883, heather/notices)"
