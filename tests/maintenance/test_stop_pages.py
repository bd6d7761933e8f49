import csv
import io
from datetime import date, timedelta

import pytest
from django.urls import reverse

from maintenance.models import Stop
from maintenance.stops import withdraw_stop
from tests.builders import MONDAY, NOW, TUESDAY, at, make_shift
from tests.maintenance.stop_cast import a_stop

MOST_QUERIES = 20


@pytest.fixture
def people(cast):
    return cast.people


def test_anyone_signed_in_reads_what_stands_still_and_nobody_else(
    cast, reasons, people, client, client_of
):
    a_stop(cast, reasons.stuck, "11:20", None)

    page = client_of(people.reader).get(reverse("stopped"))

    assert page.status_code == 200
    assert "40 min" in page.content.decode()
    assert "stuck tip" in page.content.decode()
    assert client.get(reverse("stopped")).status_code == 302


def test_who_may_not_tap_sees_no_buttons(cast, reasons, people, client_of):
    a_stop(cast, reasons.stuck, "11:20", None)

    seen = client_of(people.reader).get(reverse("stopped")).content.decode()

    assert "Ended now" not in seen
    assert "Called now" not in seen
    assert "Log a stop from now on" not in seen


def test_a_leader_starts_a_stop_with_two_taps(cast, reasons, people, client_of):
    client = client_of(people.leader)
    first = client.get(reverse("stopped")).content.decode()
    assert "?cell=L1-10" in first
    assert "P1-10" not in first  # another area

    second = client.get(reverse("stopped"), {"cell": "L1-10"}).content.decode()
    assert f'value="{reasons.stuck.pk}"' in second
    answer = client.post(
        reverse("stop_start"),
        {"cell": cast.cells[0].pk, "reason": reasons.stuck.pk},
        follow=True,
    )

    stop = Stop.objects.get()
    assert (stop.cell, stop.started_at, stop.ended_at) == (cast.cells[0], NOW, None)
    assert "stopped from now on" in answer.content.decode()


def test_a_technician_may_not_start_a_stop(cast, reasons, people, client_of):
    client = client_of(people.technician)

    answer = client.post(
        reverse("stop_start"), {"cell": cast.cells[0].pk, "reason": reasons.stuck.pk}
    )

    assert answer.status_code == 403
    assert "team leaders of its area" in answer.content.decode()
    assert client.get(reverse("stopped"), {"cell": "L1-10"}).status_code == 403
    assert not Stop.objects.exists()


def test_starting_the_same_stop_twice_says_why_not(cast, reasons, people, client_of):
    client = client_of(people.leader)
    tap = {"cell": cast.cells[0].pk, "reason": reasons.stuck.pk}
    client.post(reverse("stop_start"), tap)

    answer = client.post(reverse("stop_start"), tap, follow=True)

    assert "already has a running stop" in answer.content.decode()
    assert Stop.objects.count() == 1


def test_a_start_without_a_cell_is_refused_in_words(cast, people, client_of):
    answer = client_of(people.leader).post(reverse("stop_start"), {}, follow=True)
    assert "Choose a cell and what stopped it." in answer.content.decode()


def test_a_technician_taps_through_a_repair_and_ends_what_he_repaired(
    cast, reasons, people, client_of, monday_noon
):
    stop = a_stop(cast, reasons.stuck, "11:20", None)
    client = client_of(people.technician)
    for minute, which in enumerate(["called_at", "arrived_at", "repaired_at"]):
        monday_noon.move_to(at(f"12:0{minute}"))
        client.post(reverse("stop_tap", args=[stop.pk, which]))
    seen = client.get(reverse("stopped")).content.decode()
    assert "arrived 12:01; repaired 12:02" in seen
    assert "Called now" not in seen  # it cannot come after the repair
    assert "Restarted now" in seen

    client.post(reverse("stop_tap", args=[stop.pk, "ended_at"]))

    assert Stop.objects.get().ended_at == at("12:02")


def test_a_technician_does_not_end_what_he_did_not_repair(
    cast, reasons, people, client_of
):
    stop = a_stop(cast, reasons.stuck, "11:20", None)
    answer = client_of(people.technician).post(
        reverse("stop_tap", args=[stop.pk, "ended_at"])
    )
    assert answer.status_code == 403
    assert Stop.objects.get().is_running


def test_an_unknown_moment_is_not_found(cast, reasons, people, client_of):
    stop = a_stop(cast, reasons.stuck, "11:20", None)
    answer = client_of(people.admin).post(reverse("stop_tap", args=[stop.pk, "note"]))
    assert answer.status_code == 404


def test_a_tap_leads_back_to_the_page_it_was_on_but_to_no_other_site(
    cast, reasons, people, client_of
):
    stop = a_stop(cast, reasons.stuck, "11:20", None)
    client = client_of(people.leader)
    url = reverse("stop_tap", args=[stop.pk, "called_at"])

    back = client.post(url, {"next": "/stopped/?area=BODY"})
    away = client.post(url, {"next": "https://elsewhere.example/"})

    assert back.url == "/stopped/?area=BODY"
    assert away.url == reverse("stopped")


def test_the_part_that_refreshes_is_only_the_running_stops(
    cast, reasons, people, client_of
):
    a_stop(cast, reasons.stuck, "11:20", None)
    part = client_of(people.leader).get(
        reverse("stopped"), headers={"HX-Request": "true"}
    )
    assert part.content.decode().strip().startswith('<div id="stopped-now"')


def test_stopped_now_filters_by_area(cast, reasons, people, client_of):
    a_stop(cast, reasons.stuck, "11:20", None)
    client = client_of(people.reader)
    assert "stuck tip" in client.get("/stopped/?area=BODY").content.decode()
    assert "stuck tip" not in client.get("/stopped/?area=PAINT").content.decode()
    assert client.get("/stopped/?area=NONE").status_code == 404


def test_the_list_shows_the_chosen_stops(cast, reasons, people, client_of):
    a_stop(cast, reasons.stuck, "08:00", "08:20")
    a_stop(cast, reasons.jam, "09:00", "09:10", cell=cast.cells[1])
    client = client_of(people.reader)

    everything = client.get(reverse("stops")).content.decode()
    of_class = client.get(reverse("stops"), {"loss_class": "minor"}).content.decode()
    of_cell = client.get(reverse("stops"), {"cell": "L1-10"}).content.decode()
    before = client.get(
        reverse("stops"), {"first": "2026-02-01", "last": "2026-02-28"}
    ).content.decode()

    assert "2 stops" in everything
    assert "1 stop " in of_class
    assert "skid jam" in of_class
    assert "1 stop " in of_cell
    assert "No stop is on record there" in before


def test_the_list_goes_by_the_date_of_the_shift(cast, reasons, people, client_of):
    """A stop at one in the morning is Monday's, where Monday's shift ran on."""
    make_shift(cast.line, name="Night", start="22:00", end="06:00", breaks="")
    night = at("01:00", TUESDAY)
    cast.cells[0].stops.create(
        ref="night",
        reason=reasons.jam,
        started_at=night,
        ended_at=night + timedelta(hours=1),
        logged_at=night,
    )
    after = at("07:00", TUESDAY)
    cast.cells[0].stops.create(
        ref="outside",  # no shift runs then: it goes by the calendar
        reason=reasons.jam,
        started_at=after,
        ended_at=after + timedelta(hours=1),
        logged_at=after,
    )
    client = client_of(people.reader)

    def listed(day: date) -> str:
        dates = {"first": f"{day}", "last": f"{day}"}
        return client.get(reverse("stops"), dates).content.decode()

    assert "1 stop on Mon 2 March" in listed(MONDAY)
    assert "01:00" in listed(MONDAY)
    assert "1 stop on Tue 3 March" in listed(TUESDAY)
    assert "07:00" in listed(TUESDAY)


def test_what_was_tallied_is_listed_beside_the_stops(cast, reasons, people, client_of):
    a_stop(cast, reasons.jam, "08:00", "08:20")
    for cell, times in zip(cast.cells, (7, 4, 2), strict=True):
        cell.tallies.create(
            shift=cast.early,
            reason=reasons.jam,
            times=times,
            seconds=60 * times,
            logged_at=NOW,
        )
    client = client_of(people.reader)

    everything = client.get(reverse("stops")).content.decode()
    of_cell = client.get(reverse("stops"), {"cell": "L1-10"}).content.decode()
    of_another = client.get(reverse("stops"), {"reason": "stuck"}).content.decode()

    assert "1 stop and 13 tallied" in everything
    assert "1 stop and 7 tallied" in of_cell
    assert "tallied" not in of_another


def test_withdrawn_stops_are_listed_when_asked_for(cast, reasons, people, client_of):
    stop = a_stop(cast, reasons.stuck, "08:00", "08:20")
    withdraw_stop(stop=stop, why="never was", by=people.leader)
    client = client_of(people.reader)

    assert "0 stops" in client.get(reverse("stops")).content.decode()
    withdrawn = client.get(reverse("stops"), {"state": "withdrawn"})
    assert "1 stop " in withdrawn.content.decode()


@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        pytest.param(
            {"first": "2026-03-02", "last": "2026-03-01"},
            "2026-03-01 lies before 2026-03-02: swap the two dates.",
            id="turned round",
        ),
        pytest.param(
            {"first": "2020-01-01", "last": "2026-03-01"},
            "is longer than 400 days",
            id="years",
        ),
        pytest.param(
            {"first": "soon"}, "From “soon”: Enter a valid date.", id="no date"
        ),
        pytest.param(
            {"cell": "NONE"}, "Cell “NONE”: Select a valid choice.", id="unknown cell"
        ),
    ],
)
def test_a_filter_that_cannot_be_read_says_so(
    cast, reasons, people, client_of, query, sentence
):
    a_stop(cast, reasons.stuck, "08:00", "08:20")
    page = client_of(people.reader).get(reverse("stops"), query).content.decode()
    assert sentence in page
    assert "0 stops" in page


def test_the_list_as_csv_has_the_same_rows(cast, reasons, people, client_of):
    stop = a_stop(cast, reasons.stuck, "08:00", "08:20", note="=1+1")

    answer = client_of(people.reader).get(reverse("stops"), {"csv": "1"})

    (row,) = csv.DictReader(io.StringIO(answer.content.decode()))
    assert answer.headers["Content-Type"].startswith("text/csv")
    assert row["ref"] == stop.ref
    assert (row["cell"], row["reason"], row["loss_class"]) == (
        "L1-10",
        "stuck-tip",
        "breakdown",
    )
    assert row["started_at"] == "2026-03-02T08:00:00+01:00"
    assert row["seconds"] == "1200"
    assert row["note"] == "'=1+1"
    assert row["withdrawn"] == "no"


def test_long_lists_are_cut_into_pages(
    cast, reasons, people, client_of, django_assert_max_num_queries
):
    for minute in range(55):
        a_stop(cast, reasons.jam, f"07:{minute:02}", f"07:{minute:02}:30")
    client = client_of(people.reader)

    with django_assert_max_num_queries(MOST_QUERIES):
        first = client.get(reverse("stops")).content.decode()
    second = client.get(reverse("stops"), {"page": "2"}).content.decode()

    assert "55 stops" in first
    assert "Page 1 of 2" in first
    assert second.count("skid jam</td>") + second.count("skid jam<small>") == 5


def test_stopped_now_asks_few_queries_however_much_stands(
    cast, reasons, people, client_of, django_assert_max_num_queries
):
    for cell in cast.cells:
        for reason in (reasons.stuck, reasons.jam, reasons.blocked):
            a_stop(cast, reason, "11:00", None, cell=cell)
    Stop.objects.update(repaired_at=at("11:30"))
    for person in (people.leader, people.technician):
        client = client_of(person)
        with django_assert_max_num_queries(MOST_QUERIES):
            client.get(reverse("stopped"))
        with django_assert_max_num_queries(MOST_QUERIES):
            client.get(reverse("stopped"), headers={"HX-Request": "true"})


def test_a_stop_has_a_page_with_its_times_and_trail(
    cast, reasons, people, client_of, django_assert_max_num_queries
):
    stop = a_stop(
        cast,
        reasons.stuck,
        "09:02",
        "09:53",
        called_at=at("09:05"),
        arrived_at=at("09:13"),
    )
    client = client_of(people.leader)

    with django_assert_max_num_queries(MOST_QUERIES):
        seen = client.get(reverse("stop", args=[stop.pk])).content.decode()

    assert "L1-10: stuck tip, 51 min" in seen
    assert "maintenance staffing" in seen
    assert "8 min" in seen  # called 09:05, arrived 09:13
    assert "entered" in seen
    assert "Save the correction" in seen


def test_who_may_not_correct_sees_no_form_and_is_refused(
    cast, reasons, people, client_of
):
    stop = a_stop(cast, reasons.stuck, "08:00", "08:20")
    client = client_of(people.planner)
    url = reverse("stop", args=[stop.pk])

    assert "Save the correction" not in client.get(url).content.decode()
    assert client.post(url, {"note": "x", "why": "x"}).status_code == 403
    withdrawal = client.post(reverse("stop_withdraw", args=[stop.pk]), {"why": "x"})
    assert withdrawal.status_code == 403
    assert "corrected by the leader of line L1" in withdrawal.content.decode()
    assert Stop.objects.get().note == ""


def _sent(stop, **changes):
    """The correction form as a browser sends it back, with some fields changed."""
    from django.utils import timezone

    shown = {
        "cell": stop.cell_id,
        "reason": stop.reason_id,
        "position": stop.position,
        "started_at": timezone.localtime(stop.started_at).strftime("%Y-%m-%dT%H:%M:%S"),
        "ended_at": timezone.localtime(stop.ended_at).strftime("%Y-%m-%dT%H:%M:%S"),
        "note": stop.note,
        "cause": stop.cause,
        "why": "read the wrong clock",
    }
    return {**shown, **changes}


def test_a_leader_corrects_a_stop_on_its_page(cast, reasons, people, client_of):
    stop = a_stop(cast, reasons.stuck, "08:00", "08:20")

    answer = client_of(people.leader).post(
        reverse("stop", args=[stop.pk]),
        _sent(stop, ended_at="2026-03-02T08:25", parts_wait_s="3:30", position="R01"),
    )

    assert answer.status_code == 302
    stored = Stop.objects.get()
    assert stored.ended_at == at("08:25")
    assert stored.parts_wait_s == 210
    assert stored.position == "R01"
    seen = client_of(people.reader).get(answer.url).content.decode()
    assert "read the wrong clock" in seen


def test_a_refused_correction_saves_nothing_and_says_why_at_the_field(
    cast, reasons, people, client_of
):
    stop = a_stop(cast, reasons.stuck, "08:00", "08:20")

    answer = client_of(people.leader).post(
        reverse("stop", args=[stop.pk]),
        _sent(stop, ended_at="2026-03-02T07:25", note="hot"),
    )

    assert "is not after the start" in answer.content.decode()
    assert "Nothing was saved" in answer.content.decode()
    stored = Stop.objects.get()
    assert (stored.ended_at, stored.note) == (at("08:20"), "")


def test_a_stop_of_more_than_a_month_is_asked_about_on_its_page(
    cast, reasons, people, client_of
):
    stop = a_stop(cast, reasons.stuck, "08:00", "08:20", by=people.admin)
    client = client_of(people.admin)
    url = reverse("stop", args=[stop.pk])
    long_ago = _sent(stop, started_at="2026-01-20T08:00")
    assert "longer than 31 days" not in client.get(url).content.decode()

    asked = client.post(url, long_ago)
    assert asked.status_code == 422
    assert 'name="long_ok"' in asked.content.decode()
    assert Stop.objects.get().started_at == at("08:00")
    client.post(url, {**long_ago, "long_ok": "on"})

    assert Stop.objects.get().started_at == at("08:00", date(2026, 1, 20))


def test_a_technician_corrects_cause_and_times_only(cast, reasons, people, client_of):
    stop = a_stop(cast, reasons.stuck, "08:00", "08:20")
    client = client_of(people.technician)
    url = reverse("stop", args=[stop.pk])
    assert 'name="started_at"' not in client.get(url).content.decode()

    everything = _sent(stop, cause="worn cap", ended_at="2026-03-02T08:10")
    assert client.post(url, everything).status_code == 403
    assert Stop.objects.get().cause == ""
    client.post(url, {"cause": "worn cap", "why": "found it"})

    stored = Stop.objects.get()
    assert stored.cause == "worn cap"
    assert stored.ended_at == at("08:20")


def test_a_stop_is_withdrawn_and_reinstated_with_a_reason(
    cast, reasons, people, client_of
):
    stop = a_stop(cast, reasons.stuck, "08:00", "08:20")
    client = client_of(people.leader)

    without = client.post(reverse("stop_withdraw", args=[stop.pk]), {"why": ""})
    assert "Why is empty: fill it in." in without.content.decode()
    assert not Stop.objects.get().withdrawn
    client.post(reverse("stop_withdraw", args=[stop.pk]), {"why": "never was"})
    assert Stop.objects.get().withdrawn
    seen = client.get(reverse("stop", args=[stop.pk])).content.decode()
    assert "Reinstate the stop" in seen
    assert "Save the correction" not in seen
    client.post(reverse("stop_reinstate", args=[stop.pk]), {"why": "it was"})
    assert not Stop.objects.get().withdrawn


def test_nobody_else_reinstates_a_stop(cast, reasons, people, client_of):
    stop = a_stop(cast, reasons.stuck, "08:00", "08:20")
    withdraw_stop(stop=stop, why="never was", by=people.leader)
    answer = client_of(people.stranger).post(
        reverse("stop_reinstate", args=[stop.pk]), {"why": "it was"}
    )
    assert answer.status_code == 403
    assert Stop.objects.get().withdrawn


def test_taps_are_no_links(cast, reasons, people, client_of):
    stop = a_stop(cast, reasons.stuck, "11:20", None)
    client = client_of(people.leader)
    for name in ("stop_withdraw", "stop_reinstate"):
        assert client.get(reverse(name, args=[stop.pk])).status_code == 405
    assert client.get(reverse("stop_start")).status_code == 405
    assert (
        client.get(reverse("stop_tap", args=[stop.pk, "ended_at"])).status_code == 405
    )
    assert Stop.objects.get().is_running


def test_the_cells_page_shows_its_last_stops_and_what_fixed_them(
    cast, reasons, people, client_of, django_assert_max_num_queries
):
    a_stop(cast, reasons.stuck, "08:00", "08:20", cause="worn cap")
    a_stop(cast, reasons.jam, "11:20", None)
    a_stop(cast, reasons.jam, "09:00", "09:20", cell=cast.cells[1], cause="bent arm")
    client = client_of(people.reader)

    with django_assert_max_num_queries(MOST_QUERIES):
        seen = client.get(cast.cells[0].get_absolute_url()).content.decode()

    assert "worn cap" in seen
    assert "Still stopped" in seen
    assert "bent arm" not in seen
