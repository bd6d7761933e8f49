"""Completions in plain dates, for the due-date tests."""

from datetime import date
from decimal import Decimal

from maintenance.planning.due_dates import Completion
from tests.cells.metering.builders import moment


def done(day: date, reading: int | None = None, *, hour: int = 12) -> Completion:
    value = None if reading is None else Decimal(reading)
    return Completion(at=moment(day, hour), on=day, reading=value)
