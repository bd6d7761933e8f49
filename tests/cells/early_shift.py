"""A day and a shift for the drawings' tests."""

from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

BERLIN = ZoneInfo("Europe/Berlin")


@dataclass(frozen=True)
class Stretch:
    starts_at: datetime
    ends_at: datetime


def at(clock, day="2026-03-03"):
    return (
        datetime.fromisoformat(f"{day}T{clock}").replace(tzinfo=BERLIN).astimezone(UTC)
    )


EARLY = Stretch(at("06:00"), at("14:00"))
