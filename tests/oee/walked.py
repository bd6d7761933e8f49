"""The slow, obvious ledger over stored rows: the oracle of the seam.

It walks one cell-shift second by second through the models, asks of each second who
owns it, and adds up. No numpy, no bulk, no shared code with the ledger.
"""

from collections import Counter
from datetime import datetime, timedelta
from decimal import Decimal

from cells.models import Cell, Shift, ShiftBreak
from maintenance.models import LossClass, PlannedStop, Stop, Tally
from oee.models import Count, IdealCycle


def walk(cell: Cell, shift: Shift, until: datetime | None = None) -> dict[str, object]:
    breaks = [pause for pause in shift.breaks.all() if not _worked(cell, pause)]
    planned = _planned(cell)
    stops = list(
        Stop.objects.filter(cell=cell, withdrawn=False).select_related("reason")
    )
    owners = Counter(
        _owner(second, shift, breaks, planned, stops)
        for second in _seconds(shift, until)
    )
    classes = {c: owners[c] for c in LossClass.values if c != "planned"}
    free, cut = owners["free"], False
    for tally in _tallies(cell, shift):
        taken = min(free, tally.seconds)
        classes[tally.reason.loss_class] += taken
        free -= taken
        cut |= taken < tally.seconds
    counts, from_line = _counts(cell, shift)
    cycles = [_cycle(cell, shift, count) for count in counts]
    known = [
        cycle is not None or not count.total
        for cycle, count in zip(cycles, counts, strict=True)
    ]
    counted = bool(counts) and all(known)
    ideal = [(cycle or Decimal(0)) if counted else Decimal(0) for cycle in cycles]
    return {
        "scheduled_s": sum(owners.values()),
        "break_s": owners["break"],
        "planned_s": owners["planned"] + owners["planned_late"],
        "planned_late_s": owners["planned_late"],
        **{f"{name}_s": seconds for name, seconds in classes.items()},
        "counted": counted,
        "made": sum(count.total for count in counts),
        "good": sum(count.good for count in counts),
        "ideal_total_us": int(
            sum(c * count.total for c, count in zip(ideal, counts, strict=True))
            * 1_000_000
        ),
        "ideal_good_us": int(
            sum(c * count.good for c, count in zip(ideal, counts, strict=True))
            * 1_000_000
        ),
        "overlogged": cut,
        "from_line": from_line,
    }


def _seconds(shift: Shift, until: datetime | None) -> list[datetime]:
    end = min(shift.ends_at, until) if until else shift.ends_at
    length = int((end - shift.starts_at).total_seconds())
    return [shift.starts_at + timedelta(seconds=n) for n in range(max(length, 0))]


def _owner(
    second: datetime,
    shift: Shift,
    breaks: list[ShiftBreak],
    planned: list[PlannedStop],
    stops: list[Stop],
) -> str:
    if any(pause.starts_at <= second < pause.ends_at for pause in breaks):
        return "break"
    covering = [stop for stop in planned if stop.starts_at <= second < stop.ends_at]
    if covering:
        early = any(stop.declared_at <= shift.starts_at for stop in covering)
        return "planned" if early else "planned_late"
    standing = [
        stop
        for stop in stops
        if stop.started_at <= second and (not stop.ended_at or second < stop.ended_at)
    ]
    if not standing:
        return "free"
    first = min(standing, key=lambda s: (_rank(s), s.started_at, s.ref))
    return first.reason.loss_class


def _rank(stop: Stop) -> int:
    return LossClass.values.index(stop.reason.loss_class)


def _worked(cell: Cell, pause: ShiftBreak) -> bool:
    worked = cell.worked_breaks.filter(shift=pause.shift, withdrawn=False)
    return worked.filter(break_start=pause.starts_at).exists()


def _planned(cell: Cell) -> list[PlannedStop]:
    places = {"cell": cell, "line": cell.line, "area": cell.line.area}
    return [
        stop
        for level, place in places.items()
        for stop in PlannedStop.objects.filter(**{level: place}, withdrawn=False)
    ]


def _tallies(cell: Cell, shift: Shift) -> list[Tally]:
    tallies = Tally.objects.filter(cell=cell, shift=shift, withdrawn=False)
    return sorted(tallies, key=lambda t: (_rank(t), t.reason.code))


def _counts(cell: Cell, shift: Shift) -> tuple[list[Count], bool]:
    own = list(Count.objects.filter(cell=cell, shift=shift, withdrawn=False))
    if own:
        return own, False
    of_line = Count.objects.filter(
        line=cell.line, leg=cell.leg, shift=shift, withdrawn=False
    )
    return list(of_line), bool(of_line)


def _cycle(cell: Cell, shift: Shift, count: Count) -> Decimal | None:
    valid = IdealCycle.objects.filter(
        cell=cell, variant=count.variant, valid_from__lte=shift.production_date
    )
    latest = valid.order_by("-valid_from").first()
    return latest.seconds if latest else None
