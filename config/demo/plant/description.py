"""The words in which a demo plant is described, for the generator to run it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time
from functools import cached_property
from zoneinfo import ZoneInfo

ZONE = ZoneInfo("Europe/Berlin")
#: What is built: its name, and its share of an ordinary day.
VARIANTS = {"H": ("hatch", 0.45), "S": ("saloon", 0.30), "E": ("electric", 0.25)}
BREAKS = {
    "Early": "08:00-08:10;10:00-10:20;12:00-12:10",
    "Late": "16:00-16:10;18:00-18:20;20:00-20:10",
    "Night": "00:00-00:10;02:00-02:20;04:00-04:10",
}
HOURS = {
    "Early": (time(6), time(14)),
    "Late": (time(14), time(22)),
    "Night": (time(22), time(6)),
}
#: Working seconds of a shift of eight hours.
SHIFT_S = 440 * 60


@dataclass(frozen=True, kw_only=True)
class Cell:
    code: str
    name: str
    order: int
    leg: str = ""
    criticality: str = "B"
    kinds: tuple[str, ...] = ()  # one per robot: R1, R2, …
    sheet: tuple[str, str, str] | None = None  # number, revision, date
    #: Seconds per body by variant, in the registry and as it can really hold it.
    ideal: Mapping[str, float]
    true: Mapping[str, float]


@dataclass(frozen=True, kw_only=True)
class Line:
    code: str
    area: str
    name: str
    order: int
    counting: str
    cells: tuple[Cell, ...]
    shifts: tuple[str, ...] = ("Early", "Late")
    #: Legs that stand side by side take bodies in turn; else each has its own parts.
    in_turn: bool = False
    banks: Mapping[str, int] = field(default_factory=dict)  # after which cell: bodies

    @cached_property
    def legs(self) -> list[list[Cell]]:
        """The cells of each leg in flow order; one list where there are none."""
        names = sorted({cell.leg for cell in self.cells})
        return [[cell for cell in self.cells if cell.leg == name] for name in names]


@dataclass(frozen=True, kw_only=True)
class Bank:
    """Between the end of one line and the head of the next."""

    line: str
    into: str
    capacity: int


@dataclass(frozen=True, kw_only=True)
class Area:
    code: str
    name: str
    #: How many points the target lies above what the area reaches.
    ahead: float


@dataclass(frozen=True, kw_only=True)
class Event:
    """Something that holds a cell, `at` working seconds into the day's shifts."""

    cell: str
    day: date
    at: float
    seconds: float
    reason: str
    robot: int = 0  # its number in the cell
    note: str = ""
    night: bool = False  # in the day's night shift


@dataclass(frozen=True, kw_only=True)
class Slower:
    """A cell's pace from one date to another, both in, against its true one."""

    cell: str
    first: date
    last: date
    factor: float


@dataclass(frozen=True, kw_only=True)
class Told:
    """A stop that is told as it was, whatever the plant did then. Plant time."""

    cell: str
    reason: str
    start: datetime
    minutes: int
    robot: int = 0
    note: str = ""
    called_after: int = 1  # minutes
    arrived_after: int | None = None


@dataclass(frozen=True, kw_only=True)
class OverTime:
    """A shift of one date on top of the week's; nobody entered it for `forgot`."""

    day: date
    name: str
    lines: frozenset[str]
    forgot: frozenset[str] = frozenset()


@dataclass(frozen=True, kw_only=True)
class PlannedStop:
    ref: str
    at: str
    start: datetime
    minutes: int
    reason: str
    declared: datetime


@dataclass(frozen=True, kw_only=True)
class Equipment:
    """What is no robot: its place in a cell, and since when it stands there."""

    serial: str
    kind: str
    cell: str
    position: str
    placed_on: date


@dataclass(frozen=True, kw_only=True)
class Swap:
    """A robot that left its place to another, and went elsewhere or away."""

    cell: str
    robot: int
    day: date
    serial: str  # of the one that came
    hours: float  # that it had run by then
    to_cell: str = ""
    to_position: str = ""


@dataclass(frozen=True, kw_only=True)
class Pack:
    """A cable pack of a robot, with its life in spots where it ended."""

    serial: str
    cell: str
    robot: int
    placed_on: date
    removed_on: date | None
    spots: int  # when it was removed, or by now


@dataclass(frozen=True, kw_only=True)
class Upkeep:
    """What stands apart in the demo plant's maintenance."""

    equipment: tuple[Equipment, ...]
    crews: tuple[tuple[object, ...], ...]  # as the rows of their file
    swaps: tuple[Swap, ...] = ()
    packs: tuple[Pack, ...] = ()
    #: Serials that are not read any more.
    unread: frozenset[str] = frozenset()
    #: Serial of the gun whose force falls a quarter of a percent a week.
    weak_gun: str = ""
    #: Guns that are checked every week.
    weekly: frozenset[str] = frozenset()
    #: Serials of what has a safety test that nobody did.
    forgotten: frozenset[str] = frozenset()
    #: Lines whose controller filters are found as new.
    clean_filters: frozenset[str] = frozenset()
    #: Backup batteries with a low voltage: serials, and when it was measured.
    low_batteries: frozenset[str] = frozenset()
    batteries_read: date | None = None
    #: On this cell routines were done on these days: routine, robot, day.
    done_on: tuple[tuple[str, str, int, date], ...] = ()
    #: Pumps whose filter loads from week to week.
    loaded_filters: frozenset[str] = frozenset()
    first_due: tuple[tuple[object, ...], ...] = ()


@dataclass(frozen=True, kw_only=True)
class Rates:
    """How often things go wrong, per cell and shift of 440 min."""

    breakdown: float = 0.04
    breakdowns: Mapping[str, float] = field(default_factory=dict)  # of a line
    breakdown_min: float = 16.0
    minors: float = 1.5
    fewer_minors: Mapping[str, float] = field(default_factory=dict)  # of a cell
    minor_min: float = 0.7
    slow: tuple[float, float] = (1.02, 1.04)  # of the true cycle
    good: tuple[float, float] = (0.98, 0.995)


@dataclass(frozen=True, kw_only=True)
class Plant:
    name: str
    seed: int
    first_day: date
    last_day: date  # of the weeks that are told; the days up to now come on top
    now: datetime
    moved: str
    areas: tuple[Area, ...]
    lines: tuple[Line, ...]
    banks: tuple[Bank, ...]
    bodies_a_day: int  # planned, for each line
    rates: Rates
    days_off: Mapping[date, str]
    overtime: tuple[OverTime, ...]
    events: tuple[Event, ...]
    told: tuple[Told, ...]
    planned: tuple[PlannedStop, ...]
    worked_breaks: tuple[tuple[object, ...], ...]  # as the rows of their file
    upkeep: Upkeep
    slower: tuple[Slower, ...] = ()
    #: On these days so many of the bodies are electric.
    electric: Mapping[date, float] = field(default_factory=dict)
    #: The line and the shift whose leaders write down no minor stops.
    no_minors: tuple[str, str] = ("", "")
    #: Cells whose control counts every wait.
    sees_all: frozenset[str] = frozenset()
    #: By line that nothing else follows: how often per shift its exit is full.
    exit_full: Mapping[str, float] = field(default_factory=dict)

    @property
    def today(self) -> date:
        return self.now.date()

    @cached_property
    def cells(self) -> dict[str, Cell]:
        return {cell.code: cell for line in self.lines for cell in line.cells}

    @cached_property
    def line_of(self) -> dict[str, Line]:
        return {cell.code: line for line in self.lines for cell in line.cells}
