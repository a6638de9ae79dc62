"""What happens to a notice's words on their way out; pure."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.delivery.late import how_long, said_late
from monitor.delivery.plain import file_safe, one_line, plain
from monitor.delivery.wire import encoded, fitted, notice_data
from monitor.testing import sample_notice


def test_a_late_text_says_so_from_two_minutes_on() -> None:
    """In the text, not in the subject, and in the page that goes with it."""
    notice = sample_notice(text="Yew 2 at −2.", html='<html><body class="night">Yew 2</body></html>')

    assert said_late(notice, 119.9) is notice
    late = said_late(notice, 14 * 60 + 59.0)
    assert late.text == "Delayed 14 min: Yew 2 at −2."
    assert late.subject == notice.subject
    assert late.html == '<html><body class="night"><p>Delayed 14 min:</p>Yew 2</body></html>'
    assert said_late(sample_notice(html=""), 840.0).html == ""
    assert said_late(sample_notice(html="<b>cold</b>"), 840.0).html == "<p>Delayed 14 min:</p><b>cold</b>"


@pytest.mark.parametrize(
    ("span_s", "words"),
    [(0, "0 min"), (120, "2 min"), (3599, "59 min"), (3600, "1 h"), (7530, "2 h 5 min"), (90_000, "25 h")],
)
def test_a_span_in_words(span_s: float, words: str) -> None:
    """Whole minutes that have passed; hours once there is one."""
    assert how_long(span_s) == words


def test_texts_lose_what_could_do_harm_and_keep_the_rest() -> None:
    """Terminal escapes, nulls, turned writing, halves of characters."""
    assert plain("a\r\nb\rc\x1b[31m\x00\x9b\u202ed\ud800 °−ü…") == "a\nb\nc [31m  d  °−ü…"
    assert one_line("a\r\nX: y\t\u2028z") == "a X: y z"
    assert one_line("x" * 50, 10) == "xxxxxxxxx…"
    assert file_safe("../low/yew 2@3:10") == "_low_yew_2_3_10"
    assert file_safe("...") == "_"


@given(st.text())
def test_any_text_becomes_harmless(text: str) -> None:
    """Every result can be encoded, and one line is one line."""
    assert not any(ord(char) < 32 and char != "\n" for char in plain(text))
    plain(text).encode()
    assert len(one_line(text).splitlines()) <= 1
    assert "/" not in file_safe(text)
    assert file_safe(text)[0] != "."


def test_a_notice_as_data_carries_all_its_alarms() -> None:
    """The keys are those of a line of notices, the alarms those of a line of alarms."""
    notice = sample_notice()

    data = notice_data(notice)

    assert data["at"] == "2026-01-14T03:10:00Z"
    assert (data["kind"], data["priority"], data["notifier"]) == ("activation", "high", "sample")
    assert data["alarms"] == [dict(notice.details[0])]
    bare = notice_data(sample_notice(details=()))
    assert bare["alarms"] == [{"alarm": "low-temperature/yew-2"}]


def test_numbers_that_json_does_not_know_become_null() -> None:
    """A value that is not a number must not make the whole message unreadable."""
    notice = sample_notice(details=({"alarm": "a", "value": float("nan"), "limit": float("inf")},))

    assert json.loads(encoded(notice_data(notice)))["alarms"] == [
        {"alarm": "a", "value": None, "limit": None}
    ]


def test_alarms_are_left_out_from_the_end_and_counted() -> None:
    """As few as need be, and the first ones stay."""
    details = tuple({"alarm": f"low-temperature/tree-{n}", "cause": "c" * 300} for n in range(100))
    data = notice_data(sample_notice(details=details))

    cut = fitted(data, 20_000)

    assert 19_000 < len(encoded(cut)) <= 20_000
    assert cut["alarms"] == data["alarms"][: len(cut["alarms"])]
    assert cut["more"] == 100 - len(cut["alarms"])
    assert "more" not in fitted(data, 1_000_000)


@given(st.text(max_size=300), st.integers(min_value=600, max_value=2000))
def test_a_text_is_cut_when_no_alarm_is_left_to_leave_out(words: str, limit_bytes: int) -> None:
    """Whatever the text, the result keeps the limit and stays readable."""
    data = notice_data(sample_notice(text=words * 20, subject="Cold"))

    cut = fitted(data, limit_bytes)

    assert len(encoded(cut)) <= limit_bytes
    assert json.loads(encoded(cut))["subject"] == "Cold"
    assert cut["text"] == data["text"] or cut["text"] == "" or cut["text"].endswith("…")
