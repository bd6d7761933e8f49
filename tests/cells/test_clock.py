"""The plant's clock: the machine's, or a demo's that is shifted and runs faster."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine

from cells import clock

REAL = datetime(2026, 11, 24, 9, 0, tzinfo=UTC)


@pytest.fixture
def real() -> Any:
    with time_machine.travel(REAL, tick=False) as traveller:
        yield traveller


def test_a_plants_clock_is_the_machines_in_whole_seconds(real: Any) -> None:
    real.shift(timedelta(milliseconds=900))

    assert clock.now() == REAL


def test_a_shifted_clock_stands_there_and_ticks_on(real: Any, settings: Any) -> None:
    settings.CLOCK_OFFSET = -3600
    began = clock.now()
    real.shift(timedelta(seconds=30))

    assert began == REAL - timedelta(hours=1)
    assert clock.now() - began == timedelta(seconds=30)


def test_a_faster_clock_counts_from_one_real_moment(real: Any, settings: Any) -> None:
    settings.CLOCK_OFFSET = -3600
    settings.CLOCK_SPEED = 60
    settings.CLOCK_SINCE = int(REAL.timestamp())
    began = clock.now()
    real.shift(timedelta(seconds=10))

    # By hand: an hour back, then ten minutes in ten seconds.
    assert began == datetime(2026, 11, 24, 8, 0, tzinfo=UTC)
    assert clock.now() == datetime(2026, 11, 24, 8, 10, tzinfo=UTC)


def test_whoever_waits_for_the_plant_waits_shorter_in_a_faster_one(
    settings: Any,
) -> None:
    assert clock.real_seconds(90) == 90
    settings.CLOCK_SPEED = 60
    assert clock.real_seconds(90) == 1.5
    assert clock.real_seconds(90, least=5) == 5
