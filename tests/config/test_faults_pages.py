"""A database that is away or full is told in words, and nothing is half saved."""

import os
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.urls import reverse

from cells.models import StaleMark
from maintenance.models import Stop
from oee.models import CellShift
from oee.recompute import bring_up_to_date, waiting
from tests.builders import NOW, Cast, at, the_cast
from tests.config.tables import amounts
from tests.maintenance.stop_cast import make_reason

pytestmark = pytest.mark.django_db(transaction=True)

SHIFT = "/shift/L1/2026-03-02/Early/?cell=L1-10"
NOTE = "a long note, so that the files soon have to grow: " + "words " * 70


@pytest.fixture(autouse=True)
def _monday_noon() -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def cast() -> Cast:
    return the_cast()


@pytest.fixture
def leader(cast: Cast, client_of: Callable[[Any], Client]) -> Client:
    client = client_of(cast.people.leader)
    client.raise_request_exception = False
    return client


def log(leader: Client, reason: Any, number: int) -> Any:
    """The stop of one minute of the morning."""
    started_at = f"{6 + number // 60:02}:{number % 60:02}"
    form = {"do": "stop", "reason": reason.pk, "started_at": started_at}
    return leader.post(SHIFT, {**form, "minutes": "1", "note": NOTE})


def text(response: Any) -> str:
    return " ".join(response.content.decode().split())


def test_a_full_database_says_so_and_takes_the_same_again_once_there_is_room(
    cast: Cast, leader: Client
) -> None:
    reason = make_reason()
    with no_room_to_grow():
        number, before = 0, amounts()
        while (answer := log(leader, reason, number)).status_code == 302:
            number, before = number + 1, amounts()
            assert number < 200, "It never became full."
        left = amounts()

    assert answer.status_code == 507
    assert "The database is full, and what you sent was not saved." in text(answer)
    assert left == before
    assert leader.get(reverse("stopped")).status_code == 200

    assert log(leader, reason, number).status_code == 302
    assert Stop.objects.count() == number + 1
    with time_machine.travel(at("14:05"), tick=False):
        while bring_up_to_date():
            pass
        assert waiting() == 0
    row = CellShift.objects.get(cell=cast.cells[0], shift=cast.early)
    assert row.breakdown_s == 60 * (number + 1)


@contextmanager
def no_room_to_grow() -> Iterator[None]:
    """Of SQLite the file, of PostgreSQL any file that this session writes."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("VACUUM")  # no room that earlier tests have left
            cursor.execute("PRAGMA page_count")
            cursor.execute(f"PRAGMA max_page_count = {cursor.fetchone()[0]}")
        else:
            cursor.execute("SELECT pg_backend_pid()")
            (backend,) = cursor.fetchone()
            # Two pages: of those that grow, every table has one already.
            limit_files(backend, "16384")
        try:
            yield
        finally:
            if connection.vendor == "sqlite":
                cursor.execute(f"PRAGMA max_page_count = {2**30}")
            else:
                limit_files(backend, "unlimited")


def limit_files(backend: int, size: str) -> None:
    subprocess.run(
        ["prlimit", f"--fsize={size}:", "--pid", str(backend)],
        # Only its own user may, and the server runs as nobody's root.
        user="postgres" if os.geteuid() == 0 else None,
        check=True,
    )


@pytest.fixture
def database_away() -> Iterator[Callable[[], Any]]:
    """Where the database should be, nobody answers, until one says that it is back."""
    where = "NAME" if connection.vendor == "sqlite" else "HOST"
    right = connection.settings_dict[where]
    connection.close()
    connection.settings_dict[where] = "/nowhere/at/all"

    def back() -> None:
        connection.close()
        connection.settings_dict[where] = right

    yield back
    back()


def test_a_database_that_is_away_is_told_in_words(
    cast: Cast, leader: Client, database_away: Callable[[], Any]
) -> None:
    page = leader.get(reverse("stopped"))
    answer = leader.post(reverse("stop_start"), {"cell": cast.cells[0].pk})
    database_away()

    assert (page.status_code, answer.status_code) == (503, 503)
    assert page.headers["Retry-After"] == "60"
    assert "The database does not answer.</h1>" in text(page)
    assert "not answer, and what you sent was not saved.</h1>" in text(answer)
    assert not StaleMark.objects.exists()
    assert leader.get(reverse("stopped")).status_code == 200


def test_a_fault_of_the_program_is_still_told_as_one(
    leader: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    def break_down(*_: object, **__: object) -> None:
        raise ValueError("a fault of the program")

    monkeypatch.setattr("maintenance.views.stopped.render", break_down)

    page = leader.get(reverse("stopped"))

    assert page.status_code == 500
    assert "Something broke on our side" in text(page)
