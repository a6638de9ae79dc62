"""The sign itself: how often it is given, and what a GET to a real HTTP server looks like."""

import itertools
import ssl
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.liveness import FIRST_AFTER_S, LOOK_EVERY_S, MISSES_UNTIL_SAID, Health, SignOfLife, ask
from monitor.settings import Liveness
from tests.support.broker import free_port
from tests.support.certificate import CERTIFICATE
from tests.support.servers import HANG, HttpServer, Status
from tests.support.waiting import until

ADDRESS = "http://127.0.0.1:9001/alive"


class Told:
    """A sign of life whose time is told to it, and whose GETs end as the test says."""

    def __init__(self, every_s: float = 300.0) -> None:
        self.well = True
        self.answers: Iterator[str] = itertools.repeat("")
        self.asked: list[str] = []
        self.said: list[str] = []
        self.now_s = 1000.0
        self.sign = SignOfLife(
            Liveness(url=ADDRESS, every_s=every_s), self._health, self.said.append, self._ask
        )
        self.sign.due_from(self.now_s)

    def _health(self) -> Health:
        return Health(self.now_s, self.now_s, fresh_sensors=1 if self.well else 0)

    def _ask(self, url: str) -> str:
        self.asked.append(url)
        return next(self.answers)

    def pass_s(self, seconds: float) -> int:
        """Let time pass; how many signs were given meanwhile."""
        before, end_s = len(self.asked), self.now_s + seconds
        while (at_s := self.now_s + self.sign.turn(self.now_s)) <= end_s:
            self.now_s = at_s
        self.now_s = end_s
        return len(self.asked) - before


# ---- how often -----------------------------------------------------------------------------------------


def test_a_healthy_guard_gives_one_sign_a_period() -> None:
    """Every five minutes over an hour."""
    told = Told()
    told.pass_s(FIRST_AFTER_S)

    assert told.pass_s(3600.0) == 12


def test_a_guard_that_dies_young_gives_no_sign() -> None:
    """Started again and again, it must not look alive from outside."""
    assert Told().pass_s(FIRST_AFTER_S - 1) == 0


def test_the_first_sign_comes_early_all_the_same() -> None:
    """A minute after the start, not a whole period."""
    assert Told().pass_s(FIRST_AFTER_S) == 1


def test_a_refused_sign_is_not_tried_again_before_its_time() -> None:
    """An address that fails is asked as often as one that answers: retries cannot storm."""
    told = Told()
    told.answers = itertools.repeat("it answered 503")
    told.pass_s(FIRST_AFTER_S)

    assert told.pass_s(3600.0) == 12


def test_a_sign_withheld_comes_soon_after_all_is_well_again() -> None:
    """Within a look, not within a period."""
    told = Told()
    told.well = False
    assert told.pass_s(1800.0) == 0

    told.well = True
    assert told.pass_s(LOOK_EVERY_S) == 1


def test_health_that_comes_and_goes_adds_no_signs() -> None:
    """Withheld and allowed again within a period: still one sign a period."""
    told = Told()
    told.pass_s(FIRST_AFTER_S)
    given = 0
    for _ in range(60):
        told.well = not told.well
        given += told.pass_s(20.0)

    assert given <= 4


def test_an_address_that_does_not_take_the_sign_is_said_once() -> None:
    """After some misses, for the report; and again only after it had answered."""
    told = Told()
    failing = ["it answered 404"] * (MISSES_UNTIL_SAID + 4)
    told.answers = iter([*failing, "", *failing])
    told.pass_s(FIRST_AFTER_S + 300.0 * len(failing))

    assert told.said == ["the sign of life is not taken: it answered 404"]
    told.pass_s(300.0 * MISSES_UNTIL_SAID)
    assert len(told.said) == 2


def test_one_miss_is_not_worth_a_word_in_the_report() -> None:
    """A router that restarts at night is no news."""
    told = Told()
    told.answers = itertools.chain(["no answer"] * (MISSES_UNTIL_SAID - 1), itertools.repeat(""))
    told.pass_s(3600.0)

    assert told.said == []


# ---- the GET, against a real server ----------------------------------------------------------------------


def test_the_sign_is_a_get_without_a_body() -> None:
    """Path and query as they stand in the settings, and nothing about the house."""
    with HttpServer() as server:
        assert ask(f"http://127.0.0.1:{server.port}/alive/x?key=1") == ""
        request = server.requests[0]

    assert (request.method, request.path, request.body) == ("GET", "/alive/x?key=1", b"")
    assert set(request.headers) <= {"host", "accept-encoding", "user-agent"}


def test_a_redirect_is_no_answer_and_is_not_followed() -> None:
    """Whoever could redirect could also pretend."""
    with HttpServer() as server, HttpServer() as elsewhere:
        server.faults = iter([Status(302, {"Location": elsewhere.url})])

        assert "answered 302" in ask(server.url)
        assert elsewhere.requests == []


@pytest.mark.parametrize("status", [404, 429, 500, 503])
def test_any_other_answer_is_a_miss_and_the_next_one_counts(status: int) -> None:
    """It fails visibly, and it recovers."""
    with HttpServer() as server:
        server.faults = iter([status])

        assert str(status) in ask(server.url)
        assert ask(server.url) == ""


def test_a_server_that_hangs_is_left_after_the_time_out() -> None:
    """And said."""
    with HttpServer() as server:
        server.faults = iter([HANG])

        assert "did not answer" in ask(server.url, timeout_s=0.2)


def test_a_port_where_nobody_listens_is_a_miss() -> None:
    """No exception gets out, and the path, which may be a secret, is not repeated."""
    said = ask(f"http://127.0.0.1:{free_port()}/secret-token")

    assert "127.0.0.1" in said
    assert "secret-token" not in said


@pytest.mark.parametrize("url", ["http://127.0.0.1:1/kö nig", "http://[::1]:1/", "http://no.invalid/"])
def test_an_odd_address_is_a_miss_and_no_crash(url: str) -> None:
    """Whatever the settings let through."""
    assert ask(url, timeout_s=1.0) != ""


def test_an_https_server_must_prove_who_it_is(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Without a certificate that this machine trusts nothing is sent; with one it is."""
    with HttpServer(tls=True) as server:
        assert "could not prove who it is" in ask(server.url)
        assert server.requests == []

        trusted = tmp_path / "ca.pem"
        trusted.write_text(CERTIFICATE, encoding="utf-8")
        monkeypatch.setenv(ssl.get_default_verify_paths().openssl_cafile_env, str(trusted))
        assert ask(server.url) == ""


# ---- the thread ------------------------------------------------------------------------------------------


def test_the_thread_gives_signs_until_it_is_stopped() -> None:
    """Real thread, real server; a server that dies and comes back is asked again."""
    well = Health(float("inf"), float("inf"), fresh_sensors=1)
    with HttpServer() as server:
        sign = SignOfLife(Liveness(url=server.url, every_s=1.0), lambda: well, lambda text: None)
        sign.start()
        until(lambda: server.requests, what="the first sign")
        server.stop()
        server.start()
        seen = len(server.requests)
        until(lambda: len(server.requests) > seen, what="a sign after the server came back")
        sign.stop()
        sign.join(5.0)
