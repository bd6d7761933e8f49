"""Two people who correct one record: neither overwrites what the other has saved.

A form carries the number of the newest change that its page showed. What was saved
since is in the trail. A field that only the other one changed stays as they left it; a
field that both changed is refused, with both versions, and the form then carries what
it has shown by that: sent again, it is meant.
"""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import Max, Model

from cells import trail
from cells.models import Change
from cells.templatetags.figures import moment

#: The code of the refusal; its parameter "seen" is the newest change by now.
CHANGED_MEANWHILE = "changed_meanwhile"


def newest_change(record: Model) -> int:
    """0: nobody has changed it yet."""
    changes = Change.objects.filter(kind=trail.kind_of(record), record_id=record.pk)
    return changes.aggregate(newest=Max("pk"))["newest"] or 0


def merged(
    record: Model, changes: Mapping[str, Any], *, seen: int | None
) -> dict[str, Any]:
    """Of these changes those that the person meant, who saw it as of that change.

    The record is the stored one, locked. None: whoever asks read it just now.
    """
    if seen is None:
        return dict(changes)
    later: dict[str, list[Change]] = {}
    unseen = Change.objects.filter(
        kind=trail.kind_of(record), record_id=record.pk, pk__gt=seen
    )
    for change in unseen.select_related("by").order_by("pk"):
        later.setdefault(change.field, []).append(change)
    meant = {
        field: value
        for field, value in changes.items()
        if field not in later or trail.as_text(value) != later[field][0].old
    }
    refused = {
        field: _both(later[field][-1], getattr(record, field), value)
        for field, value in meant.items()
        if field in later and value != getattr(record, field)
    }
    if refused:
        raise ValidationError(refused)
    return meant


def _both(last: Change, theirs: Any, yours: Any) -> ValidationError:
    who = last.by.get_full_name() or last.by.get_username() if last.by else last.door
    return ValidationError(
        f"{who} changed this to {_shown(theirs)} at {moment(last.at)}, while your page "
        f"was open, and you entered {_shown(yours)}. Put in what is right and send it "
        "again.",
        code=CHANGED_MEANWHILE,
        params={"seen": last.pk},
    )


def _shown(value: Any) -> str:
    if value is None or value == "":
        return "nothing"
    return f"“{moment(value) if isinstance(value, datetime) else value}”"
