"""A running shift is computed once for everybody, and anew when an input changes."""

from collections.abc import Callable, Iterator
from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import pytest
import time_machine
from django.urls import reverse

from cells import clock
from cells.models import StaleMark
from config.processes import free_port
from maintenance.stops import log_stop
from oee import inputs, live, running
from oee.jobs import recompute, sweep
from oee.models import CellShift
from oee.periods import TODAY, of_preset
from oee.recompute import bring_up_to_date
from oee.so_far import PeriodAccounts
from tests.builders import MONDAY, NOW, at, the_cast
from tests.maintenance.stop_cast import make_reasons
from tests.oee.stored import an_account

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(monkeypatch: pytest.MonkeyPatch) -> Iterator[SimpleNamespace]:
    """Monday at 11:20: the early shifts of both lines run."""
    cast = the_cast()
    # A database's own clock does not travel.
    monkeypatch.setattr(clock, "agreed_now", clock.now)
    with time_machine.travel(at("11:20"), tick=False) as travelled:
        yield SimpleNamespace(cast=cast, reasons=make_reasons(), clock=travelled)


def breakdowns(**place: int) -> dict[int, int]:
    """Of each cell whose shift runs, in seconds."""
    today = of_preset(TODAY, MONDAY)
    accounts = PeriodAccounts(today, now=clock.now(), **place)
    return {row.cell_id: row.breakdown_s for row in accounts.running}


def stop_for(plant: SimpleNamespace, minutes: int, *, cell: int = 0) -> None:
    """Logged by its leader: it stood until 11:10."""
    log_stop(
        cell=plant.cast.cells[cell],
        reason=plant.reasons.stuck,
        started_at=at("11:10") - timedelta(minutes=minutes),
        ended_at=at("11:10"),
        by=plant.cast.people.leader,
    )


def test_it_is_computed_for_the_first_and_kept_for_the_next(
    plant: SimpleNamespace, django_assert_num_queries: Callable[[int], Any]
) -> None:
    stop_for(plant, 10)
    first = breakdowns()

    assert first[plant.cast.cells[0].pk] == 600
    # The plant's cells, and its shifts that have not ended.
    with django_assert_num_queries(2):
        assert breakdowns() == first


def test_a_stop_that_is_logged_shows_at_once(plant: SimpleNamespace) -> None:
    assert not any(breakdowns().values())

    stop_for(plant, 10)

    assert breakdowns()[plant.cast.cells[0].pk] == 600


def test_only_the_line_of_the_stop_is_computed_anew(
    plant: SimpleNamespace, monkeypatch: pytest.MonkeyPatch
) -> None:
    breakdowns()
    stop_for(plant, 10)
    asked: list[int] = []

    def gather(pairs: list[tuple[int, int]], until: Any) -> Any:
        asked.extend(cell for cell, _ in pairs)
        return inputs.gather(pairs, until)

    monkeypatch.setattr(running, "gather", gather)

    breakdowns()

    assert sorted(asked) == sorted(cell.pk for cell in plant.cast.cells)


def test_a_mark_that_is_committed_late_is_not_missed(plant: SimpleNamespace) -> None:
    """Its id is lower than one that was seen before."""
    stop_for(plant, 10)
    hidden = StaleMark.objects.order_by("id").first()
    assert hidden is not None
    pk, cell, shift = hidden.pk, hidden.cell_id, hidden.shift_id
    StaleMark.objects.create(cell_id=cell, shift_id=shift, marked_at=NOW)
    hidden.delete()
    breakdowns()
    plant.cast.cells[0].stops.update(started_at=at("10:40"))

    StaleMark.objects.create(pk=pk, cell_id=cell, shift_id=shift, marked_at=NOW)

    assert breakdowns()[plant.cast.cells[0].pk] == 1800


def test_a_while_later_it_is_computed_up_to_then(plant: SimpleNamespace) -> None:
    log_stop(
        cell=plant.cast.cells[0],
        reason=plant.reasons.stuck,
        started_at=at("11:10"),
        ended_at=None,
        by=plant.cast.people.leader,
    )
    assert breakdowns()[plant.cast.cells[0].pk] == 600

    plant.clock.shift(timedelta(seconds=74))
    assert breakdowns()[plant.cast.cells[0].pk] == 600
    plant.clock.shift(timedelta(seconds=1))
    assert breakdowns()[plant.cast.cells[0].pk] == 675


def test_the_sweep_computes_it_each_minute_before_somebody_asks(
    plant: SimpleNamespace, django_assert_num_queries: Callable[[int], Any]
) -> None:
    log_stop(
        cell=plant.cast.cells[0],
        reason=plant.reasons.stuck,
        started_at=at("11:10"),
        ended_at=None,
        by=plant.cast.people.leader,
    )
    for minutes in (10, 11):
        sweep()
        with django_assert_num_queries(2):
            assert breakdowns()[plant.cast.cells[0].pk] == 60 * minutes
        plant.clock.shift(timedelta(seconds=60))


def test_the_job_of_an_entry_computes_what_it_changed(
    plant: SimpleNamespace, django_assert_num_queries: Callable[[int], Any]
) -> None:
    sweep()
    stop_for(plant, 10)
    recompute()

    with django_assert_num_queries(2):
        assert breakdowns()[plant.cast.cells[0].pk] == 600


def test_one_cell_is_a_part_of_what_is_kept_of_its_line(plant: SimpleNamespace) -> None:
    first, second, _ = (cell.pk for cell in plant.cast.cells)
    stop_for(plant, 10)

    assert breakdowns(cell=second) == {second: 0}
    assert breakdowns(cell=first) == {first: 600}


def test_without_a_cache_it_is_computed_each_time(
    plant: SimpleNamespace, settings: Any
) -> None:
    gone = f"redis://127.0.0.1:{free_port()}/0"
    settings.CACHES = {"default": {**settings.CACHES["default"], "LOCATION": gone}}
    assert not any(breakdowns().values())

    stop_for(plant, 10)

    assert breakdowns()[plant.cast.cells[0].pk] == 600


@pytest.mark.parametrize("page", ["plant", "area", "line", "cell_account", "shift"])
def test_a_logged_stop_is_on_a_page_that_was_read_before(
    plant: SimpleNamespace, client_of: Any, page: str
) -> None:
    place = {
        "area": ["BODY"],
        "line": ["L1"],
        "cell_account": ["L1-30"],
        "shift": ["L1", MONDAY, "Early"],
    }
    client = client_of(plant.cast.people.reader)
    address = reverse(page, args=place.get(page, [])) + "?period=today"
    assert "breakdown 10 min" not in client.get(address).content.decode()

    stop_for(plant, 10, cell=2)

    assert "breakdown 10 min" in client.get(address).content.decode()


def test_the_shift_page_of_a_running_shift_is_computed_once_a_minute(
    plant: SimpleNamespace, client_of: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    computed: list[Any] = []

    def accounts_of(shift: Any, cells: Any, *, now: Any) -> Any:
        computed.append(shift)
        return live.accounts_of(shift, cells, now=now)

    monkeypatch.setattr(running, "accounts_of", accounts_of)
    address = reverse("shift", args=["L1", MONDAY, "Early"])
    for user in (plant.cast.people.leader, plant.cast.people.reader):
        for asked in ("", "?cell=L1-10", "?cell=L1-20"):
            assert client_of(user).get(address + asked).status_code == 200
    assert len(computed) == 1

    plant.clock.shift(timedelta(minutes=1))
    client_of(plant.cast.people.reader).get(address)
    assert len(computed) == 2


def test_a_shift_that_has_ended_is_computed_each_time(
    plant: SimpleNamespace, client_of: Any
) -> None:
    """Its marks are taken away once they are in the ledger."""
    plant.clock.move_to(at("14:30"))
    client = client_of(plant.cast.people.leader)
    address = reverse("shift", args=["L1", MONDAY, "Early"])
    assert "breakdown 10 min" not in client.get(address).content.decode()

    stop_for(plant, 10)
    StaleMark.objects.all().delete()

    assert "breakdown 10 min" in client.get(address).content.decode()


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("page", ["plant", "ranking", "area", "line", "cell_account"])
def test_a_corrected_stop_is_on_a_page_as_soon_as_it_is_in_the_ledger(
    client_of: Any, page: str
) -> None:
    cast, reasons = the_cast(), make_reasons()
    CellShift.objects.bulk_create([an_account(cast.cells[2], cast.early)])
    place = {"area": ["BODY"], "line": ["L1"], "cell_account": ["L1-30"]}
    address = reverse(page, args=place.get(page, [])) + f"?from={MONDAY}&to={MONDAY}"
    with time_machine.travel(at("08:00", MONDAY + timedelta(days=1)), tick=False):
        client = client_of(cast.people.reader)
        assert "17 min" not in client.get(address).content.decode()
        log_stop(
            cell=cast.cells[2],
            reason=reasons.stuck,
            started_at=at("10:00"),
            ended_at=at("10:17"),
            by=cast.people.leader,
        )
        assert "17 min" not in client.get(address).content.decode()

        bring_up_to_date()

        assert "17 min" in client.get(address).content.decode()
