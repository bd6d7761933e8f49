"""Machines move; their history stays."""

from collections.abc import Iterator
from datetime import date, timedelta

import pytest
from django.core.exceptions import ValidationError

from cells import placements
from cells.models import Machine, Placement
from tests import builders
from tests.builders import MONDAY, Cast

pytestmark = pytest.mark.django_db

FRIDAY = date(2026, 2, 27)


@pytest.fixture
def told() -> Iterator[list[list[int]]]:
    """What listeners of ``moved`` hear."""
    heard: list[list[int]] = []

    def hear(machine_ids: list[int], **kwargs: object) -> None:
        heard.append(machine_ids)

    placements.moved.connect(hear)
    yield heard
    placements.moved.disconnect(hear)


def place(cast: Cast, machine: Machine, **given: object) -> Placement:
    facts = {"cell": cast.cells[2], "position": "R01", "placed_on": MONDAY, **given}
    return placements.place_machine(machine=machine, by=cast.people.planner, **facts)


def test_a_new_machine_is_added_and_placed(cast: Cast, told: list[list[int]]) -> None:
    machine = placements.add_machine(
        serial="S-0001",
        kind="seal",
        model="S 20",
        tags=["rail"],
        by=cast.people.planner,
    )

    placement = place(cast, machine)

    assert Placement.objects.on(MONDAY).get(machine=machine) == placement
    assert told == [[machine.pk]]


def test_a_serial_number_is_used_once(cast: Cast) -> None:
    with pytest.raises(ValidationError, match="belongs to a weld robot already"):
        placements.add_machine(serial="w-0001", kind="weld", by=cast.people.planner)


def test_an_unknown_kind_is_refused(cast: Cast) -> None:
    with pytest.raises(ValidationError, match="not a valid choice"):
        placements.add_machine(serial="X-1", kind="laser", by=cast.people.planner)


def test_a_machine_stands_in_one_place(cast: Cast) -> None:
    with pytest.raises(ValidationError, match="W-0001 still stands in L1-10 R01"):
        place(cast, cast.robot)


def test_a_place_holds_one_machine(cast: Cast) -> None:
    spare = builders.make_machine("W-0002")
    with pytest.raises(ValidationError, match="W-0001 stands at L1-10 R01 still"):
        place(cast, spare, cell=cast.cells[0])


def test_a_place_that_was_taken_on_that_day_is_refused(cast: Cast) -> None:
    spare = builders.make_machine("W-0002")
    placements.remove_machine(
        machine=cast.robot, removed_on=MONDAY, by=cast.people.planner, why="overhaul"
    )
    with pytest.raises(ValidationError, match="stands at L1-10 R01 until 2026-03-02"):
        place(cast, spare, cell=cast.cells[0], placed_on=FRIDAY)
    assert place(cast, spare, cell=cast.cells[0]).placed_on == MONDAY


def test_a_day_in_the_future_is_refused(cast: Cast) -> None:
    spare = builders.make_machine("W-0002")
    with pytest.raises(ValidationError, match="2026-03-03 lies in the future"):
        place(cast, spare, placed_on=MONDAY + timedelta(days=1))


def test_a_machine_cannot_leave_before_it_came(cast: Cast) -> None:
    with pytest.raises(ValidationError, match="was placed on 2025-01-06, after"):
        placements.remove_machine(
            machine=cast.robot,
            removed_on=date(2024, 1, 1),
            by=cast.people.planner,
            why="?",
        )


def test_a_machine_that_stands_nowhere_cannot_be_removed(cast: Cast) -> None:
    with pytest.raises(ValidationError, match="stands nowhere"):
        placements.remove_machine(
            machine=builders.make_machine("W-0002"),
            removed_on=MONDAY,
            by=cast.people.planner,
            why="?",
        )


def test_a_retired_cell_takes_no_machine(cast: Cast) -> None:
    cast.cells[2].retired_on = FRIDAY
    cast.cells[2].save()
    with pytest.raises(ValidationError, match="L1-30 is retired on 2026-02-27"):
        place(cast, builders.make_machine("W-0002"))


def test_a_swap_keeps_both_histories(cast: Cast, told: list[list[int]]) -> None:
    spare = builders.make_machine("W-0002")

    placements.swap_machine(
        out=cast.robot,
        into=spare,
        swapped_on=MONDAY,
        by=cast.people.planner,
        why="worn gear",
    )

    there = Placement.objects.filter(cell=cast.cells[0], position="R01")
    assert [(p.machine.serial, p.placed_on, p.removed_on) for p in there] == [
        ("W-0001", date(2025, 1, 6), MONDAY),
        ("W-0002", MONDAY, None),
    ]
    assert Placement.objects.on(MONDAY).get(position="R01", cell=cast.cells[0]) == (
        spare.placements.get()
    )
    assert told == [[cast.robot.pk, spare.pk]]


def test_a_swap_that_cannot_be_leaves_all_as_it_was(cast: Cast) -> None:
    with pytest.raises(ValidationError, match="H-0001 still stands in L1-20"):
        placements.swap_machine(
            out=cast.robot,
            into=cast.handler,
            swapped_on=MONDAY,
            by=cast.people.planner,
            why="?",
        )
    assert cast.robot.placements.get().removed_on is None
