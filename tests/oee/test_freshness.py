"""What is kept of the ledger is never older than the ledger."""

from collections.abc import Callable
from typing import Any

import pytest
from django.core.cache import cache
from django.db.models import Sum

from config.cache import ForgivingRedisCache
from config.processes import free_port
from oee.freshness import LONGEST_S, ledger_changed, rows_of
from oee.models import CellShift
from tests.builders import Cast, the_cast
from tests.oee.stored import an_account

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    cast = the_cast()
    CellShift.objects.create(**as_fields(an_account(cast.cells[0], cast.early)))
    return cast


def as_fields(row: CellShift) -> dict[str, Any]:
    names = (field.attname for field in CellShift._meta.fields)
    return {name: getattr(row, name) for name in names if name != "id"}


def breakdown() -> list[tuple[int, int]]:
    by_cell = CellShift.objects.order_by().values_list("cell")
    return rows_of(by_cell.annotate(Sum("breakdown_s")))


def change(seconds: int) -> None:
    CellShift.objects.update(breakdown_s=seconds)


def test_an_answer_is_read_once(
    cast: Cast, django_assert_num_queries: Callable[[int], Any]
) -> None:
    first = breakdown()

    with django_assert_num_queries(0):
        assert breakdown() == first == [(cast.cells[0].pk, 0)]


def test_a_commit_that_changed_the_ledger_is_seen_at_once(
    cast: Cast, django_capture_on_commit_callbacks: Any
) -> None:
    breakdown()
    change(60)
    with django_capture_on_commit_callbacks(execute=True):
        ledger_changed()

    assert breakdown() == [(cast.cells[0].pk, 60)]


def test_what_is_not_committed_renames_nothing(
    cast: Cast, django_capture_on_commit_callbacks: Any
) -> None:
    breakdown()
    with django_capture_on_commit_callbacks(execute=False):
        change(60)
        ledger_changed()

    assert breakdown() == [(cast.cells[0].pk, 0)]


def test_what_was_read_before_a_change_is_not_kept_as_read_after_it(
    cast: Cast,
    django_capture_on_commit_callbacks: Any,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    keep = ForgivingRedisCache.set

    def keep_late(kept: Any, name: str, *args: Any, **more: Any) -> None:
        """The ledger changes between the reading and the keeping."""
        monkeypatch.setattr(ForgivingRedisCache, "set", keep)
        change(60)
        with django_capture_on_commit_callbacks(execute=True):
            ledger_changed()
        keep(kept, name, *args, **more)

    monkeypatch.setattr(ForgivingRedisCache, "set", keep_late)
    assert breakdown() == [(cast.cells[0].pk, 0)]

    assert breakdown() == [(cast.cells[0].pk, 60)]


def test_a_lost_state_is_not_taken_for_an_old_one(cast: Cast) -> None:
    breakdown()
    change(60)
    cache.delete("ledger-state")

    assert breakdown() == [(cast.cells[0].pk, 60)]


def test_another_value_in_the_question_is_another_question(cast: Cast) -> None:
    rows = CellShift.objects.order_by().values_list("cell")

    assert rows_of(rows.filter(cell=cast.cells[0])) == [(cast.cells[0].pk,)]
    assert rows_of(rows.filter(cell=cast.cells[1])) == []
    assert rows_of(rows.filter(cell__in=[])) == []


def test_no_answer_lives_longer_than_a_minute(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept_for = []
    keep = ForgivingRedisCache.set

    def note(kept: Any, name: str, value: Any, timeout: int) -> None:
        kept_for.append(timeout)
        keep(kept, name, value, timeout)

    monkeypatch.setattr(ForgivingRedisCache, "set", note)
    breakdown()

    assert kept_for == [LONGEST_S]
    assert LONGEST_S <= 60


def test_without_a_cache_everything_is_read_each_time(
    cast: Cast, settings: Any, django_assert_num_queries: Callable[[int], Any]
) -> None:
    gone = f"redis://127.0.0.1:{free_port()}/0"
    settings.CACHES = {"default": {**settings.CACHES["default"], "LOCATION": gone}}
    breakdown()
    change(60)
    ledger_changed()

    with django_assert_num_queries(1):
        assert breakdown() == [(cast.cells[0].pk, 60)]
