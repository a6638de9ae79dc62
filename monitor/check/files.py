"""The files that settings name: whether they are there, can be read, and are kept from others' eyes.

It looks into secrets only to see that there is something in them, and repeats nothing of what they hold.
"""

import stat
from collections.abc import Iterator

from monitor.errors import SettingsError
from monitor.settings import Settings, read_secret, secret_path
from monitor.settings.words import Found
from monitor.toml_file import KeyPath

PUBLIC = ("ca_file", "cert_file", "tls_cert_file")
"""Certificates are no secrets."""


def secrets_and_files(settings: Settings) -> Iterator[tuple[Found, bool]]:
    """What is wrong (True) or weak (False) with each file that the settings name."""
    for path, name in _named_files(settings):
        try:
            read_secret(settings, name)
        except SettingsError as error:
            problem = error.problems[0]
            message = f'"{name}": {problem.message}'
            yield (path, message, f"{problem.hint} It was looked for at {problem.file}."), True
            continue
        if path[-1] in PUBLIC:
            continue
        if secret_path(settings, name).stat().st_mode & stat.S_IROTH:
            message = f'everybody on this machine can read "{name}".'
            yield (path, message, f"Type: chmod 600 {secret_path(settings, name)}"), False


def _named_files(settings: Settings) -> Iterator[tuple[KeyPath, str]]:
    """Each key that names a file, with that name."""
    for part, values in (("broker", settings.broker.model_dump()), ("web", settings.web.model_dump())):
        for key, value in values.items():
            if key.endswith("_file") and isinstance(value, str):
                yield (part, key), value
    for name, notifier in settings.notifiers.items():
        for key, value in (notifier.model_extra or {}).items():
            if key.endswith("_file") and isinstance(value, str):
                yield ("notifiers", name, key), value
