"""The plant manager's first page: its figures, its sentence, and who may read it."""

import csv
from collections.abc import Iterator
from datetime import date, timedelta
from decimal import Decimal
from io import StringIO
from types import SimpleNamespace
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from cells.models import Line, Shift
from maintenance.models import Routine, Stop, Task
from oee.models import CellShift, Count, IdealCycle, Variant
from oee.periods import Period
from oee.plant_page import PlantPage
from oee.plant_sentence import sentence
from tests.builders import MONDAY, TUESDAY, Cast, at, make_cell, make_line, make_shift
from tests.oee.account_cast import counted, make_accounts, plan
from tests.oee.stored import an_account

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant() -> Iterator[SimpleNamespace]:
    """Tuesday 3 March, 08:00: yesterday is the day of the worked example."""
    cast, reasons = make_accounts()
    make_shift(cast.line, on=TUESDAY)
    with time_machine.travel(at("08:00", TUESDAY), tick=False):
        yield SimpleNamespace(cast=cast, reasons=reasons, people=cast.people)


@pytest.fixture
def page(plant: SimpleNamespace, client_of: Any) -> Any:
    def get(query: str = "", user: Any = None) -> str:
        client = client_of(user or plant.people.plant_manager)
        response = client.get(reverse("plant") + query)
        return " ".join(response.content.decode().split())

    return get


def of_day(day: date, today: date = TUESDAY, preset: str = "") -> Period:
    return Period(first=day, last=day, today=today, preset=preset)


def rows_of(day: date, now: str = "08:00") -> list[Any]:
    return PlantPage(of_day(day), now=at(now, TUESDAY)).rows


def test_a_stranger_is_asked_to_sign_in(plant: SimpleNamespace, client: Client) -> None:
    response = client.get(reverse("plant"))

    assert response.status_code == 302
    assert response["Location"].startswith(reverse("login"))


@pytest.mark.parametrize("role", ["plant_manager", "technician", "reader"])
def test_everyone_signed_in_may_read_it(
    plant: SimpleNamespace, page: Any, role: str
) -> None:
    assert "79.8 %" in page(user=getattr(plant.people, role))


def test_an_areas_oee_is_that_of_its_counting_cells(plant: SimpleNamespace) -> None:
    [row] = rows_of(MONDAY)

    assert row.sums.oee == 351 / 440  # domain example X1
    assert row.coverage == "1 of 1 shift"


def test_an_area_is_compared_with_its_target_and_its_own_four_weeks(
    plant: SimpleNamespace,
) -> None:
    [row] = rows_of(MONDAY)

    assert row.before.oee == 330 / 440
    assert row.points_off_before == pytest.approx(100 * (351 - 330) / 440)
    assert row.points_off_target == pytest.approx(100 * (351 / 440 - 0.85))


def test_the_trend_holds_the_dates_of_four_weeks(plant: SimpleNamespace) -> None:
    [row] = rows_of(MONDAY)

    # 3 February to 2 March: 19 of the 20 earlier dates, and the day itself.
    assert row.trend == [0.75] * 19 + [351 / 440]


def test_the_worst_cell_is_found_beyond_the_counting_cells(
    plant: SimpleNamespace,
) -> None:
    [row] = rows_of(MONDAY)

    assert row.worst.cell.code == "L1-10"
    assert row.worst.lost_s == 60 * 60
    assert row.worst.cause == "gun force"


def test_rejects_are_the_cause_where_they_took_most(plant: SimpleNamespace) -> None:
    CellShift.objects.filter(cell=plant.cast.cells[0]).update(
        **counted(made=300, good=200), breakdown_s=0, minor_s=0, reasons={}
    )
    [row] = rows_of(MONDAY)

    assert (row.worst.cause, row.worst.cause_s) == ("rejects", 6000)


def test_the_sentence_names_area_cell_and_reason(plant: SimpleNamespace) -> None:
    said = sentence(rows_of(MONDAY), of_day(MONDAY, preset="yesterday"))

    assert said == (
        "Body shop was 5.2 points under its target yesterday. "
        "L1-10 lost most by its own fault: 60 min, mostly gun force."
    )


def test_the_sentence_says_what_is_short_of_plan(plant: SimpleNamespace) -> None:
    plan(plant.cast.early, 382)
    said = sentence(rows_of(MONDAY), of_day(MONDAY, preset="yesterday"))

    assert said.startswith(
        "Body shop was 5.2 points under its target yesterday, "
        "L1 31 bodies short of plan."
    )


def test_the_sentence_says_when_a_target_is_met(plant: SimpleNamespace) -> None:
    plant.cast.area.targets.update(oee=Decimal("0.79"))
    said = sentence(rows_of(MONDAY), of_day(MONDAY, preset="yesterday"))

    assert said.startswith("Body shop met its target yesterday. L1-10 lost most")


def test_without_a_target_an_area_is_held_against_itself(
    plant: SimpleNamespace,
) -> None:
    plant.cast.area.targets.all().delete()
    CellShift.objects.filter(shift=plant.cast.early).update(
        ideal_good_us=264 * 60_000_000
    )
    said = sentence(rows_of(MONDAY), of_day(MONDAY))

    assert said.startswith(
        "Body shop was 15.0 points under its own last four weeks on Mon 2 March."
    )


def test_an_area_without_a_target_says_so(plant: SimpleNamespace, page: Any) -> None:
    plant.cast.area.targets.all().delete()

    assert "no target" in page()


def test_the_sentence_claims_nothing_that_was_not_counted(
    plant: SimpleNamespace,
) -> None:
    CellShift.objects.filter(production_date=MONDAY).update(counted=False)

    assert sentence(rows_of(MONDAY), of_day(MONDAY)) == (
        "No area can be judged on Mon 2 March: 0 of 1 shift counted. "
        "L1-10 lost most by its own fault: 60 min, mostly gun force."
    )


def test_bodies_short_compares_only_shifts_with_a_plan_and_a_count(
    plant: SimpleNamespace,
) -> None:
    plan(plant.cast.early, 382)
    plan(plant.cast.late, 400)
    CellShift.objects.bulk_create([an_account(plant.cast.cells[2], plant.cast.late)])

    [row] = rows_of(MONDAY)

    assert (row.bodies.planned, row.bodies.good, row.bodies.short) == (382, 351, 31)
    assert (row.bodies.shifts, row.bodies.with_plan) == (1, 2)


def test_an_area_shows_its_line_that_is_furthest_behind(
    plant: SimpleNamespace,
) -> None:
    """A body passes both lines, so 31 and 40 short are not 71."""
    second, third = (
        a_line_with_an_account(code, plant.cast, counted(made=342, good=342))
        for code in ("L2", "L3")
    )
    for shift in (plant.cast.early, second, third):
        plan(shift, 382)
    CellShift.objects.filter(shift=third).update(counted=False, made=0)

    [row] = rows_of(MONDAY)

    assert (row.bodies.line, row.bodies.short) == ("L2", 40)
    assert row.bodies.uncounted == ("L3",)


def a_line_with_an_account(code: str, cast: Cast, account: dict[str, object]) -> Shift:
    line = make_line(code, area=cast.area)
    line.counting_cell = make_cell(f"{code}-10", line=line)
    line.save()
    shift = make_shift(line)
    an_account(line.counting_cell, shift, **account).save()
    return shift


def test_without_a_plan_nothing_is_said_of_bodies(page: Any) -> None:
    assert "Against plan" not in page()


def test_planned_stops_stand_beside_the_oee_that_they_raised(
    plant: SimpleNamespace, page: Any
) -> None:
    CellShift.objects.filter(cell=plant.cast.cells[2], shift=plant.cast.early).update(
        planned_s=1800, planned_late_s=1200
    )
    shown = page()

    assert "after 30 min of planned stops" in shown
    assert "20 min of them declared late" in shown


def test_a_day_is_provisional_until_ten_of_the_next_working_day(page: Any) -> None:
    assert "provisional until Tue 3 March 10:00" in page()
    with time_machine.travel(at("10:00", TUESDAY), tick=False):
        assert "final since Tue 3 March 10:00" in page()


def test_a_friday_is_final_on_monday(plant: SimpleNamespace, page: Any) -> None:
    query = "?from=2026-02-27&to=2026-02-27"

    assert "final since Mon 2 March 10:00" in page(query)


def test_a_day_without_a_plan_leads_to_the_last_one_that_had(
    plant: SimpleNamespace, page: Any
) -> None:
    with time_machine.travel(at("09:00", MONDAY), tick=False):
        shown = page()

    assert "Nothing was planned yesterday." in shown
    assert '<a href="?from=2026-02-27&amp;to=2026-02-27">Fri 27 February</a>' in shown


def test_overdue_safety_tests_come_first_and_lead_to_their_list(
    plant: SimpleNamespace, page: Any
) -> None:
    assert "No safety test is overdue" in page()
    routine = Routine.objects.create(
        code="GATE",
        name="Gate test",
        kinds=["gate"],
        every_days=90,
        anchor="calendar",
        minutes=20,
        skills=["S"],
        lockout=False,
        safety=True,
    )
    Task.objects.create(
        routine=routine,
        machine=plant.cast.gate,
        clock="m:1",
        opened_on=MONDAY,
        due=MONDAY,
        earliest=MONDAY - timedelta(days=9),
        latest=MONDAY,
    )
    shown = page()

    assert "1 safety test overdue" in shown
    assert shown.index("1 safety test overdue") < shown.index("PM compliance")


def test_today_so_far_computes_running_shifts_up_to_now(
    plant: SimpleNamespace, page: Any
) -> None:
    Stop.objects.create(
        ref="run",
        cell=plant.cast.cells[2],
        reason=plant.reasons["gun"],
        started_at=at("07:30", TUESDAY),
        logged_at=at("07:30", TUESDAY),
    )
    tuesday = PlantPage(of_day(TUESDAY), now=at("08:00", TUESDAY))
    [row] = tuesday.rows

    # Two hours of the shift, its first break at 09:00: 120 min, stopped for 30.
    assert row.planned_s == 120 * 60
    assert row.worst.lost_s == 30 * 60
    assert row.coverage == "0 of 1 shift"
    assert "1 shift still runs: computed up to 08:00" in page("?period=today")


def test_what_is_counted_of_a_running_shift_is_in_its_oee(
    plant: SimpleNamespace,
) -> None:
    variant = Variant.objects.create(code="H", name="hatch")
    IdealCycle.objects.create(
        cell=plant.cast.cells[2], variant=variant, seconds=60, valid_from=MONDAY
    )
    Count.objects.create(
        line=plant.cast.line,
        shift=Line.objects.get(code="L1").shifts.get(production_date=TUESDAY),
        variant=variant,
        total=90,
        good=84,
        entered_at=at("08:00", TUESDAY),
    )
    [row] = PlantPage(of_day(TUESDAY), now=at("08:00", TUESDAY)).rows

    assert row.sums.oee == 84 / 120


def test_this_week_adds_what_is_stored_to_what_runs(plant: SimpleNamespace) -> None:
    week = Period(first=MONDAY, last=TUESDAY, today=TUESDAY, preset="week")
    [row] = PlantPage(week, now=at("08:00", TUESDAY)).rows

    assert row.planned_s == (440 + 120) * 60
    assert row.coverage == "1 of 2 shifts"


def test_a_running_shift_stores_nothing(plant: SimpleNamespace, page: Any) -> None:
    before = CellShift.objects.count()
    page("?period=today")

    assert CellShift.objects.count() == before


def test_an_area_without_a_counting_cell_says_why_it_is_missing(
    plant: SimpleNamespace, page: Any
) -> None:
    CellShift.objects.bulk_create(
        [an_account(plant.cast.other_cell, plant.cast.other_early)]
    )

    assert "Paint shop is missing: no line of it has a counting cell." in page()


def test_the_file_holds_the_rows_of_the_table(
    plant: SimpleNamespace, client_of: Any
) -> None:
    client = client_of(plant.people.reader)
    response = client.get(reverse("plant") + "?csv=1")
    [row] = csv.DictReader(StringIO(response.content.decode()))

    assert response["Content-Disposition"] == 'attachment; filename="areas.csv"'
    assert row["area"] == "BODY"
    assert float(row["oee"]) == 351 / 440
    assert (row["reported"], row["expected"]) == ("1", "1")
    assert row["worst_cell"] == "L1-10"


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("?period=tomorrow", "Period “tomorrow” is not known"),
        ("?from=2026-02-30&to=2026-03-02", "From “2026-02-30”"),
        ("?from=2026-03-02", "To is empty: fill it in."),
        ("?from=2026-03-02&to=2026-03-01", "2026-03-01 lies before 2026-03-02"),
        ("?from=2020-01-01&to=2026-03-01", "longer than 400 days"),
    ],
    ids=["preset", "no date", "half", "swapped", "too long"],
)
def test_a_period_that_cannot_be_meant_is_refused_in_a_sentence(
    plant: SimpleNamespace, client_of: Any, query: str, words: str
) -> None:
    client = client_of(plant.people.reader)
    response = client.get(reverse("plant") + query)

    assert response.status_code == 400
    assert words in response.content.decode()
    as_file = client.get(reverse("plant") + query + "&csv=1")
    assert as_file.status_code == 400
    assert words in as_file.content.decode()


def test_the_page_asks_the_database_few_questions(
    plant: SimpleNamespace, client_of: Any, django_assert_max_num_queries: Any
) -> None:
    client = client_of(plant.people.plant_manager)
    with django_assert_max_num_queries(20):
        client.get(reverse("plant"))
