"""Somebody with a browser at the page: opens, taps by what stands on a button, fills in, looks."""

import contextlib
import json
import tempfile
from collections.abc import Iterator
from pathlib import Path

from tests.support.browser import Browser, need_browser
from tests.support.waiting import until

PHONE_PX = 360
DESK_PX = 1200


class Surfer(Browser):
    """One browser; what is tapped and filled in is found by its visible words."""

    def device(self, width_px: int = PHONE_PX, dark: bool = False, scripts: bool = True) -> None:
        """A phone or a desk, in light or dark, with scripts or without."""
        is_phone = width_px < 600
        self.ask(
            "Emulation.setDeviceMetricsOverride",
            width=width_px, height=740 if is_phone else 900, mobile=is_phone,
            deviceScaleFactor=2 if is_phone else 1,
        )  # fmt: skip
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        self.ask("Emulation.setEmulatedMedia", features=[scheme])
        self.ask("Emulation.setScriptExecutionDisabled", value=not scripts)

    def open(self, address: str) -> None:
        """Go to an address and wait for the page."""
        self.run("window.left = true")
        answer = self.ask("Page.navigate", url=address)
        assert "errorText" not in answer, answer
        self._arrive()

    def _arrive(self) -> None:
        until(self._is_there, what="the next page")

    def _is_there(self) -> bool:
        """Whether the next page stands; asked just as one page gives way to another, there is no answer."""
        there = "document.readyState == 'complete' && !window.left && location.href != 'about:blank'"
        try:
            return bool(self.run(there))
        except AssertionError as nobody:
            if "navigated" in str(nobody) or "context" in str(nobody):
                return False
            raise

    def tap(self, words: str, within: str = "body", until_gone: bool = True) -> None:
        """Tap the button or link that carries these words, as a finger would, and wait for the next page."""
        spot = self.run(
            f"""(() => {{
              const all = [...document.querySelectorAll({json.dumps(within)} + ' :is(a, button, summary)')];
              const says = each => each.innerText.replace(/\\s+/g, ' ').trim();
              const found = all.find(each => says(each).startsWith({json.dumps(words)}));
              if (!found) return null;
              found.scrollIntoView({{block: 'center'}});
              const box = found.getBoundingClientRect();
              return [box.x + box.width / 2, box.y + box.height / 2];
            }})()"""
        )
        assert spot is not None, f"nothing to tap says {words!r}: {self.text()[:500]}"
        self.run("window.left = true")
        for kind in ("mousePressed", "mouseReleased"):
            self.ask("Input.dispatchMouseEvent", type=kind, x=spot[0], y=spot[1], button="left", clickCount=1)
        if until_gone:
            self._arrive()

    def fill(self, name: str, value: str) -> None:
        """Write into a field, or choose in a list."""
        found = self.run(
            f"""(() => {{
              const field = document.querySelector('main [name=' + {json.dumps(json.dumps(name))} + ']');
              if (!field) return false;
              field.value = {json.dumps(value)};
              return field.value === {json.dumps(value)};
            }})()"""
        )
        assert found, f"no field {name!r} takes {value!r}"

    def press(self, key: str, leaves: bool = False) -> None:
        """Press a key of the keyboard; `leaves` waits for the next page."""
        codes = {"Tab": 9, "Enter": 13}
        if leaves:
            self.run("window.left = true")
        more = {"text": "\r"} if key == "Enter" else {}
        for kind in ("keyDown", "keyUp"):
            self.ask("Input.dispatchKeyEvent", type=kind, key=key, code=key,
                     windowsVirtualKeyCode=codes[key], **(more if kind == "keyDown" else {}))  # fmt: skip
        if leaves:
            self._arrive()

    def forget(self) -> None:
        """As if nobody had been here before."""
        self.ask("Network.clearBrowserCookies")

    def text(self) -> str:
        """What stands on the page."""
        return str(self.run("document.body.innerText"))

    def address(self) -> str:
        """Where the page is, without the machine."""
        return str(self.run("location.pathname + location.search"))

    def shot(self, file: Path) -> None:
        """The whole page as a picture."""
        self.screenshot(file)


@contextlib.contextmanager
def surfer() -> Iterator[Surfer]:
    """A browser while the block runs."""
    path = need_browser()
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        opened = Surfer(path, Path(profile))
        try:
            yield opened
        finally:
            opened.close()
