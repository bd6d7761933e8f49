"""Four weeks of a line, body by body.

A line is a row of cells with banks between. A body leaves a cell when it is done
there and the next bank has room; a cell starts a body when the last one has left
and the next has come. So starved and blocked minutes follow from the stops of the
neighbours and are not drawn at random.
"""

from collections import deque
from dataclasses import dataclass, field

import numpy as np

from config.demo.plant.layout import VARIANTS, DemoCell, DemoLine


@dataclass(frozen=True, kw_only=True)
class Event:
    """Something that holds a cell; working seconds of the line's axis."""

    at: float
    seconds: float
    reason: str
    logged: bool = True


@dataclass(kw_only=True)
class Lived:
    """What a cell went through."""

    held: list[Event] = field(default_factory=list)  # as it really happened
    starved: list[tuple[float, float]] = field(default_factory=list)  # (at, seconds)
    blocked: list[tuple[float, float]] = field(default_factory=list)


@dataclass(frozen=True, kw_only=True)
class Run:
    lived: dict[str, Lived]
    #: (working second at which it left the last cell, variant), in order
    bodies: list[tuple[float, str]]


#: Shorter waits than this are part of the pace, nobody would call them a stop.
PACE_S = 8.0


def run_leg(
    line: DemoLine,
    cells: list[DemoCell],
    cycles: dict[str, dict[str, float]],
    events: dict[str, list[Event]],
    exit_full: list[Event],
    length: int,
    rng: np.random.Generator,
) -> Run:
    """Run one leg until its working seconds are used up.

    ``exit_full`` are the times when nothing can leave the last cell.
    """
    full = deque(sorted(exit_full, key=_at))
    queues = {code: deque(sorted(events[code], key=_at)) for code in events}
    lived = {cell.code: Lived() for cell in cells}
    room = [line.banks.get(cell.code, 0) for cell in cells]
    left: list[list[float]] = [[] for _ in cells]  # when body n left cell j
    names, weights = list(VARIANTS), [share for _, share in VARIANTS.values()]
    bodies: list[tuple[float, str]] = []
    while not bodies or bodies[-1][0] < length:
        variant = str(rng.choice(names, p=weights))
        n = len(left[0])
        came = 0.0
        for j, cell in enumerate(cells):
            free = left[j][-1] if n else 0.0
            began = max(came, free)
            if began - free > PACE_S and n:
                lived[cell.code].starved.append((free, began - free))
            pace = cycles[cell.code][variant] * (1.015 + 0.025 * rng.random())
            done = _through(began, pace, queues[cell.code], lived[cell.code])
            gone = _room_at(left, j, n, room[j], done)
            if j + 1 == len(cells):
                gone = _past(full, gone)
            if gone - done > PACE_S:
                lived[cell.code].blocked.append((done, gone - done))
            left[j].append(gone)
            came = gone
        bodies.append((came, variant))
    return Run(lived=lived, bodies=[body for body in bodies if body[0] < length])


def _at(event: Event) -> float:
    return event.at


def _room_at(left: list[list[float]], j: int, n: int, room: int, done: float) -> float:
    """When body n can leave cell j: the one ``room + 1`` before it has left j + 1."""
    if j + 1 == len(left) or n <= room:
        return done
    return max(done, left[j + 1][n - room - 1])


def _through(began: float, pace: float, queue: deque[Event], lived: Lived) -> float:
    """When a body is done, with every event that falls on it."""
    done = began + pace
    while queue and queue[0].at < done:
        event = queue.popleft()
        at = max(event.at, began)
        # An event still running when the next one falls due: one after the other.
        if lived.held:
            at = max(at, lived.held[-1].at + lived.held[-1].seconds)
        lived.held.append(
            Event(
                at=at,
                seconds=event.seconds,
                reason=event.reason,
                logged=event.logged,
            )
        )
        done = max(done, at) + event.seconds
    return done


def _past(full: deque[Event], moment: float) -> float:
    """The first moment from this one on at which the exit is free."""
    while full and full[0].at + full[0].seconds <= moment:
        full.popleft()
    if full and full[0].at <= moment:
        return full[0].at + full[0].seconds
    return moment
