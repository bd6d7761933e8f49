"""Where the time of a breakdown went, and whose it was.

Elapsed clock time from one recorded moment to the next; a part whose moments are not
both recorded is unknown, never nought. (The cuts of EN 13306 in the floor's words.)
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from cells.working_time.plant_time import elapsed_s
from maintenance.models import Stop


@dataclass(frozen=True, kw_only=True)
class Part:
    name: str
    owner: str
    question: str
    seconds: int | None  # None: not recorded


def parts(stop: Stop) -> list[Part]:
    """Call, response, diagnosis, parts, repair, check and ramp, in this order."""
    return list(_parts(stop))


def down_s(stop: Stop) -> int | None:
    """From the start to the first good part; without one, to the restart; seconds."""
    return _between(stop.started_at, stop.first_good_at or stop.restarted_at)


def _parts(stop: Stop) -> Iterator[Part]:
    yield Part(
        name="call",
        owner="production",
        question="Do we see stops?",
        seconds=_between(stop.started_at, stop.called_at),
    )
    yield Part(
        name="response",
        owner="maintenance staffing",
        question="Enough people, in the right place?",
        seconds=_between(stop.called_at, stop.arrived_at),
    )
    yield Part(
        name="diagnosis",
        owner="skill and documents",
        question="Training, fault history?",
        seconds=_between(stop.arrived_at, stop.cause_found_at),
    )
    yield Part(
        name="waiting for parts",
        owner="stores",
        question="Which spares are critical?",
        seconds=stop.parts_wait_s,
    )
    repair = _between(stop.cause_found_at, stop.repaired_at)
    yield Part(
        name="repair",
        owner="technique",
        question="Design, tools?",
        seconds=None if repair is None else repair - (stop.parts_wait_s or 0),
    )
    yield Part(
        name="check and restart",
        owner="controls",
        question="Is there a restart procedure?",
        seconds=_between(stop.repaired_at, stop.restarted_at),
    )
    yield Part(
        name="ramp",
        owner="production and maintenance",
        question="Restart routine, touch-up?",
        seconds=_between(stop.restarted_at, stop.first_good_at),
    )


def _between(start: datetime | None, end: datetime | None) -> int | None:
    return None if start is None or end is None else elapsed_s(start, end)
