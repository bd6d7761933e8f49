"""The whole demo plant: thirteen weeks that end just before today."""

from collections.abc import Iterator
from datetime import date

import numpy as np

from config.demo.plant import whole_floor, whole_stories, whole_upkeep
from config.demo.plant.dates import DAY, Dates, dates
from config.demo.plant.description import SHIFT_S, Event, OverTime, Pack, Plant, Rates

NAME = "Tarnbeck Body Plant"
SEED = 20260302


def whole_plant(today: date) -> Plant:
    when = dates(today)
    rng = np.random.default_rng([SEED, 2])
    lines, packs = whole_floor.lines(when.now.date()), whole_upkeep.packs(when, rng)
    return Plant(
        name=NAME,
        seed=SEED,
        first_day=when.first,
        last_day=when.last,
        now=when.now,
        moved=when.words,
        areas=whole_floor.AREAS,
        lines=lines,
        banks=whole_floor.BANKS,
        bodies_a_day=880,  # a body a minute in two shifts
        rates=Rates(fewer_minors={"FR3-040": 0.3}),
        days_off=when.days_off,
        overtime=_overtime(when),
        events=(*whole_stories.events(when, rng), *_failures(packs, rng)),
        told=tuple(whole_stories.told(when)),
        planned=tuple(whole_stories.planned(when)),
        worked_breaks=(("FR1-030", when.day(7, 2), "Late", f"{when.day(7, 2)}T18:00"),),
        upkeep=whole_upkeep.upkeep(when, lines, packs),
        slower=whole_stories.slower(when),
        electric=whole_stories.electric(when),
        no_minors=("BS5", "Late"),
        sees_all=frozenset({"FR3-040"}),
    )


def _failures(packs: tuple[Pack, ...], rng: np.random.Generator) -> Iterator[Event]:
    """Each cable pack that was taken out had failed first."""
    for pack in packs:
        if pack.removed_on:
            yield Event(
                cell=pack.cell,
                day=pack.removed_on,
                at=float(rng.uniform(0, 1.5 * SHIFT_S)),
                seconds=float(rng.uniform(45, 80) * 60),
                reason="cable",
                robot=pack.robot,
                note="conductor broken, pack changed",
            )


def _overtime(when: Dates) -> tuple[OverTime, ...]:
    """Three Saturdays, of which nobody entered one for UB; and the doors by night."""
    everywhere = frozenset(row.line for row in whole_floor.ROWS)
    floor = frozenset(line for line in everywhere if line.startswith("UB"))
    saturdays = [
        OverTime(
            day=when.day(week, 5),
            name="Early",
            lines=everywhere,
            forgot=floor if week == 12 else frozenset(),
        )
        for week in (6, 11, 12)
    ]
    night = OverTime(
        day=when.change - DAY, name="Night", lines=frozenset(whole_floor.NIGHTS)
    )
    return (*saturdays, night)
