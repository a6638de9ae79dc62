"""A real broker, an inbox in the guard's place, a publisher in the sensors'."""

import functools
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest

from monitor.intake.mqtt import Intake, Pace
from monitor.settings import Broker
from tests.intake.inbox import Inbox
from tests.intake.publisher import Publisher
from tests.support.broker import Mosquitto, need_broker

QUICK = Pace(first_s=0.05, longest_s=0.2)
"""Reconnects at once, so that tests need not wait."""


@pytest.fixture
def start_broker(tmp_path: Path) -> Iterator[Callable[..., Mosquitto]]:
    """Start a mosquitto with these lines of configuration; it ends with the test."""
    with ExitStack() as stack:

        def start(*settings: str, **more: Any) -> Mosquitto:
            return stack.enter_context(Mosquitto(need_broker(), tmp_path, settings, **more))

        yield start


@pytest.fixture
def broker(start_broker: Callable[..., Mosquitto]) -> Mosquitto:
    """A mosquitto that lets everybody in."""
    return start_broker()


@pytest.fixture
def start_intake(tmp_path: Path) -> Iterator[Callable[..., tuple[Intake, Inbox]]]:
    """Start an intake on a port; it ends with the test."""
    with ExitStack() as stack:

        def start(port: int, *topics: str, inbox: Inbox | None = None, **more: Any) -> tuple[Intake, Inbox]:
            inbox = inbox or Inbox()
            of_intake = {key: more.pop(key) for key in ("keepalive_s", "pace") if key in more}
            of_intake.setdefault("pace", QUICK)
            settings = Broker(port=port, **{"host": "127.0.0.1", "client_id": "guard", **more})
            find = functools.partial(Path.joinpath, tmp_path)
            intake = Intake(settings, topics or ("house/bench",), find, inbox.put, time.time, **of_intake)
            stack.callback(intake.stop)
            intake.start()
            return intake, inbox

        yield start


@pytest.fixture
def publisher_on() -> Iterator[Callable[..., Publisher]]:
    """A client that publishes to a port; it ends with the test."""
    with ExitStack() as stack:
        yield lambda port, **more: stack.enter_context(Publisher(port, **more))
