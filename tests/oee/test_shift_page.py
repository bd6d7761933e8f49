from datetime import date, timedelta
from decimal import Decimal

import pytest
import time_machine
from django.urls import reverse

from cells.models import StaleMark, WorkedBreak
from maintenance.models import (
    LossClass,
    Reason,
    ShiftConfirmation,
    Stop,
    Tally,
)
from oee.models import Count, IdealCycle, Variant
from tests.builders import (
    MONDAY,
    NOW,
    Cast,
    at,
    make_cell,
    make_line,
    make_shift,
    make_user,
    the_cast,
)

pytestmark = pytest.mark.django_db

URL = "/shift/L1/2026-03-02/Early/"
AFTER = at("14:05")


@pytest.fixture(autouse=True)
def _frozen():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def cast() -> Cast:
    return the_cast()


@pytest.fixture
def gun(db) -> Reason:
    return Reason.objects.create(
        code="gun", name="Gun force fault", loss_class=LossClass.BREAKDOWN
    )


@pytest.fixture
def stuck(db) -> Reason:
    return Reason.objects.create(
        code="tip", name="Tip stuck", loss_class=LossClass.MINOR
    )


@pytest.fixture
def sedan(cast) -> Variant:
    """A minute a body in every cell."""
    variant = Variant.objects.create(code="S4", name="Sedan")
    for cell in cast.cells:
        IdealCycle.objects.create(
            cell=cell, variant=variant, seconds=Decimal(60), valid_from=MONDAY
        )
    return variant


@pytest.fixture
def sign_in(client, cast):
    def as_(who: str):
        client.force_login(getattr(cast.people, who))
        return client

    return as_


@pytest.fixture
def leader(sign_in):
    return sign_in("leader")


def stop_at(cell, reason, start: str, end: str | None, on=MONDAY, **facts) -> Stop:
    return Stop.objects.create(
        ref=f"{cell}-{reason.code}-{on}-{start}",
        cell=cell,
        reason=reason,
        started_at=at(start, on),
        ended_at=at(end, on) if end else None,
        logged_at=NOW,
        **facts,
    )


def count(cast: Cast, variant: Variant, total=360, good=351, **at_) -> Count:
    return Count.objects.create(
        shift=cast.early,
        variant=variant,
        total=total,
        good=good,
        entered_at=NOW,
        **(at_ or {"line": cast.line}),
    )


def text(response) -> str:
    return " ".join(response.content.decode().split())


# Where one lands


def test_a_leader_lands_on_the_running_shift_of_the_line(leader):
    assert leader.get("/shift/").url == URL


def test_just_after_its_end_a_leader_lands_on_the_unconfirmed_shift(cast, leader):
    with time_machine.travel(at("14:59"), tick=False):
        assert leader.get("/shift/").url == URL
        ShiftConfirmation.objects.create(shift=cast.early, confirmed_at=AFTER)
        assert leader.get("/shift/").url == "/shift/L1/2026-03-02/Late/"


def test_an_hour_after_its_end_the_running_shift_comes_first(leader):
    with time_machine.travel(at("15:00"), tick=False):
        assert leader.get("/shift/").url == "/shift/L1/2026-03-02/Late/"


def test_without_a_running_shift_the_last_one_is_shown(leader):
    with time_machine.travel(at("23:30"), tick=False):
        assert leader.get("/shift/").url == "/shift/L1/2026-03-02/Late/"


@pytest.mark.parametrize("who", ["planner", "plant_manager", "area_manager", "reader"])
def test_who_leads_no_single_line_chooses_one(cast, sign_in, who):
    make_line("L2", area=cast.area)
    page = text(sign_in(who).get("/shift/"))
    assert "Which line’s shift?" in page
    assert 'href="/shift/?line=P1"' in page


def test_a_line_whose_shifts_have_not_begun_says_so(cast, leader):
    make_line("L2", area=cast.area)
    page = text(leader.get("/shift/", {"line": "L2"}))
    assert "No shift of line L2 has begun yet" in page


def test_a_neighbours_cell_opens_on_its_own_line(cast, leader):
    line = make_line("L2", area=cast.area)
    make_cell("L2-10", line=line)
    make_shift(line)
    assert "cell=L2-10" in text(leader.get(URL))
    there = leader.get("/shift/", {"line": "L2", "cell": "L2-10"})
    assert there.url == "/shift/L2/2026-03-02/Early/?cell=L2-10"
    assert leader.get(there.url).status_code == 200


def test_another_areas_cell_is_not_offered(leader):
    assert "P1-10" not in text(leader.get(URL))


def test_everyone_signed_in_may_read_and_nobody_else(sign_in, client):
    assert client.get(URL).status_code == 302
    assert sign_in("reader").get(URL).status_code == 200


@pytest.mark.parametrize(
    "url",
    [
        "/shift/L9/2026-03-02/Early/",
        "/shift/L1/2026-03-02/Night/",
        "/shift/L1/2026-02-30/Early/",
        f"{URL}?cell=P1-10",
        "/shift/?line=L9",
    ],
)
def test_what_is_not_there_is_not_found(leader, url):
    assert leader.get(url).status_code == 404


# The account


def test_the_account_of_an_ended_shift_adds_up_in_words(cast, sedan, gun, leader):
    count(cast, sedan)
    stop_at(cast.cells[0], gun, "07:00", "07:52")
    with time_machine.travel(AFTER, tick=False):
        page = text(leader.get(URL))
    # Own arithmetic: 480 less 40 of breaks; 360 bodies at a minute, 9 not good.
    assert "351 good making · 9 rejects · 52 stopped · 28 unexplained" in page
    said = '<span class="figure">28 min</span> still unexplained of 440 planned minutes'
    assert said in page
    assert "351 good making · 9 rejects · 0 stopped · 80 unexplained" in page


def test_a_running_shift_is_looked_at_up_to_now(cast, sedan, gun, leader):
    stop_at(cast.cells[0], gun, "11:00", None)
    page = text(leader.get(URL))
    # By noon 360 minutes less 40 of breaks; standing from 11:00 to the break at 11:30.
    assert "30 stopped · 290 not counted yet" in page
    assert "L1 Early runs until 14:00;" in page
    assert '<span class="code">L1-10</span> reported standing.' in page


def test_more_made_than_the_time_allows_names_three_things_to_check(
    cast, sedan, leader
):
    count(cast, sedan, total=452, good=452)
    with time_machine.travel(AFTER, tick=False):
        page = text(leader.get(URL))
    assert '<span class="figure">−12 min</span>' in page
    assert "the count, the ideal cycle, and whether a stop lies in a break" in page
    assert "faster than its ideal cycle" in page


def test_a_night_shift_over_the_clock_change_has_its_real_length(cast, sedan, leader):
    saturday = date(2026, 10, 24)
    night = make_shift(
        cast.line, "Night", on=saturday, start="22:00", end="06:00", breaks=""
    )
    with time_machine.travel(night.ends_at + timedelta(minutes=5), tick=False):
        leader.force_login(cast.people.leader)
        page = text(leader.get("/shift/L1/2026-10-24/Night/"))
    assert "of 540 planned" in page


def test_the_page_of_a_shift_to_come_asks_for_nothing(leader):
    page = text(leader.get("/shift/L1/2026-03-02/Late/"))
    assert "L1 Late begins at 14:00." in page
    assert "<form" not in page.split("<main")[1]


def test_a_cancelled_shift_says_so(cast, leader):
    cast.early.ends_at = cast.early.starts_at
    cast.early.save()
    assert "L1 Early was cancelled." in text(leader.get(URL))


def test_the_line_page_needs_few_queries(
    cast, sedan, gun, leader, django_assert_max_num_queries
):
    for order in range(40, 50):
        cell = make_cell(f"L1-{order}", line=cast.line, order=order)
        stop_at(cell, gun, "08:00", "08:05")
        stop_at(cell, gun, "09:30", None)
    count(cast, sedan)
    make_shift(cast.line, "Night", start="00:00", end="05:00", breaks="")
    with django_assert_max_num_queries(20):
        leader.get(URL)


@pytest.mark.parametrize("way", ["now", "stop", "tally", "count", "breaks"])
def test_a_cells_page_needs_few_queries(
    cast, sedan, gun, stuck, leader, django_assert_max_num_queries, way
):
    stop_at(cast.cells[0], gun, "08:00", "08:05")
    count(cast, sedan)
    make_shift(cast.line, "Night", start="00:00", end="05:00", breaks="")
    with django_assert_max_num_queries(20):
        leader.get(URL, {"cell": "L1-10", "log": way})


# One tap


def test_one_tap_starts_and_one_tap_ends_a_stop(cast, gun, leader):
    here = f"{URL}?cell=L1-10"
    assert 'class="edge-breakdown" name="reason"' in text(leader.get(here))
    response = leader.post(here, {"do": "start", "reason": gun.pk})
    assert response.status_code == 302
    stop = Stop.objects.get()
    assert (stop.cell, stop.started_at, stop.ended_at) == (cast.cells[0], NOW, None)
    with time_machine.travel(NOW + timedelta(minutes=7), tick=False):
        page = text(leader.post(URL, {"do": "end", "stop": stop.pk}, follow=True))
    stop.refresh_from_db()
    assert stop.ended_at == NOW + timedelta(minutes=7)
    assert "L1-10: “Gun force fault” ended at 12:07." in page


def test_the_same_stop_cannot_be_started_twice(cast, gun, leader):
    stop_at(cast.cells[0], gun, "11:00", None)
    here = f"{URL}?cell=L1-10"
    response = leader.post(here, {"do": "start", "reason": gun.pk})
    assert response.status_code == 422
    assert "already has a running stop" in text(response)
    assert Stop.objects.count() == 1


def test_a_stop_carried_over_stands_at_the_top(cast, gun, leader):
    stop_at(cast.cells[1], gun, "05:30", "06:20")
    page = text(leader.get(URL))
    assert "carried over" in page
    assert page.index("carried over") < page.index("Where the minutes went")


def test_reasons_stand_in_the_order_of_the_cells_last_90_days(cast, gun, stuck, leader):
    stop_at(cast.cells[0], stuck, "07:00", "07:02")
    page = text(leader.get(f"{URL}?cell=L1-10&log=now"))
    assert page.index("Tip stuck") < page.index("Gun force fault")


@pytest.mark.parametrize("who", ["reader", "stranger", "technician", "planner"])
def test_who_may_not_log_sees_no_button_and_is_refused(cast, gun, sign_in, who):
    client = sign_in(who)
    page = text(client.get(f"{URL}?cell=L1-10"))
    assert 'name="reason"' not in page
    response = client.post(f"{URL}?cell=L1-10", {"do": "start", "reason": gun.pk})
    assert response.status_code == 403
    assert "team leaders of its area" in text(response)
    assert not Stop.objects.exists()


# A stop with times, a tally


def send_stop(client, gun, url=f"{URL}?cell=L1-10&log=stop", **given):
    return client.post(url, {"do": "stop", "reason": gun.pk, **given})


def test_a_stop_is_added_by_start_and_minutes(cast, gun, leader):
    response = send_stop(leader, gun, started_at="07:05", minutes="17", note="arm 2")
    assert response.status_code == 302
    stop = Stop.objects.get()
    assert (stop.started_at, stop.ended_at) == (at("07:05"), at("07:22"))
    assert (stop.note, stop.logged_by) == ("arm 2", cast.people.leader)
    assert set(StaleMark.objects.values_list("cell", "shift")) == {
        (cast.cells[0].pk, cast.early.pk)
    }
    assert "17 min" in text(leader.get(response.url))


def test_a_stop_is_added_by_start_and_end_or_as_still_standing(cast, gun, leader):
    send_stop(leader, gun, started_at="07:05", ended_at="07:22")
    send_stop(leader, gun, started_at="11:50", running="on")
    assert list(Stop.objects.values_list("ended_at", flat=True)) == [at("07:22"), None]


REFUSED = {
    "no reason": ({"reason": ""}, "Reason is empty: fill it in."),
    "no start": ({"started_at": ""}, "From is empty: fill it in."),
    "neither minutes nor end": ({"minutes": ""}, "Give the minutes or the time"),
    "outside the shift": ({"started_at": "05:00"}, "lies outside the shift"),
    "both ways": ({"ended_at": "08:00"}, "do not agree"),
    "ended and standing": ({"running": "on"}, "clear one"),
    "no time of day": ({"started_at": "7h"}, "is not a time of day"),
    "no number": ({"minutes": "many"}, "is not a number of minutes"),
    "future": ({"started_at": "11:55", "minutes": "30"}, "lies in the future"),
}


@pytest.mark.parametrize(("given", "says"), REFUSED.values(), ids=REFUSED)
def test_a_refused_stop_keeps_what_was_typed(gun, leader, given, says):
    typed = {"started_at": "07:05", "minutes": "17", "note": "arm 2"}
    response = send_stop(leader, gun, **{**typed, **given})
    assert response.status_code == 422
    assert says in text(response)
    assert 'value="arm 2"' in text(response)
    assert "Nothing was saved." in text(response)
    assert not Stop.objects.exists()


def test_on_the_night_the_clocks_go_back_the_form_asks_which(cast, gun, leader):
    saturday = date(2026, 10, 24)
    night = make_shift(
        cast.line, "Night", on=saturday, start="22:00", end="06:00", breaks=""
    )
    url = "/shift/L1/2026-10-24/Night/?cell=L1-10&log=stop"
    with time_machine.travel(night.ends_at + timedelta(minutes=5), tick=False):
        leader.force_login(cast.people.leader)
        asked = send_stop(leader, gun, url, started_at="02:30", minutes="10")
        assert asked.status_code == 422
        assert "02:30 CET" in text(asked)
        second = "2026-10-25T01:30:00+00:00"
        answered = send_stop(
            leader, gun, url, started_at="02:30", minutes="10", started_at_which=second
        )
    assert answered.status_code == 302
    assert Stop.objects.get().started_at.isoformat() == second


def test_a_tally_is_added_corrected_and_withdrawn(cast, stuck, leader):
    here = f"{URL}?cell=L1-10&log=tally"
    typed = {"do": "tally", "reason": stuck.pk, "times": "7", "seconds": "9"}
    assert leader.post(here, typed).status_code == 302
    tally = Tally.objects.get()
    assert (tally.times, tally.seconds, tally.shift) == (7, 540, cast.early)
    assert "7 times, about 9 min" in text(leader.get(here))
    correct = {
        "do": "correct_tally",
        "reason": stuck.pk,
        "times": "8",
        "seconds": "10",
        "why": "one more",
    }
    one = f"{here}&tally={tally.pk}"
    assert leader.post(one, {**correct, "why": ""}).status_code == 422
    assert leader.post(one, correct).status_code == 302
    leader.post(one, {"do": "withdraw_tally", "why": "wrong cell"})
    tally.refresh_from_db()
    assert (tally.times, tally.withdrawn) == (8, True)


def test_a_break_is_worked_through_and_taken_after_all(cast, leader):
    here = f"{URL}?cell=L1-10&log=breaks"
    rest = cast.early.breaks.first()
    leader.post(here, {"do": "work_break", "break": rest.pk})
    assert WorkedBreak.objects.get().break_start == rest.starts_at
    assert "worked through" in text(leader.get(here))
    leader.post(here, {"do": "work_break", "break": rest.pk})
    assert not WorkedBreak.objects.get().withdrawn
    leader.post(here, {"do": "work_break", "break": rest.pk, "taken": "yes"})
    assert WorkedBreak.objects.get().withdrawn


# Counts


def send_count(client, sedan, url=URL, **given):
    typed = {"do": "count", "at": "L1", "variant": sedan.pk, "total": "360"}
    return client.post(url, {**typed, "good": "351", **given})


def test_a_line_count_is_entered_once_and_explains_every_cell(cast, sedan, leader):
    assert send_count(leader, sedan, rework="8", scrap="1").status_code == 302
    counted = Count.objects.get()
    assert (counted.line, counted.cell, counted.rework) == (cast.line, None, 8)
    with time_machine.travel(AFTER, tick=False):
        page = text(leader.get(URL))
    assert page.count("80 unexplained") == len(cast.cells)


def test_a_count_of_a_leg_and_of_one_cell(cast, sedan, leader):
    make_cell("L1-40A", line=cast.line, leg="A")
    send_count(leader, sedan, at="L1/A")
    send_count(leader, sedan, url=f"{URL}?cell=L1-10&log=count", at="L1-10")
    assert {counted.at for counted in Count.objects.all()} == {"L1/A", "L1-10"}


def test_a_refused_count_keeps_what_was_typed(sedan, leader):
    response = send_count(leader, sedan, good="361")
    assert response.status_code == 422
    assert "First-time good (361) is above the total made (360)" in text(response)
    assert 'value="361"' in text(response)
    assert not Count.objects.exists()


def test_a_count_is_corrected_and_withdrawn_with_a_reason(cast, sedan, leader):
    counted = count(cast, sedan)
    here = f"{URL}?count={counted.pk}"
    assert "Correct S4 at L1" in text(leader.get(here))
    numbers = {"total": "365", "good": "351"}
    refused = leader.post(here, {"do": "correct_count", **numbers})
    assert refused.status_code == 422
    leader.post(here, {"do": "correct_count", "why": "five more", **numbers})
    counted.refresh_from_db()
    assert counted.total == 365
    leader.post(here, {"do": "withdraw_count", "why": "other line"})
    counted.refresh_from_db()
    assert counted.withdrawn


def test_a_planner_counts_with_a_reason(sedan, sign_in):
    planner = sign_in("planner")
    assert "Why do you enter it for the leader?" in text(planner.get(URL))
    assert send_count(planner, sedan).status_code == 422
    assert send_count(planner, sedan, why="leader is ill").status_code == 302


@pytest.mark.parametrize("who", ["reader", "stranger", "technician"])
def test_who_may_not_count(sedan, sign_in, who):
    client = sign_in(who)
    assert "Enter a count" not in text(client.get(URL))
    assert send_count(client, sedan).status_code == 403


# Confirming


def test_confirming_asks_about_every_running_stop(cast, gun, stuck, leader):
    broken = stop_at(cast.cells[0], gun, "13:00", None)
    still = stop_at(cast.cells[1], gun, "13:30", None)
    with time_machine.travel(AFTER, tick=False):
        assert "L1-10: Gun force fault. Still running?" in text(leader.get(URL))
        refused = leader.post(URL, {"do": "confirm", f"stop_{broken.pk}": "ended"})
        assert refused.status_code == 422
        assert "Give the time at which it ended." in text(refused)
        assert not ShiftConfirmation.objects.exists()
        answers = {
            f"stop_{broken.pk}": "ended",
            f"end_{broken.pk}": "13:40",
            f"stop_{still.pk}": "running",
        }
        assert leader.post(URL, {"do": "confirm", **answers}).status_code == 302
        page = text(leader.get(URL))
    broken.refresh_from_db()
    still.refresh_from_db()
    assert (broken.ended_at, still.ended_at) == (at("13:40"), None)
    confirmed = ShiftConfirmation.objects.get()
    assert (confirmed.shift, confirmed.confirmed_by) == (
        cast.early,
        cast.people.leader,
    )
    assert "L1 Early is confirmed." in page
    assert "Confirmed by leader" in page


def test_the_summary_adds_up_before_it_is_confirmed(cast, sedan, gun, leader):
    count(cast, sedan)
    stop_at(cast.cells[0], gun, "07:00", "07:52")
    with time_machine.travel(AFTER, tick=False):
        summary = text(leader.get(URL)).split('id="confirm"')[1].split("</tr>")[1]
    figures = [
        int(part.split("<")[0]) for part in summary.split('">')[3:] if part[0].isdigit()
    ]
    assert figures == [351, 9, 52, 28, 440]
    assert sum(figures[:-1]) == figures[-1]


def test_a_shift_cannot_be_confirmed_while_it_runs(leader):
    assert 'value="confirm"' not in text(leader.get(URL))
    response = leader.post(URL, {"do": "confirm"})
    assert response.status_code == 422
    assert "confirm it from 13:45 on" in text(response)


@pytest.mark.parametrize("who", ["reader", "stranger", "technician", "planner"])
def test_who_may_not_confirm(sign_in, who):
    client = sign_in(who)
    with time_machine.travel(AFTER, tick=False):
        assert 'value="confirm"' not in text(client.get(URL))
        assert client.post(URL, {"do": "confirm"}).status_code == 403


def test_the_next_shift_reminds_of_the_unconfirmed_one(leader):
    with time_machine.travel(AFTER, tick=False):
        page = text(leader.get("/shift/L1/2026-03-02/Late/"))
    assert "Early of Mon 2 March has ended and is not confirmed." in page


# The sheet and what else can be sent


def test_the_blank_sheet_prints_cells_reasons_and_room_for_counts(
    cast, sedan, gun, sign_in
):
    page = text(sign_in("reader").get(f"{URL}sheet/"))
    for words in (
        "L1-20",
        "Gun force fault (breakdown)",
        "S4 Sedan",
        "First-time good",
    ):
        assert words in page


@pytest.mark.parametrize(
    "sent",
    [
        {"do": "explode"},
        {},
        {"do": "end", "stop": "x"},
        {"do": "start", "reason": "1"},
        {"do": "correct_count", "total": "1"},
        {"do": "work_break", "break": "1"},
    ],
    ids=str,
)
def test_a_button_that_is_not_there_is_a_bad_request(leader, sent):
    assert leader.post(URL, sent).status_code == 400


def test_a_leader_of_two_lines_chooses(cast, client):
    other = make_line("L2", area=cast.area)
    from cells.rights import Role

    user = make_user("both", Role.TEAM_LEADER, lines=(cast.line, other))
    client.force_login(user)
    assert "Lines you lead" in text(client.get(reverse("my_shift")))
