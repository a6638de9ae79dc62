"""Where settings come from and which word counts: file, environment, service manager, defaults.

No outside truth: these are the program's own rules.
"""

import os
from pathlib import Path

import pytest

from monitor import shipped
from monitor.errors import SettingsError
from monitor.settings import Settings, load_settings, read_secret, secret_path
from tests.settings.installation import SOUND, replaced, written

MAIL = "[notifiers.mail]"


# ---- which file ----------------------------------------------------------------------------------------


def test_the_file_under_the_current_folder_comes_before_the_systems(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`config/monitor.toml` first, then the one in `/etc`."""
    monkeypatch.chdir(tmp_path)
    system = written(tmp_path, replaced("Heather Bank", "The system's"), "system.toml")
    monkeypatch.setattr("monitor.settings.IN_SYSTEM", system)

    assert load_settings(None, {}).site.name == "The system's"

    (tmp_path / "config").mkdir()
    written(tmp_path / "config")

    assert load_settings(None, {}).site.name == "Heather Bank"


def test_a_named_file_is_the_only_one_looked_at(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """`--config` stands over both places."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "config").mkdir()
    written(tmp_path / "config")

    named = written(tmp_path, replaced("Heather Bank", "Elsewhere"), "mine.toml")

    assert load_settings(named, {}).site.name == "Elsewhere"


def test_a_file_saved_elsewhere_is_read_all_the_same(tmp_path: Path) -> None:
    """With a byte order mark and carriage returns, as some editors write."""
    path = tmp_path / "monitor.toml"
    path.write_bytes(b"\xef\xbb\xbf" + SOUND.replace("\n", "\r\n").encode())

    assert load_settings(path, {}).site.timezone == "Europe/London"


# ---- which word counts ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("variable", "value", "seen"),
    [
        ("AFTERCARE_SITE__NAME", "Elsewhere", lambda settings: settings.site.name),
        ("AFTERCARE_BROKER__HOST", "192.0.2.7", lambda settings: settings.broker.host),
        ("AFTERCARE_WEB__LISTEN", "0.0.0.0:80", lambda settings: settings.web.listen),
        ("AFTERCARE_LIVENESS__URL", "https://example.org/x", lambda settings: settings.liveness.url),
    ],
)
def test_environment_over_file_over_default(tmp_path: Path, variable: str, value: str, seen) -> None:  # type: ignore[no-untyped-def]
    """Each of the parts that it reaches, by name."""
    text = replaced(MAIL, f'[liveness]\nurl = "https://example.org/file"\n[broker]\nport = 1884\n{MAIL}')
    path = written(tmp_path, text)

    settings = load_settings(path, {variable: value})

    assert seen(settings) == value
    assert seen(load_settings(path, {})) != value
    assert settings.broker.port == 1884
    assert settings.broker.client_id == "aftercare"


def test_the_environment_gives_numbers_flags_lists_and_whole_parts(tmp_path: Path) -> None:
    """As text, as every variable is; a list and a part as JSON."""
    settings = load_settings(
        written(tmp_path),
        {
            "AFTERCARE_BROKER__TLS": "true",
            "AFTERCARE_SITE__LATITUDE_DEG": "-12.5",
            "AFTERCARE_WEB__HOSTS": '["house.example.org"]',
            "AFTERCARE_STATE": '{"keep_days": 30}',
        },
    )

    assert settings.broker.tls is True
    assert settings.site.latitude_deg == -12.5
    assert settings.web.hosts == ("house.example.org",)
    assert settings.state.keep_days == 30


def test_other_variables_of_that_name_are_left_alone(tmp_path: Path) -> None:
    """Scripts around the program may have theirs; only `AFTERCARE_PART__KEY` is meant for it."""
    assert load_settings(written(tmp_path), {"AFTERCARE_VENV": "/opt/x", "HOME": "/root"}) == load_settings(
        written(tmp_path), {}
    )


def test_the_real_environment_is_not_looked_at_unless_it_is_given(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The environment is an argument."""
    monkeypatch.setenv("AFTERCARE_BROKER__HOST", "192.0.2.7")

    assert load_settings(written(tmp_path), {}).broker.host == "127.0.0.1"
    assert load_settings(written(tmp_path), os.environ).broker.host == "192.0.2.7"


# ---- folders and files ---------------------------------------------------------------------------------


def test_the_state_directory_stands_beside_the_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Wherever the program is started from."""
    (tmp_path / "config").mkdir()
    written(tmp_path / "config")
    monkeypatch.chdir(tmp_path)

    assert load_settings(None, {}).state.directory == tmp_path / "config" / "state"


def test_the_service_managers_first_state_directory_stands_over_all(tmp_path: Path) -> None:
    """`StateDirectory=` may name several; the first is ours."""
    environ = {
        "STATE_DIRECTORY": "/var/lib/aftercare:/var/lib/other",
        "AFTERCARE_STATE__DIRECTORY": "elsewhere",
    }

    assert load_settings(written(tmp_path), environ).state.directory == Path("/var/lib/aftercare")
    del environ["STATE_DIRECTORY"]
    assert load_settings(written(tmp_path), environ).state.directory == tmp_path / "elsewhere"


def test_plans_are_those_named_else_those_beside_the_file_else_the_shipped_ones(tmp_path: Path) -> None:
    """None stands for the shipped ones."""
    path = written(tmp_path)

    assert load_settings(path, {}).plans is None
    (tmp_path / "plans.toml").touch()
    assert load_settings(path, {}).plans == tmp_path / "plans.toml"
    (tmp_path / "mine.toml").touch()
    written(tmp_path, f'plans = "mine.toml"\n{SOUND}')
    assert load_settings(path, {}).plans == tmp_path / "mine.toml"


# ---- what a small file leaves out ----------------------------------------------------------------------


def _smallest(tmp_path: Path) -> Settings:
    site = SOUND.split("[houses.cold]")[0]
    text = f'{site}[sensors.bench-a]\ntopic = "heather/bench-a"\n[notifiers.mail]\ntype = "email"\n'
    return load_settings(written(tmp_path, text), {})


def test_the_smallest_useful_file_is_a_site_a_sensor_and_a_way_to_reach_somebody(tmp_path: Path) -> None:
    """One house comes into being, and everybody is told everything."""
    settings = _smallest(tmp_path)

    assert settings.houses["house"].name == "house"
    assert settings.sensors["bench-a"].house == "house"
    assert [(call.tell, call.who) for call in settings.calls] == [
        (("high", "medium", "low", "report"), ("mail",))
    ]


def test_without_calls_people_are_told_and_the_notifiers_that_are_nobodys(tmp_path: Path) -> None:
    """A notifier that belongs to a person is reached through the person."""
    text = SOUND.split("[[calls]]")[0] + '[notifiers.log]\ntype = "journal"\n'

    assert load_settings(written(tmp_path, text), {}).calls[0].who == ("ann", "log")


def test_two_houses_are_never_guessed(tmp_path: Path) -> None:
    """A slip of the pen would make a second house that nobody guards."""
    text = SOUND.replace('[houses.cold]\nname = "Cold house"\n', "")
    text = text.replace(MAIL, f'[sensors.bench-b]\nhouse = "clod"\ntopic = "heather/b"\n{MAIL}')

    with pytest.raises(SettingsError) as caught:
        load_settings(written(tmp_path, text), {})

    assert [problem.key for problem in caught.value.problems] == [
        "sensors.bench-a.house",
        "sensors.bench-b.house",
    ]


@pytest.mark.parametrize(
    "more",
    [
        'payload = "senml"\nname = "urn:dev:a"\n[sensors.b]\nhouse = "cold"\ntopic = "t"\nname = "urn:dev:b"',
        (
            'payload = "json"\ntemperature_c = "/0/t"\n'
            '[sensors.b]\nhouse = "cold"\ntopic = "t"\npayload = "json"\ntemperature_c = "/1/t"'
        ),
    ],
    ids=["names", "pointers"],
)
def test_sensors_may_share_a_topic_when_they_take_different_values(tmp_path: Path, more: str) -> None:
    """A receiver often publishes all its sensors in one message."""
    text = replaced('topic = "heather/cold/bench-a"', f'topic = "t"\n{more}')

    assert set(load_settings(written(tmp_path, text), {}).sensors) == {"bench-a", "b"}


@pytest.mark.parametrize("other", ["urn:dev:a", "urn:dev:a:", "urn:dev:a/"])
def test_a_name_with_or_without_its_last_separator_is_the_same_name(tmp_path: Path, other: str) -> None:
    """So two such sensors would take the same records."""
    more = f'name = "urn:dev:a:"\n[sensors.b]\nhouse = "cold"\ntopic = "t"\nname = "{other}"'
    text = replaced('topic = "heather/cold/bench-a"', f'topic = "t"\n{more}')

    with pytest.raises(SettingsError):
        load_settings(written(tmp_path, text), {})


# ---- secrets -------------------------------------------------------------------------------------------


def test_a_secret_comes_from_the_credentials_first_then_from_beside_the_file(tmp_path: Path) -> None:
    """Relative names only; the trailing newline is the editor's, not the secret's."""
    given = tmp_path / "credentials"
    given.mkdir()
    (tmp_path / "word").write_text("beside\n")
    (tmp_path / "other").write_text("  other \r\n")
    settings = load_settings(written(tmp_path), {"CREDENTIALS_DIRECTORY": str(given)})

    assert read_secret(settings, "word") == "beside"
    (given / "word").write_text("given\n")
    assert read_secret(settings, "word") == "given"
    assert read_secret(settings, "other") == "  other "
    assert secret_path(settings, str(tmp_path / "word")) == tmp_path / "word"


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (None, "there is no such file. Make it, readable by the program only."),
        (b"\n", "the file is empty. Write the secret into it, on one line."),
        (b"\xff\xfe", "the file is not UTF-8 text. Write the secret as one line of text."),
        (b"x" * 100_000, "the file is too large for a secret. Check that this is the right file."),
    ],
    ids=["missing", "empty", "not-utf-8", "huge"],
)
def test_a_secret_that_cannot_be_had_is_told_with_its_path(
    tmp_path: Path, content: bytes | None, words: str
) -> None:
    """And never with what stands in it."""
    settings = load_settings(written(tmp_path), {})
    if content is not None:
        (tmp_path / "word").write_bytes(content)

    with pytest.raises(SettingsError) as caught:
        read_secret(settings, "word")

    assert str(caught.value) == f"{tmp_path}/word: {words}"


def test_a_name_that_no_file_can_have_is_told(tmp_path: Path) -> None:
    """TOML can write a zero character; a file's name cannot."""
    with pytest.raises(SettingsError, match="no file can have this name"):
        read_secret(load_settings(written(tmp_path), {}), "a\0b")


# ---- shipped -------------------------------------------------------------------------------------------


def test_the_shipped_example_loads(tmp_path: Path) -> None:
    """As it is."""
    text = shipped.text("monitor.toml")

    assert load_settings(written(tmp_path, text), {}).site.name == "Heather Bank"


def test_every_key_of_the_settings_stands_in_the_shipped_example() -> None:
    """Live or commented: the example is where people look keys up."""
    text = shipped.text("monitor.toml")
    missing = [
        f"{part}.{field.alias or name}"
        for part, model in _parts()
        for name, field in model.model_fields.items()
        if f"{field.alias or name} =" not in text
    ]

    assert missing == []


def _parts():  # type: ignore[no-untyped-def]
    from monitor import settings

    names = ("Site", "State", "Recording", "Broker", "House", "Sensor", "AlarmSettings", "Person", "Call")
    return [(name, getattr(settings, name)) for name in (*names, "QuietHours", "Liveness", "Web")]
