"""Who gets in, who may do what, and how little a stranger achieves."""

import re
import ssl
from collections.abc import Callable
from pathlib import Path
from urllib.parse import urlsplit

import httpx
import pytest

from monitor.clock import parse_rfc3339, rfc3339
from tests.support.broker import free_port
from tests.support.certificate import CERTIFICATE, KEY
from tests.support.waiting import until
from tests.web.hand import Hand
from tests.web.scene import PASSWORD, Night, Scene

Make = Callable[..., Scene]


def _enter(client: httpx.Client, password: str = PASSWORD, path: str = "/") -> Hand:
    hand = Hand(client).open(path)
    return hand.send(hand.page.xpath("//form[@action='/enter']")[0], password=password, who="ann")


# ---- password ------------------------------------------------------------------------------------------


def test_with_a_password_nothing_is_shown_before_it_is_given(make_scene: Make, night: Night) -> None:
    """No page, no name of a tree, no interface for programs."""
    scene = make_scene(night, password=True)
    with scene.client() as client:
        for path in ("/", "/tree/larch-3", "/record", "/workings", "/labels", "/report", "/nothing"):
            answer = client.get(path, follow_redirects=True)
            assert "Larch" not in answer.text
            assert "Password" in answer.text or answer.status_code == 404
        assert client.get("/api/status").status_code == 401
        for path in ("/seen", "/do", "/record/note", "/drill", "/void"):
            assert client.post(path).headers["location"] == "/enter"


def test_the_password_opens_the_page_that_was_asked_for(make_scene: Make, night: Night) -> None:
    """And the device is remembered, by name."""
    scene = make_scene(night, password=True)
    with scene.client() as client:
        hand = _enter(client, path="/tree/larch-3?span=7d")

        assert str(hand.answer.url).endswith("/tree/larch-3?span=7d")
        assert "Heavy bend: fresh" in hand.text()
        hand.tap("Damp", within="first-branch")
        assert scene.entries("touch")[-1]["by"] == "ann"


def test_a_wrong_password_opens_nothing_and_soon_has_to_wait(make_scene: Make, night: Night) -> None:
    """The right one then waits, too, but is let in afterwards."""
    scene = make_scene(night, password=True)
    with scene.client() as client:
        for _ in range(3):
            hand = _enter(client, "not the password")
            assert hand.status == 403
        assert "That is not the password." in hand.said()
        hand = _enter(client)
        assert hand.status == 429
        assert "Try again in" in hand.said()
        until(lambda: _enter(client).status == 200, within_s=20, every_s=0.5, what="being let in")


def test_after_leaving_the_password_is_asked_for_again(make_scene: Make, night: Night) -> None:
    """On this device."""
    scene = make_scene(night, password=True)
    with scene.client() as client:
        hand = _enter(client, path="/workings")
        hand.tap("Leave on this device")

        assert "Password" in hand.text()
        assert client.get("/").headers["location"] == "/enter"


@pytest.mark.parametrize(
    "path",
    ["https://evil.example", "//evil.example", "/\\evil.example", "evil", "/\t/evil.example", "/%0d%0aX: y"],
)
def test_the_next_page_is_always_one_of_ours(make_scene: Make, night: Night, path: str) -> None:
    """Whatever a link to the password's page says."""
    scene = make_scene(night, password=True)
    with scene.client() as client:
        hand = Hand(client)
        hand._show(client.get("/enter", params={"next": path}))
        form = hand.page.xpath("//form[@action='/enter']")[0]
        pairs = [*form.form_values(), ("password", PASSWORD), ("back", path)]
        answer = client.post("/enter", data=dict(pairs))

        assert answer.status_code == 303
        location = urlsplit(answer.headers["location"])
        assert not location.netloc
        assert location.path.startswith("/")
        assert not location.path.startswith(("//", "/\\"))


def test_the_cookie_is_kept_from_scripts_and_other_sites(make_scene: Make, night: Night) -> None:
    """`published`: RFC 6265 section 4.1.2 and the SameSite attribute of its revision."""
    scene = make_scene(night)
    with scene.client() as client:
        cookie = client.get("/").headers["set-cookie"]

    assert "HttpOnly" in cookie
    assert "SameSite=lax" in cookie
    assert "Path=/" in cookie
    assert "Secure" not in cookie


def test_under_tls_the_cookie_never_goes_in_the_clear(make_scene: Make, night: Night, tmp_path: Path) -> None:
    """A certificate of the tests' own."""
    (tmp_path / "cert.pem").write_text(CERTIFICATE, encoding="utf-8")
    (tmp_path / "key.pem").write_text(KEY, encoding="utf-8")
    files = {"tls_cert_file": str(tmp_path / "cert.pem"), "tls_key_file": str(tmp_path / "key.pem")}
    scene = make_scene(night, **files)
    trusting = ssl.create_default_context(cadata=CERTIFICATE)
    with httpx.Client(verify=trusting, base_url=scene.address.replace("http", "https")) as client:
        answer = client.get("/")

    assert answer.status_code == 200
    assert "Secure" in answer.headers["set-cookie"]


# ---- forged requests -----------------------------------------------------------------------------------


def test_a_form_from_elsewhere_does_nothing(scene: Scene) -> None:
    """Without the token, with another's, or sent by another site with everything right."""
    with scene.client() as ann, scene.client() as other:
        hand, stranger = Hand(ann).open("/"), Hand(other).open("/")
        touch = ("do", "touch/larch-3/first-branch/dry")
        before = len(scene.guard.book.entries)

        assert hand.post("/do", [touch]).status == 403
        assert hand.post("/do", [touch, ("token", stranger.token)]).status == 403
        token = Hand(ann).open("/").token
        for headers in (
            {"Origin": "https://evil.example"},
            {"Origin": "null"},
            {"Sec-Fetch-Site": "cross-site"},
            {"Sec-Fetch-Site": "same-site"},
        ):
            answer = ann.post("/do", data={"do": touch[1], "token": token}, headers=headers)
            assert answer.status_code == 403, headers
        answer = ann.post("/do", json={"do": touch[1], "token": token})
        assert answer.status_code == 403
        assert len(scene.guard.book.entries) == before

        answer = ann.post("/do", data={"do": touch[1], "token": token}, headers={"Origin": scene.address})
        assert answer.status_code == 303
        assert len(scene.guard.book.entries) == before + 1


def test_reading_never_changes_anything(scene: Scene) -> None:
    """No address that writes can be opened by a mere link or a preview of one."""
    before = len(scene.guard.book.entries)
    with scene.client() as client:
        for path in ("/seen", "/do", "/void", "/drill", "/rest", "/me", "/quiet", "/leave"):
            assert client.get(path).status_code in (404, 405)

    assert len(scene.guard.book.entries) == before


# ---- helper --------------------------------------------------------------------------------------------


def _duty(scene: Scene, hours: float = 24.0) -> str:
    """Tom is asked in; the path of his link."""
    until_s = scene.guard.label_s() + hours * 3600
    with scene.client() as owner:
        if scene.settings.web.password_file:
            _enter(owner)
        hand = Hand(owner).open("/record/duty")
        hand.fill(person="tom", until=rfc3339(round(until_s))[:10])
        found = re.search(r"http://\S+(/helper/\S+)", hand.said())
    assert found is not None, hand.said()
    assert "Only this machine finds that address" in hand.said()
    return found[1]


def test_a_helper_gets_in_by_the_link_and_may_do_four_things(make_scene: Make, night: Night) -> None:
    """Seen, felt, wetted, done; each under the helper's name."""
    scene = make_scene(night, password=True)
    link = _duty(scene)
    with scene.client() as client:
        hand = Hand(client).open(link)
        assert "Welcome, Tom." in hand.said()
        hand.tap("I’ve seen it")
        assert "seen by tom" in hand.text()
        hand.open("/record").tap("Damp", within="first-branch")
        hand.open("/record").tap("Wetted again", within="third-branch")
        hand.open("/tree/larch-3").tap("Done", within="done/larch-3")

    assert [e["by"] for e in scene.guard.book.entries[-3:]] == ["tom"] * 3
    assert [e["kind"] for e in scene.guard.book.entries[-3:]] == ["touch", "rewet", "done"]


def test_a_helper_may_do_nothing_else(make_scene: Make, night: Night) -> None:
    """Neither by what is shown nor by what is sent."""
    scene = make_scene(night, password=True)
    link = _duty(scene)
    before = len(scene.guard.book.entries)
    with scene.client() as client:
        hand = Hand(client).open(link).open("/tree/larch-3")
        shown = {" ".join(button.text_content().split()) for button in hand.page.iter("button")}
        assert not shown & {"Unwrapped", "Take it back"}
        assert "Write down" not in hand.text()
        token = hand.token
        assert hand.post("/do", [("token", token), ("do", "unwrap/larch-3/first-branch")]).said()
        for path, fields in {
            "/record/note": [("note", "x")],
            "/record/leave": [("tree", "larch-3"), ("reason", "x")],
            "/void": [("entry", scene.guard.book.entries[0]["id"])],
            "/quiet": [("alarm", "unwatched/maple-6"), ("hours", "1")],
            "/drill": [("notifier", "mail")],
            "/rest": [("sensor", "bench-a"), ("hours", "1")],
            "/me": [("who", "ann")],
        }.items():
            assert hand.post(path, [("token", token), *fields]).status == 403, path
        for path in ("/workings", "/labels", "/record/tree", "/api/status", "/api/book", "/api/session"):
            assert client.get(path).status_code in (401, 403), path

    assert len(scene.guard.book.entries) == before


def test_a_helper_s_link_ends_with_its_duty(make_scene: Make, night: Night) -> None:
    """Also for a device that is in already."""
    scene = make_scene(night, password=True)
    link = _duty(scene)
    with scene.client() as owner, scene.client() as tom:
        hand = Hand(tom).open(link)
        assert hand.status == 200
        _enter(owner, path="/workings").tap("End it now")
        assert tom.get("/").status_code == 303
        assert Hand(tom).open(link).status == 403


def test_a_helper_s_link_ends_at_its_time(
    make_scene: Make, night: Night, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The minute after: nobody has to take it back."""
    scene = make_scene(night, password=True)
    link = _duty(scene)
    until_s = parse_rfc3339(scene.entries("duty")[-1]["until"])
    with scene.client() as tom:
        monkeypatch.setattr(scene.guard, "label_s", lambda: until_s - 60.0)
        assert Hand(tom).open(link).status == 200
        monkeypatch.setattr(scene.guard, "label_s", lambda: until_s)
        assert tom.get("/record").status_code == 303
        assert Hand(tom).open(link).status == 403


def test_a_link_that_was_changed_opens_nothing(make_scene: Make, night: Night) -> None:
    """One letter, or another entry's id."""
    scene = make_scene(night, password=True)
    link = _duty(scene)
    other = scene.guard.book.entries[0]["id"]
    with scene.client() as client:
        for changed in (
            link[:-1] + ("0" if link[-1] != "0" else "1"),
            f"/helper/{other}.{link.rpartition('.')[2]}",
        ):
            assert Hand(client).open(changed).status == 404
        assert client.get("/").status_code == 303


# ---- addresses -----------------------------------------------------------------------------------------


def test_a_foreign_name_is_not_answered(looked_at: Scene) -> None:
    """A page elsewhere that makes its own name lead here gets nothing."""
    with looked_at.client() as client:
        for host in ("evil.example", f"evil.example:{looked_at.port}", "", "heather.example"):
            assert client.get("/", headers={"Host": host}).status_code == 421, host
        assert client.get("/", headers={"Host": f"localhost:{looked_at.port}"}).status_code == 200


def test_an_open_address_without_a_password_serves_nothing_but_what_to_do(
    make_scene: Make, night: Night
) -> None:
    """Not even to this machine."""
    port = free_port()
    make_scene(night, listen=f"0.0.0.0:{port}")
    with httpx.Client(base_url=f"http://127.0.0.1:{port}") as client:
        for path in ("/", "/api/status", "/enter", "/tree/larch-3"):
            answer = client.get(path)
            assert answer.status_code == 503
            assert "The page is shut" in answer.text
            assert "aftercare web password" in answer.text
            assert "Heather" not in answer.text


def test_a_password_file_that_is_none_of_ours_keeps_the_page_shut(make_scene: Make, night: Night) -> None:
    """A password written down as it is would let in whoever reads the file; the guard goes on."""
    folder = night[0].parent
    (folder / "plain").write_text("frost on the pane\n", encoding="utf-8")
    scene = make_scene(night, password_file=str(folder / "plain"))

    def refused() -> bool:
        try:
            httpx.get(scene.address, timeout=0.3)
        except httpx.HTTPError:
            return True
        return False

    until(refused, what="the page being shut")
    assert scene.guard.snapshot.guarding
