"""The calendar's page and forms."""

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from django.test import Client

from cells import jobs
from cells.models import DayOff, OneOffShift, Shift, ShiftPattern
from tests.builders import TUESDAY, Cast, at

pytestmark = pytest.mark.django_db

SignIn = Callable[[Any], Client]

NIGHT = {
    "area": "BODY",
    "name": "Night",
    "weekdays": "mon-thu",
    "start": "22:00",
    "end": "06:00",
    "breaks": "02:00-02:30",
    "date_offset": "0",
    "valid_from": "2026-03-03",
}


def test_the_calendar_shows_eight_weeks_and_opens_at_ones_own_area(
    cast: Cast, client_of: SignIn
) -> None:
    jobs.extend_shifts()

    page = client_of(cast.people.leader).get("/calendar/").content.decode()

    assert "When area BODY works" in page
    assert page.count("Early 06:00–14:00") == 40
    assert "/calendar/patterns/add/" not in page


def test_a_planner_adds_changes_ends_and_removes_a_pattern(
    cast: Cast, client_of: SignIn
) -> None:
    client = client_of(cast.people.planner)
    answer = client.post("/calendar/patterns/add/", NIGHT)
    assert answer["Location"] == "/calendar/?area=BODY"
    pattern = ShiftPattern.objects.get(name="Night")

    changed = {**NIGHT, "start": "23:00", "from_date": "2026-03-05", "why": "later"}
    client.post(f"/calendar/patterns/{pattern.pk}/", changed)
    new = ShiftPattern.objects.get(name="Night", valid_from=date(2026, 3, 5))
    client.post(
        f"/calendar/patterns/{new.pk}/end/", {"last_day": "2026-03-31", "why": "end"}
    )
    nights = Shift.objects.filter(name="Night")
    assert nights.earliest("starts_at").starts_at == at("22:00", TUESDAY)
    assert nights.latest("starts_at").starts_at == at("23:00", date(2026, 3, 31))

    client.post(f"/calendar/patterns/{new.pk}/remove/", {"why": "mistake"})
    assert not ShiftPattern.objects.filter(pk=new.pk).exists()
    assert nights.latest("starts_at").starts_at == at("22:00", date(2026, 3, 4))


def test_a_day_off_and_a_one_off_come_and_go(cast: Cast, client_of: SignIn) -> None:
    client = client_of(cast.people.planner)
    client.post(
        "/calendar/days-off/add/", {"on": "2026-03-03", "area": "BODY", "name": "Fair"}
    )
    client.post(
        "/calendar/one-off/",
        {
            "area": "BODY",
            "line": "L1",
            "name": "Early",
            "starts_at": "2026-03-03T07:00",
            "ends_at": "2026-03-03T11:00",
        },
    )
    [shift] = Shift.objects.filter(production_date=TUESDAY)
    assert shift.starts_at == at("07:00", TUESDAY)

    client.post(
        f"/calendar/one-off/{OneOffShift.objects.get().pk}/remove/", {"why": "no"}
    )
    client.post(f"/calendar/days-off/{DayOff.objects.get().pk}/remove/", {"why": "no"})

    names = [shift.name for shift in Shift.objects.filter(production_date=TUESDAY)]
    assert names == ["Early", "Late"]


def test_an_overlap_is_refused_with_a_sentence_on_the_page(
    cast: Cast, client_of: SignIn
) -> None:
    answer = client_of(cast.people.planner).post(
        "/calendar/patterns/add/",
        {**NIGHT, "start": "13:00", "end": "15:00", "breaks": ""},
    )
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "Early (2026-03-03 06:00 to 2026-03-03 14:00) and Night" in page
    assert not ShiftPattern.objects.filter(name="Night").exists()


def test_an_ambiguous_start_asks_which_of_the_two(
    cast: Cast, client_of: SignIn
) -> None:
    # The clocks of Europe/Berlin go back on 25 October 2026 (MEMORY), so 02:30 comes
    # twice.
    client = client_of(cast.people.planner)
    sent = {
        "area": "BODY",
        "name": "Extra",
        "starts_at": "2026-10-25T02:30",
        "ends_at": "2026-10-25T05:00",
    }
    answer = client.post("/calendar/one-off/", sent)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "happens twice" in page
    assert "starts_at_which" in page

    client.post(
        "/calendar/one-off/", {**sent, "starts_at_which": "2026-10-25T01:30:00+00:00"}
    )
    assert OneOffShift.objects.get().starts_at.hour == 1


@pytest.mark.parametrize("who", ["leader", "area_manager", "plant_manager"])
@pytest.mark.parametrize(
    "url", ["/calendar/patterns/{}/", "/calendar/patterns/{}/remove/"]
)
def test_others_change_no_pattern(
    cast: Cast, client_of: SignIn, who: str, url: str
) -> None:
    url = url.format(cast.patterns[0].pk)
    client = client_of(getattr(cast.people, who))
    assert client.get(url).status_code == 403
    assert client.post(url, {**NIGHT, "why": "x"}).status_code == 403
    assert ShiftPattern.objects.count() == 2


def test_the_calendar_gives_its_rows_as_csv(cast: Cast, client_of: SignIn) -> None:
    answer = client_of(cast.people.reader).get("/calendar/?area=BODY&csv=1")
    lines = answer.content.decode().splitlines()
    assert lines[0] == "line,production_date,name,starts_at,ends_at,break_starts"
    assert lines[1].startswith("L1,2026-03-02,Early,2026-03-02T05:00:00")


def test_a_line_of_another_area_is_not_found(cast: Cast, client_of: SignIn) -> None:
    client = client_of(cast.people.reader)
    assert client.get("/calendar/?area=BODY&line=P1").status_code == 404
