"""`init`: a few questions, and a commented settings file that passes `check`."""

import json
import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from monitor.cli import show
from monitor.cli.first_page import open_page, own_name
from monitor.cli.options import Config, example
from monitor.cli.where import city_of, system_zone
from monitor.errors import AftercareError, UsageError
from monitor.safety import SAFETY_TEXT
from monitor.settings import IN_FOLDER, IN_SYSTEM

BROKER_FILE = "broker-password"
"""Lies beside the settings where the installation has set up the message post."""

SiteName = Annotated[str | None, typer.Option("--site", metavar="NAME", help="What the place is called.")]
TimeZone = Annotated[
    str | None, typer.Option("--timezone", metavar="ZONE", help="Area and city: Europe/London.")
]
Latitude = Annotated[float | None, typer.Option("--latitude", metavar="DEG", help="North is positive.")]
Longitude = Annotated[float | None, typer.Option("--longitude", metavar="DEG", help="East is positive.")]
Topic = Annotated[
    str | None, typer.Option("--topic", metavar="TOPIC", help="What the first sensor publishes to.")
]
Mail = Annotated[str | None, typer.Option("--mail", metavar="ADDRESS", help="Where alerts and reports go.")]
Yes = Annotated[bool, typer.Option("--yes", help="Ask nothing: what no option says stays as proposed.")]


def add_to(app: typer.Typer) -> None:
    """Hang the command into the tree."""
    line = 'init --site "Heather Bank" --timezone Europe/London --topic heather/bench --yes'
    app.command("init", epilog=example("init", line))(init)


MAIL_PORT = 25


@dataclass(frozen=True, slots=True)
class Answers:
    """What the file is made from; `mail` empty: nobody is called yet."""

    site: str
    timezone: str
    latitude_deg: float
    longitude_deg: float
    topic: str
    mail: str


def init(
    site: SiteName = None,
    timezone: TimeZone = None,
    latitude: Latitude = None,
    longitude: Longitude = None,
    topic: Topic = None,
    mail: Mail = None,
    yes: Yes = False,
    config: Config = None,
) -> int:
    """Make a settings file for your own house, with six questions; it never overwrites one.

    It makes the page's password and shows its address as a square for your phone's camera. At the end a test
    notice goes out, so that you know whether it reaches you.
    """
    path = config or IN_FOLDER
    if path.exists():
        raise UsageError(
            f"{path}: it is there already.", "Change it with an editor, or name another --config."
        )
    asked = _never if yes else _asker()
    name = site if site is not None else asked("What is the place called?", "My greenhouse")
    zone = timezone or asked("In which time zone is it?", system_zone() or "Europe/London")
    north, east = city_of(zone) or (50.0, 0.0)
    answers = Answers(
        name,
        zone,
        latitude if latitude is not None else _degrees(asked("How far north (degrees)?", f"{north:g}")),
        longitude if longitude is not None else _degrees(asked("How far east (degrees)?", f"{east:g}")),
        topic or asked("Which topic does the first sensor publish to?", "greenhouse/bench"),
        mail if mail is not None else asked("To which mail address do alerts go? (none: leave empty)", ""),
    )
    _write(path, settings_text(answers, (path.parent / BROKER_FILE).exists()))
    show.say(f"Written: {path}")
    open_page(path)
    show.items("What no program can promise", SAFETY_TEXT)
    return _test(path, answers)


def _asker() -> Callable[[str, str], str]:
    def ask(question: str, proposed: str) -> str:
        try:
            return str(typer.prompt(question, default=proposed)).strip()
        except typer.Abort:
            raise UsageError(
                "The questions were not answered, and nothing was written.",
                "Answer with options and --yes: `aftercare init --help` shows them.",
            ) from None

    return ask


def _never(question: str, proposed: str) -> str:
    del question
    return proposed


def _degrees(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise UsageError(f"{text!r} is not a number of degrees.", "Write it like 54.6 or -3.1.") from None


def _write(path: Path, text: str) -> None:
    """Only if it passes `check`; a file that does not is taken away again."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        raise UsageError(f"{path}: it is there already.", "Change it with an editor.") from None
    except OSError as error:
        raise AftercareError(f"{path}: it cannot be written ({error.strerror}).") from error
    from monitor.check import check_file

    found = check_file(path, os.environ)
    if not found.ok:
        path.unlink()
        said = (f"{each.key}: {each.message} {each.hint}".strip() for each in found.problems)
        raise UsageError("\n".join(["Nothing was written.", *said]))


def _test(path: Path, answers: Answers) -> int:
    """The loud test of the way to reach somebody; the file stays whatever comes of it."""
    from monitor.cli.trying import drill

    show.say()
    if not answers.mail:
        show.say("Nobody is called yet: give a way to reach you under [notifiers], then `aftercare drill`.")
        _next(path)
        return 0
    show.say(f"A test goes to {answers.mail} …")
    status = drill("mail", path)
    if status:
        show.say("The test did not get through. Correct [notifiers.mail] in the file, then: aftercare drill")
    else:
        show.say("Look whether it really arrived, and whether it is loud enough to wake you.")
    _next(path)
    return status


def _next(path: Path) -> None:
    given = "" if path in (IN_FOLDER, IN_SYSTEM) else f" --config {path}"
    run = "sudo systemctl restart aftercare" if path == IN_SYSTEM else f"aftercare run{given}"
    show.say()
    show.say("What to do next:")
    show.say(f"  aftercare listen{given}    hear what your sensors send, and get their blocks for the file")
    show.say(f"  aftercare check{given}     see what is wrong or weak")
    show.say(f"  {run}       guard")


def settings_text(answers: Answers, broker_password: bool = False) -> str:
    """The file, with what else can be said as comments; the broker's password, if there is one, is used."""
    house = _quoted(_sender(answers.mail))
    ways = _MAIL.format(mail=_quoted(answers.mail), house=house, port=MAIL_PORT)
    return _FILE.format(
        site=_quoted(answers.site),
        timezone=_quoted(answers.timezone),
        latitude_deg=answers.latitude_deg,
        longitude_deg=answers.longitude_deg,
        topic=_quoted(answers.topic),
        broker="" if broker_password else "# ",
        machine=_quoted(own_name()),
        ways=ways if answers.mail else _NOBODY,
        who='["mail", "log"]' if answers.mail else '["log"]',
    )


def _quoted(text: str) -> str:
    """A text as TOML writes it: JSON's quotes are a basic string there, too."""
    return json.dumps(text, ensure_ascii=False)


def _sender(mail: str) -> str:
    domain = mail.rpartition("@")[2] or "localhost"
    return f"greenhouse@{domain}"


_FILE = """\
# The installation. `aftercare check` says what is wrong or weak in it; a restart takes changes in.

[site]
name = {site}
timezone = {timezone}
latitude_deg = {latitude_deg}            # of the time zone's city, unless you said better
longitude_deg = {longitude_deg}          # east is positive
# elevation_m = 210
report_at = "06:45"              # local time of the morning report
# show = "fahrenheit"            # for people only

[broker]                         # the message post: an MQTT broker that your sensors publish to
host = "127.0.0.1"
port = 1883
{broker}username = "aftercare"
{broker}password_file = "broker-password"

[houses.house]                   # one greenhouse: one body of air
name = "Greenhouse"
# heater_setpoint_c = 4.0        # where there is a heater
# outdoor = "yard"               # the sensor that hangs outside, if there is one

[sensors.bench]                  # among the trees, at bench height, in the shade, away from heater and glass
house = "house"
place = "bench"
topic = {topic}
payload = "json"                 # senml, json or plain: `aftercare listen` shows what yours sends
temperature_c = "/temperature"   # where in the message it stands
relative_humidity_pct = "/humidity"
every_s = 60                     # how often it reports
# longest_gap_s = 3600           # for a sensor that reports only when something changes

{ways}
[notifiers.log]                  # a record in the system's journal; it wakes nobody
type = "journal"

[[calls]]
tell = ["high", "medium", "low", "report"]
who = {who}

[web]                            # the page for your phone; its password: aftercare web password
listen = "0.0.0.0:8380"          # "127.0.0.1:8380" keeps it to this machine
hosts = [{machine}]

# [quiet_hours]                  # what cannot wait rings all the same
# from = "22:30"
# to = "06:30"

# Without this a power cut is silent. Choose a service that calls you when it stops hearing from here.
# [liveness]
# url = "https://example.org/alive"
"""
_MAIL = """\
[notifiers.mail]
type = "email"
host = "127.0.0.1"               # the mail server that takes your mail
port = {port}
security = "none"                # none, starttls or tls; a password only over the latter two
from = {house}
to = [{mail}]
# username = "house"
# password_file = "mail-password"
"""
_NOBODY = """\
# [notifiers.mail]               # a way to reach you; then write who = ["mail", "log"] below
# type = "email"
# host = "127.0.0.1"
# port = 25
# security = "none"              # none, starttls or tls
# from = "greenhouse@example.org"
# to = ["you@example.org"]
"""
