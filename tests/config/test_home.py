"""Where each role's day begins, and what the header says on the way."""

from typing import Any

import pytest
from django.http import HttpResponse
from django.test import Client
from django.urls import resolve, reverse

from cells.models import Duty
from cells.rights import Role
from config.context import ROOMS, role_in_words
from tests.builders import Cast, make_user, the_cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    return the_cast()


FIRST_PAGES = {
    "leader": "/shift/",
    "technician": "/stopped/",
    "planner": "/due/",
    "area_manager": "/areas/BODY/",
    "plant_manager": "/plant/",
    "safety_officer": "/due/?only=safety",
    "admin": "/registry/",
    "reader": "/plant/",
}


@pytest.mark.parametrize(("person", "address"), FIRST_PAGES.items(), ids=FIRST_PAGES)
def test_each_role_lands_on_its_own_first_page(
    cast: Cast, client_of: Any, person: str, address: str
) -> None:
    response = client_of(getattr(cast.people, person)).get(reverse("home"))

    assert response.status_code == 302
    assert response["Location"] == address


def test_a_stranger_is_asked_to_sign_in(cast: Cast, client: Client) -> None:
    response = client.get(reverse("home"))

    assert response["Location"].startswith(reverse("login"))


def test_a_manager_of_two_areas_sees_all_of_them(cast: Cast, client_of: Any) -> None:
    Duty.objects.create(user=cast.people.area_manager, area=cast.other_line.area)
    response = client_of(cast.people.area_manager).get(reverse("home"))

    assert response["Location"] == reverse("plant")


def test_home_only_reads(cast: Cast, client_of: Any) -> None:
    assert client_of(cast.people.planner).post(reverse("home")).status_code == 405


@pytest.mark.parametrize("room", ROOMS, ids=lambda room: room.name)
def test_every_room_in_the_header_exists(room: Any) -> None:
    assert resolve(room.href).url_name


def header(response: HttpResponse) -> str:
    return " ".join(response.content.decode().split()).split("<main")[0]


@pytest.mark.parametrize(
    ("address", "room"),
    [
        ("/plant/", "Plant"),
        ("/ranking/", "Ranking"),
        ("/cells/L1-10/", "Registry"),
        ("/cells/L1-10/account/", "Plant"),
        ("/stopped/", "Stopped"),
    ],
)
def test_the_header_marks_the_room_one_is_in(
    cast: Cast, client_of: Any, address: str, room: str
) -> None:
    shown = header(client_of(cast.people.reader).get(address))

    assert shown.count('aria-current="page"') == 1
    assert f'aria-current="page">{room}</a>' in shown


def test_the_header_says_the_role(cast: Cast, client_of: Any) -> None:
    shown = header(client_of(cast.people.plant_manager).get(reverse("ranking")))

    assert "plant manager · plant-manager" in shown


def test_a_role_is_said_in_words(cast: Cast) -> None:
    both = make_user("both", Role.TECHNICIAN, Role.PLANNER)

    assert role_in_words(both) == "planner, technician"
    assert role_in_words(cast.people.admin) == "administrator"
    assert role_in_words(cast.people.reader) == ""


def test_a_stranger_sees_no_rooms(client: Client) -> None:
    assert "Rooms" not in header(client.get(reverse("login")))


def test_only_the_demo_says_that_it_is_one(client: Client, settings: Any) -> None:
    assert "made-up plant" not in client.get(reverse("login")).content.decode()
    settings.DEMO = True
    assert "made-up plant" in client.get(reverse("login")).content.decode()
