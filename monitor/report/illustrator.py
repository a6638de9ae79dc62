"""Draws a report's pictures before its notice is handed on; nothing else ever waits for that.

One thread of its own, begun with the first report. A program that ends meanwhile loses nothing: the notice
still stands in the outbox, and its pictures are drawn anew after the next start.
"""

import logging
import queue
import threading
from collections.abc import Callable, Collection
from dataclasses import replace

from monitor.model import Notice
from monitor.report.html import without_pictures
from monitor.report.picture_facts import from_json
from monitor.report.pictures import with_images

Send = Callable[[Notice, int], None]

_log = logging.getLogger(__name__)


class Illustrator:
    """Stands before delivery; `showing` are the notifiers that can show pictures."""

    def __init__(
        self, showing: Collection[str], send: Send, draw: Callable[[str, str], str] = with_images
    ) -> None:
        self._showing = showing
        self._send = send
        self._draw = draw
        self._waiting: queue.SimpleQueue[tuple[Notice, int]] = queue.SimpleQueue()
        self._thread: threading.Thread | None = None

    def send(self, notice: Notice, attempts: int = 0) -> None:
        """Hand a notice on: at once, or once its pictures are in its page."""
        if not notice.pictures or notice.notifier not in self._showing:
            self._send(notice, attempts)
            return
        self._waiting.put((notice, attempts))
        if self._thread is None:
            self._thread = threading.Thread(target=self._run, name="pictures", daemon=True)
            self._thread.start()

    def _run(self) -> None:
        known: tuple[str, str, str] = ("", "", "")
        while True:
            notice, attempts = self._waiting.get()
            if known[:2] != (notice.html, notice.pictures):
                known = (notice.html, notice.pictures, self._drawn(notice))
            self._send(replace(notice, html=known[2]), attempts)

    def _drawn(self, notice: Notice) -> str:
        try:
            return self._draw(notice.html, notice.pictures)
        except Exception:  # noqa: BLE001 - the report must go out, whatever is wrong with its pictures
            _log.exception("the pictures of %s could not be drawn", notice.notice)
            return without_pictures(notice.html, from_json(notice.pictures), "an error of the program")
