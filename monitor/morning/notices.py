"""The notices that carry a report: one for each way to whoever gets it."""

from collections.abc import Iterator

from monitor import links
from monitor.model import Notice, NoticeKind, Priority, Report
from monitor.notices import calls
from monitor.settings import Settings


def report_notices(settings: Settings, report: Report, label_s: float) -> Iterator[Notice]:
    """`label_s` is what people's clocks say."""
    where = links.on_the_page(settings.web, links.report_path(report.date))
    for notifier in calls.told(settings, "report"):
        yield Notice(
            label_s,
            report.notice,
            NoticeKind.REPORT,
            Priority.LOW,
            notifier,
            report.subject,
            report.text + where,
            html=report.html,
            calendar=report.calendar,
            pictures=report.pictures,
        )
