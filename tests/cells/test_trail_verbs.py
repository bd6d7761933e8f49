"""What the trail keeps when somebody else has saved since a record was read."""

import pytest
from django.core.exceptions import ValidationError

from cells import trail
from cells.models import Cell, Change, DayOff
from tests.builders import MONDAY, Cast, the_cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    return the_cast()


def test_what_another_person_saved_meanwhile_is_not_written_over(cast: Cast) -> None:
    mine, theirs = (Cell.objects.get(code="L1-10") for _ in range(2))

    trail.save_changes(theirs, {"name": "Roof"}, by=None, why="new sign")
    trail.save_changes(mine, {"order": 15}, by=None, why="moved")

    stored = Cell.objects.get(code="L1-10")
    assert (stored.name, stored.order) == ("Roof", 15)


def test_the_old_value_is_the_stored_one(cast: Cast) -> None:
    mine, theirs = (Cell.objects.get(code="L1-10") for _ in range(2))

    trail.save_changes(theirs, {"name": "Roof"}, by=None, why="new sign")
    trail.save_changes(mine, {"name": "Roof bows"}, by=None, why="more exact")

    assert list(Change.objects.order_by("pk").values_list("old", "new")) == [
        ("Cell L1-10", "Roof"),
        ("Roof", "Roof bows"),
    ]


def test_the_same_change_sent_twice_is_told_once(cast: Cast) -> None:
    for cell in [Cell.objects.get(code="L1-10") for _ in range(2)]:
        trail.save_changes(cell, {"name": "Roof"}, by=None, why="new sign")

    assert Change.objects.count() == 1


def test_what_somebody_else_removed_is_not_removed_again(cast: Cast) -> None:
    DayOff.objects.create(date=MONDAY, name="Fair")
    mine, theirs = (DayOff.objects.get() for _ in range(2))
    trail.removed(theirs, by=None, why="a slip")
    theirs.delete()

    with pytest.raises(ValidationError, match="removed by somebody else"):
        trail.removed(mine, by=None, why="a slip")
