from datetime import UTC, datetime
from decimal import Decimal

import pytest
import time_machine

from oee.health import cells_without_a_cycle, unplanned_output
from oee.ledger.flags import Flag
from oee.models import CellShift, Count, IdealCycle, Variant
from tests.builders import MONDAY, NOW, TUESDAY, Cast, at, make_cell, the_cast

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _frozen():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def cast() -> Cast:
    return the_cast()


@pytest.fixture
def sedan() -> Variant:
    return Variant.objects.create(code="S4", name="Sedan")


def count(variant: Variant, **facts) -> Count:
    given = {"total": 100, "good": 100, "entered_at": NOW, **facts}
    return Count.objects.create(variant=variant, **given)


def cycle(cell, variant: Variant, valid_from=MONDAY) -> IdealCycle:
    return IdealCycle.objects.create(
        cell=cell, variant=variant, seconds=Decimal(60), valid_from=valid_from
    )


def test_a_line_count_asks_for_a_cycle_in_each_cell_that_it_holds_for(cast, sedan):
    first, second, third = cast.cells
    make_cell("L1-40A", line=cast.line, leg="A")
    cycle(first, sedan)
    cycle(second, sedan, valid_from=TUESDAY)
    count(sedan, line=cast.line, shift=cast.early)
    found = list(cells_without_a_cycle())
    assert [finding.subject for finding in found] == [second.code, third.code]
    assert "built variant S4 on 2026-03-02 without an ideal cycle" in found[0].sentence


def test_a_cell_with_counts_of_its_own_does_not_build_its_lines_variant(cast, sedan):
    wagon = Variant.objects.create(code="W5", name="Wagon")
    for cell in cast.cells:
        cycle(cell, wagon)
        count(wagon, cell=cell, shift=cast.early)
    count(sedan, line=cast.line, shift=cast.early)
    assert list(cells_without_a_cycle()) == []


def test_nothing_built_or_withdrawn_asks_for_no_cycle(cast, sedan):
    count(sedan, line=cast.line, shift=cast.early, total=0, good=0)
    count(sedan, cell=cast.cells[0], shift=cast.early, withdrawn=True)
    assert list(cells_without_a_cycle()) == []


def test_the_queries_do_not_grow_with_the_cells(
    cast, sedan, django_assert_max_num_queries
):
    for order in range(40, 60):
        make_cell(f"L1-{order}", line=cast.line, order=order)
    count(sedan, line=cast.line, shift=cast.early)
    with django_assert_max_num_queries(6):
        assert len(list(cells_without_a_cycle())) == 23


def test_a_count_between_shifts_is_unplanned_output(cast, sedan):
    night = {"starts_at": at("02:00"), "ends_at": at("03:00")}
    count(sedan, line=cast.line, **night)
    count(sedan, cell=cast.cells[0], withdrawn=True, **night)
    (finding,) = unplanned_output()
    assert finding.subject == "L1"
    assert "100 bodies were counted from" in finding.sentence
    with time_machine.travel(datetime(2026, 6, 30, tzinfo=UTC), tick=False):
        assert list(unplanned_output()) == []


def test_a_flagged_cell_shift_is_unplanned_output(cast, sedan):
    columns = {
        field.name: 0
        for field in CellShift._meta.get_fields()
        if field.name.endswith(("_s", "_us"))
    }
    for cell, flags in zip(
        cast.cells,
        (Flag.UNPLANNED_OUTPUT | Flag.NOT_CONFIRMED, Flag.NO_COUNT, 0),
        strict=True,
    ):
        CellShift.objects.create(
            cell=cell,
            shift=cast.early,
            line=cast.line,
            area=cast.area,
            production_date=MONDAY,
            counted=True,
            made=7,
            good=7,
            flags=int(flags),
            computed_at=NOW,
            **columns,
        )
    (finding,) = unplanned_output()
    assert finding.subject == cast.cells[0].code
    assert "7 bodies were counted in 2026-03-02 Early" in finding.sentence
