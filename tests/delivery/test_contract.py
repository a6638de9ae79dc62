"""Every kind of notifier keeps the contract that the program ships for the authors of others."""

import pytest

from monitor.delivery import load_kind, notifier_kinds
from monitor.testing import ContractCheck, notifier_contract
from tests.delivery import cases


@pytest.mark.parametrize("check", notifier_contract(cases.email_case), ids=str)
def test_email_keeps_the_contract(check: ContractCheck) -> None:
    """Against a real mail server."""
    check()


@pytest.mark.parametrize("check", notifier_contract(cases.journal_case), ids=str)
def test_journal_keeps_the_contract(check: ContractCheck) -> None:
    """Against standard error."""
    check()


@pytest.mark.parametrize("check", notifier_contract(cases.cap_case), ids=str)
def test_cap_keeps_the_contract(check: ContractCheck) -> None:
    """Against a directory."""
    check()


@pytest.mark.parametrize("check", notifier_contract(cases.mqtt_case), ids=str)
def test_mqtt_keeps_the_contract(check: ContractCheck) -> None:
    """Against a real broker."""
    check()


@pytest.mark.filterwarnings("ignore::DeprecationWarning")  # the package's own, while it loads
@pytest.mark.parametrize("check", notifier_contract(cases.apprise_case), ids=str)
def test_apprise_keeps_the_contract(check: ContractCheck) -> None:
    """Against a real HTTP server."""
    check()


@pytest.mark.parametrize("check", notifier_contract(cases.webhook_case), ids=str)
def test_webhook_keeps_the_contract(check: ContractCheck) -> None:
    """Against a real HTTP server that checks signatures."""
    check()


def test_each_kind_is_the_file_of_its_name() -> None:
    """So that only the kinds in use need to be imported."""
    assert [load_kind(kind).KIND for kind in notifier_kinds()] == list(notifier_kinds())
