"""A real browser without a window, spoken to over a pipe in the DevTools protocol."""

import base64
import contextlib
import json
import os
import select
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest

PLACES = ("/usr/bin/chromium", "/usr/bin/chromium-browser", "/usr/bin/google-chrome")
ANSWERS_WITHIN_S = 60.0


def apt_get(package: str) -> bool:
    """Whether a package could be installed with apt as root."""
    if os.geteuid() != 0 or shutil.which("apt-get") is None:
        return False
    command = ["apt-get", "install", "-y", "-qq", "--no-install-recommends", package]
    for attempt in ("install", "update"):
        if attempt == "update":
            subprocess.run(["apt-get", "update", "-qq"], check=False, capture_output=True, timeout=300)
        found = subprocess.run(command, check=False, capture_output=True, timeout=600)
        if found.returncode == 0:
            return True
    return False


def skip_or_fail(reason: str) -> None:
    """A test that cannot run here says why; where everything must run it fails."""
    if os.environ.get("CI") == "true":
        pytest.fail(reason)
    pytest.skip(reason)


def need_browser() -> str:
    """The browser's path, installed if that is possible."""
    for _attempt in range(2):
        for place in PLACES:
            if Path(place).is_file():
                return place
        if not apt_get("chromium"):
            break
    skip_or_fail("no Chromium at /usr/bin/chromium, and it could not be installed with apt-get")
    raise AssertionError


class Browser:
    """One page of one browser."""

    def __init__(self, path: str, profile: Path) -> None:
        to_browser, self._out = os.pipe()
        self._in, from_browser = os.pipe()
        # The browser reads its orders from descriptor 3 and answers on 4.
        order = f'exec {path} "$@" 3<&{to_browser} 4>&{from_browser}'
        options = [
            "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage",
            "--remote-debugging-pipe", "--no-first-run", "--disable-background-networking",
            "--disable-component-update", "--disable-sync", "--disable-quic",
            f"--user-data-dir={profile}", "about:blank",
        ]  # fmt: skip
        self._process = subprocess.Popen(
            ["bash", "-c", order, "browser", *options],
            pass_fds=(to_browser, from_browser),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(to_browser)
        os.close(from_browser)
        self._buffer = b""
        self._number = 0
        self._session = ""
        self.requests: list[str] = []
        """Addresses that pages asked for."""
        target = self.ask("Target.createTarget", url="about:blank")["targetId"]
        self._session = self.ask("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        self.ask("Page.enable")
        self.ask("Network.enable")

    def ask(self, method: str, **parameters: Any) -> dict[str, Any]:
        """One order and its answer."""
        self._number += 1
        order: dict[str, Any] = {"id": self._number, "method": method, "params": parameters}
        if self._session:
            order["sessionId"] = self._session
        self._send(order)
        while True:
            said = self._next()
            if said.get("id") == self._number:
                assert "error" not in said, said
                found: dict[str, Any] = said["result"]
                return found

    def _send(self, order: Mapping[str, Any]) -> None:
        data = json.dumps(order).encode() + b"\0"
        while data:
            data = data[os.write(self._out, data[:4096]) :]

    def _next(self) -> dict[str, Any]:
        deadline_s = time.monotonic() + ANSWERS_WITHIN_S
        while b"\0" not in self._buffer:
            ready, _, _ = select.select([self._in], [], [], max(0.0, deadline_s - time.monotonic()))
            piece = os.read(self._in, 1 << 16) if ready else b""
            assert piece, "the browser does not answer"
            self._buffer += piece
        line, self._buffer = self._buffer.split(b"\0", 1)
        said: dict[str, Any] = json.loads(line)
        if said.get("method") == "Network.requestWillBeSent":
            self.requests.append(said["params"]["request"]["url"])
        return said

    def show(self, page: str, width_px: int, dark: bool = False) -> None:
        """Open a page of HTML at a width, in light or dark."""
        self.ask(
            "Emulation.setDeviceMetricsOverride",
            width=width_px, height=900, deviceScaleFactor=1, mobile=width_px < 600,
        )  # fmt: skip
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        self.ask("Emulation.setEmulatedMedia", features=[scheme])
        frame = self.ask("Page.getFrameTree")["frameTree"]["frame"]["id"]
        self.requests.clear()
        self.ask("Page.setDocumentContent", frameId=frame, html=page)

    def run(self, script: str) -> Any:
        """The value of an expression in the page; promises are waited for."""
        answer = self.ask("Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True)
        assert "exceptionDetails" not in answer, answer
        return answer["result"].get("value")

    def screenshot(self, file: Path) -> None:
        """The whole page as a PNG."""
        shot = self.ask("Page.captureScreenshot", format="png", captureBeyondViewport=True)
        file.write_bytes(base64.b64decode(shot["data"]))

    def close(self) -> None:
        """End."""
        with contextlib.suppress(OSError, AssertionError):
            self._session = ""
            self.ask("Browser.close")
        try:
            self._process.wait(10)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait(10)
        os.close(self._out)
        os.close(self._in)


@contextlib.contextmanager
def browser() -> Iterator[Browser]:
    """A browser while the block runs."""
    path = need_browser()
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        opened = Browser(path, Path(profile))
        try:
            yield opened
        finally:
            opened.close()
