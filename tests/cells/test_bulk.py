"""Rows written in bulk are what the models would have written."""

from datetime import date
from decimal import Decimal

import pytest
from django.db import IntegrityError

from cells.bulk import insert_all, insert_rows, update_rows
from cells.models import Machine, MachineKind, Meter, Reading, StaleMark
from tests.builders import Cast, at

pytestmark = pytest.mark.django_db


def columns_of(record):
    return {
        field.attname: getattr(record, field.attname)
        for field in record._meta.concrete_fields
        if not field.primary_key
    }


def test_inserted_records_are_what_saving_each_gives(cast: Cast):
    meter = Meter.objects.create(machine=cast.robot, name="spots")
    facts = {"meter": meter, "value": Decimal("12.5"), "question": "Is it?"}
    saved = Reading.objects.create(read_at=at("06:00"), **facts)

    insert_all([Reading(read_at=at("07:00"), **facts)])

    inserted = Reading.objects.get(read_at=at("07:00"))
    assert columns_of(inserted) == {**columns_of(saved), "read_at": at("07:00")}


def test_no_record_is_no_statement(django_assert_num_queries):
    with django_assert_num_queries(0):
        insert_all([])
        insert_rows(StaleMark, ("cell_id", "shift_id", "marked_at"), [])
        update_rows(Machine, ("kind",), [])


def test_fields_that_are_not_named_get_their_defaults():
    names, rows = ("serial", "kind"), [("W-1", MachineKind.WELD), ("W-2", "seal")]

    insert_rows(Machine, names, rows)

    one, other = Machine.objects.filter(serial__in=("W-1", "W-2"))
    assert (one.kind, one.model, one.tags) == ("weld", "", [])
    assert (other.kind, other.model, other.tags) == ("seal", "", [])


def test_rows_are_updated_each_by_its_own_id(cast: Cast):
    other = Machine.objects.create(serial="W-1", kind="weld")
    changes = [
        (["tag"], "210 kg", cast.robot.pk),
        ([], "it's 100 % \t new\n", other.pk),
    ]

    update_rows(Machine, ("tags", "model"), changes)

    cast.robot.refresh_from_db()
    other.refresh_from_db()
    assert (cast.robot.tags, cast.robot.model) == (["tag"], "210 kg")
    assert (other.tags, other.model) == ([], "it's 100 % \t new\n")


def test_empty_moments_and_dates_stay_empty(cast: Cast):
    placement = cast.robot.placements.get()

    update_rows(type(placement), ("removed_on",), [(date(2026, 3, 2), placement.pk)])
    placement.refresh_from_db()
    assert placement.removed_on == date(2026, 3, 2)

    update_rows(type(placement), ("removed_on",), [(None, placement.pk)])
    placement.refresh_from_db()
    assert placement.removed_on is None


def test_a_row_too_short_is_refused_before_anything_is_written():
    with pytest.raises(ValueError, match="zip"):
        insert_rows(Machine, ("serial", "kind"), [("W-1",)])


def test_what_the_database_forbids_is_djangos_own_error(cast: Cast):
    with pytest.raises(IntegrityError):
        insert_rows(Machine, ("serial", "kind"), [(cast.robot.serial, "weld")])
