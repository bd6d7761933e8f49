"""Reasons and stops beside the cast, and what was marked."""

from dataclasses import dataclass
from datetime import datetime

from cells.models import Change, StaleMark
from maintenance.models import Reason, Stop
from maintenance.stops import log_stop
from tests.builders import Cast, at


def make_reason(
    code: str = "stuck-tip", loss_class: str = "breakdown", **facts: object
) -> Reason:
    given = {"name": code.replace("-", " "), "group": "Spot weld", **facts}
    return Reason.objects.create(code=code, loss_class=loss_class, **given)


@dataclass(kw_only=True)
class Reasons:
    stuck: Reason  # breakdown
    jam: Reason  # minor
    blocked: Reason
    meeting: Reason  # planned
    old: Reason  # breakdown, retired


def make_reasons() -> Reasons:
    return Reasons(
        stuck=make_reason(),
        jam=make_reason("skid-jam", "minor", group="Transfer"),
        blocked=make_reason("blocked", "blocked", group="Flow"),
        meeting=make_reason("meeting", "planned", group="Agreed"),
        old=make_reason("old-fault", retired_on="2026-01-31"),
    )


def a_stop(cast: Cast, reason: Reason, start: str, end: str | None, **facts) -> Stop:
    """Logged by the line's leader at the first cell, on Monday."""
    given = {"cell": cast.cells[0], "by": cast.people.leader, **facts}
    return log_stop(
        reason=reason, started_at=at(start), ended_at=at(end) if end else None, **given
    )


def marked() -> list[tuple[str, str]]:
    """(cell, shift name) of every mark, sorted."""
    rows = StaleMark.objects.values_list("cell__code", "shift__name")
    return sorted(rows)


def trail_of(record: object, kind: str = "stop") -> list[tuple[str, str, str, str]]:
    """(field, old, new, why), oldest first."""
    rows = Change.objects.filter(kind=kind, record_id=record.pk).order_by("id")
    return list(rows.values_list("field", "old", "new", "why"))


def z(moment: datetime) -> str:
    """How the trail writes a moment."""
    return moment.isoformat().replace("+00:00", "Z")
