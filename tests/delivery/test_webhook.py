"""Signed posts to a real HTTP server."""

import base64
import json
from datetime import UTC, datetime
from email.utils import format_datetime
from itertools import repeat

import pytest

from monitor.delivery.notifiers import webhook
from monitor.delivery.notifiers.webhook import Webhook
from monitor.errors import DeliveryFailure, PermanentFailure, SettingsError, TemporaryFailure
from monitor.model import NoticeKind
from monitor.testing import sample_notice
from tests.delivery.cases import OTHER_SECRET, SECRET
from tests.support.certificate import CERTIFICATE
from tests.support.servers import DROP, HANG, HttpServer, Status, greeting, is_signed

NOTICE = sample_notice("hook")
AT_S = NOTICE.at_s


def hook(url: str, secret: str = SECRET, **more: object) -> Webhook:
    """A webhook to that address."""
    secrets = {"s": secret, "ca": CERTIFICATE}
    return webhook.create(
        "hook", {"url": url, "secret_file": "s", "timeout_s": 1, **more}, secrets.__getitem__
    )


def failure_of(notifier: Webhook) -> DeliveryFailure:
    """How delivering the sample notice fails."""
    with pytest.raises(DeliveryFailure) as caught:
        notifier.deliver(NOTICE, 0.0, AT_S)
    return caught.value


def test_the_published_example_is_signed_as_published() -> None:
    """Standard Webhooks 1.0, its libraries' example (published): one message, its signature, exactly."""
    key = webhook.secret_bytes("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw\n")
    assert key is not None

    signed = webhook.signature(key, "msg_p5jXN8AQM9LWM0D4loKWxJek", 1_614_265_330, b'{"test": 2432232314}')

    assert signed == "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="


def test_a_post_carries_the_notice_and_its_signature() -> None:
    """Headers and body as Standard Webhooks 1.0 has them; the signature is checked by code of its own."""
    with HttpServer() as server:
        hook(server.url).deliver(NOTICE, 60.0, AT_S + 60.5)
        request = server.requests[0]

    assert request.path == "/in"
    assert request.headers["content-type"] == "application/json"
    assert request.headers["webhook-id"] == "n-000001"
    assert request.headers["webhook-timestamp"] == str(int(AT_S + 60))
    assert is_signed(request, SECRET)
    assert not is_signed(request, OTHER_SECRET)
    body = json.loads(request.body)
    assert set(body) == {"type", "timestamp", "data"}
    assert body["type"] == "alarm.activation"
    assert body["timestamp"] == body["data"]["at"] == "2026-01-14T03:10:00Z"
    assert body["data"]["subject"] == NOTICE.subject
    assert body["data"]["alarms"][0]["alarm"] == "low-temperature/yew-2"


@pytest.mark.parametrize(
    ("kind", "type_"),
    [
        (NoticeKind.ACTIVATION, "alarm.activation"),
        (NoticeKind.RAISED, "alarm.raised"),
        (NoticeKind.REPEAT, "alarm.repeat"),
        (NoticeKind.ESCALATION, "alarm.escalation"),
        (NoticeKind.SEEN, "alarm.seen"),
        (NoticeKind.CLEARED, "alarm.cleared"),
        (NoticeKind.REPORT, "report.daily"),
        (NoticeKind.DRILL, "drill"),
    ],
)
def test_each_kind_of_notice_has_its_type(kind: NoticeKind, type_: str) -> None:
    """All kinds there are."""
    assert webhook.type_of(kind) == type_


def test_the_id_stays_and_the_instant_moves_over_retries() -> None:
    """The id is what the receiver knows a copy by; each attempt is signed anew."""
    with HttpServer() as server:
        sender = hook(server.url)
        sender.deliver(NOTICE, 0.0, AT_S)
        sender.deliver(NOTICE, 300.0, AT_S + 300.0)
        first, second = server.requests

    assert first.headers["webhook-id"] == second.headers["webhook-id"]
    assert int(second.headers["webhook-timestamp"]) - int(first.headers["webhook-timestamp"]) == 300
    assert first.headers["webhook-signature"] != second.headers["webhook-signature"]
    assert json.loads(first.body)["timestamp"] == json.loads(second.body)["timestamp"]
    assert is_signed(second, SECRET)


@pytest.mark.parametrize("count", [1, 40, 4000])
def test_a_body_stays_below_20_kb_and_counts_what_it_leaves_out(count: int) -> None:
    """The alarms that are there and those that `more` counts are all of them."""
    details = tuple({**NOTICE.details[0], "subject": f"tree-{n}"} for n in range(count))

    body = webhook.body_of(sample_notice(details=details))

    assert len(body) <= 20_000
    data = json.loads(body)["data"]
    assert len(data["alarms"]) + data.get("more", 0) == count
    assert ("more" in data) == (count > 30)


def test_a_long_report_is_cut_to_20_kb() -> None:
    """Its text ends with a mark."""
    report = sample_notice(
        kind=NoticeKind.REPORT, text="Larch 3 stood at 1.5 °C.\n" * 2000, details=(), alarms=()
    )

    body = webhook.body_of(report)

    assert 19_000 < len(body) <= 20_000
    assert json.loads(body)["data"]["text"].endswith("…")


@pytest.mark.parametrize("status", [200, 201, 202, 204, 299])
def test_any_status_of_2xx_means_taken(status: int) -> None:
    """Standard Webhooks 1.0 (published): 2xx is success, nothing else is."""
    with HttpServer() as server:
        server.faults = iter([status])

        hook(server.url).deliver(NOTICE, 0.0, AT_S)


@pytest.mark.parametrize("status", [400, 401, 403, 404, 422])
def test_a_4xx_is_permanent_and_its_reason_is_passed_on(status: int) -> None:
    """As one harmless line."""
    with HttpServer() as server:
        server.faults = iter([Status(status, {}, b"not\r\nfor \x1b[31myou")])

        failure = failure_of(hook(server.url))

    assert isinstance(failure, PermanentFailure)
    assert not failure.until_drill
    assert failure.message == f"127.0.0.1 answered {status} not for [31myou"


@pytest.mark.parametrize("status", [408, 429, 500, 502, 503, 504])
def test_what_will_pass_is_temporary(status: int) -> None:
    """408, 429 and 5xx."""
    with HttpServer() as server:
        server.faults = iter([status])

        failure = failure_of(hook(server.url))

    assert isinstance(failure, TemporaryFailure)
    assert failure.retry_after_s is None


@pytest.mark.parametrize(
    ("header", "seconds"),
    [
        ("120", 120.0),
        (format_datetime(datetime.fromtimestamp(AT_S + 90, UTC), usegmt=True), 90.0),
        (format_datetime(datetime.fromtimestamp(AT_S - 90, UTC), usegmt=True), 0.0),
        ("soon", None),
        ("-5", None),
    ],
)
def test_retry_after_is_understood_in_both_forms(header: str, seconds: float | None) -> None:
    """RFC 9110, 10.2.3 (published): seconds or a date; anything else is ignored."""
    with HttpServer() as server:
        server.faults = iter([Status(429, {"Retry-After": header})])

        failure = failure_of(hook(server.url))

    assert isinstance(failure, TemporaryFailure)
    assert failure.retry_after_s == seconds


def test_gone_closes_the_way_until_a_drill() -> None:
    """410: the receiver wants nothing more."""
    with HttpServer() as server:
        server.faults = iter([410])

        failure = failure_of(hook(server.url))

    assert isinstance(failure, PermanentFailure)
    assert failure.until_drill


@pytest.mark.parametrize("status", [301, 302, 303, 307, 308])
def test_a_redirect_is_a_failure_and_is_not_followed(status: int) -> None:
    """Alarms go where the configuration says and nowhere else."""
    with HttpServer() as elsewhere, HttpServer() as server:
        server.faults = iter([Status(status, {"Location": elsewhere.url})])

        failure = failure_of(hook(server.url))

        assert elsewhere.requests == []
    assert isinstance(failure, PermanentFailure)
    assert "Redirects are not followed" in failure.hint


def test_silence_lost_replies_and_nonsense_are_temporary() -> None:
    """The address in the configuration may hold a token: only the host is named."""
    with HttpServer() as server:
        server.faults = iter([HANG, DROP])
        sender = hook(server.url + "?token=hunter2")

        assert "did not answer within 1 s" in failure_of(sender).message
        lost = failure_of(sender)
        assert isinstance(lost, TemporaryFailure)
        assert "hunter2" not in str(lost)
        sender.deliver(NOTICE, 0.0, AT_S)
        assert [request.path for request in server.requests] == ["/in?token=hunter2"] * 3
        assert len({request.headers["webhook-id"] for request in server.requests}) == 1
    for line in ("220 mail.example.org", HANG):
        with greeting(line) as port:
            assert isinstance(failure_of(hook(f"http://127.0.0.1:{port}/")), TemporaryFailure)


def test_a_server_that_is_not_there_is_a_temporary_failure() -> None:
    """Refused connections."""
    failure = failure_of(hook(HttpServer().url))

    assert isinstance(failure, TemporaryFailure)
    assert failure.message.startswith("127.0.0.1 could not be reached")


def test_tls_demands_the_right_certificate() -> None:
    """A certificate that nobody vouches for is not believed; with `ca_file` it is; another name never is."""
    with HttpServer(tls=True) as server:
        failure = failure_of(hook(server.url))
        assert isinstance(failure, TemporaryFailure)
        assert "could not prove who it is" in failure.message
        assert server.requests == []

        hook(server.url, ca_file="ca").deliver(NOTICE, 0.0, AT_S)
        assert len(server.requests) == 1
        other_name = server.url.replace("localhost", "127.0.0.2")
        assert isinstance(failure_of(hook(other_name, ca_file="ca")), TemporaryFailure)
        assert len(server.requests) == 1


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        ({"url": "ftp://example.org/"}, "url"),
        ({"url": "https:///in"}, "url"),
        ({"url": "https://me:pw@example.org/"}, "url"),
        ({"url": "http://example.org/a b"}, "url"),
        ({"url": "http://example.org/\r\nX: y"}, "url"),
        ({"url": "http://example.org:99999/"}, "url"),
        ({"url": 5}, "url"),
        ({"secret_file": ""}, "secret_file"),
        ({"timeout_s": 0.1}, "timeout_s"),
        ({"secret": "whsec_x"}, "secret"),
    ],
)
def test_wrong_settings_are_named_by_their_key(changes: dict[str, object], key: str) -> None:
    """The finding never repeats a value."""
    values = {"url": "https://example.org/in", "secret_file": "s", **changes}

    assert [one for one, _, _ in webhook.problems("hook", values)] == [key]
    assert "pw@" not in str(webhook.problems("hook", values))
    with pytest.raises(SettingsError, match=f"notifiers.hook.{key}"):
        webhook.create("hook", values, {"s": SECRET}.__getitem__)


def test_missing_keys_are_named() -> None:
    """Both that are needed."""
    assert [key for key, _, _ in webhook.problems("hook", {})] == ["url", "secret_file"]


@pytest.mark.parametrize(
    "secret",
    [
        "",
        "whsec_",
        SECRET.removeprefix("whsec_"),
        "whsk_" + SECRET.removeprefix("whsec_"),
        "whsec_" + base64.b64encode(b"23 bytes are too few...").decode(),
        "whsec_not base64!",
        "whsec_ü",
    ],
)
def test_a_secret_that_is_none_is_refused_at_start(secret: str) -> None:
    """Standard Webhooks 1.0 (published): `whsec_` and 24 bytes or more in base64; it is not repeated."""
    with pytest.raises(SettingsError, match=r"notifiers\.hook\.secret_file") as caught:
        hook("http://127.0.0.1:1/", secret)

    assert not secret or secret not in str(caught.value).replace("whsec_ and", "").replace("whsec_$", "")


def test_a_repeated_fault_never_becomes_permanent() -> None:
    """A server that is broken all night is tried all night."""
    with HttpServer() as server:
        server.faults = repeat(503)
        sender = hook(server.url)

        assert all(isinstance(failure_of(sender), TemporaryFailure) for _ in range(20))
