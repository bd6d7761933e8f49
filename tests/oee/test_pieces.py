"""One cell-shift that cannot be computed spoils neither its line nor the others."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.core.management.base import CommandError
from django.test import Client
from django.urls import reverse

from cells.attempts import TRIES, set_aside
from cells.models import Attempt, Shift
from oee import recompute
from oee.models import CellShift
from oee.recompute import bring_up_to_date, mark_all, waiting
from tests.builders import MONDAY, TUESDAY, Cast, at, make_shift, the_cast
from tests.oee.worked import said

pytestmark = pytest.mark.django_db

WEDNESDAY = TUESDAY + timedelta(days=1)
WORDS = f"The account of line L1 on {TUESDAY}"


@pytest.fixture
def cast() -> Cast:
    """Three days of line L1 (three cells), one of line P1 (one cell): ten accounts."""
    cast = the_cast()
    cast.late.delete()
    for day in (TUESDAY, WEDNESDAY):
        make_shift(cast.line, on=day)
    mark_all()
    return cast


@pytest.fixture(autouse=True)
def _thursday() -> Any:
    with time_machine.travel(at("06:00", WEDNESDAY + timedelta(days=1)), tick=False):
        yield


@pytest.fixture
def poison(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> Callable[[], None]:
    """Tuesday's account of L1-20 cannot be computed, until the poison is taken out."""
    bad = Shift.objects.get(line=cast.line, production_date=TUESDAY).pk
    whole = recompute.gather
    strong = True

    def poisoned(pairs: set[tuple[int, int]]) -> Any:
        if strong and (cast.cells[1].pk, bad) in pairs:
            raise ZeroDivisionError("a fault of the program")
        return whole(pairs)

    def take_out() -> None:
        nonlocal strong
        strong = False

    monkeypatch.setattr(recompute, "gather", poisoned)
    return take_out


@pytest.fixture
def admin(cast: Cast, client_of: Callable[[Any], Client]) -> Client:
    return client_of(cast.people.admin)


def stored() -> dict[str, int]:
    days = CellShift.objects.values_list("line__code", "production_date")
    found = [f"{line} {day:%a}" for line, day in days]
    return {day: found.count(day) for day in found}


ALL_BUT_TUESDAY = {"L1 Mon": 3, "L1 Wed": 3, "P1 Mon": 1}


def test_everything_else_is_computed_at_once(poison: Callable[[], None]) -> None:
    assert bring_up_to_date() == 7

    assert stored() == ALL_BUT_TUESDAY
    assert waiting() == 3
    assert not set_aside().exists()


def test_after_three_tries_it_is_set_aside_and_shown(
    poison: Callable[[], None], admin: Client, caplog: pytest.LogCaptureFixture
) -> None:
    for _ in range(TRIES):
        bring_up_to_date()

    one = set_aside().get()
    assert (str(one), one.tries) == (WORDS, TRIES)
    assert one.fault == "ZeroDivisionError: a fault of the program"
    assert f"{WORDS} failed, try 3 of 3." in caplog.text
    page = admin.get(reverse("running")).content.decode()
    assert WORDS in page
    assert one.fault in page


def test_the_line_goes_on_without_it_as_fast_as_before(
    poison: Callable[[], None], cast: Cast
) -> None:
    for _ in range(TRIES):
        bring_up_to_date()
    mark_all()

    assert bring_up_to_date() == 7
    assert Attempt.objects.get() == set_aside().get()
    assert waiting() == 3
    assert waiting(but_set_aside=True) == 0


def test_it_is_computed_once_the_fault_is_mended_and_somebody_says_so(
    poison: Callable[[], None], admin: Client
) -> None:
    for _ in range(TRIES):
        bring_up_to_date()
    poison()
    assert bring_up_to_date() == 0

    admin.post(reverse("running"), {"attempt": set_aside().get().pk})

    assert bring_up_to_date() == 3
    assert stored() == {**ALL_BUT_TUESDAY, "L1 Tue": 3}
    assert not Attempt.objects.exists()
    assert waiting() == 0


def test_the_command_says_what_it_could_not_compute(
    poison: Callable[[], None],
) -> None:
    with pytest.raises(CommandError, match="3 of them could not be computed"):
        said("compute_oee", "--from", str(MONDAY), "--to", str(WEDNESDAY))

    assert {"L1 Mon", "L1 Tue"} & set(stored()) == {"L1 Mon"}


def test_a_line_that_failed_before_is_whole_again_after_a_success(
    poison: Callable[[], None],
) -> None:
    bring_up_to_date()
    poison()

    assert bring_up_to_date() == 3
    assert not Attempt.objects.exists()
