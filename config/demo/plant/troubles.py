"""What goes wrong in a demo plant: ordinary trouble, drawn, and the told events."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from config.demo.plant.days import Days
from config.demo.plant.description import SHIFT_S, Cell, Event, Plant
from config.demo.plant.flow import Floats, Ints, Trouble
from config.demo.plant.reasons import (
    BREAKDOWNS_OF,
    FOREIGN,
    MINORS_OF,
    NUMBER,
    SETUPS,
)

#: Of the minor stops a leader sees and writes down so many.
LOGGED = 0.55
#: A breakdown is at least so long: what is shorter is a minor stop.
SHORTEST_S = 5 * 60
#: Of the breakdowns nobody knew yet what it was.
NOT_KNOWN = 0.06


@dataclass(frozen=True, kw_only=True)
class Troubles:
    """One row per trouble, ordered by cell, day and time."""

    flow: Trouble
    reason: Ints
    logged: Ints  # 1 where a leader saw it
    robot: Ints  # its number in the cell, 0 where none
    note: list[str]


@dataclass
class Draw:
    """Draws trouble of one kind after the other for cells and days."""

    cells: Sequence[Cell]
    days: Days
    rng: np.random.Generator
    parts: list[tuple[Ints, ...]] = field(default_factory=list)
    times: list[tuple[Floats, Floats]] = field(default_factory=list)

    def add(
        self,
        rate: Floats,
        minutes: float,
        sigma: float,
        shortest: float,
        choices: Sequence[Sequence[str]],
        logged: float = 1.0,
        at_robot: bool = False,
    ) -> None:
        """A Poisson number of log-normal holds; `rate` and `choices` are by cell."""
        rng, length = self.rng, self.days.length
        number = rng.poisson(rate[:, None] * length / SHIFT_S)
        cell, day = (
            np.repeat(index.reshape(-1), number.reshape(-1))
            for index in np.indices(number.shape)
        )
        total = len(cell)
        scale = np.log(minutes * 60) - sigma**2 / 2
        seconds = np.maximum(np.exp(rng.normal(scale, sigma, total)), shortest)
        self.times.append((rng.uniform(0, 1, total) * length[day], seconds))
        robots = np.array([len(one.kinds) for one in self.cells])
        robot = (rng.random(total) * robots[cell]).astype(np.int64) + 1
        self.parts.append(
            (
                cell,
                day,
                _chosen(rng, cell, choices),
                (rng.random(total) < logged).astype(np.int64),
                robot if at_robot else np.zeros(total, dtype=np.int64),
            )
        )


def _chosen(
    rng: np.random.Generator, cell: Ints, choices: Sequence[Sequence[str]]
) -> Ints:
    """One of its cell's reasons for each."""
    most = max(map(len, choices))
    table = np.array(
        [[NUMBER[row[k % len(row)]] for k in range(most)] for row in choices]
    )
    many = np.array([len(row) for row in choices])
    return table[cell, (rng.random(len(cell)) * many[cell]).astype(np.int64)]


def draw(
    plant: Plant, cells: Sequence[Cell], days: Days, rng: np.random.Generator
) -> Troubles:
    """Ordinary trouble and what is told, of these cells on these days."""
    rates, every = plant.rates, np.ones(len(cells))
    of_line = [plant.line_of[cell.code].code for cell in cells]
    drawn = Draw(cells, days, rng)
    drawn.add(
        np.array([rates.breakdowns.get(code, rates.breakdown) for code in of_line]),
        rates.breakdown_min,
        0.8,
        SHORTEST_S,
        [_of(cell, BREAKDOWNS_OF) for cell in cells],
        at_robot=True,
    )
    minors = _of_cells(cells, rates.minors, rates.fewer_minors)
    kinds = [_of(cell, MINORS_OF) for cell in cells]
    drawn.add(minors, rates.minor_min, 0.4, 5, kinds, logged=LOGGED)
    drawn.add(every * 0.012, 12.0, 0.5, SHORTEST_S, [SETUPS] * len(cells))
    for reason, rate in FOREIGN.items():
        drawn.add(every * rate, 8.0, 0.6, 60, [(reason,)] * len(cells))
    return _ordered(drawn, plant.events)


def _of_cells(
    cells: Sequence[Cell], usual: float, otherwise: Mapping[str, float]
) -> Floats:
    return np.array([otherwise.get(cell.code, usual) for cell in cells])


def _of(cell: Cell, table: Mapping[str, tuple[str, ...]]) -> list[str]:
    return [reason for kind in cell.kinds for reason in table[kind]]


def _ordered(drawn: Draw, events: Sequence[Event]) -> Troubles:
    """What was drawn and what is told, in one order."""
    days = drawn.days
    index = {cell.code: number for number, cell in enumerate(drawn.cells)}
    told = [
        event
        for event in events
        if event.night == days.nights
        and event.cell in index
        and event.day in days.index_of
    ]
    own = [
        (index[e.cell], days.index_of[e.day], NUMBER[e.reason], 1, e.robot)
        for e in told
    ]
    whole = np.array(own, dtype=np.int64).reshape(-1, 5)
    parts = [np.concatenate(part) for part in zip(*drawn.parts, whole.T, strict=True)]
    at = np.concatenate([*(t for t, _ in drawn.times), [e.at for e in told]])
    seconds = np.concatenate([*(s for _, s in drawn.times), [e.seconds for e in told]])
    note = [""] * (len(at) - len(told)) + [event.note for event in told]
    cell, day, reason, logged, robot = parts
    order = np.lexsort((at, day, cell))
    return Troubles(
        flow=Trouble(
            cell=cell[order], day=day[order], at=at[order], seconds=seconds[order]
        ),
        reason=reason[order],
        logged=logged[order],
        robot=robot[order],
        note=[note[place] for place in order],
    )
