"""`check`: what is wrong beyond the file itself, and what works but will disappoint.

No outside truth: these are the program's own rules, and thresholds are judgement.
"""

import json
import re
from pathlib import Path

import pytest

from monitor import shipped
from monitor.check import CheckResult, check, check_file
from monitor.settings import load_settings
from monitor.trees.tree import Placement, Tree, Work
from tests.settings.installation import SOUND, replaced, written

MAIL = "[notifiers.mail]"
WHO = 'who = ["ann"]'
HOUSE = 'name = "Cold house"'
TOPIC = 'topic = "heather/cold/bench-a"'
LIVENESS = '[liveness]\nurl = "https://example.org/alive"\n'
MAIL_KEYS = 'type = "email"\nfrom = "a@example.org"\nto = ["b@example.org"]\n'
HOOK = '[notifiers.hook]\ntype = "webhook"\nurl = "https://example.org/in"\nsecret_file = "hook-secret"\n'
SECRET = "whsec_" + "QUJD" * 10
NOW_S = 1_768_300_000.0
DAY_S = 86_400.0


def _check(folder: Path, text: str = SOUND, trees: dict[str, Tree] | None = None) -> CheckResult:
    return check(load_settings(written(folder, text), {}), trees, NOW_S)


def _warnings(folder: Path, text: str = SOUND, trees: dict[str, Tree] | None = None) -> dict[str, str]:
    """Key -> message of each warning."""
    result = _check(folder, text, {} if trees is None else trees)
    assert result.problems == ()
    return {warning.key: warning.message for warning in result.warnings}


def _strong(folder: Path) -> str:
    """An installation without a weakness: two ways to call, somebody who watches from outside."""
    secret = folder / "hook-secret"
    secret.write_text(SECRET)
    secret.chmod(0o600)
    return replaced(MAIL, HOOK + LIVENESS + MAIL).replace('["mail"]', '["mail", "hook"]')


def _tree(name: str, work: str = "", sensor: str | None = "bench-a", age_days: float = 1) -> Tree:
    at_s = NOW_S - age_days * DAY_S
    works = (Work("w", work, at_s),) if work else ()
    placed = Placement(at_s, sensor, "" if sensor else "garage")
    return Tree(id=name.lower().replace(" ", "-"), name=name, placements=(placed,), works=works)


# ---- the whole -----------------------------------------------------------------------------------------


def test_a_strong_installation_has_nothing_to_tell(tmp_path: Path) -> None:
    """Neither problems nor warnings."""
    result = _check(tmp_path, _strong(tmp_path), {"yew-2": _tree("Yew 2", "light-wiring")})

    assert (result.ok, result.problems, result.warnings) == (True, (), ())


def test_the_shipped_example_passes(tmp_path: Path) -> None:
    """It lacks only somebody who watches from outside, and says so."""
    result = check_file(written(tmp_path, shipped.text("monitor.toml")), {}, lambda settings: {}, NOW_S)

    assert result.ok
    assert [warning.key for warning in result.warnings] == ["liveness"]


def test_every_commented_line_of_the_shipped_example_is_right(tmp_path: Path) -> None:
    """With all of them taken in, only files that nobody has made yet are missing."""
    text = re.sub(r"^# (?=\[|[a-z_]+ = )", "", shipped.text("monitor.toml"), flags=re.MULTILINE)
    (tmp_path / "plans.toml").write_text(shipped.text("plans.toml"))

    problems = check_file(written(tmp_path, text), {}).problems

    assert text.count("#") < shipped.text("monitor.toml").count("#")
    assert {problem.key for problem in problems} >= {"broker.password_file", "web.tls_key_file"}
    assert [problem for problem in problems if not problem.key.endswith("_file")] == []


def test_a_plans_file_that_is_not_there_is_told_once(tmp_path: Path) -> None:
    """By the key that names it."""
    result = check_file(written(tmp_path, f'plans = "nowhere.toml"\n{SOUND}'), {})

    assert [problem.key for problem in result.problems] == ["plans"]


def test_the_answer_as_json_has_the_documented_keys(tmp_path: Path) -> None:
    """`{ok, problems[{file, key, line, message, hint}], warnings[...]}`."""
    answer = json.loads(json.dumps(_check(tmp_path).as_json()))

    assert set(answer) == {"ok", "problems", "warnings"}
    assert answer["ok"] is True
    assert {frozenset(warning) for warning in answer["warnings"]} == {
        frozenset({"file", "key", "line", "message", "hint"})
    }


def test_problems_of_all_rooms_are_told_at_once(tmp_path: Path) -> None:
    """Settings, payloads, notifiers, plans and the environment, in one answer."""
    (tmp_path / "plans.toml").write_text("[grfat]\nlabel = 'x'\n")
    text = replaced("latitude_deg = 54.6", "latitude_deg = 154")
    text = text.replace(TOPIC, f'{TOPIC}\ntemperature_c = "/t"').replace('host = "127.0.0.1"\n', "")

    result = check_file(written(tmp_path, text), {"AFTERCARE_BROKER__PORT": "0"})

    assert [(Path(problem.file).name, problem.key) for problem in result.problems] == [
        ("monitor.toml", "site.latitude_deg"),
        ("environment", "AFTERCARE_BROKER__PORT"),
        ("monitor.toml", "sensors.bench-a.temperature_c"),
        ("monitor.toml", "notifiers.mail.host"),
        ("plans.toml", "grfat"),
    ]
    assert not result.ok


def test_one_fault_is_told_once(tmp_path: Path) -> None:
    """Settings and payload both know that a bare number needs its quantity."""
    result = check_file(written(tmp_path, replaced(TOPIC, f'{TOPIC}\npayload = "plain"')), {})

    assert [problem.key for problem in result.problems] == ["sensors.bench-a.quantity"]


def test_a_file_that_is_not_there_is_a_problem_not_an_error(tmp_path: Path) -> None:
    """`check` always answers."""
    result = check_file(tmp_path / "monitor.toml", {})

    assert [problem.message for problem in result.problems] == ["there is no such file."]


# ---- what payloads, notifiers and files say ------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "key", "line"),
    [
        (TOPIC, f'{TOPIC}\npayload = "semnl"', "sensors.bench-a.payload", 13),
        (TOPIC, f'{TOPIC}\npayload = "json"\ntemperature_c = "t"', "sensors.bench-a.temperature_c", 14),
        (TOPIC, f'{TOPIC}\nquantity = "temperature_c"', "sensors.bench-a.quantity", 13),
        ('type = "email"', 'type = "emial"', "notifiers.mail.type", 15),
        ('type = "email"', 'type = "email"\nprot = 25', "notifiers.mail.prot", 16),
        ('to = ["grower@example.org"]\n', "", "notifiers.mail.to", 14),
        (MAIL, HOOK + MAIL, "notifiers.hook.secret_file", 17),
        (MAIL, f'[broker]\nusername = "u"\npassword_file = "p"\n{MAIL}', "broker.password_file", 16),
        (MAIL, f'[broker]\ntls = true\nca_file = "ca.pem"\n{MAIL}', "broker.ca_file", 16),
        (MAIL, f'[web]\npassword_file = "p"\n{MAIL}', "web.password_file", 15),
    ],
)
def test_what_a_part_asks_for_itself_is_a_problem_with_its_line(
    tmp_path: Path, old: str, new: str, key: str, line: int
) -> None:
    """Each kind of payload and notifier knows its keys; each named file must be there."""
    problems = _check(tmp_path, replaced(old, new)).problems

    assert [(problem.key, problem.line) for problem in problems] == [(key, line)]
    assert problems[0].message.endswith(".")
    assert problems[0].hint


def test_a_secret_that_cannot_be_one_is_a_problem(tmp_path: Path) -> None:
    """It shows only when the notifier is made; its content is not repeated."""
    text = _strong(tmp_path)
    (tmp_path / "hook-secret").write_text("hunter2")

    problems = _check(tmp_path, text).problems

    assert [problem.key for problem in problems] == ["notifiers.hook.secret_file"]
    assert "hunter2" not in str(problems[0])


def test_a_certificate_that_is_none_is_a_problem(tmp_path: Path) -> None:
    """Before the first connection fails at night."""
    (tmp_path / "ca.pem").write_text("no certificate")

    problems = _check(tmp_path, replaced(MAIL, f'[broker]\ntls = true\nca_file = "ca.pem"\n{MAIL}')).problems

    assert [problem.key for problem in problems] == ["broker"]


def test_a_secret_that_everybody_can_read_is_weak(tmp_path: Path) -> None:
    """Said with what to type."""
    text = _strong(tmp_path)
    (tmp_path / "hook-secret").chmod(0o644)

    result = _check(tmp_path, text, {})

    assert [(warning.key, warning.hint) for warning in result.warnings] == [
        ("notifiers.hook.secret_file", f"Type: chmod 600 {tmp_path}/hook-secret")
    ]


# ---- weak set-ups --------------------------------------------------------------------------------------


def test_one_way_to_call_is_weak(tmp_path: Path) -> None:
    """A second by the same server fails with the first; a record reaches nobody."""
    same = f'[notifiers.more]\nhost = "127.0.0.1"\n{MAIL_KEYS}'
    log = '[notifiers.log]\ntype = "journal"\n'

    for more in ("", same, log):
        text = replaced(MAIL, more + MAIL).replace(WHO, 'who = ["ann", "more"]' if more == same else WHO)
        assert "go one way only" in _warnings(tmp_path, text)["notifiers"]


def test_a_second_server_is_a_second_way(tmp_path: Path) -> None:
    """It fails apart from the first."""
    other = f'[notifiers.b]\nhost = "mail.example.net"\n{MAIL_KEYS}'

    assert "notifiers" not in _warnings(
        tmp_path,
        replaced(MAIL, other + MAIL).replace(WHO, f'{WHO}\npass_on_after_s = 600\npass_on_to = ["b"]'),
    )


def test_a_record_alone_reaches_nobody(tmp_path: Path) -> None:
    """The journal does not wake anybody."""
    text = SOUND.split(MAIL)[0] + '[notifiers.log]\ntype = "journal"\n'

    assert "they reach nobody" in _warnings(tmp_path, text)["calls"]


@pytest.mark.parametrize(
    ("tell", "message"),
    [
        ('["medium", "report"]', "no call tells anybody of high alarms."),
        ('["high", "report"]', "no call tells anybody of medium alarms."),
        ('["high", "medium"]', "no call tells the morning report."),
    ],
)
def test_what_nobody_is_told_is_weak(tmp_path: Path, tell: str, message: str) -> None:
    """An alarm that nobody hears is none."""
    assert _warnings(tmp_path, replaced('["high", "medium", "report"]', tell))["calls"] == message


@pytest.mark.parametrize(
    ("old", "new", "key"),
    [
        (MAIL, MAIL, "liveness"),
        (MAIL, f'[notifiers.log]\ntype = "journal"\n{MAIL}', "notifiers.log"),
        (MAIL, f'[people.tom]\nnotifiers = ["mail"]\n{MAIL}', "people.tom"),
        (WHO, f"{WHO}\npass_on_after_s = 600", "calls[1].pass_on_after_s"),
        (MAIL, f'[broker]\nhost = "192.0.2.7"\n{MAIL}', "broker.password_file"),
        (MAIL, f"[broker]\nembedded = true\n{MAIL}", "broker.embedded"),
        (MAIL, f'[web]\nlisten = "0.0.0.0:8380"\n{MAIL}', "web.password_file"),
        (MAIL, f'[web]\nlisten = "[::]:8380"\n{MAIL}', "web.password_file"),
        (MAIL, f"[alarms.low-temperature]\non_delay_s = 3600\n{MAIL}", "alarms.low-temperature.on_delay_s"),
        (MAIL, f"[alarms.low-temperature]\non_samples = 60\n{MAIL}", "alarms.low-temperature.on_samples"),
        (MAIL, f"[houses.empty]\n{MAIL}", "houses.empty"),
    ],
)
def test_a_weak_set_up_is_told_at_its_key(tmp_path: Path, old: str, new: str, key: str) -> None:
    """It starts all the same."""
    assert key in _warnings(tmp_path, replaced(old, new))


def test_a_password_in_the_clear_is_weak(tmp_path: Path) -> None:
    """To another machine without TLS."""
    (tmp_path / "p").write_text("secret")
    broker = f'[broker]\nhost = "192.0.2.7"\nusername = "u"\npassword_file = "p"\n{MAIL}'

    assert "broker.tls" in _warnings(tmp_path, replaced(MAIL, broker))


@pytest.mark.parametrize("listen", ["127.0.0.1:8380", "localhost:8380", "[::1]:8380"])
def test_a_page_for_this_machine_alone_needs_no_password(tmp_path: Path, listen: str) -> None:
    """Nobody else can open it."""
    text = replaced(MAIL, f'[web]\nlisten = "{listen}"\n{MAIL}')

    assert "web.password_file" not in _warnings(tmp_path, text)


# ---- trees against the house ---------------------------------------------------------------------------


def test_a_slow_sensor_is_weak_where_it_guards_a_tender_tree(tmp_path: Path) -> None:
    """Without a book it is weak at once: nobody knows what it will guard."""
    text = replaced(TOPIC, f"{TOPIC}\nevery_s = 600")
    key = "sensors.bench-a.every_s"

    assert key not in _warnings(tmp_path, text, {"yew-2": _tree("Yew 2")})
    assert "for Yew 2 in a night" in _warnings(tmp_path, text, {"yew-2": _tree("Yew 2", "root-prune")})[key]
    assert key in {warning.key for warning in _check(tmp_path, text).warnings}


def test_one_sensor_alone_for_many_trees_is_weak(tmp_path: Path) -> None:
    """Four and more, unless a second sensor hangs in the same house."""
    trees = {f"yew-{number}": _tree(f"Yew {number}") for number in range(4)}
    second = f'[sensors.bench-b]\nhouse = "cold"\ntopic = "b"\n{MAIL}'

    assert "guards 4 trees" in _warnings(tmp_path, SOUND, trees)["sensors.bench-a"]
    assert "sensors.bench-a" not in _warnings(tmp_path, replaced(MAIL, second), trees)
    assert "sensors.bench-a" not in _warnings(tmp_path, SOUND, dict(list(trees.items())[:3]))


def test_a_heater_set_too_low_for_a_tree_is_weak(tmp_path: Path) -> None:
    """A fresh heavy bend is warned of at 1.5; at a setpoint of 2.5 the house may fall to 1.0 unnoticed."""
    key = "houses.cold.heater_setpoint_c"
    tree = {"larch-3": _tree("Larch 3", "heavy-bend")}

    low = _warnings(tmp_path, replaced(HOUSE, "heater_setpoint_c = 2.5"), tree)
    assert low[key] == (
        "Larch 3 is warned of at 1.5 °C, and the house may fall to 1 °C "
        "before its heater counts as not holding."
    )
    assert key not in _warnings(tmp_path, replaced(HOUSE, "heater_setpoint_c = 3"), tree)


def test_somebody_too_far_away_is_weak(tmp_path: Path) -> None:
    """At a setpoint of 4 the heater counts as failed at 2.5; at 3 K an hour harm at 0 is 50 min away."""
    tree, house = (
        {"larch-3": _tree("Larch 3", "heavy-bend")},
        replaced(HOUSE, HOUSE + "\nheater_setpoint_c = 4"),
    )
    key = "people.ann.reach_s"
    far = house.replace("[people.ann]", "[people.ann]\nreach_s = 3600")
    near = far.replace('who = ["ann"]', 'who = ["ann", "tom"]') + '\n[people.tom]\nnotifiers = ["mail"]\n'

    assert _warnings(tmp_path, far, tree)[key] == (
        "from the first sign of cold in Cold house to harm to Larch 3 it may take 50 min, and Ann needs 60."
    )
    assert key not in _warnings(tmp_path, house, tree)
    assert key not in _warnings(tmp_path, near, tree)
    assert key not in _warnings(tmp_path, far, {"yew-2": _tree("Yew 2", "light-wiring")})


def test_a_tree_that_must_not_freeze_in_a_house_without_a_heater_is_weak(tmp_path: Path) -> None:
    """In most climates such a house freezes."""
    found = _warnings(tmp_path, SOUND, {"larch-3": _tree("Larch 3", "heavy-bend")})

    assert "no heater is known" in found["houses.cold.heater_setpoint_c"]
    assert "houses.cold.heater_setpoint_c" not in _warnings(
        tmp_path, SOUND, {"yew-2": _tree("Yew 2", "deadwood")}
    )


def test_without_a_book_the_setpoint_is_held_against_the_plans(tmp_path: Path) -> None:
    """So that somebody who only sets up learns what the house is too cold for."""
    warnings = _check(tmp_path, replaced(HOUSE, "heater_setpoint_c = 4")).warnings

    message = next(warning.message for warning in warnings if warning.key == "houses.cold.heater_setpoint_c")
    assert message == "the house may fall to 2.5 °C; too cold while fresh for: graft (5 °C)."


def test_a_tree_at_a_sensor_that_is_not_configured_is_told(tmp_path: Path) -> None:
    """It is unwatched; one that is known to stand elsewhere, or has left, is not."""
    trees = {
        "yew-1": _tree("Yew 1", sensor="bench-z"),
        "yew-2": _tree("Yew 2", sensor=None),
    }

    found = _warnings(tmp_path, SOUND, trees)

    assert found["sensors.bench-z"].startswith('Yew 1 stands at sensor "bench-z"')
    assert not any("Yew 2" in message for message in found.values())


def test_a_tree_whose_limit_its_place_does_not_hold_most_nights_is_told(tmp_path: Path) -> None:
    """The hint is the three things that one can do."""
    settings = load_settings(written(tmp_path, SOUND), {})
    trees = {"larch-3": _tree("Larch 3", "heavy-bend"), "yew-2": _tree("Yew 2")}
    result = check(settings, trees, NOW_S, lows_c={"bench-a": (-2.0,) * 4 + (None, 5.0, 5.0)})

    (warning,) = [each for each in result.warnings if each.key == "sensors.bench-a.nights"]
    assert "in 4 of the last 6 nights, and damage to Larch 3 is likely there." in warning.message
    assert warning.hint == "Move the tree, heat, or accept a lower limit with your reason."


def test_nights_that_nobody_knows_say_nothing(tmp_path: Path) -> None:
    """A new installation."""
    assert "sensors.bench-a.nights" not in _warnings(
        tmp_path, SOUND, {"larch-3": _tree("Larch 3", "heavy-bend")}
    )
