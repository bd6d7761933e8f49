"""Which shift of a line a person most likely means."""

from datetime import datetime, timedelta

from django.db.models import F

from cells.models import Line, Shift

#: After a shift's end its leader is still at the log, though the next one runs.
STILL_AT_IT = timedelta(hours=1)


def best_shift(line: Line, *, now: datetime, at_the_log: bool) -> Shift | None:
    """The running shift, else the last one.

    ``at_the_log``: a shift that ended less than an hour ago and is not confirmed
    comes before the one that runs.
    """
    begun = Shift.objects.filter(line=line, starts_at__lte=now)
    latest = list(
        begun.exclude(ends_at=F("starts_at"))
        .select_related("line", "confirmation")
        .order_by("-starts_at")[:2]
    )
    if at_the_log and len(latest) == 2:
        last = latest[1]
        fresh = now - last.ends_at < STILL_AT_IT
        if fresh and not hasattr(last, "confirmation"):
            return last
    return latest[0] if latest else None
