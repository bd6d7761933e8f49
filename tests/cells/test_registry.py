"""Areas, lines, cells, banks and lockout sheets, as people enter them."""

from datetime import date
from decimal import Decimal

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from cells import placements, registry
from cells.models import Area, Bank, Cell, Change, Line, Shift, StaleMark
from tests import builders
from tests.builders import MONDAY, TUESDAY, Cast

pytestmark = pytest.mark.django_db


def add_cell(cast: Cast, code: str, **given: object) -> Cell:
    facts = {"line": cast.line, "name": "New", "order": 40, **given}
    return registry.add_cell(code=code, by=cast.people.planner, **facts)


@pytest.mark.parametrize("taken", ["BODY", "L1", "L1-10", "l1-10"])
def test_areas_lines_and_cells_share_one_set_of_codes(cast: Cast, taken: str) -> None:
    planner = cast.people.planner
    with pytest.raises(ValidationError, match="is taken by the"):
        registry.add_area(code=taken, name="x", by=planner)
    with pytest.raises(ValidationError, match="is taken by the"):
        registry.add_line(code=taken, area=cast.area, name="x", order=1, by=planner)
    with pytest.raises(ValidationError, match="is taken by the"):
        add_cell(cast, taken)


@pytest.mark.parametrize("code", ["", "a b", "line/leg", "-x", "Größe"])
def test_a_code_must_fit_in_an_address(cast: Cast, code: str) -> None:
    with pytest.raises(ValidationError, match="cannot be used: write letters"):
        registry.add_area(code=code, name="x", by=cast.people.planner)
    assert Area.objects.count() == 2


def test_a_new_line_works_its_areas_shifts_from_today_on(cast: Cast) -> None:
    line = registry.add_line(
        code="L2", area=cast.area, name="Sides", order=2, by=cast.people.planner
    )

    dates = Shift.objects.filter(line=line).values_list("production_date", flat=True)
    assert min(dates) == MONDAY
    assert max(dates) == date(2026, 4, 27)


def test_a_new_cell_is_marked_from_today_on(cast: Cast) -> None:
    builders.make_shift(cast.line, on=date(2026, 2, 27))

    cell = add_cell(cast, "L1-40")

    marked = set(StaleMark.objects.values_list("cell", "shift"))
    assert marked == {(cell.pk, cast.early.pk), (cell.pk, cast.late.pk)}


def change_cell(cast: Cast, cell: Cell, **given: object) -> None:
    facts = {
        "name": cell.name,
        "order": cell.order,
        "leg": cell.leg,
        "criticality": cell.criticality,
        "heads_limit": cell.heads_limit,
        **given,
    }
    registry.change_cell(cell=cell, by=cast.people.planner, why="as built", **facts)


def test_a_changed_cell_leaves_a_trail(cast: Cast) -> None:
    change_cell(cast, cast.cells[0], name="Load", heads_limit=2)

    changes = {change.field: change for change in Change.objects.all()}
    assert set(changes) == {"name", "heads_limit"}
    assert (changes["name"].old, changes["name"].new) == ("Cell L1-10", "Load")
    assert not StaleMark.objects.exists()


def test_a_changed_leg_marks_all_shifts_of_the_cell(cast: Cast) -> None:
    change_cell(cast, cast.cells[0], leg="a")
    assert set(StaleMark.objects.values_list("shift", flat=True)) == {
        cast.early.pk,
        cast.late.pk,
    }


def test_the_counting_cell_stands_in_the_line(cast: Cast) -> None:
    with pytest.raises(ValidationError, match="P1-10 stands in line P1: choose"):
        registry.set_counting_cell(
            line=cast.line, cell=cast.other_cell, by=cast.people.planner, why="?"
        )
    registry.set_counting_cell(
        line=cast.line, cell=cast.cells[0], by=cast.people.planner, why="new sensor"
    )
    assert Line.objects.get(code="L1").counting_cell == cast.cells[0]


def test_a_target_for_the_same_date_is_corrected(cast: Cast) -> None:
    entry = {"area": cast.area, "valid_from": MONDAY, "by": cast.people.planner}
    registry.set_target(oee=Decimal("0.77"), why="yearly", **entry)
    registry.set_target(oee=Decimal("0.79"), why="typing error", **entry)

    assert [target.oee for target in cast.area.targets.all()] == [Decimal("0.79")]
    assert Change.objects.filter(kind="areatarget").count() == 2


@pytest.mark.parametrize("oee", ["0", "1.01", "-0.2"])
def test_a_target_is_a_share(cast: Cast, oee: str) -> None:
    with pytest.raises(ValidationError):
        registry.set_target(
            area=cast.area,
            oee=Decimal(oee),
            valid_from=MONDAY,
            by=cast.people.planner,
            why="x",
        )


def bank(cast: Cast, a: Cell, b: Cell, capacity: int = 8) -> Bank:
    return registry.set_bank(
        from_cell=a, to_cell=b, capacity=capacity, by=cast.people.planner, why="built"
    )


def test_a_bank_lies_between_neighbours(cast: Cast) -> None:
    first, second, third = cast.cells
    assert bank(cast, first, second).capacity == 8
    assert bank(cast, first, second, 10).capacity == 10
    assert Bank.objects.count() == 1
    assert bank(cast, third, cast.other_cell).capacity == 8
    with pytest.raises(ValidationError, match="L1-20 stands between L1-10 and L1-30"):
        bank(cast, first, third)
    with pytest.raises(ValidationError, match="name the two in the order of the flow"):
        bank(cast, second, first)
    with pytest.raises(ValidationError, match="two different cells"):
        bank(cast, second, second)


def retire(cast: Cast, cell: Cell, on: date = TUESDAY) -> None:
    registry.retire_cell(cell=cell, retired_on=on, by=cast.people.planner, why="gone")


def test_a_cell_is_retired_once_it_is_empty(cast: Cast) -> None:
    cell = cast.cells[1]
    with pytest.raises(ValidationError, match="H-0001 still stand in cell L1-20"):
        retire(cast, cell)
    placements.remove_machine(
        machine=cast.handler, removed_on=MONDAY, by=cast.people.planner, why="gone"
    )

    retire(cast, cell, MONDAY)

    assert Cell.objects.get(code="L1-20").retired_on == MONDAY
    assert set(StaleMark.objects.values_list("cell", flat=True)) == {cell.pk}


def test_a_counting_cell_cannot_be_retired(cast: Cast) -> None:
    with pytest.raises(ValidationError, match="choose another counting cell first"):
        retire(cast, cast.cells[2])


@pytest.mark.parametrize(
    ("who", "may"),
    [
        ("safety_officer", True),
        ("planner", True),
        ("admin", True),
        ("leader", False),
        ("technician", False),
        ("plant_manager", False),
    ],
)
def test_who_records_a_lockout_sheet(cast: Cast, who: str, may: bool) -> None:
    entry = {
        "cell": cast.cells[0],
        "sheet": "LS-10",
        "revision": "C",
        "revised_on": date(2026, 2, 1),
        "by": getattr(cast.people, who),
        "why": "new revision",
    }
    if may:
        registry.record_lockout_sheet(**entry)
        assert Cell.objects.get(code="L1-10").lockout_sheet == "LS-10"
    else:
        with pytest.raises(PermissionDenied, match="safety officer or a planner"):
            registry.record_lockout_sheet(**entry)


@pytest.mark.parametrize(
    ("sheet", "revised_on", "sentence"),
    [
        ("", date(2026, 2, 1), "The sheet's number is missing"),
        ("LS-10", date(2026, 3, 3), "2026-03-03 lies in the future"),
    ],
)
def test_a_lockout_sheet_that_cannot_be_is_refused(
    cast: Cast, sheet: str, revised_on: date, sentence: str
) -> None:
    with pytest.raises(ValidationError, match=sentence):
        registry.record_lockout_sheet(
            cell=cast.cells[0],
            sheet=sheet,
            revision="C",
            revised_on=revised_on,
            by=cast.people.safety_officer,
            why="x",
        )


@pytest.mark.parametrize("who", ["leader", "area_manager", "safety_officer", "reader"])
def test_only_a_planner_edits_the_registry(cast: Cast, who: str) -> None:
    by = getattr(cast.people, who)
    with pytest.raises(PermissionDenied, match="Only a planner edits the registry"):
        registry.add_area(code="NEW", name="x", by=by)
    with pytest.raises(PermissionDenied, match="Only a planner edits the registry"):
        placements.add_machine(serial="X-1", kind="weld", by=by)
