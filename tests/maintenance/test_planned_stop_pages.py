import csv
import io

import pytest
from django.urls import reverse

from maintenance.models import PlannedStop
from maintenance.planned_stops import declare_planned_stop
from tests.builders import NOW, at

MOST_QUERIES = 20


@pytest.fixture
def meeting(cast, reasons):
    return declare_planned_stop(
        place=cast.line,
        starts_at=at("13:00"),
        ends_at=at("13:30"),
        reason=reasons.meeting,
        by=cast.people.planner,
    )


def sent(reasons, **changes):
    shown = {
        "place": "L1",
        "reason": reasons.meeting.pk,
        "starts_at": "2026-03-02T13:00:00",
        "ends_at": "2026-03-02T13:30:00",
        "why": "moved",
    }
    return {**shown, **changes}


def test_anyone_signed_in_reads_the_planned_stops(
    cast, reasons, meeting, client, client_of, django_assert_max_num_queries
):
    reader = client_of(cast.people.reader)
    with django_assert_max_num_queries(MOST_QUERIES):
        seen = reader.get(reverse("planned_stops")).content.decode()
    assert "1 planned stop " in seen
    assert "Mon 2 March 13:00" in seen
    assert "Declare one" not in seen
    assert client.get(reverse("planned_stops")).status_code == 302


def test_a_planner_declares_one_for_a_line(
    cast, reasons, client_of, django_assert_max_num_queries
):
    planner = client_of(cast.people.planner)
    with django_assert_max_num_queries(MOST_QUERIES):
        seen = planner.get(reverse("planned_stops")).content.decode()
    assert "Declare it" in seen
    # Only planned reasons are offered.
    assert f'value="{reasons.meeting.pk}"' in seen
    assert f'value="{reasons.stuck.pk}"' not in seen

    answer = planner.post(reverse("planned_stops"), sent(reasons), follow=True)

    assert "The planned stop is declared." in answer.content.decode()
    stored = PlannedStop.objects.get()
    assert (stored.place, stored.starts_at, stored.ends_at, stored.declared_at) == (
        cast.line,
        at("13:00"),
        at("13:30"),
        NOW,
    )


def test_an_area_manager_is_offered_places_of_the_own_area(cast, reasons, client_of):
    manager = client_of(cast.people.area_manager)
    seen = manager.get(reverse("planned_stops")).content.decode()
    assert 'value="BODY"' in seen
    assert 'value="L1-10"' in seen
    assert 'value="P1"' not in seen

    answer = manager.post(reverse("planned_stops"), sent(reasons, place="P1"))

    assert "Select a valid choice" in answer.content.decode()
    assert not PlannedStop.objects.exists()


def test_a_leader_may_not_declare(cast, reasons, client_of):
    leader = client_of(cast.people.leader)
    answer = leader.post(reverse("planned_stops"), sent(reasons))
    assert answer.status_code == 403
    assert "by a planner, the plant manager" in answer.content.decode()
    assert not PlannedStop.objects.exists()


def test_a_refused_one_says_why_at_the_field(cast, reasons, client_of):
    answer = client_of(cast.people.planner).post(
        reverse("planned_stops"), sent(reasons, ends_at="2026-03-02T12:30")
    )
    assert "is not after the start" in answer.content.decode()
    assert not PlannedStop.objects.exists()


def test_one_is_corrected_on_its_page(
    cast, reasons, meeting, client_of, django_assert_max_num_queries
):
    planner = client_of(cast.people.planner)
    url = reverse("planned_stop", args=[meeting.pk])
    with django_assert_max_num_queries(MOST_QUERIES):
        assert "Save the correction" in planner.get(url).content.decode()

    planner.post(url, sent(reasons, place="L1-20", ends_at="2026-03-02T13:20"))

    stored = PlannedStop.objects.get()
    assert (stored.place, stored.ends_at) == (cast.cells[1], at("13:20"))
    assert "moved" in planner.get(url).content.decode()


def test_one_is_withdrawn_with_a_reason(cast, reasons, meeting, client_of):
    planner = client_of(cast.people.planner)
    url = reverse("planned_stop_withdraw", args=[meeting.pk])

    assert "Why is empty" in planner.post(url, {"why": ""}).content.decode()
    assert not PlannedStop.objects.get().withdrawn
    planner.post(url, {"why": "cancelled"})

    assert PlannedStop.objects.get().withdrawn
    seen = planner.get(reverse("planned_stop", args=[meeting.pk])).content.decode()
    assert "it plans no minute" in seen
    assert "Save the correction" not in seen


def test_others_read_it_and_are_refused(cast, reasons, meeting, client_of):
    technician = client_of(cast.people.technician)
    url = reverse("planned_stop", args=[meeting.pk])
    assert "Save the correction" not in technician.get(url).content.decode()
    assert technician.post(url, sent(reasons)).status_code == 403
    withdrawal = reverse("planned_stop_withdraw", args=[meeting.pk])
    assert technician.post(withdrawal, {"why": "x"}).status_code == 403
    assert not PlannedStop.objects.get().withdrawn


def test_the_list_as_csv_has_the_columns_of_the_file(cast, reasons, meeting, client_of):
    answer = client_of(cast.people.reader).get(reverse("planned_stops"), {"csv": "1"})
    (row,) = csv.DictReader(io.StringIO(answer.content.decode()))
    assert row["at"] == "L1"
    assert row["starts_at"] == "2026-03-02T13:00:00+01:00"
    assert row["reason"] == "meeting"
    assert row["declared_at"] == "2026-03-02T12:00:00+01:00"
