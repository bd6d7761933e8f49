"""Where do the rectangles of the account bar and of the shift strip go?

Geometry and words only; the tags in ``cells/templatetags/drawings.py`` put them
into SVG. Places are percentages of the drawing's width, so that a bar stretches
with its column while its hatching and its letters keep their shape.

>>> bar = account_bar([Part(kind="good", seconds=300), Part(kind="setup", seconds=100)])
>>> [(rect.kind, rect.x, rect.width) for rect in bar.rects]
[('good', '0.000%', '75.000%'), ('setup', '75.000%', '25.000%')]
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from decimal import Decimal
from fractions import Fraction
from typing import Protocol

Seconds = int | float | Decimal | Fraction

# Every kind of minute with its word, in the order in which a bar shows them:
# what was won, what the cell lost itself, what nobody explained, what was done to it.
KIND_WORDS = {
    "good": "good making",
    "breakdown": "breakdown",
    "setup": "set-up",
    "quality_hold": "quality hold",
    "minor": "minor stops",
    "reject": "rejects",
    "slow": "slow or unexplained",
    "people": "people",
    "supply": "supply",
    "utilities": "utilities",
    "blocked": "blocked",
    "starved": "starved",
    "planned": "planned stop",
}
OWN_KINDS = ("breakdown", "setup", "quality_hold", "minor", "reject")
FOREIGN_KINDS = ("people", "supply", "utilities", "blocked", "starved")
HATCHED_KINDS = (*FOREIGN_KINDS, "planned")

# Of two stops that overlap, the one named first owns the second.
STOP_PRECEDENCE = (
    "planned",
    "breakdown",
    "setup",
    "quality_hold",
    "minor",
    *FOREIGN_KINDS,
)

LEAST_GAP = 0.5  # seconds: what summing fractions as floats may lose is no gap
MOST_HOUR_LABELS = 6  # what fits a phone's 340 pixels


@dataclass(frozen=True, kw_only=True)
class Part:
    kind: str  # a key of KIND_WORDS
    seconds: Seconds  # only "slow" may be negative

    def __post_init__(self) -> None:
        _check_kind(self.kind, KIND_WORDS)
        if self.seconds < 0 and self.kind != "slow":
            raise ValueError(f"{self.kind} ({self.seconds} s) must not be negative")


@dataclass(frozen=True, kw_only=True)
class Rect:
    kind: str
    seconds: Seconds
    x: str  # "12.500%"
    width: str  # "12.500%"

    @property
    def word(self) -> str:
        return KIND_WORDS[self.kind]


@dataclass(frozen=True, kw_only=True)
class Bar:
    rects: tuple[Rect, ...]
    parts: tuple[Part, ...]  # in drawing order, the undrawn ones too, without zeros
    total: Seconds  # what the parts should add up to
    missing: Seconds  # seconds of the total that no part explains
    missing_x: str
    missing_width: str
    total_x: str | None  # where the total ends, when the drawn parts go beyond it


def _check_kind(kind: str, known: Iterable[str]) -> None:
    if kind not in known:
        raise ValueError(f"kind {kind!r} must be one of {', '.join(known)}")


def _percent(share: float) -> str:
    return f"{100 * share:.3f}%"


def account_bar(
    parts: Iterable[Part],
    *,
    total: Seconds | None = None,
    scale: Seconds | None = None,
) -> Bar:
    """Cut a bar into its owners.

    ``total`` is what the parts should add up to (default: their sum); what is
    missing is drawn empty. ``scale`` is what the full width stands for (default:
    the total), so that bars under each other can be compared in minutes. Seconds
    throughout. Negative slow is not drawn; the other parts then go beyond the
    total, and ``total_x`` marks where it ended.
    """
    for name, value in (("total", total), ("scale", scale)):
        if value is not None and value < 0:
            raise ValueError(f"{name} ({value} s) must not be negative")
    order = list(KIND_WORDS)
    present = sorted(
        (part for part in parts if part.seconds),
        key=lambda part: order.index(part.kind),
    )
    added = sum(float(part.seconds) for part in present)
    drawn = sum(float(part.seconds) for part in present if part.seconds > 0)
    whole = max(added, 0.0) if total is None else float(total)
    full = max(drawn, whole, float(scale or 0)) or 1.0
    missing = whole - drawn
    return Bar(
        rects=_side_by_side((part for part in present if part.seconds > 0), full),
        parts=tuple(present),
        total=whole if total is None else total,
        missing=missing if missing > LEAST_GAP else 0,
        missing_x=_percent(drawn / full),
        missing_width=_percent(max(missing, 0.0) / full),
        total_x=_percent(whole / full) if -missing > LEAST_GAP else None,
    )


def _side_by_side(parts: Iterable[Part], full: float) -> tuple[Rect, ...]:
    rects, at = [], 0.0
    for part in parts:
        share = float(part.seconds) / full
        rects.append(
            Rect(
                kind=part.kind,
                seconds=part.seconds,
                x=_percent(at),
                width=_percent(share),
            )
        )
        at += share
    return tuple(rects)


class Span(Protocol):
    """Anything with two moments: a shift, a break. Half-open, aware."""

    @property
    def starts_at(self) -> datetime: ...
    @property
    def ends_at(self) -> datetime: ...


@dataclass(frozen=True, kw_only=True)
class StripStop:
    kind: str  # one of STOP_PRECEDENCE
    starts_at: datetime  # aware
    ends_at: datetime | None = None  # None: still running
    words: str = ""  # the reason, as the floor says it

    def __post_init__(self) -> None:
        _check_kind(self.kind, STOP_PRECEDENCE)
        if self.ends_at is not None and self.ends_at < self.starts_at:
            raise ValueError(
                f"stop ends ({self.ends_at}) before it starts ({self.starts_at})"
            )

    @property
    def said(self) -> str:
        word = KIND_WORDS[self.kind]
        return f"{self.words} ({word})" if self.words else word


@dataclass(frozen=True, kw_only=True)
class Block:
    """One stretch of the clock, its two moments cut to the shift."""

    starts_at: datetime
    ends_at: datetime
    x: str
    width: str
    stop: StripStop | None = None


@dataclass(frozen=True, kw_only=True)
class Hour:
    text: str  # "14:00", plant time
    x: str
    anchor: str  # SVG text-anchor


@dataclass(frozen=True, kw_only=True)
class Strip:
    passed: Block | None  # up to now
    ahead: Block | None  # from now on
    stops: tuple[Block, ...]  # later ones are painted over earlier ones
    breaks: tuple[Block, ...]  # painted over the stops: a break's seconds are no loss
    hours: tuple[Hour, ...]
    now_x: str | None  # None when now lies outside the shift


@dataclass(frozen=True, kw_only=True)
class _Axis:
    starts_at: datetime
    ends_at: datetime

    def place(self, moment: datetime) -> float:
        # Same-zone datetimes subtract by wall clock; going through timestamps keeps
        # the night of a clock change as long as it was.
        length = self.ends_at.timestamp() - self.starts_at.timestamp()
        return (moment.timestamp() - self.starts_at.timestamp()) / length

    def block(
        self, starts_at: datetime, ends_at: datetime, stop: StripStop | None = None
    ) -> Block | None:
        """The part of [starts_at, ends_at) inside the shift, None if there is none."""
        start, end = max(starts_at, self.starts_at), min(ends_at, self.ends_at)
        if end <= start:
            return None
        x = self.place(start)
        return Block(
            starts_at=start,
            ends_at=end,
            x=_percent(x),
            width=_percent(self.place(end) - x),
            stop=stop,
        )


def shift_strip(
    shift: Span,
    *,
    breaks: Iterable[Span],
    stops: Iterable[StripStop],
    now: datetime,
    zone: tzinfo,
) -> Strip:
    """The clock of one shift: gaps for breaks, stops in place, hours in ``zone``.

    A running stop reaches to ``now``. Stops that overlap are painted so that the
    one that owns the second is on top: the higher class, then the earlier start.
    """
    if shift.ends_at <= shift.starts_at:
        raise ValueError(
            f"shift ends ({shift.ends_at}) not after its start ({shift.starts_at})"
        )
    axis = _Axis(starts_at=shift.starts_at, ends_at=shift.ends_at)
    # Twice stable: first the later start goes down, then the lower class under it.
    painted = sorted(stops, key=lambda stop: stop.starts_at, reverse=True)
    painted.sort(key=lambda stop: STOP_PRECEDENCE.index(stop.kind), reverse=True)
    rests = (axis.block(rest.starts_at, rest.ends_at) for rest in breaks)
    blocks = (axis.block(stop.starts_at, stop.ends_at or now, stop) for stop in painted)
    return Strip(
        passed=axis.block(shift.starts_at, now),
        ahead=axis.block(now, shift.ends_at),
        breaks=tuple(rest for rest in rests if rest),
        stops=tuple(block for block in blocks if block),
        hours=_hours(axis, zone),
        now_x=(
            _percent(axis.place(now)) if shift.starts_at < now < shift.ends_at else None
        ),
    )


def _hours(axis: _Axis, zone: tzinfo) -> tuple[Hour, ...]:
    """Labels at both ends and on full hours between, as many as a phone can show."""
    length = axis.ends_at.timestamp() - axis.starts_at.timestamp()
    step = next(h for h in range(1, 1000) if length / 3600 / h <= MOST_HOUR_LABELS - 1)
    local = axis.starts_at.astimezone(zone)
    into_hour = timedelta(minutes=local.minute, seconds=local.second)
    moment = axis.starts_at.astimezone(UTC) - into_hour
    # A label nearer to an end than this would touch the label that stands there.
    margin = 0.7 / MOST_HOUR_LABELS
    hours = [_hour(axis, axis.starts_at, zone, "start")]
    while moment < axis.ends_at:
        if margin < axis.place(moment) < 1 - margin:
            hours.append(_hour(axis, moment, zone, "middle"))
        moment += timedelta(hours=step)
    return (*hours, _hour(axis, axis.ends_at, zone, "end"))


def _hour(axis: _Axis, moment: datetime, zone: tzinfo, anchor: str) -> Hour:
    return Hour(
        text=f"{moment.astimezone(zone):%H:%M}",
        x=_percent(axis.place(moment)),
        anchor=anchor,
    )


SPARK_WIDTH = 110  # pixels
SPARK_HEIGHT = 26
SPARK_EDGE = 3  # room for the line's own thickness and the last dot
SPARK_LEAST_RANGE = 0.1  # ten points of OEE, lest a calm line look wild


@dataclass(frozen=True, kw_only=True)
class Spark:
    lines: tuple[str, ...]  # SVG polyline points; an unknown value breaks the line
    last: tuple[str, str] | None  # where the newest known value stands
    target_y: str | None
    width: int = SPARK_WIDTH
    height: int = SPARK_HEIGHT


def sparkline(values: Iterable[float | None], *, target: float | None = None) -> Spark:
    """Ratios (0.77), oldest first; None where nothing is known.

    >>> sparkline([0.70, None, 0.80, 0.80]).lines
    ('3.0,23.0 3.0,23.0', '72.3,3.0 107.0,3.0')
    """
    series = list(values)
    known = [value for value in (*series, target) if value is not None]
    middle = (min(known) + max(known)) / 2 if known else 0
    spread = max(max(known) - min(known), SPARK_LEAST_RANGE) if known else 1
    step = (SPARK_WIDTH - 2 * SPARK_EDGE) / max(len(series) - 1, 1)

    def y(value: float) -> str:
        above_middle = (value - middle) / spread
        return (
            f"{SPARK_HEIGHT / 2 - above_middle * (SPARK_HEIGHT - 2 * SPARK_EDGE):.1f}"
        )

    runs: list[list[tuple[str, str]]] = [[]]
    for index, value in enumerate(series):
        if value is None:
            runs.append([])
        else:
            runs[-1].append((f"{SPARK_EDGE + index * step:.1f}", y(value)))
    runs = [run for run in runs if run]
    return Spark(
        # A lone point is doubled: a round cap then shows it as a dot.
        lines=tuple(
            " ".join(f"{x},{y}" for x, y in (run * 2 if len(run) == 1 else run))
            for run in runs
        ),
        last=runs[-1][-1] if runs else None,
        target_y=None if target is None else y(target),
    )
