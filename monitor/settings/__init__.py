"""The installation as frozen values: `config/monitor.toml` and the environment -> Settings.

It knows files and keys, never readings or alarms. All problems are reported at once, each with its file, line
and dotted key. How a value may look stands in `types`, what must agree with what in `checks`,
the words for people in `words`.
"""

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Literal
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ConfigDict, Field

from monitor.errors import Problem, SettingsError
from monitor.model import Place, Quantity
from monitor.settings.types import (
    Count,
    Id,
    Listen,
    Name,
    NameOrNone,
    Number,
    Text,
    TimeOfDay,
    Topic,
    WebAddress,
    Zone,
    between,
    not_empty,
)

IN_FOLDER = Path("config/monitor.toml")
IN_SYSTEM = Path("/etc/aftercare/monitor.toml")

WEB_PASSWORD = "web-password"  # noqa: S105  a file's name
"""The page's password where no other file is named: beside the settings, or among the credentials."""

LONGEST_SECRET = 64 * 1024
"""More than any password or key file holds [bytes]."""


class Part(BaseModel):
    """A frozen part of the settings; unknown keys are errors."""

    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=True, allow_inf_nan=False)


class Site(Part):
    """One installation."""

    name: Name
    timezone: Zone
    latitude_deg: Annotated[Number, between(-90, 90)]
    longitude_deg: Annotated[Number, between(-180, 180)]
    elevation_m: Annotated[Number, between(-450, 9000)] = 0.0
    report_at: TimeOfDay = "06:45"
    show: Literal["celsius", "fahrenheit"] = "celsius"

    @property
    def zone(self) -> ZoneInfo:
        """The site's time zone."""
        return ZoneInfo(self.timezone)


class State(Part):
    """Where the program keeps what it must not lose; loaded settings hold an absolute directory."""

    directory: Path = Path("state")
    keep_days: Annotated[Count, between(1, 36500)] = 400


class Recording(Part):
    """Raw messages, for replay."""

    keep_days: Annotated[Count, between(1, 36500)] = 30


class Broker(Part):
    """The MQTT broker."""

    host: Text = "127.0.0.1"
    port: Annotated[Count, between(1, 65535)] = 1883
    client_id: Text = "aftercare"
    username: Text | None = None
    password_file: Text | None = None
    tls: bool = False
    ca_file: Text | None = None
    cert_file: Text | None = None
    key_file: Text | None = None
    embedded: bool = False


class House(Part):
    """One greenhouse: one body of air."""

    name: NameOrNone = ""
    outdoor: str | None = None
    heater_setpoint_c: Annotated[Number, between(-20, 40)] | None = None
    forecast_topic: Topic | None = None


class Sensor(Part):
    """A device that reports temperature and usually humidity."""

    house: str
    place: Place = Place.BENCH
    topic: Topic
    payload: Text = "senml"
    every_s: Annotated[Number, between(1, 3600)] = 60.0
    longest_gap_s: Annotated[Number, between(1, 7 * 86400)] | None = None
    name: Text | None = None
    quantity: Quantity | None = None
    temperature_c: str | None = None
    relative_humidity_pct: str | None = None
    battery_pct: str | None = None
    observed_at: str | None = None
    temperature_offset_k: Annotated[Number, between(-10, 10)] = 0.0
    humidity_offset_pct: Annotated[Number, between(-30, 30)] = 0.0

    @property
    def silent_after_s(self) -> float:
        """How long without anything fresh before the sensor counts as silent [s]."""
        return self.longest_gap_s if self.longest_gap_s is not None else 3 * self.every_s

    @property
    def late_after_s(self) -> float:
        """How old a reading may be and still be a present one [s]."""
        return max(self.silent_after_s, 300.0)


class AlarmSettings(Part):
    """What may be set for any kind of alarm; None leaves the kind's own default."""

    deadband: Annotated[Number, between(0, 50)] | None = None
    on_delay_s: Annotated[Number, between(0, 86400)] | None = None
    on_samples: Annotated[Count, between(1, 100)] | None = None
    off_delay_s: Annotated[Number, between(0, 86400)] | None = None


class NotifierSettings(BaseModel):
    """One way to deliver a notice; the keys beside `type` belong to that type and are checked by it."""

    model_config = ConfigDict(frozen=True, extra="allow")

    type: Text


class Person(Part):
    """Somebody who can be told."""

    reach_s: Annotated[Number, between(0, 86400)] = 1800.0
    notifiers: Annotated[
        tuple[str, ...],
        not_empty("nobody can be reached without a notifier.", 'Write for example notifiers = ["mail"].'),
    ]


class Call(Part):
    """Who is told what, and who is next if nobody answers."""

    tell: Annotated[
        tuple[Literal["high", "medium", "low", "report"], ...],
        not_empty("the call tells nothing.", 'Write for example tell = ["high", "medium"].'),
    ]
    who: Annotated[
        tuple[str, ...],
        not_empty(
            "the call tells nobody.", 'Write the id of a person or of a notifier, for example who = ["ann"].'
        ),
    ]
    pass_on_after_s: Annotated[Number, between(10, 86400)] | None = None
    pass_on_to: tuple[str, ...] = ()


class QuietHours(Part):
    """Local times between which only what cannot wait may ring."""

    from_: TimeOfDay = Field(alias="from")
    to: TimeOfDay


class Liveness(Part):
    """An address that hears from us as long as we really guard."""

    url: WebAddress
    every_s: Annotated[Number, between(1, 86400)] = 300.0


class Web(Part):
    """The page."""

    listen: Listen = "127.0.0.1:8380"
    password_file: Text | None = None
    hosts: tuple[Text, ...] = ()
    tls_cert_file: Text | None = None
    tls_key_file: Text | None = None


class Settings(Part):
    """The whole installation.

    Loaded settings hold `file` as it was named, `credentials` as the service manager gave it, an absolute
    `state.directory`, `plans` where there is a plans file of one's own, and at least one house and one call.
    """

    file: Path = Path("monitor.toml")
    credentials: Path | None = None
    plans: Path | None = None
    site: Site
    state: State = State()
    recording: Recording = Recording()
    broker: Broker = Broker()
    houses: dict[Id, House] = Field(default_factory=dict)
    sensors: dict[Id, Sensor]
    alarms: dict[str, AlarmSettings] = Field(default_factory=dict)
    notifiers: dict[Id, NotifierSettings]
    people: dict[Id, Person] = Field(default_factory=dict)
    calls: tuple[Call, ...] = ()
    quiet_hours: QuietHours | None = None
    liveness: Liveness | None = None
    web: Web = Web()


def load_settings(path: Path | None, environ: Mapping[str, str]) -> Settings:
    """The settings of a file with the environment over them; SettingsError lists all their problems.

    `path` None looks for `config/monitor.toml` under the current folder, then in `/etc/aftercare`.
    `AFTERCARE_BROKER__HOST` and its like reach `site`, `state`, `broker`, `web` and `liveness`;
    `STATE_DIRECTORY` (its first path) and `CREDENTIALS_DIRECTORY` are those of the service manager.
    """
    from monitor.settings.load import draft_settings

    settings, problems = draft_settings(path, environ).settings()
    if settings is None:
        raise SettingsError(problems)
    return settings


def find_settings_file(path: Path | None) -> Path:
    """The file that was named, else the first that exists; SettingsError where there is none."""
    if path is not None:
        return path
    for candidate in (IN_FOLDER, IN_SYSTEM):
        try:
            if candidate.is_file():
                return candidate
        except OSError:
            return candidate  # it is there and closed to us: reading it says so
    raise SettingsError(
        [
            Problem(
                file=str(IN_FOLDER),
                message=f"there is no such file here, and no {IN_SYSTEM}.",
                hint="Make one with `aftercare init`, or name yours with --config.",
            )
        ]
    )


def secret_path(settings: Settings, name: str) -> Path:
    """Where a secret or certificate stands: a relative name is looked for in the credentials first."""
    if settings.credentials is not None and not Path(name).is_absolute():
        given = settings.credentials / name
        if given.is_file():
            return given
    return settings.file.parent / name


def read_secret(settings: Settings, name: str) -> str:
    """The text of a secret without its trailing newline; SettingsError says why it cannot be had."""
    path = secret_path(settings, name)
    try:
        with path.open("rb") as file:
            content = file.read(LONGEST_SECRET + 1)
        text = content.decode().rstrip("\r\n")
    except FileNotFoundError:
        raise _no_secret(path, "there is no such file.", "Make it, readable by the program only.") from None
    except OSError as error:
        reason = (error.strerror or "unknown reason").lower()
        raise _no_secret(path, f"the file cannot be read: {reason}.", "Check its rights.") from None
    except UnicodeDecodeError:
        raise _no_secret(
            path, "the file is not UTF-8 text.", "Write the secret as one line of text."
        ) from None
    except ValueError:
        raise _no_secret(path, "no file can have this name.", "Write another name.") from None
    if len(content) > LONGEST_SECRET:
        raise _no_secret(path, "the file is too large for a secret.", "Check that this is the right file.")
    if not text.strip():
        raise _no_secret(path, "the file is empty.", "Write the secret into it, on one line.")
    return text


def _no_secret(path: Path, message: str, hint: str) -> SettingsError:
    return SettingsError([Problem(file=str(path), message=message, hint=hint)])
