from datetime import date
from decimal import Decimal

import pytest
import time_machine
from django.core.exceptions import PermissionDenied, ValidationError

from cells.models import Change, StaleMark
from oee.cycles import set_ideal_cycle
from oee.models import IdealCycle, Variant
from tests.builders import MONDAY, NOW, TUESDAY, Cast, make_shift, the_cast

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _frozen():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def cast() -> Cast:
    return the_cast()


def set_cycle(cast: Cast, **given) -> IdealCycle:
    sedan, _ = Variant.objects.get_or_create(code="S4", name="Sedan")
    facts = {
        "cell": cast.cells[0],
        "variant": sedan,
        "seconds": Decimal("58.5"),
        "valid_from": MONDAY,
        "why": "timed on the floor",
        "by": cast.people.planner,
    }
    return set_ideal_cycle(**{**facts, **given})


def marked() -> set[tuple[str, date]]:
    return set(StaleMark.objects.values_list("cell__code", "shift__production_date"))


def test_a_cycle_marks_its_cell_from_its_date_on(cast):
    make_shift(cast.line, on=TUESDAY)
    set_cycle(cast, valid_from=TUESDAY)
    assert marked() == {("L1-10", TUESDAY)}
    set_cycle(cast, valid_from=MONDAY, seconds=Decimal(60))
    assert marked() == {("L1-10", MONDAY), ("L1-10", TUESDAY)}


def test_the_same_date_again_corrects_and_keeps_the_old_cycle_on_the_trail(cast):
    first = set_cycle(cast)
    second = set_cycle(cast, seconds=Decimal("57.25"), why="typing slip")
    change = Change.objects.get(field="seconds")
    assert first.pk == second.pk
    assert (change.old, change.new) == ("58.500000", "57.25")
    assert change.why == "typing slip"


def test_the_same_cycle_again_marks_nothing(cast):
    set_cycle(cast)
    StaleMark.objects.all().delete()
    set_cycle(cast)
    assert marked() == set()


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"seconds": Decimal(0)}, "must be above 0 s"),
        ({"seconds": Decimal(-3)}, r"\(-3 s\)"),
        ({"seconds": Decimal("NaN")}, "must be above 0 s"),
        ({"seconds": Decimal("1.0000001")}, "more than 6 decimals"),
        ({"seconds": Decimal(86_401)}, "longer than a day"),
        ({"why": " "}, "Say why S4 takes 58.5 s in L1-10"),
    ],
    ids=["nought", "negative", "no number", "decimals", "longer than a day", "why"],
)
def test_an_impossible_cycle_is_refused_in_a_sentence(cast, given, says):
    with pytest.raises(ValidationError, match=says):
        set_cycle(cast, **given)
    assert not IdealCycle.objects.exists()


@pytest.mark.parametrize("who", ["leader", "area_manager", "plant_manager", "reader"])
def test_only_a_planner_sets_cycles(cast, who):
    with pytest.raises(PermissionDenied, match="set by a planner"):
        set_cycle(cast, by=getattr(cast.people, who))
