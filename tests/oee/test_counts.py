from datetime import timedelta
from decimal import Decimal

import pytest
import time_machine
from django.core.exceptions import PermissionDenied, ValidationError

from cells.models import Change, StaleMark
from oee.counts import correct_count, enter_count, withdraw_count
from oee.models import Count, IdealCycle, Variant
from oee.plans import set_plan
from tests.builders import MONDAY, NOW, Cast, at, make_cell, make_shift, the_cast

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("_frozen")]


@pytest.fixture
def _frozen():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def cast(_frozen) -> Cast:
    return the_cast()


@pytest.fixture
def sedan(cast) -> Variant:
    return Variant.objects.create(code="S4", name="Sedan")


def enter(cast: Cast, variant: Variant, **given) -> Count:
    facts = {
        "at": cast.line,
        "shift": cast.early,
        "variant": variant,
        "total": 300,
        "good": 290,
        "by": cast.people.leader,
    }
    return enter_count(**{**facts, **given})


def sentence(error: pytest.ExceptionInfo[ValidationError]) -> str:
    return " ".join(error.value.messages)


def marked() -> set[str]:
    return set(StaleMark.objects.values_list("cell__code", flat=True))


def test_a_line_count_marks_the_cells_without_a_leg_or_a_count_of_their_own(
    cast, sedan
):
    make_cell("L1-40A", line=cast.line, leg="A")
    make_cell("L1-99", line=cast.line, retired_on=MONDAY)
    enter(cast, sedan, at=cast.cells[0], total=280, good=280)
    StaleMark.objects.all().delete()
    enter(cast, sedan)
    assert marked() == {"L1-20", "L1-30"}
    assert set(StaleMark.objects.values_list("shift", flat=True)) == {cast.early.pk}


def test_a_leg_count_marks_the_cells_of_the_leg(cast, sedan):
    for leg in "AB":
        make_cell(f"L1-40{leg}", line=cast.line, leg=leg)
    count = enter(cast, sedan, leg="A")
    assert count.at == "L1/A"
    assert marked() == {"L1-40A"}


def test_an_entered_count_is_on_the_trail(cast, sedan):
    count = enter(cast, sedan, rework=8, scrap=2)
    change = Change.objects.get(kind="count", record_id=count.pk)
    assert (change.by, change.new) == (cast.people.leader, "entered")
    assert (count.rework, count.scrap, count.entered_at) == (8, 2, NOW)


def test_a_corrected_count_keeps_the_old_number_and_the_reason(cast, sedan):
    count = enter(cast, sedan)
    StaleMark.objects.all().delete()
    correct_count(
        count=count, total=301, good=290, why="one more", by=cast.people.leader
    )
    change = Change.objects.get(field="total")
    assert (change.old, change.new, change.why) == ("300", "301", "one more")
    assert marked() == {"L1-10", "L1-20", "L1-30"}


def test_a_correction_that_changes_nothing_leaves_no_mark(cast, sedan):
    count = enter(cast, sedan)
    StaleMark.objects.all().delete()
    correct_count(count=count, total=300, good=290, why="same", by=cast.people.leader)
    assert marked() == set()


def test_a_withdrawn_cell_count_marks_the_cell_and_may_come_back(cast, sedan):
    count = enter(cast, sedan, at=cast.cells[1])
    StaleMark.objects.all().delete()
    withdraw_count(count=count, why="wrong cell", by=cast.people.leader)
    assert marked() == {"L1-20"}
    again = enter(cast, sedan, at=cast.cells[1], total=10, good=10)
    assert (again.pk, again.total, again.withdrawn) == (count.pk, 10, False)
    with pytest.raises(ValidationError, match="correct that count"):
        enter(cast, sedan, at=cast.cells[1])


def test_a_withdrawn_count_cannot_be_corrected_or_withdrawn_again(cast, sedan):
    count = enter(cast, sedan)
    count = withdraw_count(count=count, why="wrong shift", by=cast.people.leader)
    with pytest.raises(ValidationError, match="enter it again"):
        correct_count(count=count, total=1, good=1, why="x", by=cast.people.leader)
    with pytest.raises(ValidationError, match="withdrawn already"):
        withdraw_count(count=count, why="x", by=cast.people.leader)


@pytest.mark.parametrize("why", ["", "   "])
def test_a_correction_needs_a_reason(cast, sedan, why):
    count = enter(cast, sedan)
    with pytest.raises(ValidationError, match="Say why"):
        correct_count(count=count, total=1, good=1, why=why, by=cast.people.leader)
    count.refresh_from_db()
    assert count.total == 300


REFUSED = {
    "negative total": ({"total": -1, "good": -1}, "must not be negative"),
    "absurd total": ({"total": 10**15}, "check the digits"),
    "good above total": ({"good": 301}, "above the total made"),
    "rework and scrap too few": ({"rework": 1, "scrap": 1}, "leave 10"),
    "rework and scrap too many": ({"rework": 9, "scrap": 2}, "make 11"),
    "rework alone too many": ({"rework": 11}, "make 11"),
    "no such leg": ({"leg": "Z"}, "has no leg 'Z': it has none"),
    "no time": ({"shift": None}, "date and shift"),
}


@pytest.mark.parametrize(("given", "says"), REFUSED.values(), ids=REFUSED)
def test_an_impossible_count_is_refused_in_a_sentence(cast, sedan, given, says):
    with pytest.raises(ValidationError) as error:
        enter(cast, sedan, **given)
    assert says in sentence(error)
    assert not Count.objects.exists()
    assert not StaleMark.objects.exists()


def test_rework_alone_may_be_less_than_what_was_not_good(cast, sedan):
    assert enter(cast, sedan, rework=4).scrap is None


def test_a_count_of_a_retired_cell_is_refused(cast, sedan):
    cell = make_cell("L1-98", line=cast.line, retired_on=MONDAY)
    with pytest.raises(ValidationError, match="was retired on 2026-03-02"):
        enter(cast, sedan, at=cell)


def test_a_count_of_another_lines_shift_is_refused(cast, sedan):
    with pytest.raises(ValidationError, match="is not a shift of line L1"):
        enter(cast, sedan, shift=cast.other_early)


def test_a_count_of_a_shift_that_has_not_begun_is_refused(cast, sedan):
    with pytest.raises(ValidationError, match="has not begun"):
        enter(cast, sedan, shift=cast.late)


def test_a_count_of_a_cancelled_shift_asks_for_start_and_end(cast, sedan):
    cancelled = make_shift(cast.line, "Night", start="01:00", end="02:00", breaks="")
    cancelled.ends_at = cancelled.starts_at
    cancelled.save()
    with pytest.raises(ValidationError, match="was cancelled: give the start"):
        enter(cast, sedan, shift=cancelled)


def test_a_count_where_nothing_was_planned_touches_no_account(cast, sedan):
    span = {"shift": None, "starts_at": at("02:00"), "ends_at": at("04:00")}
    count = enter(cast, sedan, **span)
    assert count.shift is None
    assert marked() == set()
    with pytest.raises(ValidationError, match="from 2026-03-02 02:00"):
        enter(cast, sedan, **span)


def test_a_span_in_which_a_shift_was_planned_asks_for_date_and_shift(cast, sedan):
    with pytest.raises(ValidationError, match="give its date and shift"):
        enter(cast, sedan, shift=None, starts_at=at("05:00"), ends_at=at("06:00:01"))


def test_a_span_ends_after_it_starts_and_not_in_the_future(cast, sedan):
    with pytest.raises(ValidationError, match="must lie after the start"):
        enter(cast, sedan, shift=None, starts_at=at("03:00"), ends_at=at("03:00"))
    with pytest.raises(ValidationError, match="in the future"):
        enter(cast, sedan, shift=None, starts_at=at("03:00"), ends_at=at("13:00"))


def test_who_may_count_without_a_reason(cast, sedan):
    assert enter(cast, sedan, by=cast.people.leader).entered_by == cast.people.leader


@pytest.mark.parametrize("who", ["planner", "area_manager", "admin"])
def test_who_counts_for_the_leader_says_why(cast, sedan, who):
    person = getattr(cast.people, who)
    with pytest.raises(ValidationError, match="Say why"):
        enter(cast, sedan, by=person)
    assert enter(cast, sedan, by=person, why="leader is ill").entered_by == person


@pytest.mark.parametrize(
    "who", ["technician", "plant_manager", "safety_officer", "reader", "stranger"]
)
def test_who_may_not_count(cast, sedan, who):
    with pytest.raises(PermissionDenied, match="team leader until 24 h"):
        enter(cast, sedan, by=getattr(cast.people, who), why="because")


@pytest.mark.parametrize(
    ("who", "late", "may"),
    [
        ("leader", timedelta(hours=24), True),
        ("leader", timedelta(hours=24, seconds=1), False),
        ("area_manager", timedelta(days=14), True),
        ("area_manager", timedelta(days=14, seconds=1), False),
        ("planner", timedelta(days=400), True),
    ],
    ids=lambda value: str(value),
)
def test_how_long_a_count_may_be_corrected(cast, sedan, who, late, may):
    count = enter(cast, sedan)
    person = getattr(cast.people, who)
    with time_machine.travel(cast.early.ends_at + late, tick=False):
        if may:
            correct_count(count=count, total=305, good=290, why="found", by=person)
            count.refresh_from_db()
            assert count.total == 305
        else:
            with pytest.raises(PermissionDenied):
                correct_count(count=count, total=305, good=290, why="f", by=person)


def test_a_plan_is_the_planners_and_its_change_has_a_reason(cast):
    plan = set_plan(shift=cast.late, bodies=400, by=cast.people.planner)
    with pytest.raises(ValidationError, match="changes from 400 to 380"):
        set_plan(shift=cast.late, bodies=380, by=cast.people.planner)
    set_plan(shift=cast.late, bodies=380, by=cast.people.planner, why="short week")
    plan.refresh_from_db()
    assert plan.bodies == 380
    with pytest.raises(PermissionDenied, match="by a planner"):
        set_plan(shift=cast.late, bodies=1, by=cast.people.leader)


@pytest.mark.parametrize("bodies", [-1, 1_000_001])
def test_an_impossible_plan_is_refused(cast, bodies):
    with pytest.raises(ValidationError, match=r"Planned bodies \("):
        set_plan(shift=cast.late, bodies=bodies, by=cast.people.planner)


def test_a_cancelled_shift_is_planned_with_nothing_only(cast):
    cast.late.ends_at = cast.late.starts_at
    cast.late.save()
    with pytest.raises(ValidationError, match="was cancelled"):
        set_plan(shift=cast.late, bodies=10, by=cast.people.planner)
    assert set_plan(shift=cast.late, bodies=0, by=cast.people.planner).bodies == 0


def test_the_largest_count_and_cycle_stay_within_the_ledgers_whole_numbers():
    # Own arithmetic: a million bodies of a day each, in microseconds, 50 variants.
    most = 1_000_000 * 86_400 * 1_000_000 * 50
    assert most < 2**62
    assert IdealCycle._meta.get_field("seconds").decimal_places == 6
    assert Decimal("0.000001") * 10**6 == 1
