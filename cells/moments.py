"""A moment: a whole second of UTC, stored as an integer.

The ledger reads millions of starts and ends at once. An integer column costs a
fifth of a datetime column to read, compares and indexes the same on every
database, and cannot hold a local time or half a second by mistake.
"""

from datetime import UTC, datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models.expressions import Combinable
from django.utils.functional import cached_property


def to_seconds(moment: datetime) -> int:
    """Seconds since 1970 in UTC. ValueError on naive or split seconds."""
    if moment.tzinfo is None:
        raise ValueError(f"{moment.isoformat()} has no time zone")
    if moment.microsecond:
        raise ValueError(f"{moment.isoformat()} is not a whole second")
    return int(moment.timestamp())


def from_seconds(seconds: int) -> datetime:
    return datetime.fromtimestamp(seconds, UTC)


def seconds_of(name: str) -> models.ExpressionWrapper:
    """A moment's column as it is stored, where a query reads very many."""
    return models.ExpressionWrapper(
        models.F(name), output_field=models.BigIntegerField(null=True)
    )


class MomentField(models.BigIntegerField):
    """Aware UTC datetimes in Python, whole seconds in the database."""

    # For django-stubs, which take a BigIntegerField's values to be ints.
    _pyi_private_set_type: datetime | Combinable  # type: ignore[assignment]
    _pyi_private_get_type: datetime  # type: ignore[assignment]
    _pyi_lookup_exact_type: datetime  # type: ignore[assignment]

    description = "Moment in whole seconds of UTC"
    default_error_messages = {
        "invalid_moment": "“%(value)s” is not a moment with a time zone.",
    }

    @cached_property
    def validators(self) -> list[Any]:
        # Without the integer range, which cannot be compared to a moment.
        return [*self.default_validators, *self._validators]  # type: ignore[attr-defined]

    def from_db_value(self, value: int | None, *args: Any) -> datetime | None:
        return None if value is None else from_seconds(value)

    def to_python(self, value: Any) -> datetime | None:
        if value is None or isinstance(value, datetime):
            return value
        if isinstance(value, int):
            return from_seconds(value)
        raise ValidationError(
            self.error_messages["invalid_moment"],
            code="invalid_moment",
            params={"value": value},
        )

    def get_prep_value(self, value: Any) -> int | None:
        if isinstance(value, datetime):
            return to_seconds(value)
        return super().get_prep_value(value)

    def value_to_string(self, obj: models.Model) -> str:
        value: Any = self.value_from_object(obj)
        return "" if value is None else value.isoformat()

    def formfield(self, **kwargs: Any) -> Any:
        from cells.moment_forms import PlantMomentFormField

        # BigIntegerField would add number limits that a moment has no use for.
        return models.Field.formfield(self, form_class=PlantMomentFormField, **kwargs)
