"""The rows of stops.csv: what was written down, with the times of each repair."""

from collections.abc import Sequence

import numpy as np

from config.demo.plant.description import Plant, Told
from config.demo.plant.flow import Ints
from config.demo.plant.logbook import REPAIRED, Stops
from config.demo.plant.reasons import CAUSES, CODES, NUMBER

COLUMNS = (
    "ref",
    "cell",
    "position",
    "reason",
    "started_at",
    "ended_at",
    "note",
    "called_at",
    "arrived_at",
    "cause_found_at",
    "repaired_at",
    "restarted_at",
    "cause",
)
#: Maintenance is called to what takes at least so long.
CALLED_S = 8 * 60
#: Minutes until somebody is there, by day and by night.
RESPONSE = (6.0, 11.0)
TIMES = ("called", "arrived", "cause_found", "repaired", "restarted")


def moments(seconds: Ints) -> list[str]:
    """UTC with its offset, so that no clock change makes it ambiguous."""
    texts = np.datetime_as_string(seconds.astype("datetime64[s]"), unit="s")
    return [f"{text}Z" for text in texts.tolist()]


def stop_rows(
    plant: Plant, logs: Sequence[Stops], rng: np.random.Generator
) -> list[tuple[object, ...]]:
    """All, in order of time. Refs are made of what never changes."""
    stops = _apart(_with_told(plant, logs))
    now = int(plant.now.timestamp())
    repair = {
        name: _up_to(seconds, now)
        for name, seconds in _repairs(stops, plant.told, rng).items()
    }
    codes = [CODES[reason] for reason in stops.reason]
    columns = zip(
        moments(stops.start),
        stops.cell,
        codes,
        stops.robot.tolist(),
        _up_to(stops.end, now),
        stops.note,
        zip(*(repair[name] for name in TIMES), strict=True),
        repair["repaired"],
        strict=True,
    )
    return [
        (
            f"{start} {cell} {code}",
            cell,
            f"R{robot}" if robot else "",
            code,
            start,
            end,
            note,
            *times,
            CAUSES.get(code, "") if repaired else "",
        )
        for start, cell, code, robot, end, note, times, repaired in columns
    ]


def _up_to(seconds: Ints, now: int) -> list[str]:
    """As moments; empty for none, and for what lies ahead."""
    known = (seconds > 0) & (seconds <= now)
    texts: list[str] = np.where(known, moments(np.maximum(seconds, 0)), "").tolist()
    return texts


def _with_told(plant: Plant, logs: Sequence[Stops]) -> Stops:
    """What is told stands; what else the cell was written down to do then, does not."""
    told = [(one, *_span(one)) for one in plant.told]
    kept = []
    for log in logs:
        cells = np.array(log.cell)
        keep = np.ones(len(cells), dtype=bool)
        for one, start, end in told:
            keep &= ~((cells == one.cell) & (log.start < end) & (log.end > start))
        kept.append(_some(log, np.flatnonzero(keep)))
    kept.append(
        Stops(
            cell=[one.cell for one in plant.told],
            reason=np.array([NUMBER[one.reason] for one in plant.told], dtype=int),
            robot=np.array([one.robot for one in plant.told], dtype=int),
            start=np.array([start for _, start, _ in told], dtype=int),
            end=np.array([end for _, _, end in told], dtype=int),
            night=np.zeros(len(told), dtype=int),
            note=[one.note for one in plant.told],
        )
    )
    joined = Stops(
        cell=[cell for log in kept for cell in log.cell],
        note=[note for log in kept for note in log.note],
        **{
            name: np.concatenate([getattr(log, name) for log in kept])
            for name in ("reason", "robot", "start", "end", "night")
        },
    )
    return _some(
        joined, np.lexsort((joined.reason, np.array(joined.cell), joined.start))
    )


def _span(told: Told) -> tuple[int, int]:
    start = int(told.start.timestamp())
    return start, start + told.minutes * 60


def _some(stops: Stops, rows: Ints) -> Stops:
    return Stops(
        cell=[stops.cell[row] for row in rows],
        note=[stops.note[row] for row in rows],
        **{
            name: getattr(stops, name)[rows]
            for name in ("reason", "robot", "start", "end", "night")
        },
    )


def _apart(stops: Stops) -> Stops:
    """Rounded, two of one kind may touch: the later begins where the earlier ends."""
    until: dict[tuple[str, int], int] = {}
    start = stops.start.copy()
    for row, (cell, reason) in enumerate(
        zip(stops.cell, stops.reason.tolist(), strict=True)
    ):
        begins = max(int(start[row]), until.get((cell, reason), 0))
        start[row] = begins
        until[cell, reason] = max(until.get((cell, reason), 0), int(stops.end[row]))
    apart = Stops(**(vars(stops) | {"start": start}))
    apart = _some(apart, np.flatnonzero(apart.start < apart.end))
    return _some(apart, np.argsort(apart.start, kind="stable"))


def _repairs(
    stops: Stops, told: Sequence[Told], rng: np.random.Generator
) -> dict[str, Ints]:
    """UTC seconds of each step in whole minutes, 0 where nobody was called."""
    total, length = len(stops.start), stops.end - stops.start
    usual = np.array(RESPONSE)[stops.night]
    call = np.minimum(rng.integers(0, 4, total) * 60, length // 5)
    response = rng.gamma(4.0, usual / 4.0) * 60
    arrived = call + np.minimum(response, 0.6 * (length - call))
    shares = np.sort(rng.uniform(0.15, 0.9, (2, total)), axis=0)
    found, repaired = (arrived + share * (length - arrived) for share in shares)
    for one in told:
        if one.arrived_after is not None:
            row = _row_of(stops, one)
            call[row] = one.called_after * 60
            arrived[row] = one.arrived_after * 60
            rest = length[row] - arrived[row]
            found[row], repaired[row] = arrived[row] + rest // 3, length[row] - 180
    steps = dict(zip(TIMES, (call, arrived, found, repaired, length), strict=True))
    called = REPAIRED[stops.reason] & (length >= CALLED_S)
    return {
        name: np.where(
            called, stops.start + (step // 60).astype(np.int64) * 60, 0
        ).astype(np.int64)
        for name, step in steps.items()
    }


def _row_of(stops: Stops, told: Told) -> int:
    start, _ = _span(told)
    return next(
        row
        for row in np.flatnonzero(stops.start == start).tolist()
        if stops.cell[row] == told.cell
    )
