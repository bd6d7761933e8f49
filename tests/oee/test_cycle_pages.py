from collections.abc import Callable
from datetime import date
from decimal import Decimal

import pytest
import time_machine
from django.urls import reverse

from cells.models import StaleMark
from oee.cycles import set_ideal_cycle
from oee.health import cells_without_a_cycle
from oee.models import CellShift, Count, IdealCycle, ProductionPlan, Variant
from oee.plans import set_plan
from tests.builders import MONDAY, NOW, TUESDAY, Cast, make_shift, the_cast
from tests.oee.stored import an_account

pytestmark = pytest.mark.django_db

MOST_QUERIES = 20
CYCLES = "/cells/L1-10/cycles/"
PLAN = "/lines/L1/plan/"


@pytest.fixture(autouse=True)
def _frozen():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def cast() -> Cast:
    return the_cast()


@pytest.fixture
def sedan(db) -> Variant:
    return Variant.objects.create(code="S4", name="Sedan")


@pytest.fixture
def planner(cast, client_of):
    return client_of(cast.people.planner)


@pytest.fixture
def sign_in(cast, client_of) -> Callable:
    return lambda who: client_of(getattr(cast.people, who))


def text(response) -> str:
    return " ".join(response.content.decode().split())


def lines(response) -> list[str]:
    return response.content.decode().splitlines()


def cycle(cast: Cast, variant: Variant, seconds: str, since: date) -> IdealCycle:
    return set_ideal_cycle(
        cell=cast.cells[0],
        variant=variant,
        seconds=Decimal(seconds),
        valid_from=since,
        why="timed on the floor",
        by=cast.people.planner,
    )


def typed(**given: str) -> dict[str, str]:
    return {
        "variant": "S4",
        "seconds": "58.5",
        "valid_from": "2026-03-02",
        "why": "timed again",
        **given,
    }


# Ideal cycles


def test_everyone_reads_the_cycles_of_a_cell_and_their_dates(cast, sedan, sign_in):
    Variant.objects.create(code="E6", name="Estate")
    cycle(cast, sedan, "60", date(2026, 1, 5))
    cycle(cast, sedan, "58.5", MONDAY)
    cycle(cast, sedan, "57.25", date(2026, 4, 6))
    page = text(sign_in("reader").get(CYCLES))
    assert (
        'Mon 5 January</td> <td class="wide" data-label="To">Sun 1 March</td>' in page
    )
    assert "Sun 5 April<small>valid today</small>" in page
    assert "until another is set<small>to come</small>" in page
    assert "has no ideal time" in page  # of the estate
    assert "timed on the floor" in page
    assert "Show what it touches" not in page


def test_what_a_cycle_touches_is_shown_before_it_is_set(cast, sedan, planner):
    later = make_shift(cast.line, on=TUESDAY)
    CellShift.objects.bulk_create(
        an_account(cast.cells[0], shift) for shift in (cast.early, cast.late, later)
    )
    # Another cell's account is not touched.
    an_account(cast.cells[1], later).save()
    first = planner.post(CYCLES, typed(valid_from="2026-03-03"))
    assert "on, 1 stored cell-shift of L1-10 is computed again" in text(first)
    assert not IdealCycle.objects.exists()

    # Another date than the one it was shown for is shown again.
    other = planner.post(CYCLES, typed(seen="2026-03-03"))
    assert "on, 3 stored cell-shifts of L1-10 are computed again" in text(other)
    assert not IdealCycle.objects.exists()

    last = planner.post(CYCLES, typed(seen="2026-03-02"), follow=True)
    assert "S4 takes 58.5 s in L1-10 from Mon 2 March on." in text(last)
    assert "timed again" in text(last)
    assert IdealCycle.objects.get().seconds == Decimal("58.5")
    marked = StaleMark.objects.values_list("cell__code", "shift").distinct()
    assert set(marked) == {
        ("L1-10", shift.pk) for shift in (cast.early, cast.late, later)
    }


@pytest.mark.parametrize("who", ["leader", "area_manager", "plant_manager", "reader"])
def test_only_a_planner_sets_a_cycle(cast, sedan, sign_in, who):
    refused = sign_in(who).post(CYCLES, typed(seen="2026-03-02"))
    assert refused.status_code == 403
    assert "Ideal cycles are set by a planner." in text(refused)
    assert not IdealCycle.objects.exists()


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        ({"seconds": "fast"}, "Seconds per body at best “fast”: Enter a number."),
        ({"seconds": "0"}, "The ideal cycle (0 s) must be above 0 s"),
        ({"seconds": "-5"}, "The ideal cycle (-5 s) must be above 0 s"),
        ({"seconds": "86401"}, "The ideal cycle (86401 s) is longer than a day"),
        ({"seconds": "1.1234567"}, "has more than 6 decimals"),
        ({"seconds": ""}, "Seconds per body at best is empty: fill it in."),
        ({"variant": "S9"}, "Variant “S9”: Select a valid choice."),
        ({"valid_from": "2026-02-30"}, "Valid from “2026-02-30”: Enter a valid date."),
        ({"valid_from": "0226-03-02"}, "lies outside the years"),
        ({"why": ""}, "Why is empty: fill it in."),
    ],
)
def test_a_cycle_that_cannot_be_is_refused_in_a_sentence(
    sedan, planner, given, sentence
):
    for step in ({}, {"seen": given.get("valid_from", "2026-03-02")}):
        refused = planner.post(CYCLES, typed(**given, **step))
        assert refused.status_code == 422
        assert sentence in text(refused)
    assert not IdealCycle.objects.exists()


def test_the_cycles_come_as_the_file_that_loads_them(cast, sedan, sign_in):
    cycle(cast, sedan, "58.5", MONDAY)
    assert lines(sign_in("reader").get(CYCLES, {"csv": "1"})) == [
        "cell,variant,seconds,valid_from",
        "L1-10,S4,58.5,2026-03-02",
    ]


def test_a_missing_cycle_leads_to_its_form_filled_in(cast, sedan, planner):
    Count.objects.create(
        cell=cast.cells[0],
        shift=cast.early,
        variant=sedan,
        total=9,
        good=9,
        entered_at=NOW,
    )
    (finding,) = cells_without_a_cycle()
    page = text(planner.get(finding.url))
    assert '<option value="S4" selected>S4 Sedan</option>' in page
    assert 'value="2026-03-02"' in page
    assert planner.get(CYCLES, {"from": "2026-02-30"}).status_code == 200


def test_the_cells_page_names_the_cycles_valid_today(cast, sedan, sign_in):
    cycle(cast, sedan, "58.5", MONDAY)
    page = text(sign_in("reader").get("/cells/L1-10/"))
    assert "S4 58.5 s" in page
    assert f'href="{CYCLES}"' in page


def test_the_cycles_need_few_queries(
    cast, sedan, planner, django_assert_max_num_queries
):
    for number in range(30):
        other = Variant.objects.create(code=f"V{number}", name="another")
        cycle(cast, other, "60", MONDAY)
    with django_assert_max_num_queries(MOST_QUERIES):
        planner.get(CYCLES)
    with django_assert_max_num_queries(MOST_QUERIES):
        planner.post(CYCLES, typed())


# Variants


def test_a_planner_adds_a_variant_and_everyone_reads_it(planner, sign_in):
    seen = planner.post("/variants/", {"code": "E6", "name": "Estate"}, follow=True)
    assert "Variant E6 can be counted." in text(seen)
    page = text(sign_in("reader").get("/variants/"))
    assert "1 variant can be counted" in page
    assert "Estate" in page
    assert "Add the variant" not in page
    assert lines(planner.get("/variants/", {"csv": "1"})) == ["code,name", "E6,Estate"]


def test_a_planner_renames_a_variant_with_a_reason(sedan, planner, sign_in):
    url = reverse("variant", args=["S4"])
    refused = planner.post(url, {"name": "Saloon", "why": " "})
    assert refused.status_code == 422
    assert "Why is empty: fill it in." in text(refused)
    planner.post(url, {"name": "Saloon", "why": "as sales calls it"})
    page = text(sign_in("reader").get(url))
    assert "Variant S4, Saloon" in page
    assert "as sales calls it" in page
    assert "Save the name" not in page


@pytest.mark.parametrize("url", ["/variants/", "/variants/S4/"])
def test_only_a_planner_changes_variants(sedan, sign_in, url):
    facts = {"code": "E6", "name": "Estate", "why": "new"}
    refused = sign_in("leader").post(url, facts)
    assert refused.status_code == 403
    assert "Variants are added and renamed by a planner." in text(refused)
    assert list(Variant.objects.values_list("code", "name")) == [("S4", "Sedan")]


@pytest.mark.parametrize(
    ("code", "sentence"),
    [
        ("s4", "The code “s4” is taken by the variant S4 (Sedan): choose another."),
        ("S 4", "The code “S 4” cannot be used"),
        ("S/4", "The code “S/4” cannot be used"),
        ("", "Code is empty: fill it in."),
        ("X" * 21, "Ensure this value has at most 20 characters"),
    ],
)
def test_a_code_that_cannot_be_is_refused_in_a_sentence(sedan, planner, code, sentence):
    refused = planner.post("/variants/", {"code": code, "name": "Another"})
    assert refused.status_code == 422
    assert sentence in text(refused)
    assert Variant.objects.count() == 1


# The plan


def plan_of(shift) -> int | None:
    plan = ProductionPlan.objects.filter(shift=shift).first()
    return plan and plan.bodies


def sent(*numbers: tuple, why: str = "") -> dict[str, str]:
    """(shift, what its field showed, what was typed)"""
    fields = {"why": why}
    for shift, shown, given in numbers:
        fields[f"initial-shift_{shift.pk}"] = shown
        fields[f"shift_{shift.pk}"] = given
    return fields


def test_a_planner_plans_many_shifts_at_once(cast, planner):
    answer = planner.post(
        PLAN, sent((cast.early, "", "360"), (cast.late, "", "0")), follow=True
    )
    assert "2 shifts planned." in text(answer)
    assert (plan_of(cast.early), plan_of(cast.late)) == (360, 0)


def test_everyone_reads_the_plan_and_its_trail(cast, sign_in):
    set_plan(shift=cast.early, bodies=360, by=cast.people.planner)
    set_plan(shift=cast.early, bodies=340, by=cast.people.planner, why="parts short")
    make_shift(cast.line, on=date(2026, 2, 1))  # 29 days ago
    page = sign_in("reader").get(PLAN)
    assert '<td class="num" data-label="Bodies">340</td>' in text(page)
    assert "parts short" in text(page)
    assert "Save the plan" not in text(page)
    assert [row["shift"] for row in page.context["to_come"]] == [cast.early, cast.late]
    assert page.context["past"] == []
    assert lines(sign_in("reader").get(PLAN, {"csv": "1"})) == [
        "line,date,shift,bodies",
        "L1,2026-03-02,Early,340",
        "L1,2026-03-02,Late,",
    ]


@pytest.mark.parametrize("who", ["leader", "area_manager", "reader"])
def test_only_a_planner_plans(cast, sign_in, who):
    refused = sign_in(who).post(PLAN, sent((cast.early, "", "360")))
    assert refused.status_code == 403
    assert "set by a planner" in text(refused)
    assert plan_of(cast.early) is None


def test_one_wrong_number_keeps_all_of_the_plan_as_it_was(cast, planner):
    numbers = [(cast.early, "", "360"), (cast.late, "", "-1")]
    refused = planner.post(PLAN, sent(*numbers))
    assert refused.status_code == 422
    assert "Planned bodies (-1) must lie between 0 and a million." in text(refused)
    assert 'value="360"' in text(refused)
    assert plan_of(cast.early) is None


def test_a_plan_that_changes_needs_a_reason(cast, planner):
    for shift in (cast.early, cast.late):
        set_plan(shift=shift, bodies=360, by=cast.people.planner)
    numbers = [(cast.early, "360", "340"), (cast.late, "360", "350")]
    refused = planner.post(PLAN, sent(*numbers))
    assert text(refused).count("Say why the plan changes from 360 to") == 1
    planner.post(PLAN, sent(*numbers, why="parts short"))
    assert (plan_of(cast.early), plan_of(cast.late)) == (340, 350)


def test_a_page_left_open_overwrites_only_what_was_typed(cast, planner):
    set_plan(shift=cast.late, bodies=400, by=cast.people.planner)
    planner.post(PLAN, sent((cast.early, "", "360"), (cast.late, "", "")))
    assert (plan_of(cast.early), plan_of(cast.late)) == (360, 400)


@pytest.mark.parametrize(
    ("shown", "given", "sentence"),
    [
        ("", "many", "“many”: Enter a whole number."),
        ("360", "", "cannot be emptied: enter 0 where nothing is to be built."),
        ("360", "360", "No number was changed: there is nothing to save."),
    ],
)
def test_a_plan_that_cannot_be_is_refused_in_a_sentence(
    cast, planner, shown, given, sentence
):
    if shown:
        set_plan(shift=cast.early, bodies=360, by=cast.people.planner)
    refused = planner.post(PLAN, sent((cast.early, shown, given), why="a slip"))
    assert refused.status_code == 422
    assert sentence in text(refused)
    assert plan_of(cast.early) == (360 if shown else None)


def test_a_cancelled_shift_has_no_plan(cast, planner):
    cast.late.ends_at = cast.late.starts_at
    cast.late.save()
    assert f"shift_{cast.late.pk}" not in text(planner.get(PLAN))


def test_the_plan_needs_few_queries(cast, planner, django_assert_max_num_queries):
    for day in range(3, 28):
        shift = make_shift(cast.line, on=date(2026, 3, day))
        set_plan(shift=shift, bodies=300, by=cast.people.planner)
    with django_assert_max_num_queries(MOST_QUERIES):
        planner.get(PLAN)


@pytest.mark.parametrize("url", [CYCLES, PLAN, "/variants/", "/lines/L1/counts/"])
def test_who_is_not_signed_in_is_asked_to(cast, client, url):
    response = client.get(url)
    assert response.status_code == 302
    assert response.url.startswith("/sign-in/")


@pytest.mark.parametrize(
    "url", ["/cells/L9/cycles/", "/lines/L9/plan/", "/variants/S9/"]
)
def test_what_is_not_there_is_not_found(planner, url):
    assert planner.get(url).status_code == 404
