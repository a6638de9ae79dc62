"""The morning report as a small, self-contained page; it draws a value and decides nothing."""

from html import escape

from monitor.report import text
from monitor.report.build import MorningReport


def render(report: MorningReport) -> str:
    """HTML with the same content as the text part, in the reader's own font and colours."""
    title = escape(report.subject)
    body = escape(text.render(report))
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{title}</title>'
        '<meta name="viewport" content="width=device-width"><meta name="color-scheme" content="light dark">'
        f"</head><body><h1>{escape(report.verdict)}</h1>"
        f'<pre style="white-space:pre-wrap;font:inherit">{body}</pre></body></html>\n'
    )
