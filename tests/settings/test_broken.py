"""Broken installations, each with the exact words that its owner reads.

No outside truth: the messages are ours; file, line, key, fault and what to do are all asked for.
"""

import re
import tomllib
from pathlib import Path

import pytest

from monitor import shipped
from monitor.errors import SettingsError
from monitor.settings import load_settings
from tests.settings.installation import SOUND, replaced, written

ZONE = 'timezone = "Europe/London"'
LATITUDE = "latitude_deg = 54.6"
TOPIC = 'topic = "heather/cold/bench-a"'
HOUSE = 'house = "cold"'
WHO = 'who = ["ann"]'
THEIRS = 'notifiers = ["mail"]'
IN_DIGITS = "Write it in digits, without quotes."
FILE_ONLY = "Write it into the file; variables reach site, state, broker, web, liveness only."

TABLE = tomllib.loads(Path(__file__).with_name("broken.toml").read_text(encoding="utf-8"))["broken"]


def _problems(path: Path, environ: dict[str, str] | None = None) -> list[str]:
    with pytest.raises(SettingsError) as caught:
        load_settings(path, environ or {})
    return [str(problem) for problem in caught.value.problems]


@pytest.mark.parametrize("row", TABLE, ids=lambda row: row["name"])
def test_a_broken_installation_is_told_in_one_sentence_with_its_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, row: dict[str, str]
) -> None:
    """File, line, dotted key, what is wrong, what to do: exactly these words, and nothing more."""
    monkeypatch.chdir(tmp_path)
    written(tmp_path, replaced(row["old"], row["new"]))

    found = _problems(Path("monitor.toml"))

    assert found == [f"monitor.toml, {row['words']}"]


def test_the_installation_that_the_table_breaks_is_sound(tmp_path: Path) -> None:
    """Else the table would prove nothing."""
    assert load_settings(written(tmp_path), {}).site.name == "Heather Bank"


def test_all_problems_are_told_at_once_in_the_order_of_the_file(tmp_path: Path) -> None:
    """Wrong values, references, contradictions and variables, found by different means, in one answer."""
    text = SOUND
    for old, new in (
        (ZONE, 'timezone = "Europe/Lodnon"'),
        (LATITUDE, "latitude_deg = 154"),
        (HOUSE, 'house = "clod"\nevry_s = 60'),
        (TOPIC, 'topic = "a/#"'),
        (THEIRS, 'notifiers = ["mial"]'),
        (WHO, 'who = ["anne"]\npass_on_to = ["mail"]'),
    ):
        text = text.replace(old, new)

    with pytest.raises(SettingsError) as caught:
        load_settings(written(tmp_path, text), {"AFTERCARE_BROKER__PORT": "many"})

    assert [problem.key for problem in caught.value.problems] == [
        "site.timezone",
        "site.latitude_deg",
        "sensors.bench-a.house",
        "sensors.bench-a.evry_s",
        "sensors.bench-a.topic",
        "people.ann.notifiers[1]",
        "calls[1].pass_on_after_s",
        "calls[1].who[1]",
        "AFTERCARE_BROKER__PORT",
    ]


def test_an_empty_file_says_what_the_smallest_useful_one_needs(tmp_path: Path) -> None:
    """Three tables are missing, and only these."""
    found = _problems(written(tmp_path, ""))

    assert [line.split(": ", 1)[1] for line in found] == [
        'this table is missing. Add a way to reach you, for example [notifiers.mail] with type = "email".',
        "this table is missing. Add a sensor, for example [sensors.bench-a] with its topic.",
        "this table is missing. Add [site] with name, timezone, latitude_deg and longitude_deg.",
    ]


def test_no_sensors_and_no_notifiers_are_problems(tmp_path: Path) -> None:
    """Empty tables guard and reach nothing."""
    text = "sensors = {}\nnotifiers = {}\n" + SOUND.split("[houses.cold]")[0]

    assert [line.split(", ", 1)[1] for line in _problems(written(tmp_path, text))] == [
        "line 1, sensors: there is none. Add at least one [sensors.…].",
        "line 2, notifiers: there is none. Add at least one [notifiers.…].",
    ]


@pytest.mark.parametrize(
    ("variable", "value", "words"),
    [
        ("AFTERCARE_BROKER__HOTS", "x", 'this key is not known here. Did you mean "host"?'),
        ("AFTERCARE_BROKER__PORT", "many", f"this must be a whole number. {IN_DIGITS}"),
        (
            "AFTERCARE_SITE__REPORT_AT",
            "7",
            '"7" is not a time of day. Write hours and minutes, for example "06:45".',
        ),
        ("AFTERCARE_BROKR__HOST", "x", 'no such part of the settings is reached. Did you mean "broker"?'),
        (
            "AFTERCARE_SENSORS__A",
            "x",
            f"no such part of the settings is reached. {FILE_ONLY}",
        ),
        ("AFTERCARE_WEB__HOSTS", "a", 'this is neither a list nor a table. Write a list as ["a", "b"].'),
    ],
)
def test_a_wrong_variable_is_told_by_its_own_name(
    tmp_path: Path, variable: str, value: str, words: str
) -> None:
    """Nobody should look for it in the file."""
    assert _problems(written(tmp_path), {variable: value}) == [f"environment, {variable}: {words}"]


def test_a_missing_file_says_how_to_make_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Named and not there; and none named, none there."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("monitor.settings.IN_SYSTEM", tmp_path / "nowhere.toml")

    assert _problems(Path("mine.toml")) == ["mine.toml: there is no such file. Check the name."]
    with pytest.raises(SettingsError) as caught:
        load_settings(None, {})
    assert str(caught.value) == (
        f"config/monitor.toml: there is no such file here, and no {tmp_path}/nowhere.toml. "
        "Make one with `aftercare init`, or name yours with --config."
    )


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b'[site]\nname = "\xff"', "line 2: the file is not UTF-8 text. Save it as UTF-8."),
        (b"a = " + b"[" * 100_000, "line 1: this is not TOML. Compare it with the shipped example."),
        (b"a = " + b"1" * 10_000, "line 1: this is not TOML. Compare it with the shipped example."),
        (b"\x00", "line 1: this is not TOML. Compare it with the shipped example."),
    ],
    ids=["not-utf-8", "too-deep", "too-many-digits", "no-text"],
)
def test_a_file_that_is_no_settings_at_all_is_refused_in_words(
    tmp_path: Path, content: bytes, words: str
) -> None:
    """No traceback for any bytes."""
    path = tmp_path / "monitor.toml"
    path.write_bytes(content)

    assert _problems(path) == [f"{path}, {words}"]


def test_a_folder_in_place_of_a_file_is_refused_in_words(tmp_path: Path) -> None:
    """`--config config` is an easy slip."""
    assert _problems(tmp_path) == [
        f"{tmp_path}: the file cannot be read: is a directory. Check its name and its rights."
    ]


def test_no_message_speaks_as_the_validator_does(tmp_path: Path) -> None:
    """Its words and links are for programmers."""
    text = (
        SOUND.replace(LATITUDE, "latitude_deg = [1]")
        .replace(WHO, "who = [1]")
        .replace(TOPIC, "topic = 2024-01-01")
    )

    for line in _problems(written(tmp_path, text)):
        assert not any(word in line.lower() for word in ("input", "pydantic", "valid ", "type=", "errors."))


ODD = (
    "3",
    '"x"',
    "[]",
    "{}",
    "[[1]]",
    "[{}]",
    "true",
    "nan",
    "2026-01-09",
    '""',
    "{ a = { b = 1 } }",
    "-1e300",
)


@pytest.mark.parametrize("odd", ODD)
def test_no_value_at_any_key_is_more_than_a_problem(tmp_path: Path, odd: str) -> None:
    """Every key of the shipped example, and every table, once with a value that it does not expect."""
    lines = shipped.text("monitor.toml").split("\n")
    for number, line in enumerate(lines):
        key = re.match(r"(?:# )?([a-z_]+) = |\[([a-z_]+)\]", line)
        if key is None:
            continue
        changed = f"{key[1]} = {odd}" if key[1] else f"[{key[2]}.{key[2]}]\nx = {odd}"
        path = written(tmp_path, "\n".join([*lines[:number], changed, *lines[number + 1 :]]))
        try:
            load_settings(path, {})
        except SettingsError as error:
            for problem in error.problems:
                assert problem.message.endswith("."), problem
                assert problem.line or problem.key, problem
