"""A hand at the page without a browser: reads forms, fills them in, sends them, follows where they lead."""

from typing import Any
from urllib.parse import urlencode

import httpx
from lxml import html


class Hand:
    """One person's device: an HTTP client with cookies, and the page that it shows."""

    def __init__(self, client: httpx.Client) -> None:
        self.client = client
        self.page: Any = None
        self.status = 0

    def open(self, path: str) -> "Hand":
        """Go to a page; redirects are followed."""
        return self._show(self.client.get(path, follow_redirects=True))

    def _show(self, answer: httpx.Response) -> "Hand":
        self.status = answer.status_code
        self.answer = answer
        self.page = html.fromstring(answer.content) if answer.content else None
        return self

    def tap(self, button: str, within: str = "") -> "Hand":
        """Send the form of a button with these words, as it stands on the page."""
        found = [each for each in self.page.iter("button") if _words(each).startswith(button)]
        if within:
            found = [each for each in found if within in (each.get("value") or "")]
        assert found, f"no button {button!r} in {self.text()[:800]}"
        return self.send(found[0].xpath("ancestor::form")[0], found[0])

    def send(self, form: Any, button: Any = None, **fields: str) -> "Hand":
        """Send a form with fields changed."""
        pairs = [(name, value) for name, value in form.form_values() if name not in fields]
        pairs += list(fields.items())
        if button is not None and button.get("name"):
            pairs.append((button.get("name"), button.get("value") or ""))
        return self.post(form.get("action"), pairs)

    def post(self, path: str, pairs: list[tuple[str, str]]) -> "Hand":
        """Send these fields."""
        answer = self.client.post(
            path,
            content=urlencode(pairs),
            headers={"Content-Type": "application/x-www-form-urlencoded"},
            follow_redirects=True,
        )
        return self._show(answer)

    def fill(self, **fields: str) -> "Hand":
        """Fill in the form of the page and send it."""
        form = next(each for each in self.page.iter("form") if "/record/" in (each.get("action") or ""))
        return self.send(form, **fields)

    @property
    def token(self) -> str:
        """The token of the page's forms."""
        return str(self.page.xpath("//input[@name='token']/@value")[0])

    def text(self) -> str:
        """What stands on the page."""
        return "" if self.page is None else _words(self.page.find("body"))

    def said(self) -> str:
        """What the page says of the last thing done."""
        found = self.page.xpath("//*[@role='status' or @role='alert']")
        return _words(found[0]) if found else ""


def _words(element: Any) -> str:
    return " ".join(element.text_content().split())
