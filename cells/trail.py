"""The trail: who changed which field of which record, from what to what, and why.

Nothing is overwritten silently. Every verb that changes a stored fact calls
``save_changes`` (one record) or ``changes_between`` (many, then ``bulk_create``).
"""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import models, transaction

from cells import clock
from cells.models import Change


def as_text(value: Any) -> str:
    """How the trail writes a value down."""
    if value is None:
        return ""
    if isinstance(value, datetime):
        return value.isoformat().replace("+00:00", "Z")
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ";".join(str(item) for item in value)
    return str(value)


def kind_of(record: models.Model) -> str:
    """How the trail names a kind of record: its model, like stop."""
    return str(record._meta.model_name)


def changes_between(
    record: models.Model,
    new: Mapping[str, Any],
    *,
    by: User | None,
    why: str,
    door: str = "page",
    at: datetime | None = None,
) -> list[Change]:
    """What setting these fields on this record would change, not yet saved."""
    moment = at or clock.now()
    return [
        Change(
            at=moment,
            by=by,
            door=door,
            kind=kind_of(record),
            record_id=record.pk,
            record=str(record)[:200],
            field=field,
            old=as_text(getattr(record, field)),
            new=as_text(value),
            why=why,
        )
        for field, value in new.items()
        if getattr(record, field) != value
    ]


@transaction.atomic
def save_changes(
    record: models.Model,
    new: Mapping[str, Any],
    *,
    by: User | None,
    why: str,
    door: str = "page",
) -> list[Change]:
    """Set the fields, save the record and its trail. Returns what changed.

    What the trail calls old is what is stored now, whatever else was saved since the
    record was read; and of the record only these fields are written.
    """
    stored = _locked(record)
    for column in record._meta.concrete_fields:
        if column.name in new:
            setattr(record, column.attname, getattr(stored, column.attname))
    changes = changes_between(record, new, by=by, why=why, door=door)
    if not changes:
        return []
    for field, value in new.items():
        setattr(record, field, value)
    record.full_clean()
    record.save(update_fields=new)
    Change.objects.bulk_create(changes)
    return changes


def created(
    records: Iterable[models.Model],
    *,
    by: User | None,
    why: str = "",
    door: str = "page",
) -> None:
    """Say of new records who brought them. For what people enter, not for files."""
    moment = clock.now()
    Change.objects.bulk_create(
        [
            Change(
                at=moment,
                by=by,
                door=door,
                kind=kind_of(record),
                record_id=record.pk,
                record=str(record)[:200],
                field="",
                new="entered",
                why=why,
            )
            for record in records
        ],
        batch_size=1000,
    )


def removed(
    record: models.Model,
    *,
    by: User | None,
    why: str,
    door: str = "page",
) -> None:
    """Say of a record that is about to go what it was. The trail outlives it."""
    _locked(record)
    facts = "; ".join(
        f"{field.name} {as_text(getattr(record, field.name))}"
        for field in record._meta.concrete_fields
        if not field.primary_key and getattr(record, field.name) not in (None, "")
    )
    Change.objects.create(
        at=clock.now(),
        by=by,
        door=door,
        kind=kind_of(record),
        record_id=record.pk,
        record=str(record)[:200],
        field="",
        old=facts,
        new="removed",
        why=why,
    )


def _locked(record: models.Model) -> models.Model:
    """The record as it is stored, for nobody else to write until the transaction's end.

    The error is for the second of two who remove it at the same moment.
    """
    rows = type(record)._default_manager.select_for_update(no_key=True)
    # In no order but the key's: another one may join tables that cannot be locked.
    stored = rows.filter(pk=record.pk).order_by("pk").first()
    if stored is None:
        raise ValidationError(
            f"{record} was removed by somebody else just now: load the page again."
        )
    return stored


def changes_of(record: models.Model) -> models.QuerySet[Change]:
    """A record's own trail, newest first; slice it for a page."""
    return Change.objects.filter(
        kind=kind_of(record), record_id=record.pk
    ).select_related("by")
