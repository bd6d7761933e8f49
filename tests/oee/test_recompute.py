"""The stored ledger: the seam against a second-by-second walk, and its job's laws."""

import random
from datetime import datetime, timedelta
from decimal import Decimal

import pytest
import time_machine

from cells import stale
from cells.models import Shift, StaleMark, WorkedBreak
from maintenance.models import PlannedStop, Reason, ShiftConfirmation, Stop, Tally
from oee.inputs import gather
from oee.ledger.account import compute_accounts
from oee.ledger.flags import names
from oee.models import CellShift, Count, IdealCycle, Variant
from oee.recompute import bring_up_to_date, mark_all, waiting
from tests.builders import MONDAY, TUESDAY, Cast, at, make_shift, the_cast
from tests.oee.walked import walk

pytestmark = pytest.mark.django_db

CLASSES = ["breakdown", "setup", "minor", "people", "blocked", "starved"]


@pytest.fixture
def plant() -> Cast:
    """The cast with two short shifts, so that the walk takes no time."""
    cast = the_cast()
    Shift.objects.all().delete()
    cast.early = make_shift(cast.line, start="06:00", end="06:08", breaks="06:03-06:04")
    cast.late = make_shift(
        cast.line, "Late", start="06:08", end="06:15", breaks="06:10-06:12"
    )
    return cast


@pytest.fixture
def reasons(plant: Cast) -> list[Reason]:
    return [
        Reason.objects.create(code=code, name=code, loss_class=code) for code in CLASSES
    ]


def make_stop(
    cast: Cast, reason: Reason, start: int, end: int | None, ref: str, cell: int = 0
) -> Stop:
    """Seconds from the start of the early shift."""
    return Stop.objects.create(
        ref=ref,
        cell=cast.cells[cell],
        reason=reason,
        started_at=moment(start),
        ended_at=None if end is None else moment(end),
        logged_at=moment(0),
    )


def moment(seconds: int) -> datetime:
    return at("06:00") + timedelta(seconds=seconds)


def make_trouble(cast: Cast, reasons: list[Reason], rng: random.Random) -> None:
    """Random stops, planned stops, tallies, counts and cycles on all cells."""
    for number in range(25):
        start = rng.randrange(-60, 900)
        end = start + rng.randrange(1, 200)
        withdrawn = rng.random() < 0.1
        stop = make_stop(
            cast,
            rng.choice(reasons),
            # Many equal starts, so that the lowest ref has to decide.
            start // 30 * 30,
            end,
            f"{rng.random()}-{number}",
            rng.randrange(3),
        )
        Stop.objects.filter(pk=stop.pk).update(withdrawn=withdrawn)
    planned = Reason.objects.create(code="pm", name="PM", loss_class="planned")
    for number in range(4):
        start = rng.randrange(0, 800)
        place = rng.choice(
            [{"cell": cast.cells[0]}, {"line": cast.line}, {"area": cast.area}]
        )
        PlannedStop.objects.create(
            ref=f"p{number}",
            starts_at=moment(start),
            ends_at=moment(start + rng.randrange(1, 60)),
            reason=planned,
            declared_at=moment(rng.randrange(-100, 500)),
            **place,
        )
    for shift in (cast.early, cast.late):
        for cell in cast.cells:
            for reason in rng.sample(reasons, 2):
                Tally.objects.create(
                    cell=cell,
                    shift=shift,
                    reason=reason,
                    times=rng.randrange(1, 5),
                    seconds=rng.randrange(0, 200),
                    logged_at=moment(0),
                )
    make_counts(cast, rng)
    pause = cast.early.breaks.get()
    WorkedBreak.objects.create(
        cell=cast.cells[1], shift=cast.early, break_start=pause.starts_at
    )


def make_counts(cast: Cast, rng: random.Random) -> None:
    cast.cells[2].leg = "L"
    cast.cells[2].save()
    variants = [Variant.objects.create(code=code, name=code) for code in "HSE"]
    for cell in cast.cells:
        for variant in variants[: rng.randrange(2, 4)]:
            for since in (MONDAY - timedelta(days=9), MONDAY, TUESDAY):
                seconds = Decimal(rng.randrange(1, 9_000_000)) / 1_000_000
                IdealCycle.objects.create(
                    cell=cell, variant=variant, valid_from=since, seconds=seconds
                )
    places = [
        {"line": cast.line},
        {"line": cast.line, "leg": "L"},
        {"cell": cast.cells[0]},
    ]
    for shift in (cast.early, cast.late):
        for place in places:
            for variant in variants:
                if rng.random() < 0.5:
                    total = rng.randrange(0, 40)
                    Count.objects.create(
                        shift=shift,
                        variant=variant,
                        total=total,
                        good=rng.randrange(0, total + 1),
                        entered_at=moment(0),
                        **place,
                    )


@pytest.mark.parametrize("seed", range(6))
def test_the_stored_account_is_what_a_walk_through_every_second_finds(
    plant: Cast, reasons: list[Reason], seed: int
) -> None:
    make_trouble(plant, reasons, random.Random(seed))
    mark_all()
    with time_machine.travel(at("07:00"), tick=False):
        assert bring_up_to_date() == 6
    for row in CellShift.objects.select_related("cell", "shift"):
        expected = walk(row.cell, row.shift)
        flags = names(row.flags)
        assert ("overlogged" in flags) == expected.pop("overlogged")
        assert ("count_from_line" in flags) == expected.pop("from_line")
        assert {name: getattr(row, name) for name in expected} == expected


@pytest.mark.parametrize("seed", [10, 11])
def test_a_running_shift_is_computed_up_to_a_moment(
    plant: Cast, reasons: list[Reason], seed: int
) -> None:
    make_trouble(plant, reasons, random.Random(seed))
    make_stop(plant, reasons[0], 200, None, "still running")
    until = moment(300)
    pairs = [(cell.pk, plant.early.pk) for cell in plant.cells]
    gathered = gather(pairs, until)
    accounts = compute_accounts(gathered.inputs)
    for index, key in gathered.cell_shifts.iterrows():
        cell = next(cell for cell in plant.cells if cell.pk == key["cell"])
        expected = walk(cell, plant.early, until)
        del expected["overlogged"], expected["from_line"]
        found = {name: getattr(accounts, name)[index] for name in expected}
        assert found == expected


def test_reasons_keep_their_seconds_and_how_often(
    plant: Cast, reasons: list[Reason]
) -> None:
    breakdown, minor = reasons[0], reasons[2]
    # Carried over from the early into the late shift: one event, where it began.
    make_stop(plant, breakdown, 420, 500, "a")
    Tally.objects.create(
        cell=plant.cells[0],
        shift=plant.late,
        reason=minor,
        times=7,
        seconds=30,
        logged_at=moment(0),
    )
    mark_all()
    with time_machine.travel(at("07:00"), tick=False):
        bring_up_to_date()
    early, late = CellShift.objects.filter(cell=plant.cells[0]).order_by("shift")
    assert early.reasons == {str(breakdown.pk): [60, 1]}
    assert late.reasons == {str(breakdown.pk): [20, 0], str(minor.pk): [30, 7]}


def test_a_shift_that_has_not_ended_waits_for_its_end(plant: Cast) -> None:
    mark_all()
    with time_machine.travel(at("06:10"), tick=False):
        assert bring_up_to_date() == 3
        assert waiting() == 0
    assert {row.shift for row in CellShift.objects.all()} == {plant.early}
    with time_machine.travel(at("06:15"), tick=False):
        assert waiting() == 3
        assert bring_up_to_date() == 3
    assert not StaleMark.objects.exists()


def test_computing_twice_changes_nothing(plant: Cast, reasons: list[Reason]) -> None:
    make_trouble(plant, reasons, random.Random(1))
    mark_all()
    with time_machine.travel(at("07:00"), tick=False):
        bring_up_to_date()
    once = list(CellShift.objects.values().order_by("id"))
    mark_all()
    with time_machine.travel(at("08:00"), tick=False):
        bring_up_to_date()
    assert list(CellShift.objects.values().order_by("id")) == once


def test_only_what_is_marked_is_computed(plant: Cast, reasons: list[Reason]) -> None:
    mark_all()
    with time_machine.travel(at("07:00"), tick=False):
        bring_up_to_date()
    make_stop(plant, reasons[0], 0, 10, "a", cell=0)
    make_stop(plant, reasons[0], 0, 10, "b", cell=1)
    stale.mark_spans([(plant.cells[0].pk, moment(0), moment(10))])
    with time_machine.travel(at("07:00"), tick=False):
        assert bring_up_to_date() == 1
    found = {
        r.cell.code: r.breakdown_s for r in CellShift.objects.filter(shift=plant.early)
    }
    assert found == {"L1-10": 10, "L1-20": 0, "L1-30": 0}


def test_a_retired_cell_has_no_account_from_that_date(plant: Cast) -> None:
    mark_all()
    with time_machine.travel(at("07:00"), tick=False):
        bring_up_to_date()
    plant.cells[0].retired_on = MONDAY
    plant.cells[0].save()
    mark_all()
    with time_machine.travel(at("07:00"), tick=False):
        bring_up_to_date()
    codes = {row.cell.code for row in CellShift.objects.select_related("cell")}
    assert codes == {"L1-20", "L1-30"}


def test_a_confirmed_shift_is_not_flagged(plant: Cast) -> None:
    ShiftConfirmation.objects.create(shift=plant.early, confirmed_at=moment(0))
    mark_all()
    with time_machine.travel(at("07:00"), tick=False):
        bring_up_to_date()
    for row in CellShift.objects.all():
        confirmed = row.shift_id == plant.early.pk
        assert ("not_confirmed" in names(row.flags)) != confirmed
