"""Readings entered, questioned, confirmed and corrected on pages."""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client

from cells.models import Reading
from tests import builders
from tests.builders import NOW, Cast, at

pytestmark = pytest.mark.django_db

SignIn = Callable[[Any], Client]


def entry(cast: Cast, value: str, read_at: str = "2026-03-02T11:00") -> dict[str, Any]:
    return {"meter": cast.meter.pk, "value": value, "read_at": read_at}


@pytest.fixture
def questioned(cast: Cast) -> Reading:
    builders.make_reading(cast.meter, "100", read_at=at("06:00"))
    return builders.make_reading(
        cast.meter,
        "90",
        read_at=at("11:00"),
        confirmed=False,
        question="Below the last?",
        by=cast.people.technician,
    )


def test_a_technician_enters_a_reading_on_the_machines_page(
    cast: Cast, client_of: SignIn
) -> None:
    client = client_of(cast.people.technician)

    answer = client.post("/machines/W-0001/", entry(cast, "1210.5"), follow=True)

    reading = Reading.objects.get()
    assert (str(reading.value), reading.read_at) == ("1210.500", at("11:00"))
    page = answer.content.decode()
    assert "The reading is entered and counts." in page
    assert "1,210.5" in page


def test_an_odd_reading_is_kept_with_its_question(
    cast: Cast, client_of: SignIn
) -> None:
    builders.make_reading(cast.meter, "1200", read_at=at("06:00"))
    client = client_of(cast.people.technician)

    page = client.post(
        "/machines/W-0001/", entry(cast, "1100"), follow=True
    ).content.decode()

    assert "is below the last one" in page
    assert Reading.objects.questioned().count() == 1


@pytest.mark.parametrize(
    ("value", "read_at", "sentence"),
    [
        ("abc", "2026-03-02T11:00", "Reading “abc”: Enter a number."),
        ("-5", "2026-03-02T11:00", "a meter reads from 0"),
        ("5", "2026-03-09T11:00", "which lies in the future"),
        ("5", "yesterday", "is not a time"),
    ],
)
def test_a_reading_that_cannot_be_is_refused_on_the_page(
    cast: Cast, client_of: SignIn, value: str, read_at: str, sentence: str
) -> None:
    answer = client_of(cast.people.technician).post(
        "/machines/W-0001/", entry(cast, value, read_at)
    )
    assert answer.status_code == 422
    assert sentence in answer.content.decode().replace("&#x27;", "'")
    assert not Reading.objects.exists()


def test_a_leader_sees_no_form_and_may_not_send_one(
    cast: Cast, client_of: SignIn
) -> None:
    client = client_of(cast.people.leader)
    assert "Enter a reading" not in client.get("/machines/W-0001/").content.decode()
    assert client.post("/machines/W-0001/", entry(cast, "5")).status_code == 403


def test_a_planner_finds_and_confirms_what_is_questioned(
    cast: Cast, client_of: SignIn, questioned: Reading
) -> None:
    client = client_of(cast.people.planner)
    page = client.get("/readings/").content.decode()
    assert "1 meter reading asks a question and moves no due date" in page
    assert f"/readings/{questioned.pk}/" in page

    client.post(f"/readings/{questioned.pk}/", {"do": "confirm", "why": "new meter"})

    questioned.refresh_from_db()
    assert questioned.confirmed
    page = client.get(f"/readings/{questioned.pk}/").content.decode()
    assert "new meter" in page


def test_the_technician_corrects_the_own_reading(
    cast: Cast, client_of: SignIn, questioned: Reading
) -> None:
    client = client_of(cast.people.technician)
    page = client.get(f"/readings/{questioned.pk}/").content.decode()
    assert "Confirm it as it is" not in page

    client.post(
        f"/readings/{questioned.pk}/",
        {
            "do": "correct",
            "value": "104",
            "read_at": "2026-03-02T11:00",
            "why": "misread",
        },
    )

    questioned.refresh_from_db()
    assert (questioned.value, questioned.confirmed) == (104, True)


def test_a_reading_is_withdrawn_with_a_reason(
    cast: Cast, client_of: SignIn, questioned: Reading
) -> None:
    client = client_of(cast.people.planner)
    url = f"/readings/{questioned.pk}/"
    refused = client.post(url, {"do": "withdraw", "why": ""})
    assert refused.status_code == 422
    assert "Why is empty: fill it in." in refused.content.decode()

    client.post(url, {"do": "withdraw", "why": "wrong robot"})
    questioned.refresh_from_db()
    assert questioned.withdrawn


@pytest.mark.parametrize("do", ["confirm", "correct", "withdraw"])
def test_others_change_no_reading(
    cast: Cast, client_of: SignIn, questioned: Reading, do: str
) -> None:
    sent = {"do": do, "value": "5", "read_at": "2026-03-02T11:00", "why": "x"}
    answer = client_of(cast.people.leader).post(f"/readings/{questioned.pk}/", sent)
    assert answer.status_code == 403
    questioned.refresh_from_db()
    assert (questioned.value, questioned.confirmed) == (90, False)
    assert not questioned.withdrawn


def test_a_button_that_is_none_is_a_bad_request(
    cast: Cast, client_of: SignIn, questioned: Reading
) -> None:
    answer = client_of(cast.people.planner).post(
        f"/readings/{questioned.pk}/", {"do": "delete"}
    )
    assert answer.status_code == 400


def test_readings_of_a_machine_as_csv(
    cast: Cast, client_of: SignIn, questioned: Reading
) -> None:
    answer = client_of(cast.people.reader).get("/machines/W-0001/?csv=1")
    rows = answer.content.decode().splitlines()
    assert rows[0] == "meter,unit,read_at,value,confirmed,question"
    assert [row.split(",")[4] for row in rows[1:]] == ["yes", "no"]


def test_the_page_of_a_meter_is_for_planners(cast: Cast, client_of: SignIn) -> None:
    url = f"/meters/{cast.meter.pk}/"
    assert client_of(cast.people.technician).get(url).status_code == 403
    client_of(cast.people.planner).post(
        url, {"unit": "h", "max_per_hour": "2", "why": "plate"}
    )
    cast.meter.refresh_from_db()
    assert cast.meter.max_per_hour == 2


def test_last_weeks_readings_are_listed(cast: Cast, client_of: SignIn) -> None:
    builders.make_reading(cast.meter, "77", read_at=NOW - timedelta(days=6))
    builders.make_reading(cast.meter, "66", read_at=at("06:00", date(2026, 2, 1)))
    page = client_of(cast.people.reader).get("/readings/").content.decode()
    assert ">77<" in page
    assert ">66<" not in page
