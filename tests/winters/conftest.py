"""The three winters that are made and guarded once, for all tests of this room."""

import pytest

from tests.winters.guarded import Heard
from tests.winters.winters import HARDY, KEPT, TENDER


@pytest.fixture(scope="session")
def unheated() -> Heard:
    """A tender tree in a house without a heater, near its limit on every third night."""
    return TENDER.heard()


@pytest.fixture(scope="session")
def heated() -> Heard:
    """A tender tree in a house kept at four degrees, whose heater goes out in six cold nights."""
    return KEPT.heard()


@pytest.fixture(scope="session")
def hardy() -> Heard:
    """A hardened tree in a light house of which nobody knows the air outside."""
    return HARDY.heard()
