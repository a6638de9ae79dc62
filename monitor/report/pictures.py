"""Has the pictures of a report drawn by a child process with a time limit, and puts them into its page.

The guard's own process never loads what draws. Whatever goes wrong, the page goes out and says so.
"""

import base64
import binascii
import json
import os
import subprocess
import sys
from collections.abc import Mapping

from monitor.report.drawing import NO_MATPLOTLIB
from monitor.report.html import illustrated, without_pictures
from monitor.report.picture_facts import from_json

WITHIN_S = 60.0
"""A slow small computer takes a minute for its very first picture; nobody waits for it but the report."""
LARGEST_BYTES = 4_000_000
"""More than a picture can have."""
PNG = b"\x89PNG\r\n\x1a\n"


class NotDrawn(Exception):
    """There are no pictures; the message says why, for people."""


def draw(facts: str, within_s: float = WITHIN_S) -> list[bytes]:
    """The pictures as PNG files in the order of their facts [JSON]; NotDrawn says why there are none."""
    number = len(from_json(facts))
    if not number:
        return []
    command = [sys.executable, "-P", "-m", "monitor.report.drawing"]
    try:
        done = subprocess.run(  # noqa: S603 - our own interpreter and our own module
            command,
            input=facts.encode(),
            capture_output=True,
            timeout=within_s,
            check=False,
            env=_environment(),
        )
    except subprocess.TimeoutExpired:
        raise NotDrawn(f"drawing took longer than {within_s:g} s") from None
    except OSError as error:
        raise NotDrawn(f"the program that draws could not be started ({error.strerror})") from error
    if done.returncode == NO_MATPLOTLIB:
        raise NotDrawn('what draws is not installed (the extra "pictures")')
    if done.returncode != 0:
        raise NotDrawn(f"the program that draws ended with status {done.returncode}")
    return _pictures(done.stdout, number)


def _environment() -> Mapping[str, str]:
    """Ours, with every place that we import from, so that the child is the same program."""
    paths = [path for path in sys.path if path]
    return {**os.environ, "PYTHONPATH": os.pathsep.join(paths), "MPLBACKEND": "Agg"}


def _pictures(output: bytes, number: int) -> list[bytes]:
    try:
        found = [base64.b64decode(text, validate=True) for text in json.loads(output)]
    except (ValueError, TypeError, binascii.Error):
        raise NotDrawn("the program that draws gave no pictures") from None
    if len(found) != number or any(not picture.startswith(PNG) for picture in found):
        raise NotDrawn("the program that draws gave no pictures")
    if any(len(picture) > LARGEST_BYTES for picture in found):
        raise NotDrawn("a picture came out too large")
    return found


def with_images(page: str, facts: str, within_s: float = WITHIN_S) -> str:
    """The page with its pictures inside it as `data:` images, or with a line that says why there are none."""
    told = from_json(facts)
    try:
        drawn = draw(facts, within_s)
    except NotDrawn as reason:
        return without_pictures(page, told, str(reason))
    images = {
        str(picture["house"]): f"data:image/png;base64,{base64.b64encode(png).decode()}"
        for picture, png in zip(told, drawn, strict=True)
    }
    return illustrated(page, told, images.__getitem__)
