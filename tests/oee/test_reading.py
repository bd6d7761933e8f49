"""What is read in bulk is what the models say."""

import random
from datetime import timedelta

import pytest
from django.db.models import Value
from django.db.models.functions import Coalesce

from cells.among import among
from cells.models import Shift
from cells.moments import MomentField, to_seconds
from maintenance.models import Reason, Stop
from oee.inputs import gather
from oee.inputs.reading import fetch, read_integers
from tests.builders import Cast, at, the_cast

pytestmark = pytest.mark.django_db

DAY = timedelta(days=1)


@pytest.fixture
def plant() -> Cast:
    return the_cast()


def make_stops(cast: Cast, rng: random.Random) -> None:
    """Of seconds to weeks, around the early shift, some running, some withdrawn."""
    reasons = [
        Reason.objects.create(code=name, name=name, loss_class=name)
        for name in ("breakdown", "minor", "starved")
    ]
    lengths = (60, 4 * 3600, 86_399, 86_400, 86_401, 20 * 86_400)
    for number in range(60):
        start = at("06:00") + timedelta(seconds=rng.randrange(-20 * 86_400, 40_000))
        withdrawn = rng.random() < 0.2
        Stop.objects.create(
            ref=f"S{number}",
            cell=rng.choice(cast.cells),
            reason=rng.choice(reasons),
            started_at=start,
            ended_at=start + timedelta(seconds=rng.choice(lengths)),
            withdrawn=withdrawn,
            logged_at=start,
        )
    for reason, cell in zip(reasons, cast.cells, strict=True):
        Stop.objects.create(
            ref=f"running {cell}",
            cell=cell,
            reason=reason,
            started_at=at("06:00") - rng.randrange(0, 30) * DAY,
            logged_at=at("06:00"),
        )


@pytest.mark.parametrize("seed", range(5))
def test_every_stop_that_reaches_into_a_shift_is_gathered(
    plant: Cast, seed: int
) -> None:
    make_stops(plant, random.Random(seed))
    gathered = gather([(cell.pk, plant.early.pk) for cell in plant.cells])
    touching = Stop.objects.standing().filter(cell__in=plant.cells)
    expected = touching.touching(plant.early.starts_at, plant.early.ends_at)
    assert sorted(gathered.stops["id"]) == sorted(stop.pk for stop in expected)
    assert len(expected) > 3


def test_integers_are_read_as_the_models_have_them(plant: Cast) -> None:
    make_stops(plant, random.Random(1))
    last = Coalesce("ended_at", Value(-1), output_field=MomentField())
    rows = Stop.objects.annotate(last=last)
    read = read_integers(rows, ["id", "cell_id", "started_at", "last"])
    expected = {
        (
            stop.pk,
            stop.cell_id,
            to_seconds(stop.started_at),
            -1 if stop.ended_at is None else to_seconds(stop.ended_at),
        )
        for stop in Stop.objects.all()
    }
    assert set(zip(*(column.tolist() for column in read), strict=True)) == expected


def test_a_column_with_nothing_in_it_is_refused_and_not_read_as_a_number(
    plant: Cast,
) -> None:
    make_stops(plant, random.Random(1))
    with pytest.raises((TypeError, ValueError)):
        read_integers(Stop.objects.all(), ["ended_at"])


def test_a_list_of_ids_finds_these_and_no_other(plant: Cast) -> None:
    asked = [plant.early.pk, plant.other_early.pk, 10**12]
    found = fetch(Shift.objects.filter(among("id", asked)), ["id"])
    assert sorted(found["id"]) == sorted(asked[:2])
    assert list(fetch(Shift.objects.filter(among("id", [])), ["id"])["id"]) == []
