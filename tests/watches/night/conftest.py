"""Two houses that were watched for a fortnight, learnt once: one without a heater, one held at four."""

from dataclasses import replace

import pytest

from tests.watches.night.garden import COLD_HOUSE, Learnt, garden_settings, learnt_state

HEATED_HOUSE = replace(COLD_HOUSE, heater_w=2500.0, setpoint_c=4.0)


@pytest.fixture(scope="session")
def cold_house(tmp_path_factory: pytest.TempPathFactory) -> Learnt:
    """No heater."""
    return learnt_state(tmp_path_factory.mktemp("cold"), garden_settings(), COLD_HOUSE)


@pytest.fixture(scope="session")
def heated_house(tmp_path_factory: pytest.TempPathFactory) -> Learnt:
    """A heater of 2.5 kW that holds four degrees."""
    return learnt_state(tmp_path_factory.mktemp("heated"), garden_settings(4.0), HEATED_HOUSE)
