from collections.abc import Callable
from datetime import date, datetime

import pytest
import time_machine

from oee.counts import enter_count, withdraw_count
from oee.health import unplanned_output
from oee.models import Count, Variant
from tests.builders import MONDAY, NOW, Cast, at, make_cell, make_shift, the_cast

pytestmark = pytest.mark.django_db

MOST_QUERIES = 20
URL = "/lines/L1/counts/"
# Sunday afternoon, not yet a day ago.
BEGAN, ENDED = (at(clock, date(2026, 3, 1)) for clock in ("13:00", "17:00"))


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
def sign_in(cast, client_of) -> Callable:
    return lambda who: client_of(getattr(cast.people, who))


def text(response) -> str:
    return " ".join(response.content.decode().split())


def between(
    cast: Cast,
    variant: Variant,
    starts_at: datetime = BEGAN,
    ends_at: datetime = ENDED,
    **given,
) -> Count:
    facts = {"at": cast.line, "total": 90, "good": 88, "why": "Sunday work", **given}
    return enter_count(
        variant=variant,
        starts_at=starts_at,
        ends_at=ends_at,
        by=cast.people.planner,
        **facts,
    )


def typed(sedan: Variant, /, **given: str) -> dict[str, str]:
    return {
        "at": "L1",
        "variant": str(sedan.pk),
        "starts_at": "2026-03-01T13:00",
        "ends_at": "2026-03-01T17:00",
        "total": "90",
        "good": "88",
        "why": "",
        **given,
    }


def test_everyone_reads_a_lines_counts_those_outside_shifts_marked(
    cast, sedan, sign_in
):
    in_shift = enter_count(
        at=cast.line,
        shift=cast.early,
        variant=sedan,
        total=300,
        good=290,
        by=cast.people.leader,
    )
    outside = between(cast, sedan)
    reader = sign_in("reader")
    page = reader.get(URL)
    assert "2 counts of line L1" in text(page)
    assert list(page.context["page"]) == [in_shift, outside]
    assert text(page).count("no shift planned: unplanned output") == 1
    assert f'href="/counts/{outside.pk}/"' in text(page)
    assert f"/shift/L1/2026-03-02/Early/?count={in_shift.pk}#counts" in text(page)
    assert "Enter the count" not in text(page)

    only = reader.get(URL, {"state": "outside"})
    assert list(only.context["page"]) == [outside]
    earlier = reader.get(URL, {"first": "2026-02-02", "last": "2026-02-28"})
    assert list(earlier.context["page"]) == []
    # The other line's page does not list them.
    assert list(reader.get("/lines/P1/counts/").context["page"]) == []


def test_a_count_of_a_cell_in_a_shift_leads_to_that_cell(cast, sedan, sign_in):
    count = enter_count(
        at=cast.cells[0],
        shift=cast.early,
        variant=sedan,
        total=3,
        good=3,
        by=cast.people.leader,
    )
    page = text(sign_in("leader").get(count.get_absolute_url()))
    assert "Correct S4 at L1-10" in page


def test_the_counts_come_as_csv(cast, sedan, sign_in):
    between(cast, sedan, scrap=2)
    rows = sign_in("reader").get(URL, {"csv": "1"}).content.decode().splitlines()
    assert rows[0].startswith("at,date,shift,starts_at,ends_at,variant,total,good")
    assert rows[1].startswith(
        "L1,,,2026-03-01T13:00:00+01:00,2026-03-01T17:00:00+01:00,S4,90,88,,2,"
    )
    assert rows[1].endswith(",planner,no")
    assert len(rows) == 2


def test_a_period_that_cannot_be_is_refused_in_a_sentence(cast, sign_in):
    page = sign_in("reader").get(URL, {"first": "2026-03-02", "last": "2026-03-01"})
    assert "2026-03-01 lies before 2026-03-02: swap the two dates." in text(page)


def test_the_leader_enters_what_was_built_without_a_shift(cast, sedan, sign_in):
    answer = sign_in("leader").post(URL, typed(sedan), follow=True)
    assert "no OEE rests on it" in text(answer)
    count = Count.objects.get()
    assert (count.starts_at, count.ends_at) == (
        BEGAN,
        ENDED,
    )
    assert (count.at, count.total, count.good) == ("L1", 90, 88)
    assert count.entered_by == cast.people.leader
    (finding,) = unplanned_output()
    assert finding.url == f"/counts/{count.pk}/"


def test_it_can_be_of_a_leg_or_a_cell(cast, sedan, sign_in):
    make_cell("L1-40A", line=cast.line, leg="A", order=40)
    for place in ("L1/A", "L1-10"):
        sign_in("leader").post(URL, typed(sedan, at=place))
    assert {count.at for count in Count.objects.all()} == {"L1/A", "L1-10"}


def test_whoever_is_not_the_lines_leader_says_why(cast, sedan, sign_in):
    refused = sign_in("planner").post(URL, typed(sedan))
    assert refused.status_code == 422
    assert "Say why: the trail keeps the reason" in text(refused)
    sign_in("planner").post(URL, typed(sedan, why="found on paper"))
    assert Count.objects.get().good == 88


@pytest.mark.parametrize("who", ["stranger", "technician", "reader"])
def test_others_neither_enter_nor_change(cast, sedan, sign_in, who):
    other = sign_in(who)
    assert other.post(URL, typed(sedan)).status_code == 403
    count = between(cast, sedan)
    here = f"/counts/{count.pk}/"
    assert "Withdraw this count" not in text(other.get(here))
    for do in ("correct_count", "withdraw_count"):
        refused = other.post(here, {"do": do, "total": "1", "good": "1", "why": "x"})
        assert refused.status_code == 403
        assert "by its team leader until 24 h" in text(refused)
    count.refresh_from_db()
    assert (count.total, count.withdrawn) == (90, False)


def test_a_leader_may_for_a_day_and_an_area_manager_for_two_weeks(cast, sedan, sign_in):
    old = between(
        cast, sedan, at("06:00", date(2026, 2, 22)), at("07:00", date(2026, 2, 22))
    )
    older = between(
        cast, sedan, at("06:00", date(2026, 2, 15)), at("07:00", date(2026, 2, 15))
    )
    may = {
        (who, count.pk): "Withdraw this count"
        in text(sign_in(who).get(f"/counts/{count.pk}/"))
        for who in ("leader", "area_manager", "planner")
        for count in (old, older)
    }
    assert [key for key, shown in may.items() if shown] == [
        ("area_manager", old.pk),
        ("planner", old.pk),
        ("planner", older.pk),
    ]


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        ({"total": "many"}, "Made “many”: Enter a whole number."),
        ({"good": "91"}, "First-time good (91) is above the total made (90)"),
        ({"total": "-1", "good": "-1"}, "total (-1) must not be negative"),
        ({"rework": "3"}, "but 90 made less 88 first-time good leave 2"),
        ({"at": ""}, "Counted at is empty: fill it in."),
        ({"at": "P1"}, "Counted at “P1”: Select a valid choice."),
        ({"variant": "0"}, "Variant “0”: Select a valid choice."),
        ({"ends_at": "2026-03-01T13:00"}, "must lie after the start"),
        ({"ends_at": "2026-03-02T13:00"}, "lies in the future: count what is built."),
        (
            {"starts_at": "2026-03-02T05:00", "ends_at": "2026-03-02T07:00"},
            "L1 2026-03-02 Early was planned between these moments",
        ),
        ({"starts_at": "yesterday"}, "yesterday"),
    ],
)
def test_a_count_that_cannot_be_is_refused_in_a_sentence(
    cast, sedan, sign_in, given, sentence
):
    refused = sign_in("leader").post(URL, typed(sedan, **given))
    assert refused.status_code == 422
    assert sentence in text(refused)
    assert not Count.objects.exists()


def test_a_clock_time_that_came_twice_is_asked_for(cast, sedan, sign_in):
    leader = sign_in("leader")
    night = typed(
        sedan, starts_at="2025-10-26T02:30", ends_at="2025-10-26T04:00", why="found"
    )
    with time_machine.travel(at("12:00", date(2025, 10, 26)), tick=False):
        asked = leader.post(URL, night)
        assert "which of the two?" in text(asked)
        leader.post(URL, {**night, "starts_at_which": "2025-10-26T01:30:00+00:00"})
    assert Count.objects.get().starts_at.isoformat() == "2025-10-26T01:30:00+00:00"


def test_a_correction_says_why_and_keeps_the_old_numbers(cast, sedan, sign_in):
    count = between(cast, sedan)
    here = f"/counts/{count.pk}/"
    leader = sign_in("leader")
    refused = leader.post(here, {"do": "correct_count", "total": "95", "good": "96"})
    assert refused.status_code == 422
    assert "Why is empty: fill it in." in text(refused)
    fixed = {"do": "correct_count", "total": "95", "good": "93", "why": "recounted"}
    page = text(leader.post(here, fixed, follow=True))
    assert "L1 made 95 S4, 93 of them good the first time." in page
    assert "<td>90</td><td>95</td><td>recounted</td>" in page


def test_a_withdrawn_count_stays_readable(cast, sedan, sign_in):
    count = between(cast, sedan)
    leader = sign_in("leader")
    sent = {"do": "withdraw_count", "why": "wrong line"}
    page = text(leader.post(f"/counts/{count.pk}/", sent, follow=True))
    assert "it counts for nothing" in page
    assert "wrong line" in page
    assert "Withdraw this count" not in page
    assert list(leader.get(URL).context["page"]) == []
    assert list(leader.get(URL, {"state": "withdrawn"}).context["page"]) == [count]
    assert list(unplanned_output()) == []


def test_a_button_that_is_not_there_is_refused(cast, sedan, sign_in):
    count = between(cast, sedan)
    answer = sign_in("planner").post(f"/counts/{count.pk}/", {"do": "erase"})
    assert answer.status_code == 400


def test_a_count_in_a_shift_has_no_page_beside_the_shifts(cast, sedan, sign_in):
    count = enter_count(
        at=cast.line,
        shift=cast.early,
        variant=sedan,
        total=3,
        good=3,
        by=cast.people.leader,
    )
    assert sign_in("planner").get(f"/counts/{count.pk}/").status_code == 404


def test_the_pages_need_few_queries(
    cast, sedan, sign_in, django_assert_max_num_queries
):
    leader = sign_in("leader")
    for order in range(40, 60):
        cell = make_cell(f"L1-{order}", line=cast.line, order=order)
        count = between(cast, sedan, at=cell)
    withdraw_count(count=count, why="twice", by=cast.people.planner)
    make_shift(cast.line, "Night", on=MONDAY, start="00:00", end="05:00", breaks="")
    for url in (URL, f"/counts/{count.pk}/"):
        with django_assert_max_num_queries(MOST_QUERIES):
            leader.get(url)
