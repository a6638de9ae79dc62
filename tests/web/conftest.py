"""One broker and one night for all tests of the page; scenes and browsers are made as a test needs them."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.support.broker import Mosquitto, need_broker
from tests.web.scene import OVER_NOW, QUIET_NOW, Night, Scene, play_night
from tests.web.surfer import Surfer, surfer


@pytest.fixture(scope="session")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mosquitto]:
    """A message post of our own."""
    with Mosquitto(need_broker(), tmp_path_factory.mktemp("page-broker")) as opened:
        yield opened


@pytest.fixture(scope="session")
def night(tmp_path_factory: pytest.TempPathFactory) -> Night:
    """A night in which the heater went out."""
    return play_night(tmp_path_factory.mktemp("night"))


@pytest.fixture(scope="session")
def quiet_night(tmp_path_factory: pytest.TempPathFactory) -> Night:
    """An evening on which the heater holds the house."""
    return play_night(tmp_path_factory.mktemp("quiet-night"), QUIET_NOW)


@pytest.fixture(scope="session")
def over_night(tmp_path_factory: pytest.TempPathFactory) -> Night:
    """The morning after: somebody has lit the heater."""
    return play_night(tmp_path_factory.mktemp("over-night"), OVER_NOW)


@pytest.fixture
def make_scene(tmp_path: Path, broker: Mosquitto) -> Iterator[Callable[..., Scene]]:
    """A guarded house, as often as a test asks for one."""
    opened: list[Scene] = []

    def make(night: Night, **more: Any) -> Scene:
        scene = Scene(tmp_path / f"scene-{len(opened)}", broker.port, night, **more)
        opened.append(scene.__enter__())
        return scene

    yield make
    for scene in opened:
        scene.__exit__()


@pytest.fixture
def scene(make_scene: Callable[..., Scene], night: Night) -> Scene:
    """A quarter past three, the heater out."""
    return make_scene(night)


@pytest.fixture(scope="module")
def looked_at(tmp_path_factory: pytest.TempPathFactory, broker: Mosquitto, night: Night) -> Iterator[Scene]:
    """The same for tests that only look."""
    with Scene(tmp_path_factory.mktemp("looked-at"), broker.port, night) as opened:
        yield opened


@pytest.fixture(scope="session")
def browser() -> Iterator[Surfer]:
    """A real browser; tests set its device themselves."""
    with surfer() as opened:
        yield opened
