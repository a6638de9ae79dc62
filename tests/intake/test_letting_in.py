"""Names, passwords, certificates, rights: what is wrong is one sentence, and mended without a restart."""

import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from monitor.errors import PermanentFailure
from tests.intake import scripted
from tests.intake.scripted import ScriptedServer
from tests.support.broker import Mosquitto, free_port, hash_passwords, need_dynamic_security

PASSWORDS = "guard:right\nsensors:fine\n"


@pytest.fixture
def closed_broker(start_broker: Callable[..., Mosquitto], tmp_path: Path) -> Mosquitto:
    """A mosquitto that wants a password."""
    passwords = tmp_path / "passwords"
    passwords.write_text(PASSWORDS)
    hash_passwords(passwords)
    return start_broker(f"password_file {passwords}", anonymous=False)


def test_a_wrong_password_is_said_and_a_corrected_one_counts_at_the_next_try(
    closed_broker, publisher_on, start_intake, tmp_path
) -> None:
    """Said once, however often it is refused; the file is read anew each time."""
    secret = tmp_path / "secret"
    secret.write_text("wrong\n")
    _, inbox = start_intake(closed_broker.port, username="guard", password_file="secret")
    refused = inbox.wait_lost()
    assert "User name or password were refused by the message post at 127.0.0.1" in refused.detail
    secret.write_text("right\n")
    inbox.wait_linked()
    assert [outcome.ok for outcome in inbox.outcomes] == [False, True]
    publisher_on(closed_broker.port, username="sensors", password="fine").publish("house/bench", b"x")
    assert inbox.wait_messages(1)[0].payload == b"x"


def test_a_missing_password_file_is_said_and_its_appearance_counts(
    closed_broker, start_intake, tmp_path
) -> None:
    """The guard does not give up for want of a file."""
    _, inbox = start_intake(closed_broker.port, username="guard", password_file="secret")
    detail = inbox.wait_lost().detail
    assert detail.startswith("The file secret of password_file under [broker] cannot be used (no such file")
    (tmp_path / "secret").write_text("right")
    inbox.wait_linked()


def test_no_password_where_one_is_wanted_is_refused_in_the_same_words(closed_broker, start_intake) -> None:
    """mosquitto answers 0x87 to that."""
    _, inbox = start_intake(closed_broker.port)
    assert "correct username and password_file" in inbox.wait_lost().detail


def test_nothing_that_answers_is_said_with_host_and_port(start_intake) -> None:
    """The commonest of all: the broker is not started."""
    port = free_port()
    _, inbox = start_intake(port)
    assert f"No message post answers at 127.0.0.1 port {port}" in inbox.wait_lost().detail


def test_a_host_that_is_no_name_is_said(start_intake) -> None:
    """A label over 63 characters is refused before anybody is asked; that must not end the thread."""
    intake, inbox = start_intake(1883, host="x" * 70 + ".invalid")
    assert "was not found" in inbox.wait_lost().detail
    assert intake.alive()


def test_a_broker_without_mqtt_5_is_said(start_intake) -> None:
    """A 3.1.1 broker answers with the CONNACK of its own version (published: MQTT 3.1.1, table 3.1: 0x01)."""

    def script(connection, _number) -> None:
        scripted.read_packet(connection)
        connection.sendall(bytes([0x20, 2, 0, 1]))

    with ScriptedServer(script) as server:
        _, inbox = start_intake(server.port)
        assert "MQTT 5" in inbox.wait_lost().detail


@pytest.mark.parametrize("code", [0x80, 0x84, 0x85, 0x88, 0x8A, 0x97, 0x9A])
def test_a_refusal_of_any_kind_is_said(start_intake, code) -> None:
    """Published: MQTT 5.0, table 3-1."""

    def script(connection, _number) -> None:
        scripted.read_packet(connection)
        connection.sendall(scripted.connack(code))

    with ScriptedServer(script) as server:
        intake, inbox = start_intake(server.port)
        assert f"127.0.0.1 port {server.port}" in inbox.wait_lost().detail
        assert intake.alive()


def test_topics_that_the_brokers_rights_deny_are_named(
    start_broker, publisher_on, start_intake, tmp_path
) -> None:
    """A real SUBACK refusal; the other topic arrives all the same."""
    rights = tmp_path / "rights.json"
    rights.write_text(
        """{"defaultACLAccess": {"publishClientSend": true, "publishClientReceive": true,
                                 "subscribe": false, "unsubscribe": true},
            "anonymousGroup": "all",
            "groups": [{"groupname": "all", "roles": [{"rolename": "reader"}]}],
            "roles": [{"rolename": "reader", "acls": [
                {"acltype": "subscribeLiteral", "topic": "house/a", "allow": true}]}]}"""
    )
    broker = start_broker(f"plugin {need_dynamic_security()}", f"plugin_opt_config_file {rights}")
    _, inbox = start_intake(broker.port, "house/a", "house/b")
    detail = inbox.wait_lost().detail
    assert detail.startswith("These topics may not be read at the message post at 127.0.0.1")
    assert "house/b" in detail
    assert "house/a" not in detail
    publisher_on(broker.port).publish("house/a", b"x")
    assert inbox.wait_messages(1)[0].topic == "house/a"


def test_a_topic_that_may_not_be_written_is_a_lasting_failure(start_broker, start_intake, tmp_path) -> None:
    """The broker's PUBACK says so (published: MQTT 5.0, 3.4.2.1: 0x87)."""
    rights = tmp_path / "rights"
    rights.write_text("topic read #\ntopic write guard/state\n")
    broker = start_broker(f"acl_file {rights}")
    intake, inbox = start_intake(broker.port)
    inbox.wait_linked()
    with pytest.raises(PermanentFailure, match="Publishing to house/notices was refused"):
        intake.publish("house/notices", b"x")


# ---- TLS -------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def certificates(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An authority, a server's certificate for localhost, a client's, and another authority."""
    directory = tmp_path_factory.mktemp("certificates")

    def openssl(*arguments: str) -> None:
        subprocess.run(["openssl", *arguments], cwd=directory, check=True, capture_output=True)

    key = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes")
    for authority in ("ca", "other"):
        openssl("req", "-x509", *key, "-keyout", f"{authority}.key", "-out", f"{authority}.pem", "-days", "2",
                "-subj", f"/CN={authority}")  # fmt: skip
    for name, more in (("server", "subjectAltName=DNS:localhost"), ("client", "extendedKeyUsage=clientAuth")):
        (directory / f"{name}.ext").write_text(more)
        openssl("req", *key, "-keyout", f"{name}.key", "-out", f"{name}.csr", "-subj", f"/CN={name}")
        openssl("x509", "-req", "-in", f"{name}.csr", "-CA", "ca.pem", "-CAkey", "ca.key", "-CAcreateserial",
                "-days", "2", "-extfile", f"{name}.ext", "-out", f"{name}.pem")  # fmt: skip
    openssl("ec", "-in", "client.key", "-aes128", "-passout", "pass:secret", "-out", "locked.key")
    return directory


@pytest.fixture
def tls_broker(start_broker: Callable[..., Mosquitto], certificates: Path) -> Mosquitto:
    """A mosquitto that wants TLS and a client's certificate."""
    return start_broker(
        f"cafile {certificates}/ca.pem",
        f"certfile {certificates}/server.pem",
        f"keyfile {certificates}/server.key",
        "require_certificate true",
    )


def test_tls_with_an_own_authority_and_a_client_certificate(tls_broker, start_intake, certificates) -> None:
    """The whole of it: verified both ways, messages published by ourselves come back."""
    intake, inbox = start_intake(tls_broker.port, **tls(certificates, "ca.pem", "client"))
    inbox.wait_linked()
    intake.publish("house/bench", b"sealed")
    assert inbox.wait_messages(1)[0].payload == b"sealed"


@pytest.mark.parametrize(
    ("change", "part"),
    [
        ({"ca_file": "other.pem"}, "is not trusted"),
        ({"ca_file": None}, "is not trusted"),
        ({"host": "127.0.0.1"}, "is for another name"),
        ({"cert_file": None, "key_file": None}, "wants cert_file and key_file"),
        ({"tls": False}, "tls = true"),
        ({"ca_file": "missing.pem"}, "missing.pem of ca_file under [broker] cannot be used (no such file"),
        ({"ca_file": "server.key"}, "server.key of ca_file under [broker] cannot be used"),
        (
            {"key_file": "server.key"},
            "cert_file or key_file under [broker] cannot be used (key values mismatch)",
        ),
        ({"key_file": "locked.key"}, "locked.key of cert_file or key_file under [broker] cannot be used"),
    ],
)
def test_tls_that_does_not_come_about_is_said(tls_broker, start_intake, certificates, change, part) -> None:
    """Each in the words of what to change."""
    given = {**tls(certificates, "ca.pem", "client"), **change}
    for key in ("ca_file", "cert_file", "key_file"):
        if given[key] is not None and "/" not in given[key]:
            given[key] = str(certificates / given[key])
    intake, inbox = start_intake(tls_broker.port, **given)
    assert part in inbox.wait_lost().detail
    assert intake.alive()


def test_tls_against_a_port_without_it_is_said(broker, start_intake, certificates) -> None:
    """mosquitto hangs up on a TLS greeting, or answers with what is no TLS."""
    _, inbox = start_intake(broker.port, **tls(certificates, "ca.pem", "client"))
    assert "see whether that port speaks TLS" in inbox.wait_lost().detail


def tls(certificates: Path, ca: str, client: str) -> dict:
    """The keys of [broker] for that authority and client."""
    return {
        "host": "localhost",
        "tls": True,
        "ca_file": str(certificates / ca),
        "cert_file": str(certificates / f"{client}.pem"),
        "key_file": str(certificates / f"{client}.key"),
    }
