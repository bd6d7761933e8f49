"""What is hidden in the whole demo plant's thirteen weeks, for the tool to show.

Where each story is seen is told in README.md beside this file.
"""

from collections.abc import Iterator
from datetime import date, datetime, time, timedelta

import numpy as np

from config.demo.plant.dates import DAY, WEEKS, Dates, is_forward
from config.demo.plant.description import (
    SHIFT_S,
    ZONE,
    Event,
    PlannedStop,
    Slower,
    Told,
)

#: Nozzles blocked at SF2-030, week by week.
NOZZLES = (1, 1, 2, 1, 2, 2, 3, 2, 3, 4, 3, 5, 5)
#: Stops of the arc cell that feeds FR3-040.
FEEDER = (3, 4, 4, 3, 5, 4, 5, 6, 5, 5, 6, 6, 6)
#: Stops at UB3-090, improved after week 6, and at BS1-030, where nothing was.
IMPROVED = (2, 2, 3, 3, 4, 4, 2, 1, 2, 1, 1, 1, 1)
BAD_MONTH = (1, 0, 1, 3, 4, 3, 1, 1, 0, 1, 1, 0, 1)
#: At so many spots the cable packs of UB4-070 fail, about every 21 working days.
PACK_SPOTS, PACK_SIGMA, PACK_DAYS = 310_000, 12_000, 21
#: Its night crew visits FS2-030 in these weeks, and a stud feed fails soon after.
VISITS = ((2, 1), (4, 2), (6, 1), (8, 2), (10, 1), (12, 2))


def at(day: date, hour: int, minute: int) -> datetime:
    return datetime.combine(day, time(hour, minute), tzinfo=ZONE)


def worked(when: Dates, week: int) -> list[date]:
    return [day for day in when.weekdays(week) if day not in when.days_off]


def events(when: Dates, rng: np.random.Generator) -> Iterator[Event]:
    yield from _weekly(when, rng, NOZZLES, "SF2-030", "nozzle-blocked", (8, 20), 1)
    yield from _weekly(when, rng, FEEDER, "FR3-020", "wire-feed", (9, 26), 2)
    yield from _weekly(when, rng, IMPROVED, "UB3-090", "clamp-fault", (8, 18), 0)
    yield from _weekly(when, rng, BAD_MONTH, "BS1-030", "gun-force", (8, 18), 2)
    yield from _weekly(when, rng, BAD_MONTH[::-1], "BS4-030", "gun-force", (8, 18), 2)
    yield from _drums(when)
    yield from _every_shift(when, rng)
    yield from _after_visits(when, rng)
    yield from _yesterday(when)
    yield Event(
        cell="UB6-050",
        day=when.day(6, 2),
        at=SHIFT_S * 0.4,
        seconds=310 * 60,
        reason="turntable",
        note="lock pin sheared, spare fetched from the maker",
    )
    yield Event(
        cell="FR2-070",
        day=when.day(6, 0),
        at=4_000,
        seconds=25 * 60,
        reason="gun-force",
        robot=5,
        note="R5 in bypass from now on, its spots moved to R3 and R4",
    )
    for robot, minutes in ((2, 95), (5, 120)):
        yield Event(
            cell=f"FS3-0{robot}0",
            day=when.day(10, 1),
            at=60,
            seconds=minutes * 60,
            reason="position-lost",
            robot=1,
            note="after the days off",
        )


#: Cell, reason, robot, when in the day's work, minutes.
YESTERDAY = (
    ("FR2-060", "gun-force", 3, 0.35, 34),
    ("UB6-040", "drive", 2, 1.2, 35),
    ("BS2-090", "cable", 1, 0.6, 30),
    ("BS4-090", "cable", 2, 1.4, 28),
    ("CL3-070", "hem-roller", 1, 0.7, 41),
    ("SF2-060", "pump", 2, 1.1, 24),
    ("FS1-050", "water", 1, 1.6, 33),
)


def _yesterday(when: Dates) -> Iterator[Event]:
    """A day with something to say for every area, on the first pages of today."""
    for cell, reason, robot, share, minutes in YESTERDAY:
        yield Event(
            cell=cell,
            day=when.now.date() - DAY,
            at=share * SHIFT_S,
            seconds=minutes * 60,
            reason=reason,
            robot=robot,
        )


def _weekly(
    when: Dates,
    rng: np.random.Generator,
    numbers: tuple[int, ...],
    cell: str,
    reason: str,
    minutes: tuple[int, int],
    robot: int,
) -> Iterator[Event]:
    for week, number in enumerate(numbers, start=1):
        days = worked(when, week)
        for _ in range(number):
            yield Event(
                cell=cell,
                day=days[int(rng.integers(len(days)))],
                at=float(rng.uniform(0, 1.9 * SHIFT_S)),
                seconds=float(rng.uniform(*minutes) * 60),
                reason=reason,
                robot=robot,
            )


def _drums(when: Dates) -> Iterator[Event]:
    """The sealer's drums: another lot from week 5 on."""
    for week in range(1, WEEKS + 1):
        lot = f"A{40 + week}" if week < 5 else f"B{week - 4:02d}"
        yield Event(
            cell="SF2-030",
            day=worked(when, week)[1],
            at=9_000,
            seconds=12 * 60,
            reason="drum-change",
            note=f"drum of lot {lot}",
        )


def _every_shift(when: Dates, rng: np.random.Generator) -> Iterator[Event]:
    """BS2-060 does not see its part, BS5-060 does not close its clamp.

    CL4 changes tools, the Late shift more slowly.
    """
    day = when.first
    while day <= when.now.date():
        for cell, reason in (("BS2-060", "part-not-seen"), ("BS5-060", "clamp")):
            for k in range(20):
                yield Event(
                    cell=cell,
                    day=day,
                    at=float((k + rng.uniform(0, 0.5)) * SHIFT_S / 10),
                    seconds=40.0,
                    reason=reason,
                )
        for shift, minutes in enumerate((18, 27)):
            yield Event(
                cell="CL4-020",
                day=day,
                at=(shift + 0.55) * SHIFT_S,
                seconds=float(minutes * 60 + rng.uniform(-60, 60)),
                reason="tool-change",
            )
        day += DAY


def _after_visits(when: Dates, rng: np.random.Generator) -> Iterator[Event]:
    """FS2-030: a stud feed fails one to four days after each visit but the last."""
    for week, robot in VISITS[:-1]:
        yield Event(
            cell="FS2-030",
            day=worked(when, week)[int(rng.integers(2, 4))],
            at=float(rng.uniform(0, 1.8 * SHIFT_S)),
            seconds=float(rng.uniform(14, 30) * 60),
            reason="stud-feed",
            robot=robot,
        )


def told(when: Dates) -> Iterator[Told]:
    # Two robots down at once: 20 and 18 minutes, 30 in all.
    tuesday = when.day(8, 1)
    yield Told(
        cell="FR2-010", robot=2, reason="gun-force", start=at(tuesday, 9, 0), minutes=20
    )
    yield Told(
        cell="FR2-010", robot=3, reason="cable", start=at(tuesday, 9, 12), minutes=18
    )
    # Over the shift change: 20 minutes Early, 25 Late, one event.
    yield Told(
        cell="FS1-040",
        reason="clamp-fault",
        start=at(when.day(5, 1), 13, 40),
        minutes=45,
    )
    # Over the jump of the clocks: from 01:30, an hour of work or nearly two.
    yield Told(
        cell="CL1-050",
        reason="hem-roller",
        start=at(when.change, 1, 30),
        minutes=80 if is_forward(when.change) else 120,
    )
    yield from _nights(when)
    yield from _standing(when.now.date())


def _standing(today: date) -> Iterator[Told]:
    """When the demo opens; one of them on the line of its leader."""
    yield Told(
        cell="FR1-040",
        robot=2,
        reason="gun-force",
        start=at(today, 13, 22),
        minutes=68,
        called_after=3,
        arrived_after=40,
    )
    yield Told(
        cell="CL4-070",
        reason="hem-roller",
        start=at(today, 13, 31),
        minutes=60,
        called_after=4,
        arrived_after=13,
    )


def _nights(when: Dates) -> Iterator[Told]:
    """FR3-020 by night, when it welds in again: somebody comes after 25 minutes."""
    for week in range(1, WEEKS + 1, 2):
        yield Told(
            cell="FR3-020",
            robot=1,
            reason="wire-feed",
            start=at(worked(when, week)[1], 22, 40 + week),
            minutes=56 + week,
            arrived_after=26,
            note="while welding in",
        )


def slower(when: Dates) -> tuple[Slower, ...]:
    """FR2-070 with one robot in bypass for 19 days."""
    first = when.day(6, 0)
    return (Slower(cell="FR2-070", first=first, last=first + 18 * DAY, factor=1.08),)


def electric(when: Dates) -> dict[date, float]:
    """On Thursdays electric bodies come in runs."""
    return {when.day(week, 3): 0.65 for week in range(4, WEEKS + 1)}


def _store_full(when: Dates) -> Iterator[PlannedStop]:
    """By one in the morning there are doors enough for the day."""
    for line in ("CL1", "CL2"):
        for week in range(1, WEEKS + 1):
            for day in worked(when, week)[:4]:
                if day.weekday() < 4:
                    yield PlannedStop(
                        ref=f"no-demand-{line}-{day}",
                        at=line,
                        start=at(day + DAY, 1, 0),
                        minutes=300,
                        reason="no-demand",
                        declared=at(day, 15, 0),
                    )


def planned(when: Dates) -> Iterator[PlannedStop]:
    said = at(when.first - timedelta(days=3), 10, 0)
    for area, weekday in (("FR", 1), ("UB", 2), ("BS", 2), ("CL", 3)):
        for week in range(1, WEEKS + 2):
            day = when.day(week, weekday)
            if day not in when.days_off and day <= when.now.date():
                yield PlannedStop(
                    ref=f"meeting-{area}-{week}",
                    at=area,
                    start=at(day, 6, 0),
                    minutes=15,
                    reason="meeting",
                    declared=said,
                )
    yield from _store_full(when)
    yield PlannedStop(
        ref="pm-fr1-030",
        at="FR1-030",
        start=at(when.day(6, 3), 13, 0),
        minutes=20,
        reason="pm",
        declared=at(when.day(6, 1), 9, 0),
    )
    # Said after the shift had begun: shown as declared late.
    yield PlannedStop(
        ref="trial-cl4",
        at="CL4",
        start=at(when.day(12, 3), 11, 0),
        minutes=45,
        reason="trial",
        declared=at(when.day(12, 3), 11, 30),
    )
