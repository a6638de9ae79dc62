"""The interface for programs: over the Unix socket for the command line, over TCP for the owner's own."""

import json
from collections.abc import Iterator
from typing import Any

import httpx
import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from openapi_spec_validator import OpenAPIV31SpecValidator
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import response_schema_conformance, status_code_conformance

from monitor.web.openapi import document
from tests.web.hand import Hand
from tests.web.scene import Scene

JSON = {"Accept": "application/json"}
NOT_TRIED = frozenset({"/api/drill", "/api/session"})
"""A drill takes as long as its way does; a session is of the page only."""


@pytest.fixture
def line(scene: Scene) -> Iterator[httpx.Client]:
    """The command line's end of the socket."""
    with httpx.Client(
        transport=httpx.HTTPTransport(uds=str(scene.socket)), base_url="http://localhost"
    ) as client:
        yield client


def test_the_document_is_a_right_one() -> None:
    """`independent`: openapi-spec-validator, OpenAPI 3.1."""
    OpenAPIV31SpecValidator(document()).validate()


def test_every_route_of_the_interface_is_in_the_document(scene: Scene, line: httpx.Client) -> None:
    """And it is served where it says."""
    assert line.get("/api/openapi.json").json() == json.loads(json.dumps(document()))
    for path in document()["paths"]:
        for method in document()["paths"][path]:
            if path != "/api/session":
                address = path.replace("{what}", "alarms")
                assert line.request(method, address).status_code != 404, (method, path)


def test_status_alarms_and_book_are_what_the_guard_sees(scene: Scene, line: httpx.Client) -> None:
    """Keys as the design has them."""
    status = line.get("/api/status").json()

    assert status["site"] == "Heather Bank"
    assert {
        "at",
        "guarding",
        "houses",
        "trees",
        "wraps",
        "alarms",
        "unknown",
        "storage",
        "delivery",
    } <= status.keys()
    assert {"sensor", "place", "temperature_c", "relative_humidity_pct", "age_s", "quality"} == set(
        status["houses"][0]["sensors"][0]
    )
    names = [alarm["alarm"] for alarm in line.get("/api/alarms").json()]
    assert "low-temperature/larch-3" in names
    assert len(line.get("/api/book").json()) == len(scene.guard.book.entries)


def test_an_answer_is_in_the_next_status(scene: Scene, line: httpx.Client) -> None:
    """At once, not a second later."""
    answer = line.post("/api/alarms/ack", json={"alarms": ["--all"], "by": "ann"}).json()
    assert answer["ok"]
    assert "low-temperature/larch-3" in answer["value"]

    seen = {alarm["alarm"]: alarm["state"] for alarm in line.get("/api/alarms").json()}
    assert seen["low-temperature/larch-3"] == "acknowledged"


def test_entries_go_in_together_or_not_at_all(scene: Scene, line: httpx.Client) -> None:
    """And every bad line is named."""
    good = {"kind": "note", "note": "snow on the roof"}
    before = len(scene.guard.book.entries)
    answer = line.post("/api/book", json={"entries": [good, {"kind": "touch", "tree": "none"}], "by": "ann"})
    assert answer.status_code == 409
    assert "line 2" in answer.json()["message"]
    assert len(scene.guard.book.entries) == before

    file = json.dumps({"at": "2027-01-14T08:00:00Z", **good}) + "\n"
    answer = line.post("/api/book", json={"entries": file, "by": "ann"})
    assert answer.status_code == 200
    assert scene.entries("note")[-1]["by"] == "ann"


def test_a_duty_is_answered_with_the_helper_s_link(scene: Scene, line: httpx.Client) -> None:
    """Which opens the page."""
    entry = {"kind": "duty", "person": "tom", "until": "2027-01-22T20:00:00Z"}
    said = line.post("/api/book", json={"entries": [entry]}).json()["value"]["remarks"][-1]

    assert said.startswith(f"The link for tom, for nobody else: {scene.address}/helper/")
    with httpx.Client() as client:
        assert Hand(client).open(said.split(": ", 1)[1]).status == 200


def test_drill_report_and_export_answer(scene: Scene, line: httpx.Client) -> None:
    """As the command line asks them."""
    assert line.post("/api/drill", json={"notifier": "mail"}).json()["results"][0]["ok"]
    assert [r["notifier"] for r in line.post("/api/drill", json={}).json()["results"]] == [
        "mail",
        "hook",
        "log",
    ]
    assert not line.post("/api/drill", json={"notifier": "none"}).json()["results"][0]["ok"]
    assert line.get("/api/report").json()["date"] == "2027-01-15"
    assert line.get("/api/report", params={"date": "2020-01-01"}).status_code == 404
    lines = line.get("/api/export/readings", params={"from_s": 0, "to_s": 4e9}).text.splitlines()
    assert json.loads(lines[0])["sensor"] in scene.settings.sensors
    assert line.get("/api/export/nothing").status_code == 404
    assert line.get("/api/export/alarms", params={"from_s": "nan"}).status_code == 400


BODIES: tuple[Any, ...] = (
    {}, {"alarms": 5}, {"alarms": [5]}, {"alarms": []}, {"alarms": "--all"}, {"alarms": [None]},
    {"alarms": ["--all"], "by": 7}, {"alarms": ["--all"], "by": "a\nb"}, {"alarms": ["x"], "for_s": "1"},
    {"alarms": ["x"], "for_s": True}, {"entries": []}, {"entries": [[]]}, {"entries": [{"kind": []}]},
    {"entries": [{"kind": {}}]}, {"entries": [{"kind": "note", "note": {"a": 1}}]},
    {"entries": [{"kind": "note", "note": [1]}]}, {"entries": [{"kind": "heater", "setpoint_c": 10**400}]},
    {"entries": {"kind": "note"}}, {"entries": None}, {"notifier": {}}, {"notifier": ["mail"]}, [], "x", 5,
    None,
)  # fmt: skip


@pytest.mark.parametrize("path", ["/api/alarms/ack", "/api/alarms/shelve", "/api/book", "/api/drill"])
def test_a_request_that_cannot_be_meant_never_reaches_the_guard(
    scene: Scene, line: httpx.Client, path: str
) -> None:
    """It is refused with a sentence, and the guard goes on."""
    for body in BODIES:
        answer = line.post(path, json=body)
        assert answer.status_code in (200, 400, 409), (path, body)
        assert answer.status_code != 200 or path == "/api/drill"
    for content in (
        b"{",
        b"\xff",
        b"[" * 100_000,
        b'{"alarms": [NaN]}',
        b'{"alarms": ["x"], "for_s": Infinity}',
    ):
        assert line.post(path, content=content).status_code == 400
    for name in ("report", "entries", "nothing"):
        assert line.post(f"/api/alarms/{name}", json={"alarms": ["--all"]}).status_code == 404

    assert scene.guard.ask("resume", {"alarms": ["--all"]}, "ann").ok


def test_too_much_at_once_is_refused(line: httpx.Client) -> None:
    """Four megabytes are enough for a book."""
    answer = line.post("/api/book", content=b'{"entries": "' + b"x" * 4_000_001 + b'"}')

    assert answer.status_code == 413


def test_over_tcp_programs_need_the_cookie_and_for_writing_the_token(scene: Scene) -> None:
    """As forms do."""
    with scene.client() as client:
        client.get("/")
        body = {"entries": [{"kind": "note", "note": "from a program"}]}
        assert client.post("/api/book", json=body).status_code == 403
        session = client.get("/api/session").json()
        headers = {"X-CSRF-Token": session["token"]}
        assert (
            client.post(
                "/api/book", json=body, headers={**headers, "Origin": "https://evil.example"}
            ).status_code
            == 403
        )
        assert client.post("/api/book", json=body, headers=headers).status_code == 200

    assert scene.entries("note")[-1]["note"] == "from a program"


def test_whatever_the_document_allows_is_answered_as_it_says(line: httpx.Client, scene: Scene) -> None:
    """`independent`: schemathesis makes requests from the document and holds every answer to it."""
    checks = [not_a_server_error, status_code_conformance, response_schema_conformance]

    def ask(case: schemathesis.Case) -> None:
        sent = case.as_transport_kwargs(base_url="http://localhost")
        answer = line.request(
            sent["method"], sent["url"], params=sent.get("params"), json=sent.get("json"), headers=JSON
        )
        case.validate_response(answer, checks=checks)

    for each in schemathesis.openapi.from_dict(document()).get_all_operations():
        operation = each.ok()
        if operation.path not in NOT_TRIED:
            calm = settings(
                max_examples=10, deadline=None, database=None, suppress_health_check=list(HealthCheck),
                phases=[Phase.generate], derandomize=True,
            )  # fmt: skip
            calm(given(operation.as_strategy())(ask))()
    assert scene.guard.snapshot.guarding
