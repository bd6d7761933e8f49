"""Bodies through cells and banks, many days at once.

A cell works on one body at a time. A body leaves a cell when it is done there and the
bank behind has room; a cell begins a body when the last one has left and the next has
come. So what a cell waits for follows from its neighbours and is not drawn.

Every day begins anew, with a body in each cell and each bank filled as its column says.
Then body n leaves a column after body n of the next column at the latest, and after
body n - 1 of those before. With `rank` rising by one against the flow, all that has one
number 2n + rank can be worked out at once, for all columns and all days: a wave.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True)
class Column:
    """One cell, or cells beside each other that take bodies in turn."""

    cells: tuple[int, ...]
    into: int | None = None  # the column that it feeds
    capacity: int = 0  # bodies that the bank to that column holds
    content: int = 0  # bodies in that bank when a day begins


@dataclass(frozen=True)
class Chain:
    """Columns in the order of their list; several may feed one, each feeds one."""

    columns: Sequence[Column]

    @cached_property
    def ranks(self) -> Ints:
        """How many columns a body still has before it."""
        ranks: dict[int, int] = {}

        def rank(index: int) -> int:
            into = self.columns[index].into
            if index not in ranks:
                ranks[index] = 0 if into is None else rank(into) + 1
            return ranks[index]

        return np.array([rank(index) for index in range(len(self.columns))])

    @cached_property
    def ahead(self) -> Ints:
        """How many bodies are before each column's first one when a day begins."""
        ahead: dict[int, int] = {}

        def count(index: int) -> int:
            column = self.columns[index]
            if index not in ahead:
                ahead[index] = (
                    0
                    if column.into is None
                    else count(column.into)
                    + len(self.columns[column.into].cells)
                    + column.content
                )
            return ahead[index]

        return np.array([count(index) for index in range(len(self.columns))])


@dataclass(frozen=True, kw_only=True)
class Trouble:
    """What holds the cells, ordered by cell, day and time. Seconds of the day."""

    cell: Ints
    day: Ints
    at: Floats
    seconds: Floats


@dataclass(frozen=True, kw_only=True)
class Waits:
    cell: Ints
    day: Ints
    at: Floats
    seconds: Floats


@dataclass(frozen=True, kw_only=True)
class Walked:
    #: [n, column, day]: when the n-th body of the day left.
    left: Floats
    #: When each trouble really began; not a number where the day ended before.
    held_at: Floats
    starved: Waits
    blocked: Waits


class _Half:
    """The columns of even or of odd rank: what is looked up for each wave."""

    def __init__(self, chain: Chain, parity: int) -> None:
        columns = chain.columns
        self.index = np.flatnonzero(chain.ranks % 2 == parity)
        self.rank = chain.ranks[self.index]
        self.ahead = chain.ahead[self.index]
        own = [columns[index] for index in self.index.tolist()]
        self.lag = _ints(len(column.cells) for column in own)
        self.cells = [
            _ints(column.cells[turn % len(column.cells)] for column in own)
            for turn in (0, 1)
        ]
        self.feeds = np.flatnonzero([column.into is not None for column in own])
        into = [column for column in own if column.into is not None]
        self.into = _ints(column.into for column in into)
        self.space = _ints(column.content - column.capacity for column in into)
        self._find_feeders(columns)

    def _find_feeders(self, columns: Sequence[Column]) -> None:
        """By fed column, in one row each: who feeds it, how many bodies earlier."""
        feeders: dict[int, list[int]] = {}
        for index, column in enumerate(columns):
            if column.into is not None:
                feeders.setdefault(column.into, []).append(index)
        places = [
            (place, feeders[index])
            for place, index in enumerate(self.index.tolist())
            if index in feeders
        ]
        self.fed = _ints(place for place, _ in places)
        self.first_of = np.cumsum(_ints([0, *(len(row) for _, row in places)]))[:-1]
        self.feeder = _ints(one for _, row in places for one in row)
        self.feeder_of = _ints(place for place, row in places for _ in row)
        content = _ints(columns[one].content for one in self.feeder.tolist())
        self.earlier = self.lag[self.feeder_of] + content


def _ints(numbers: Iterable[int | None]) -> Ints:
    return np.array(list(numbers), dtype=np.int64)


def walk(
    chain: Chain,
    *,
    pace: Floats,
    variants: npt.NDArray[np.int64],
    trouble: Trouble,
    length: Floats,
    notable: Floats,
) -> Walked:
    """Walk until the length of every day is used up.

    `pace` is [variant, cell, day] in seconds, `variants` [body of the day, day] in the
    order in which the last column lets them go, `length` the working seconds [day].
    Of waits those are told that are longer than `notable` [cell]; shorter ones are part
    of the pace.
    """
    return _Walk(chain, pace, variants, trouble, length, notable).run()


class _Walk:
    def __init__(
        self,
        chain: Chain,
        pace: Floats,
        variants: npt.NDArray[np.int64],
        trouble: Trouble,
        length: Floats,
        notable: Floats,
    ) -> None:
        self.chain, self.length, self.notable = chain, length, notable[:, None]
        _, self.n_cells, self.days = pace.shape
        self.pace, self.variants = pace.reshape(-1), variants
        self.n_columns = len(chain.columns)
        self.most = len(variants) - int(chain.ahead.max())
        # The row before the first body stands for all that was there at the start.
        self.left = np.zeros((self.most + 1, self.n_columns, self.days))
        self.rows = self.left.reshape(-1, self.days)
        self.halves = [_Half(chain, parity) for parity in (0, 1)]
        self._queue(trouble)
        self.waits: dict[str, list[tuple[Ints, Ints, Floats, Floats]]] = {
            "starved": [],
            "blocked": [],
        }

    def _queue(self, trouble: Trouble) -> None:
        """Each cell's troubles of a day in a row, with a never behind the last."""
        size = self.n_cells * self.days
        place = trouble.cell * self.days + trouble.day
        number = np.bincount(place, minlength=size)
        self.at = np.full(len(place) + size, np.inf)
        self.seconds = np.zeros(len(self.at))
        self.next = np.cumsum(number) - number + np.arange(size)
        self.where = np.arange(len(place)) + place
        self.at[self.where] = trouble.at
        self.seconds[self.where] = trouble.seconds
        self.next_at = self.at[self.next]
        self.held_at = np.full(len(self.at), np.nan)
        self.held_until = np.zeros(size)

    def run(self) -> Walked:
        last = 2 * (self.most - 1) + int(self.chain.ranks.max())
        for wave in range(last + 1):
            self._step(wave)
            if wave % 64 == 0 and self._is_over(wave):
                break
        else:
            if not self._is_over(last):
                raise ValueError("There are too few bodies for the length of the day.")
        return Walked(
            left=self.left[1:],
            held_at=self.held_at[self.where],
            starved=self._gathered("starved"),
            blocked=self._gathered("blocked"),
        )

    def _is_over(self, wave: int) -> bool:
        """Whether every cell has let go of a body after the day's end."""
        n = np.minimum((wave - self.chain.ranks) // 2, self.most - 1)
        if n.min() < 1:
            return False
        columns = np.arange(self.n_columns)
        last = np.minimum(self.left[n + 1, columns], self.left[n, columns])
        return bool((last >= self.length).all())

    def _step(self, wave: int) -> None:
        half = self.halves[wave % 2]
        n = (wave - half.rank) // 2
        going = (n >= 0) & (n < self.most)
        cells = np.where(n % 2 == 0, half.cells[0], half.cells[1])
        before = self._at(n - half.lag, half.index)
        began = before.copy()
        if len(half.fed):
            came = self._at(n[half.feeder_of] - half.earlier, half.feeder)
            came = np.maximum.reduceat(came, half.first_of, axis=0)
            began[half.fed] = np.maximum(began[half.fed], came)
        self._wait("starved", cells, before, began, going & (n >= half.lag))
        done = began + self._pace(half, n, cells)
        self._trouble(cells, began, done, going)
        gone = done.copy()
        if len(half.feeds):
            room = self._at(n[half.feeds] + half.space, half.into)
            gone[half.feeds] = np.maximum(gone[half.feeds], room)
        self._wait("blocked", cells, done, gone, going)
        self.rows[(n[going] + 1) * self.n_columns + half.index[going]] = gone[going]

    def _at(self, n: Ints, columns: Ints) -> Floats:
        """When those bodies left, by row; zero for what was there at the start."""
        body = np.minimum(np.maximum(n + 1, 0), self.most)
        return self.rows[body * self.n_columns + columns]

    def _pace(self, half: _Half, n: Ints, cells: Ints) -> Floats:
        body = np.clip(n + half.ahead, 0, len(self.variants) - 1)
        place = self.variants[body] * self.n_cells + cells[:, None]
        return self.pace[place * self.days + np.arange(self.days)]

    def _trouble(self, cells: Ints, began: Floats, done: Floats, going: Bools) -> None:
        """Prolong what a trouble falls on, one trouble after the other."""
        place = (cells[:, None] * self.days + np.arange(self.days)).reshape(-1)
        flat, start = done.reshape(-1), began.reshape(-1)
        due = (self.next_at[place].reshape(done.shape) < done) & going[:, None]
        hit = np.flatnonzero(due)
        while len(hit):
            own = place[hit]
            event = self.next[own]
            at = np.maximum(self.at[event], start[hit])
            at = np.maximum(at, self.held_until[own])
            self.held_at[event] = at
            self.held_until[own] = at + self.seconds[event]
            flat[hit] += self.seconds[event]
            self.next[own] += 1
            self.next_at[own] = self.at[event + 1]
            hit = hit[self.next_at[own] < flat[hit]]

    def _wait(
        self, name: str, cells: Ints, since: Floats, until: Floats, going: Bools
    ) -> None:
        seconds = until - since
        found = np.flatnonzero((seconds > self.notable[cells]) & going[:, None])
        if len(found):
            column, day = np.divmod(found, self.days)
            row = since.reshape(-1)[found], seconds.reshape(-1)[found]
            self.waits[name].append((cells[column], day, *row))

    def _gathered(self, name: str) -> Waits:
        rows = self.waits[name]
        if not rows:
            none = np.zeros(0, dtype=np.int64)
            return Waits(cell=none, day=none, at=np.zeros(0), seconds=np.zeros(0))
        cell, day, at, seconds = (
            np.concatenate(part) for part in zip(*rows, strict=True)
        )
        order = np.lexsort((at, day, cell))
        return Waits(
            cell=cell[order], day=day[order], at=at[order], seconds=seconds[order]
        )
