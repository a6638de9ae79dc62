"""The morning report as plain text, complete on its own; it draws a value and decides nothing."""

from monitor.notices.words import duration
from monitor.report.build import AlarmLine, MorningReport, SensorNight, TreeLine
from monitor.safety import SAFETY_LINES

WIDTH = 78
SHUT_DOWN_LINE = "No report by 07:30 means that I am not running."


def render(report: MorningReport) -> str:
    """The whole page."""
    facts = report.facts
    parts = [f"{facts.site}, {facts.speech.day_time(facts.at_s)}", "", _sentence(report.verdict)]
    parts += _section("Today", _today(report))
    parts += _section(
        "The night", [_night(report, sensor) for sensor in facts.sensors] or ["no sensors are set"]
    )
    parts += _section(
        "Trees", [_tree(report, tree) for tree in facts.trees] or ["no tree is written down yet"]
    )
    parts += _section("Alarms", [_alarm(report, alarm) for alarm in facts.alarms] or ["none"])
    parts += _section("Not seen or not known", list(report.not_seen) or ["nothing"])
    parts += ["", SHUT_DOWN_LINE, "", *SAFETY_LINES]
    return "\n".join(parts) + "\n"


def _section(title: str, lines: list[str]) -> list[str]:
    return ["", title, "-" * len(title), *(f"* {line}" for line in lines)]


def _sentence(text: str) -> str:
    return text[0].upper() + text[1:] + "."


def _today(report: MorningReport) -> list[str]:
    if not report.today:
        return ["nothing is asked of you"]
    more = [f"{report.can_wait} more can wait"] if report.can_wait else []
    return [*report.today, *more]


def _night(report: MorningReport, sensor: SensorNight) -> str:
    speech = report.facts.speech
    where = f"{sensor.house}, {sensor.sensor}" if sensor.place != "outdoor" else f"outdoors, {sensor.sensor}"
    if sensor.low_c is None or sensor.low_at_s is None:
        return f"{where}: not known, nothing was heard"
    return (
        f"{where}: lowest {speech.temperature(sensor.low_c)} at {speech.time(sensor.low_at_s)}, "
        f"highest {speech.temperature(sensor.high_c)}"
    )


def _tree(report: MorningReport, tree: TreeLine) -> str:
    speech = report.facts.speech
    works = "; ".join(f"{work.replace('-', ' ')}, {stage}, day {day}" for work, stage, day in tree.works)
    text = f"{tree.name}: {works or 'not tender'}"
    if not tree.watched:
        return f"{text}; no sensor where it stands: not known"
    if tree.low_harm_c is None:
        return text
    limit = f"damage likely below {speech.limit(tree.low_harm_c)}"
    if tree.margin_k is None:
        return f"{text}; {limit}; how cold it was is not known"
    if tree.margin_k <= 0:
        return f"{text}; it had {speech.temperature(tree.low_c)}; {limit}"
    return f"{text}; {speech.difference(tree.margin_k)} to spare; {limit}"


def _alarm(report: MorningReport, alarm: AlarmLine) -> str:
    speech = report.facts.speech
    until = f"–{speech.time(alarm.ended_s)}" if alarm.ended_s is not None else ", still so"
    answered = (
        f"seen at {speech.time(alarm.seen_at_s)}"
        + (f" by {alarm.seen_by.capitalize()}" if alarm.seen_by else "")
        if alarm.seen_at_s is not None
        else "not seen by anybody"
    )
    lasted = f" ({duration(alarm.ended_s - alarm.since_s)})" if alarm.ended_s is not None else ""
    return f"{speech.time(alarm.since_s)}{until}{lasted}: {alarm.cause}; {answered}"
