"""What a replay writes: the same effects that the database takes, as JSON Lines files in one directory."""

import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, Self, TextIO

from monitor.model import Effects, Reading, Report
from monitor.store import lines
from monitor.store.labels import Labels
from monitor.store.trouble import store_error

_BUFFER_BYTES = 1 << 18
FILES = ("alarms", "notices", "forecasts", "wraps", "stages")


class JsonLinesSink:
    """Takes commits like the database; every file exists when it is closed, empty or not."""

    def __init__(
        self,
        directory: Path,
        readings: bool = False,
        page: Callable[[Report], str] = lambda report: report.html,
    ) -> None:
        """Begin the files anew; StoreError when the directory cannot be written.

        `page` makes the page of a report, for whoever wants pictures in it.
        """
        self._page = page
        self._directory = directory
        self._open: dict[str, TextIO] = {}
        self._readings = ReadingLines() if readings else None
        self.label_offset_s = 0.0
        """How far labels stand ahead of guard time; everything but readings is labelled already."""
        try:
            (directory / "reports").mkdir(parents=True, exist_ok=True)
            for name in (*FILES, "readings") if readings else FILES:
                self._open[name] = (directory / f"{name}.jsonl").open("w", _BUFFER_BYTES, encoding="utf-8")
        except OSError as error:
            raise store_error(directory, error) from error

    def commit(
        self, effects: Sequence[Effects], at_s: float, digests: Sequence[tuple[str, bytes]] = ()
    ) -> None:
        """Write what the effects hold; StoreError when the disk does not take it."""
        try:
            for effect in effects:
                self._write(effect)
        except OSError as error:
            raise store_error(self._directory, error) from error

    def _write(self, effect: Effects) -> None:
        if self._readings is not None and effect.readings:
            self._open["readings"].write(self._readings.text(effect.readings, self.label_offset_s))
        if effect.transitions:
            self._put("alarms", effect.transitions, lines.transition_line)
        if effect.notices:
            self._put("notices", effect.notices, lines.notice_line)
        if effect.forecasts:
            self._put("forecasts", effect.forecasts, lines.forecast_line)
        if effect.wraps:
            self._put("wraps", effect.wraps, lines.wrap_line)
        if effect.stages:
            self._put("stages", effect.stages, lines.stage_line)
        for report in effect.reports:
            self._write_report(report)

    def _put(self, name: str, values: Sequence[Any], line: Callable[[Any], Mapping[str, Any]]) -> None:
        for value in values:
            self._open[name].write(lines.dumps(line(value)) + "\n")

    def _write_report(self, report: Report) -> None:
        folder = self._directory / "reports"
        (folder / f"{report.date}.txt").write_text(report.text, encoding="utf-8")
        (folder / f"{report.date}.html").write_text(self._page(report), encoding="utf-8")

    def close(self) -> None:
        """Flush and close; StoreError when the last of it could not be written."""
        try:
            for file in self._open.values():
                file.close()
        except OSError as error:
            raise store_error(self._directory, error) from error

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


class ReadingLines:
    """Writes readings as lines fast: a sensor's quoted id is made once."""

    def __init__(self) -> None:
        self._observed = Labels()
        self._received = Labels()
        self._quoted: dict[str, str] = {}

    def text(self, readings: Sequence[Reading], label_offset_s: float) -> str:
        """One line a reading, each with its newline; the same lines as `lines.reading_line`."""
        observed, received, name = self._observed, self._received, self._name
        return "".join(
            f'{{"observed_at":"{observed(r.observed_at_s + label_offset_s)}",'
            f'"received_at":"{received(r.received_at_s + label_offset_s)}","sensor":{name(r.sensor)},'
            f'"quantity":"{r.quantity}","value":{number(r.value)},"flag":{int(r.flag)}}}\n'
            for r in readings
        )

    def _name(self, sensor: str) -> str:
        quoted = self._quoted.get(sensor)
        if quoted is None:
            quoted = self._quoted[sensor] = json.dumps(sensor, ensure_ascii=False)
        return quoted


def number(value: float) -> str:
    """A value as JSON writes it, rounded to 3 decimals; null when it is not finite."""
    short = round(float(value), 3)
    return repr(short) if short - short == 0 else "null"
