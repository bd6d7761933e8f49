"""The demo plant's days, run: its lines as one flow, with their troubles."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from config.demo.plant.days import Days
from config.demo.plant.description import SHIFT_S, VARIANTS, Cell, Line, Plant
from config.demo.plant.flow import Chain, Column, Floats, Ints, Trouble, Walked, walk
from config.demo.plant.troubles import Troubles, draw

#: A day's end: nothing leaves a store that nobody empties.
NEVER_S = 1e9
#: Shorter waits than this are part of the pace, nobody would call them a stop; a
#: control that counts them all leaves out what is no more than its own cycle's spread.
PACE_S, ANY_S = 15.0, 2.0
#: How long an exit is full, in minutes, and how much that varies.
EXIT_FULL_MIN, EXIT_FULL_SIGMA = 14.0, 0.6
#: Of a store that one line fills by night and all empty by day: how full it is then.
NIGHT_SHARE, DAY_SHARE = 0.5, 0.95


@dataclass(frozen=True, kw_only=True)
class Exit:
    """Where the bodies (or parts) of a line, or of a leg of it, are counted."""

    line: Line
    leg: str
    column: int
    turn: int | None = None  # of cells that take bodies in turn: which


@dataclass(frozen=True, kw_only=True)
class Run:
    days: Days
    cells: list[Cell]
    troubles: Troubles
    walked: Walked
    exits: list[Exit]
    #: [body of the day, day] as the last column lets them go, and each column's first.
    variants: Ints
    ahead: Ints

    def made(self, exit_: Exit) -> Ints:
        """Bodies by shift (as in ``days.flat``) and variant."""
        left = self.walked.left[:, exit_.column]
        body = np.arange(len(left)) + self.ahead[exit_.column]
        variants = self.variants[body]
        if exit_.turn is not None:
            left, variants = left[exit_.turn :: 2], variants[exit_.turn :: 2]
        rows = []
        for day, start, end in zip(*self.days.shift_edges, strict=True):
            within = (left[:, day] > start) & (left[:, day] <= end)
            rows.append(np.bincount(variants[within, day], minlength=len(VARIANTS)))
        return np.array(rows)


class Layout:
    """Lines as columns, one feeding the other."""

    def __init__(self, lines: Sequence[Line], plant: Plant, *, nights: bool) -> None:
        self.cells = [cell for line in lines for cell in line.cells]
        self.index = {cell.code: number for number, cell in enumerate(self.cells)}
        self.columns: list[Column] = []
        self.exits: list[Exit] = []
        #: What else follows a last cell: a store (0), or an exit so often full.
        self.sinks: list[float] = []
        self.plant, self.nights = plant, nights
        self.banks = {bank.line: bank for bank in plant.banks}
        self.heads: dict[str, int] = {}
        for line in self._downstream_first(lines):
            self._add(line)

    def _downstream_first(self, lines: Sequence[Line]) -> list[Line]:
        def depth(line: Line) -> int:
            bank = self.banks.get(line.code)
            known = {one.code: one for one in self.plant.lines}
            return 1 + depth(known[bank.into]) if bank else 0

        return sorted(lines, key=depth)

    def _add(self, line: Line) -> None:
        after = self._after(line)
        if line.in_turn:
            rows = [tuple(pair) for pair in zip(*line.legs, strict=True)]
            last = self._chain(line, rows, after)
            for turn, leg in enumerate(line.legs):
                self.exits.append(
                    Exit(line=line, leg=leg[0].leg, column=last, turn=turn)
                )
            return
        for leg in line.legs:
            last = self._chain(line, [(cell,) for cell in leg], after)
            self.exits.append(Exit(line=line, leg=leg[0].leg, column=last))

    def _after(self, line: Line) -> tuple[int | None, int, int]:
        """The column behind a line, and the bank's room and content before it."""
        bank = self.banks.get(line.code)
        if bank and self.nights:
            return self._sink(0.0), bank.capacity, round(bank.capacity * NIGHT_SHARE)
        if bank:
            store = "Night" in line.shifts
            share = DAY_SHARE if store else 0.5
            return self.heads[bank.into], bank.capacity, round(bank.capacity * share)
        if line.code in self.plant.exit_full:
            return self._sink(self.plant.exit_full[line.code]), 0, 0
        return None, 0, 0

    def _sink(self, full: float) -> int:
        self.columns.append(Column(cells=(len(self.cells) + len(self.sinks),)))
        self.sinks.append(full)
        return len(self.columns) - 1

    def _chain(
        self,
        line: Line,
        rows: list[tuple[Cell, ...]],
        after: tuple[int | None, int, int],
    ) -> int:
        """Columns from the last to the first. Returns the last."""
        into, capacity, content = after
        last = len(self.columns)
        for row in reversed(rows):
            self.columns.append(
                Column(
                    cells=tuple(self.index[cell.code] for cell in row),
                    into=into,
                    capacity=capacity,
                    content=content,
                )
            )
            into = len(self.columns) - 1
            before = rows[rows.index(row) - 1] if rows.index(row) else row
            capacity = line.banks.get(before[0].code, 0)
            content = (capacity + 1) // 2
        self.heads[line.code] = len(self.columns) - 1
        return last


def run(plant: Plant, *, nights: bool) -> Run:
    """All days, or all nights of those lines that work by night."""
    lines = [line for line in plant.lines if not nights or "Night" in line.shifts]
    rng = np.random.default_rng([plant.seed, int(nights)])
    days = Days.of(plant, nights=nights)
    layout = Layout(lines, plant, nights=nights)
    chain = Chain(layout.columns)
    troubles = draw(plant, layout.cells, days, rng)
    pace = _pace(plant, layout, days, rng)
    most = _most(layout, pace.min(axis=(0, 2)), days.length.max())
    variants = _variants(plant, days, most + int(chain.ahead.max()), rng)
    walked = walk(
        chain,
        pace=pace,
        variants=variants,
        trouble=_with_full_exits(troubles.flow, plant, layout, days, rng),
        length=days.length,
        notable=_notable(plant, layout),
    )
    return Run(
        days=days,
        cells=layout.cells,
        troubles=troubles,
        walked=walked,
        exits=layout.exits,
        variants=variants,
        ahead=chain.ahead,
    )


def _notable(plant: Plant, layout: Layout) -> Floats:
    """Nobody asks how long an exit behind the last cell waits."""
    cells = [ANY_S if cell.code in plant.sees_all else PACE_S for cell in layout.cells]
    return np.array([*cells, *(math.inf for _ in layout.sinks)])


def _pace(plant: Plant, layout: Layout, days: Days, rng: np.random.Generator) -> Floats:
    """Seconds per body: [variant, cell, day], the sinks after the cells."""
    true = np.array([[cell.true[v] for cell in layout.cells] for v in VARIANTS])
    slow = rng.uniform(*plant.rates.slow, (len(layout.cells), len(days)))
    for one in plant.slower:
        if one.cell in layout.index:
            when = [one.first <= day <= one.last for day in days.dates]
            slow[layout.index[one.cell], when] *= one.factor
    sinks = np.array([NEVER_S if full == 0 else 0.0 for full in layout.sinks])
    shape = (len(VARIANTS), len(sinks), len(days))
    return np.concatenate(
        [true[:, :, None] * slow, np.broadcast_to(sinks[None, :, None], shape)], axis=1
    )


def _most(layout: Layout, fastest: Floats, length: float) -> int:
    """More bodies than any column lets go in a day."""
    most = np.zeros(len(layout.columns))
    for index, column in enumerate(layout.columns):
        seconds = max(fastest[list(column.cells)].min() / len(column.cells), 1.0)
        most[index] = length / seconds + 2
        if column.into is not None:
            behind = len(layout.columns[column.into].cells) + column.capacity
            most[index] = min(most[index], most[column.into] + behind)
    return int(most.max()) + 1


def _variants(plant: Plant, days: Days, bodies: int, rng: np.random.Generator) -> Ints:
    """[body, day]: which variant, as a number."""
    usual = [share for _, share in VARIANTS.values()]
    bounds = []
    for day in days.dates:
        electric = plant.electric.get(day, usual[2])
        others = (1 - electric) / (usual[0] + usual[1])
        bounds.append([usual[0] * others, (usual[0] + usual[1]) * others])
    edges = np.array(bounds).T
    drawn = rng.random((bodies, len(days)))
    return (drawn >= edges[0]).astype(np.int64) + (drawn >= edges[1])


def _with_full_exits(
    trouble: Trouble,
    plant: Plant,
    layout: Layout,
    days: Days,
    rng: np.random.Generator,
) -> Trouble:
    """Trouble of the cells, then that of the exits behind them."""
    full = np.array(layout.sinks).reshape(-1, 1)
    number = rng.poisson(full * days.length / SHIFT_S)
    cell, day = (
        np.repeat(index.reshape(-1), number.reshape(-1))
        for index in np.indices(number.shape)
    )
    scale = np.log(EXIT_FULL_MIN * 60) - EXIT_FULL_SIGMA**2 / 2
    at = rng.uniform(0, 1, len(cell)) * days.length[day]
    seconds = np.exp(rng.normal(scale, EXIT_FULL_SIGMA, len(cell)))
    order = np.lexsort((at, day, cell))
    return Trouble(
        cell=np.concatenate([trouble.cell, cell[order] + len(layout.cells)]),
        day=np.concatenate([trouble.day, day[order]]),
        at=np.concatenate([trouble.at, at[order]]),
        seconds=np.concatenate([trouble.seconds, seconds[order]]),
    )
