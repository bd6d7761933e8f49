"""A record made for a row is the one that calling the model would give."""

from decimal import Decimal

import pytest

from cells.files.making import Maker
from cells.models import Machine, Reading
from tests.builders import Cast, at

pytestmark = pytest.mark.django_db


def test_a_made_record_is_like_one_of_the_models_own(cast: Cast):
    facts = {"meter": cast.meter, "read_at": at("06:00"), "value": Decimal(5)}
    own, made = Reading(**facts), Maker(Reading)(**facts)

    assert vars(made).keys() == vars(own).keys()
    for field in Reading._meta.concrete_fields:
        assert getattr(made, field.attname) == getattr(own, field.attname)
    assert made._state.adding
    assert made.meter is cast.meter


def test_a_relation_may_be_empty_or_given_by_its_id(cast: Cast):
    make = Maker(Reading)

    assert make(meter=cast.meter, by=None).by_id is None
    assert make(meter_id=cast.meter.pk).meter == cast.meter


def test_no_two_records_share_a_list():
    make = Maker(Machine)
    first, second = make(serial="W-1"), make(serial="W-2")

    first.tags.append("tag")

    assert second.tags == []


def test_a_made_record_can_be_saved(cast: Cast):
    record = Maker(Machine)(serial="W-1", kind="weld")

    record.save()

    assert Machine.objects.get(serial="W-1").pk == record.pk
