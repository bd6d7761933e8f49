"""What a colleague would say of the plant's figures, and nothing they do not hold."""

from collections.abc import Sequence

from cells.templatetags.figures import count
from oee.account_rows import coverage
from oee.periods import Period
from oee.plant_page import AreaRow, Worst
from oee.rollups import combined
from oee.templatetags.accounts import in_minutes, mid_sentence

#: Percentage points; what is nearer would be written as 0.0.
LEAST = 0.05


def sentence(rows: Sequence[AreaRow], period: Period) -> str:
    """The area that lost most planned time against its target, where and to what.

    Without a target, against its own four weeks before.
    """
    when = period.words
    if not rows:
        return f"Nothing was planned {when}."
    known = [row for row in rows if row.points is not None]
    if not known:
        said = coverage(combined(row.sums for row in rows))
        judged = f"No area can be judged {when}: {said} counted."
        return f"{judged}{_by_whom(_worst_of(rows))}"
    lowest = min(known, key=lambda row: (row.points or 0) * row.planned_s)
    if (lowest.points or 0) > -LEAST:
        return f"{_nobody_below(rows, known)} {when}.{_by_whom(_worst_of(rows))}"
    return f"{_below(lowest)} {when}{_bodies_short(lowest)}.{_by_whom(lowest.worst)}"


def _below(row: AreaRow) -> str:
    measure = "its target" if row.target else "its own last four weeks"
    return f"{row.name} was {abs(row.points or 0):.1f} points under {measure}"


def _nobody_below(rows: Sequence[AreaRow], known: Sequence[AreaRow]) -> str:
    who = "Every area" if len(rows) > 1 else rows[0].name
    if len(known) < len(rows):
        who = "Every area that can be judged"
    if all(row.target for row in known):
        return f"{who} met its target"
    return f"{who} held its target or its own last four weeks"


def _bodies_short(row: AreaRow) -> str:
    if row.bodies is None or row.bodies.short <= 0:
        return ""
    plural = "body" if row.bodies.short == 1 else "bodies"
    return f", {row.bodies.line} {count(row.bodies.short)} {plural} short of plan"


def _worst_of(rows: Sequence[AreaRow]) -> Worst | None:
    found = [row.worst for row in rows if row.worst]
    return max(found, key=lambda worst: worst.lost_s, default=None)


def _by_whom(worst: Worst | None) -> str:
    if worst is None:
        return ""
    cause = ""
    if worst.cause:
        share = "mostly" if worst.is_mostly else "first of all"
        cause = f", {share} {mid_sentence(worst.cause)}"
    lost = in_minutes(worst.lost_s)
    return f" {worst.cell} lost most by its own fault: {lost}{cause}."
