"""What stands in the whole demo plant's cells besides robots, and who keeps it up."""

from collections.abc import Iterator, Sequence
from datetime import date, timedelta

import numpy as np

from config.demo.plant.dates import DAY, Dates
from config.demo.plant.description import Cell, Equipment, Line, Pack, Swap, Upkeep
from config.demo.plant.machines import PLACED, serial
from config.demo.plant.whole_stories import (
    PACK_DAYS,
    PACK_SIGMA,
    PACK_SPOTS,
    VISITS,
    worked,
)

#: Kind: the letters of its serials, its place, and how many there are, at most one in
#: each cell but the second gates.
EQUIPMENT = (
    ("gate", "G", "Gate 1", 250),
    ("gate", "GG", "Gate 2", 170),
    ("light curtain", "LC", "Curtain 1", 180),
    ("scanner", "SC", "Scanner 1", 120),
    ("emergency stop", "ES", "Stops", 250),
    ("cell panel", "CP", "Panel", 250),
    ("air panel", "AP", "Air panel", 250),
    ("water panel", "WP", "Water panel", 210),
    ("fixture", "FX", "Fixture 1", 240),
    ("tip dresser", "TD", "Dresser 1", 150),
    ("conveyor", "CV", "Conveyor", 160),
    ("lift", "LI", "Lift", 70),
    ("turntable", "TT", "Turntable", 60),
    ("extraction", "EX", "Extraction", 40),
)
#: Only where there is something for it to serve.
SERVES = {"tip dresser": {"weld"}, "extraction": {"arc", "weld"}}
PUMPS = 60
#: Whose safety tests nobody did: serial, the test's interval, days over.
FORGOTTEN = (
    ("LC-SF1-010", 28, 4),
    ("LC-SF2-010", 28, 7),
    ("LC-SF3-010", 28, 9),
    ("G-UB6-030", 180, 2),
    ("ES-BS5-080", 180, 13),
)
#: 66 technicians by skill, five of them for safety tests as well, in the hours that
#: are theirs for planned work: the gap after Late, and Saturday.
HEADS = (("M", 26), ("E", 12), ("W", 12), ("C", 8), ("S", 6), ("U", 2), ("X", 5))
NIGHT = {
    "M": ("22:00", "00:30"),
    "E": ("22:00", "23:00"),
    "W": ("22:00", "00:00"),
    "C": ("22:00", "23:15"),
    "S": ("22:00", "23:15"),
    "U": ("22:00", "22:45"),
    "X": ("22:00", "22:45"),
}
SWAPPED = ("BS4-050", 2, "SPARE-01")
WEAK = ("FR1-030", 4)
LOW_BATTERIES = tuple((f"FS3-0{cell}0", 1) for cell in range(2, 8))


def upkeep(when: Dates, lines: Sequence[Line], packs: tuple[Pack, ...]) -> Upkeep:
    geo = next(c for line in lines for c in line.cells if c.code == WEAK[0])
    return Upkeep(
        equipment=tuple(_equipment(when, lines)),
        crews=_crews(),
        swaps=(
            Swap(
                cell=SWAPPED[0],
                robot=SWAPPED[1],
                day=when.day(6, 3),
                serial=SWAPPED[2],
                hours=1_450.0,
                to_cell="CL3-010",
                to_position="Spare place",
            ),
        ),
        packs=packs,
        unread=frozenset({serial("CL5-020", 1)}),
        weak_gun=serial(*WEAK),
        weekly=frozenset(serial(geo.code, n) for n, _ in enumerate(geo.kinds, start=1)),
        forgotten=frozenset(name for name, *_ in FORGOTTEN),
        clean_filters=frozenset({"UB", "FS"}),
        low_batteries=frozenset(serial(*one) for one in LOW_BATTERIES),
        loaded_filters=frozenset({"PU-SF2-030"}),
        done_on=tuple(_done_on(when)),
        first_due=(
            (
                "camera",
                serial("FR1-060", 7),
                when.now.date() + 2 * DAY,
                "new camera routine spread over the week",
            ),
        ),
    )


def _done_on(when: Dates) -> Iterator[tuple[str, str, int, date]]:
    """Low batteries read before the days off, and the visits to FS2-030."""
    for cell, robot in LOW_BATTERIES:
        yield "battery", cell, robot, worked(when, 8)[3]
    for week, robot in VISITS:
        yield "stud-feeder", "FS2-030", robot, worked(when, week)[1]


def _equipment(when: Dates, lines: Sequence[Line]) -> Iterator[Equipment]:
    cells = [cell for line in lines for cell in line.cells]
    placed = {name: _placed(when, days, over) for name, days, over in FORGOTTEN}
    for kind, letters, position, many in EQUIPMENT:
        serves = SERVES.get(kind, {one for cell in cells for one in cell.kinds})
        able = [cell for cell in cells if serves & set(cell.kinds)]
        sure = [cell for cell in able if f"{letters}-{cell.code}" in placed]
        others = [cell for cell in able if cell not in sure]
        for number, cell in enumerate([*sure, *_spread(others, many - len(sure))]):
            name = f"{letters}-{cell.code}"
            usual = PLACED - timedelta(days=number * 37 % 180)
            yield Equipment(
                serial=name,
                kind=kind,
                cell=cell.code,
                position=position,
                placed_on=placed.get(name, usual),
            )
    for cell in _spread([cell for cell in cells if "seal" in cell.kinds], PUMPS):
        yield Equipment(
            serial=f"PU-{cell.code}",
            kind="sealer pump",
            cell=cell.code,
            position="Pump 1",
            placed_on=PLACED,
        )


def _placed(when: Dates, interval: int, over: int) -> date:
    """Such that its test was due so many days ago, on the grid from that day."""
    due = when.now.date() - over * DAY
    return PLACED - (interval - (due - PLACED).days % interval) * DAY


def _spread(cells: Sequence[Cell], many: int) -> list[Cell]:
    """So many of them, evenly; all of them where there are fewer."""
    total = len(cells)
    return [
        cell
        for place, cell in enumerate(cells)
        if place * many // total != (place + 1) * many // total or many >= total
    ]


def packs(when: Dates, rng: np.random.Generator) -> tuple[Pack, ...]:
    """The cable packs of UB4-070: each ends where its spots are reached."""
    found = []
    days = [day for week in range(1, 15) for day in worked(when, week)]
    days = [day for day in days if day <= when.last]
    for robot in range(1, 5):
        # Each of the four began at another time before the first day.
        ends = 3 + (robot - 1) * PACK_DAYS // 4
        start = when.first - timedelta(days=round((PACK_DAYS - ends) * 7 / 5))
        number = 1
        while ends < len(days):
            spots = round(float(rng.normal(PACK_SPOTS, PACK_SIGMA)))
            found.append(_pack(robot, number, start, days[ends], spots))
            start, number = days[ends], number + 1
            ends += round(PACK_DAYS * spots / PACK_SPOTS)
        now = round(PACK_SPOTS * (len(days) - days.index(start)) / PACK_DAYS)
        found.append(_pack(robot, number, start, None, now))
    return tuple(found)


def _pack(robot: int, number: int, start: date, end: date | None, spots: int) -> Pack:
    return Pack(
        serial=f"CA-UB4070-{robot}{number:02d}",
        cell="UB4-070",
        robot=robot,
        placed_on=start,
        removed_on=end,
        spots=spots,
    )


def _crews() -> tuple[tuple[object, ...], ...]:
    return (
        *(
            (f"Night maintenance {skill}", skill, "", "mon-thu", *NIGHT[skill], heads)
            for skill, heads in HEADS
        ),
        *(
            (
                f"Saturday maintenance {skill}",
                skill,
                "",
                "sat",
                "06:00",
                "10:00",
                heads // 2,
            )
            for skill, heads in HEADS
        ),
    )
