"""What a notice says of its own delay; pure."""

import re
from dataclasses import replace

from monitor.model import Notice

LATE_FROM_S = 120.0
"""From here on a reader must know that the text speaks of an earlier moment."""

_BODY = re.compile(r"<body[^>]*>", re.IGNORECASE)


def said_late(notice: Notice, delayed_s: float, late_from_s: float = LATE_FROM_S) -> Notice:
    """The notice as it is sent now: its text begins "Delayed 14 min: " once it is `late_from_s` old [s]."""
    if delayed_s < late_from_s:
        return notice
    words = f"Delayed {how_long(delayed_s)}: "
    body = _BODY.search(notice.html)
    place = body.end() if body else 0
    html = notice.html and f"{notice.html[:place]}<p>{words.rstrip()}</p>{notice.html[place:]}"
    return replace(notice, text=words + notice.text, html=html)


def how_long(span_s: float) -> str:
    """`14 min`, `2 h`, `2 h 5 min`; minutes are whole ones that have passed."""
    hours, minutes = divmod(int(span_s // 60), 60)
    return " ".join([f"{hours} h"] * bool(hours) + [f"{minutes} min"] * bool(minutes or not hours))
