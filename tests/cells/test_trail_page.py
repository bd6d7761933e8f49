"""The trail's page, and the administrator's pages that leave a trail too."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import Group, User
from django.test import Client

from cells import registry
from cells.models import Change, Duty
from tests.builders import NOW, Cast

pytestmark = pytest.mark.django_db

SignIn = Callable[[Any], Client]


@pytest.fixture
def renamed(cast: Cast) -> None:
    registry.change_area(
        area=cast.area, name="Body", by=cast.people.planner, why="shorter"
    )
    registry.change_line(
        line=cast.line, name="Floor", order=1, by=cast.people.planner, why="as built"
    )


def test_the_trail_says_who_what_before_after_and_why(
    cast: Cast, client_of: SignIn, renamed: None
) -> None:
    page = client_of(cast.people.reader).get("/trail/").content.decode()
    for words in ("planner", "Body shop", "shorter", "Underbody", "as built"):
        assert words in page


def test_the_trail_narrows_to_a_kind_and_a_record(
    cast: Cast, client_of: SignIn, renamed: None
) -> None:
    client = client_of(cast.people.reader)
    of_kind = client.get("/trail/?kind=line").content.decode()
    assert "as built" in of_kind
    assert "shorter" not in of_kind
    of_record = client.get(f"/trail/?kind=area&record={cast.area.pk}").content.decode()
    assert "1 change stands in the trail of this record" in of_record
    assert client.get("/trail/?kind=area&record=x").status_code == 404


def test_a_long_trail_comes_in_pages(
    cast: Cast, client_of: SignIn, django_assert_max_num_queries: Any
) -> None:
    Change.objects.bulk_create(
        Change(
            at=NOW - timedelta(seconds=n),
            kind="cell",
            record_id=1,
            record="L1-10",
            field="name",
            old=f"old {n}",
            new=f"new {n}",
        )
        for n in range(250)
    )
    client = client_of(cast.people.reader)
    with django_assert_max_num_queries(12):
        first = client.get("/trail/").content.decode()
    last = client.get("/trail/?page=3").content.decode()
    assert "250 changes stand in the trail" in first
    assert "new 99<" in first
    assert "new 100<" not in first
    assert "new 249<" in last


def test_the_trail_as_csv_defuses_formulas(cast: Cast, client_of: SignIn) -> None:
    registry.change_area(
        area=cast.area, name="=1+1", by=cast.people.planner, why="test"
    )
    rows = client_of(cast.people.reader).get("/trail/?csv=1").content.decode()
    assert ",'=1+1," in rows


def person_form(user: User, **given: Any) -> dict[str, Any]:
    return {
        "username": user.username,
        "first_name": "",
        "last_name": "",
        "is_active": "on",
        "duties-TOTAL_FORMS": "1",
        "duties-INITIAL_FORMS": "0",
        **given,
    }


def test_the_administrator_gives_a_person_a_role_and_a_duty(
    cast: Cast, client_of: SignIn
) -> None:
    person = cast.people.reader
    answer = client_of(cast.people.admin).post(
        f"/admin/auth/user/{person.pk}/change/",
        person_form(
            person,
            groups=[str(Group.objects.get(name="team leader").pk)],
            **{"duties-0-line": str(cast.line.pk)},
        ),
    )
    assert answer.status_code == 302
    assert Duty.objects.get(user=person).line == cast.line
    change = Change.objects.get(kind="user")
    assert (change.by, change.door) == (cast.people.admin, "admin")


@pytest.mark.parametrize("who", ["planner", "reader"])
def test_nobody_else_enters_the_administrators_pages(
    cast: Cast, client_of: SignIn, who: str
) -> None:
    answer = client_of(getattr(cast.people, who)).get("/admin/")
    assert answer.status_code == 302


@pytest.mark.parametrize(
    "url",
    [
        "/admin/auth/user/{user}/delete/",
        "/admin/cells/cell/{cell}/delete/",
        "/admin/cells/cell/add/",
    ],
)
def test_the_administrators_pages_delete_and_add_nothing(
    cast: Cast, client_of: SignIn, url: str
) -> None:
    url = url.format(user=cast.people.reader.pk, cell=cast.cells[0].pk)
    assert client_of(cast.people.admin).get(url).status_code == 403


def test_the_administrators_pages_only_look_at_records(
    cast: Cast, client_of: SignIn
) -> None:
    client = client_of(cast.people.admin)
    url = f"/admin/cells/cell/{cast.cells[0].pk}/change/"
    assert client.get(url).status_code == 200
    assert client.post(url, {"name": "x"}).status_code == 403
