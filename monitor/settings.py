"""The installation as frozen values: `config/monitor.toml` and the environment -> Settings.

It knows files and keys, never readings or alarms. All problems are reported at once, each with its file and
dotted key.
"""

from pathlib import Path
from typing import Annotated, Literal
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ConfigDict, Field

from monitor.model import Place, Quantity

Id = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9_-]{0,62}$")]


class Part(BaseModel):
    """A frozen part of the settings; unknown keys are errors."""

    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=True)


class Site(Part):
    """One installation."""

    name: str
    timezone: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float = 0.0
    report_at: str = "06:45"
    show: Literal["celsius", "fahrenheit"] = "celsius"

    @property
    def zone(self) -> ZoneInfo:
        """The site's time zone."""
        return ZoneInfo(self.timezone)


class State(Part):
    """Where the program keeps what it must not lose."""

    directory: Path = Path("state")
    keep_days: int = 400


class Recording(Part):
    """Raw messages, for replay."""

    keep_days: int = 30


class Broker(Part):
    """The MQTT broker."""

    host: str = "127.0.0.1"
    port: int = 1883
    client_id: str = "aftercare"
    username: str | None = None
    password_file: str | None = None
    tls: bool = False
    ca_file: str | None = None
    cert_file: str | None = None
    key_file: str | None = None
    embedded: bool = False


class House(Part):
    """One greenhouse: one body of air."""

    name: str = ""
    outdoor: str | None = None
    heater_setpoint_c: float | None = None
    forecast_topic: str | None = None


class Sensor(Part):
    """A device that reports temperature and usually humidity."""

    house: str
    place: Place = Place.BENCH
    topic: str
    payload: str = "senml"
    every_s: float = 60.0
    longest_gap_s: float | None = None
    name: str | None = None
    quantity: Quantity | None = None
    temperature_c: str | None = None
    relative_humidity_pct: str | None = None
    battery_pct: str | None = None
    observed_at: str | None = None
    temperature_offset_k: float = 0.0
    humidity_offset_pct: float = 0.0

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

    deadband: float | None = None
    on_delay_s: float | None = None
    on_samples: int | None = None
    off_delay_s: float | None = None


class NotifierSettings(BaseModel):
    """One way to deliver a notice; the keys beside `type` belong to that type and are checked by it."""

    model_config = ConfigDict(frozen=True, extra="allow")

    type: str


class Person(Part):
    """Somebody who can be told."""

    reach_s: float = 1800.0
    notifiers: tuple[str, ...]


class Call(Part):
    """Who is told what, and who is next if nobody answers."""

    tell: tuple[Literal["high", "medium", "low", "report"], ...]
    who: tuple[str, ...]
    pass_on_after_s: float | None = None
    pass_on_to: tuple[str, ...] = ()


class QuietHours(Part):
    """Local times between which only what cannot wait may ring."""

    from_: str = Field(alias="from")
    to: str


class Liveness(Part):
    """An address that hears from us as long as we really guard."""

    url: str
    every_s: float = 300.0


class Web(Part):
    """The page."""

    listen: str = "127.0.0.1:8380"
    password_file: str | None = None
    hosts: tuple[str, ...] = ()
    tls_cert_file: str | None = None
    tls_key_file: str | None = None


class Settings(Part):
    """The whole installation."""

    file: Path = Path("monitor.toml")
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
