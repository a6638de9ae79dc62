"""The installation as a command meets it: its settings, its daemon if one runs, else its files.

A running daemon owns its state: what changes something goes to it. Without one the files are used directly,
under the lock that keeps a daemon from starting meanwhile.
"""

import contextlib
import os
from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property
from pathlib import Path
from typing import Any

from monitor import clock
from monitor.cli.client import Daemon
from monitor.errors import StoreError
from monitor.notices.words import Speech
from monitor.settings import Settings, load_settings
from monitor.store.book_file import NAME as BOOK
from monitor.store.book_file import BookFile
from monitor.store.lock import StateLock
from monitor.store.trouble import store_error
from monitor.trees.book import Book
from monitor.trees.handing_in import handed_in
from monitor.trees.plans import Plans, load_plans
from monitor.trees.remarks import remarks


class Place:
    """One installation."""

    def __init__(self, config: Path | None) -> None:
        """Load the settings; SettingsError lists their problems."""
        self.settings: Settings = load_settings(config, os.environ)
        self.daemon = Daemon(self.settings, os.environ)
        self.state = Path(self.settings.state.directory)

    @cached_property
    def plans(self) -> Plans:
        """The plans in force."""
        return load_plans(self.settings.plans)

    @property
    def speech(self) -> Speech:
        """How this site speaks."""
        return Speech(self.settings.site.zone, self.settings.site.show)

    @contextlib.contextmanager
    def owned(self) -> Iterator[None]:
        """The state directory as ours, so that no daemon starts meanwhile; made if it is not there."""
        try:
            self.state.mkdir(mode=0o700, parents=True, exist_ok=True)
        except (FileExistsError, NotADirectoryError) as error:
            raise StoreError(
                f"{self.state}: it is not a directory.", "Name another one under [state]."
            ) from error
        except OSError as error:
            raise store_error(self.state, error) from error
        with StateLock.take(self.state):
            yield

    # ---- the book ------------------------------------------------------------------------------------------

    def entries(self) -> Sequence[Mapping[str, Any]]:
        """Every entry of the book, from the daemon if it runs."""
        if self.daemon.runs():
            found: list[Mapping[str, Any]] = self.daemon.get("/api/book")
            return found
        return self.book().entries

    def book(self) -> Book:
        """The book in the state directory, folded."""
        return self.folded(BookFile(self.state / BOOK).load(mend=False))

    def folded(self, entries: Sequence[Mapping[str, Any]]) -> Book:
        """The book of these entries at this installation."""
        house_of = {name: sensor.house for name, sensor in self.settings.sensors.items()}
        return Book.fold(entries, house_of)

    def enter(
        self, given: str | Sequence[Mapping[str, Any]], by: str = "", file: str = ""
    ) -> Mapping[str, Any]:
        """Take entries (or the text of a file of them): `{entries, remarks}`; all of them or none."""
        now_s = clock.wall_s()
        if self.daemon.runs():
            return self.daemon.enter(given, by, file)
        with self.owned():
            kept = BookFile(self.state / BOOK)
            book = self.folded(kept.load())
            new = handed_in(given, by, now_s, book, self.settings, self.plans, file)
            kept.append(new)
        from monitor.cli.nights import against_the_house

        book = book.with_entries(new)
        said = [text for entry in new for text in remarks(entry, book, self.plans)]
        for entry in new:
            said += against_the_house(entry, book, self.settings, self.plans, now_s)
        return {"entries": new, "remarks": said}
