"""The safety text says what it must; it defers to local codes and licensed trades.

No outside truth: presence of the usual cautions, common practice, no source.
"""

from monitor.safety import SAFETY_LINES, SAFETY_TEXT


def test_the_long_form_names_every_caution() -> None:
    """Combustion, mains, independence, power, silence."""
    text = " ".join(SAFETY_TEXT).lower()

    for word in (
        "advice only",
        "no guarantee",
        "carbon monoxide",
        "shut house",
        "licensed electrician",
        "licensed fitter",
        "code that holds where you live",
        "residual-current",
        "thermostat",
        "battery",
        "another circuit",
        "silence is not safety",
    ):
        assert word in text


def test_the_short_form_fits_the_foot_of_a_report() -> None:
    """A few lines, each short, and the three things that kill named."""
    assert len(SAFETY_LINES) <= 5
    assert all(len(line) <= 110 for line in SAFETY_LINES)
    for word in ("Advice only", "carbon monoxide", "Mains", "Silence is not safety", "thermostat"):
        assert any(word in line for line in SAFETY_LINES)
