"""The small demo plant: two areas, four lines, 24 cells, four weeks of March 2026.

It is committed as fixtures/demo; everything in it is invented.
"""

from collections.abc import Iterator
from datetime import date, datetime, timedelta

import numpy as np

from config.demo.plant import small_floor
from config.demo.plant.description import (
    SHIFT_S,
    ZONE,
    Event,
    OverTime,
    PlannedStop,
    Plant,
    Rates,
    Swap,
    Told,
    Upkeep,
)
from config.demo.plant.machines import serial

SEED = 20260302
FIRST_DAY, LAST_DAY = date(2026, 3, 2), date(2026, 3, 29)
#: Where the demo's clock starts: the leader of the Early shift is about to log.
NOW = datetime(2026, 3, 31, 13, 50, tzinfo=ZONE)
DAY_OFF = date(2026, 3, 20)
FR2, CL1 = frozenset({"FR2"}), frozenset({"CL1"})
OVERTIME = (
    OverTime(day=date(2026, 3, 14), name="Early", lines=frozenset({"FR1"}) | FR2),
    # Nobody entered this one, and its bodies were counted.
    OverTime(day=date(2026, 3, 21), name="Early", lines=FR2, forgot=FR2),
    OverTime(day=date(2026, 3, 28), name="Night", lines=CL1),
)
NIGHT = ("Night maintenance", "mon-thu", "22:00", "06:00")
SATURDAY = ("Saturday maintenance", "sat", "06:00", "14:00")
NIGHT_HEADS = {"M": 3, "W": 1, "E": 1, "C": 1, "S": 1, "X": 1}
SATURDAY_HEADS = {"M": 2, "W": 1, "C": 1}


def small_plant() -> Plant:
    rng = np.random.default_rng([SEED, 2])
    return Plant(
        name="Tarnbeck Body Plant",
        seed=SEED,
        first_day=FIRST_DAY,
        last_day=LAST_DAY,
        now=NOW,
        moved=(
            f"The four weeks are {FIRST_DAY} to {LAST_DAY}; the clocks go forward on "
            f"2026-03-29, and {DAY_OFF} is a day off."
        ),
        areas=small_floor.AREAS,
        lines=small_floor.LINES,
        banks=small_floor.BANKS,
        bodies_a_day=832,
        rates=Rates(
            breakdowns={"FR1": 0.50, "FR2": 0.30, "CL1": 1.00, "CL4": 0.55},
            minors=3.0,
            minor_min=0.8,
        ),
        days_off={DAY_OFF: "plant holiday"},
        overtime=OVERTIME,
        events=tuple(_events(rng)),
        told=tuple(_told()),
        planned=tuple(_planned()),
        worked_breaks=(("FR1-030", "2026-03-18", "Late", "2026-03-18T18:00"),),
        upkeep=_upkeep(),
        no_minors=("FR1", "Late"),
        exit_full={"FR2": 1.2, "CL1": 5.0, "CL4": 2.6},
    )


def _events(rng: np.random.Generator) -> Iterator[Event]:
    yield from _feeder(rng)
    # Yesterday, so that the first page of the plant's manager has something to say.
    for cell, reason, share, minutes in (
        ("CL1-030", "drive", 0.3, 95),
        ("FR2-030", "gun-force", 0.5, 22),
    ):
        yield Event(
            cell=cell,
            day=date(2026, 3, 30),
            at=share * SHIFT_S,
            seconds=minutes * 60,
            reason=reason,
            robot=1,
        )
    day = FIRST_DAY
    while day <= NOW.date():
        for k in range(20):
            # FR2-060: ten times a shift, 40 s each. Chronic, and first by count.
            yield Event(
                cell="FR2-060",
                day=day,
                at=float((k + rng.uniform(0, 0.5)) * SHIFT_S / 10),
                seconds=40.0,
                reason="part-not-seen",
            )
        for shift, minutes in enumerate((18, 27)):
            # CL4: one tool change a shift, 18 min; the Late shift takes 27.
            yield Event(
                cell="CL4-020",
                day=day,
                at=(shift + 0.55) * SHIFT_S,
                seconds=float(minutes * 60 + rng.uniform(-60, 60)),
                reason="tool-change",
            )
        day += timedelta(days=1)


def _feeder(rng: np.random.Generator) -> Iterator[Event]:
    """Gun force at FR2-030, more every week; FR2-040 behind it only waits."""
    for week, number in enumerate((3, 5, 7, 9)):
        for _ in range(number):
            # On a Friday that is none: one event less.
            yield Event(
                cell="FR2-030",
                day=FIRST_DAY + timedelta(weeks=week, days=int(rng.integers(5))),
                at=float(rng.uniform(0, 2 * SHIFT_S)),
                seconds=float(rng.uniform(9, 26) * 60),
                reason="gun-force",
            )


def _at(text: str) -> datetime:
    return datetime.fromisoformat(f"2026-03-{text}").replace(tzinfo=ZONE)


def _told() -> Iterator[Told]:
    # Two robots down at once: 20 and 18 minutes, 30 in all.
    for robot, reason, start, minutes in (
        (2, "gun-force", "24T09:00", 20),
        (3, "cable", "24T09:12", 18),
    ):
        yield Told(
            cell="FR2-010",
            robot=robot,
            reason=reason,
            start=_at(start),
            minutes=minutes,
        )
    # Over the shift change: 20 minutes Early, 25 Late, one event.
    yield Told(
        cell="CL4-040",
        robot=1,
        reason="hem-roller",
        start=_at("25T13:40"),
        minutes=45,
    )
    # From 01:30 to 03:50 on the wall: 80 minutes as the clocks go forward, of which
    # 20 are the break that is moved to 03:00.
    yield Told(cell="CL1-050", reason="hem-roller", start=_at("29T01:30"), minutes=80)
    # Still standing when the demo opens, on the line of the demo's leader.
    yield Told(
        cell="FR1-040",
        robot=2,
        reason="gun-force",
        start=_at("31T13:22"),
        minutes=68,
        called_after=3,
        arrived_after=40,
    )


def _planned() -> Iterator[PlannedStop]:
    for week, day in enumerate((3, 10, 17, 24, 31), start=1):
        yield PlannedStop(
            ref=f"meeting-{week}",
            at="FR",
            start=_at(f"{day:02d}T06:00"),
            minutes=15,
            reason="meeting",
            declared=datetime(2026, 2, 27, 10, tzinfo=ZONE),
        )
    yield PlannedStop(
        ref="pm-fr1-030",
        at="FR1-030",
        start=_at("12T13:00"),
        minutes=20,
        reason="pm",
        declared=_at("10T09:00"),
    )
    # Said after the shift had begun: shown as declared late.
    yield PlannedStop(
        ref="trial-cl4",
        at="CL4",
        start=_at("26T11:00"),
        minutes=45,
        reason="trial",
        declared=_at("26T11:30"),
    )


def _upkeep() -> Upkeep:
    name, *times = NIGHT
    on_saturday, *hours = SATURDAY
    return Upkeep(
        equipment=small_floor.EQUIPMENT,
        crews=(
            *((name, skill, "", *times, heads) for skill, heads in NIGHT_HEADS.items()),
            *(
                (on_saturday, skill, "", *hours, heads)
                for skill, heads in SATURDAY_HEADS.items()
            ),
        ),
        swaps=(
            Swap(
                cell="FR2-050",
                robot=2,
                day=date(2026, 3, 12),
                serial="SPARE-01",
                hours=1_450.0,
            ),
        ),
        unread=frozenset({serial("FR1-040", 3)}),
        weak_gun=serial("FR1-030", 4),
        forgotten=frozenset({"LC-CL1-020", "LC-FR2-040"}),
        clean_filters=frozenset({"FR", "CL"}),
        first_due=(
            (
                "camera",
                serial("FR1-060", 2),
                "2026-04-02",
                "new camera routine spread over the week",
            ),
        ),
    )
