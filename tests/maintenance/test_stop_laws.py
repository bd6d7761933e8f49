"""Whatever is logged, corrected, ended, withdrawn or reinstated, in any order: exactly
the touched cell-shifts are marked, and the trail tells every stop's whole story."""

import threading
from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import connection, transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cells.models import Change, Shift, StaleMark
from cells.trail import as_text
from maintenance import stops
from maintenance.models import Stop
from tests.builders import NOW, at, the_cast
from tests.maintenance.stop_cast import make_reasons

EVENING = at("22:30")
MOMENTS = st.integers(0, 16 * 60).map(lambda m: at("06:00") + timedelta(minutes=m))
ENDS = st.none() | MOMENTS
CHOICE = st.integers(0, 1)
WHICH = st.integers(0, 3)

OPERATIONS = st.one_of(
    st.tuples(st.just("log"), CHOICE, CHOICE, MOMENTS, ENDS),
    st.tuples(st.just("correct"), WHICH, CHOICE, CHOICE, MOMENTS, ENDS),
    st.tuples(st.just("end"), WHICH, MOMENTS),
    st.tuples(st.just("withdraw"), WHICH),
    st.tuples(st.just("reinstate"), WHICH),
)


@given(operations=st.lists(OPERATIONS, min_size=1, max_size=8))
@settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_exactly_what_changed_is_marked_and_told(
    cast, reasons, monday_noon, operations
):
    monday_noon.move_to(EVENING)
    with transaction.atomic():
        for operation in operations:
            _check_one(cast, reasons, operation)
        transaction.set_rollback(True)


def _check_one(cast, reasons, operation) -> None:
    StaleMark.objects.all().delete()
    before = _owned()
    try:
        with transaction.atomic():
            _run(cast, reasons, operation)
    except ValidationError:
        assert _owned() == before
        assert not StaleMark.objects.exists()
        return
    after = _owned()
    moved = {
        pk for pk in before.keys() | after.keys() if before.get(pk) != after.get(pk)
    }
    touched = {
        (cell, shift)
        for stop in moved
        for state in (before, after)
        for cell, shift, *_ in state.get(stop, ())
    }
    marks = set(StaleMark.objects.values_list("cell_id", "shift_id"))
    assert marks == touched
    assert before.keys() <= after.keys()  # nothing is ever deleted
    _check_trail()


def _owned() -> dict[int, frozenset]:
    """What each stop brings to which cell-shift, second for second: the slow way."""
    shifts = list(Shift.objects.all())
    owned = {}
    for stop in Stop.objects.select_related("cell", "reason"):
        end = stop.ended_at or EVENING + timedelta(seconds=1)
        owned[stop.pk] = frozenset(
            (stop.cell_id, shift.pk, stop.reason_id, stop.started_at, stop.ended_at)
            for shift in shifts
            if not stop.withdrawn
            and shift.line_id == stop.cell.line_id
            and max(shift.starts_at, stop.started_at) < min(shift.ends_at, end)
        )
    return owned


def _check_trail() -> None:
    """The newest entry of each field is the value that is stored."""
    for stop in Stop.objects.all():
        told = Change.objects.filter(kind="stop", record_id=stop.pk).order_by("id")
        assert told[0].new == "entered"
        for change in {change.field: change for change in told[1:]}.values():
            assert change.new == as_text(getattr(stop, change.field))
        for older, newer in _steps(told):
            assert newer.old == older.new


def _steps(told):
    """Pairs of entries of one field that follow each other."""
    last = {}
    for change in told[1:]:
        if change.field in last:
            yield last[change.field], change
        last[change.field] = change


def _run(cast, reasons, operation) -> None:
    name, which, *rest = operation
    admin = cast.people.admin
    kinds = (reasons.stuck, reasons.jam)
    if name == "log":
        kind, start, end = rest
        facts = {"reason": kinds[kind], "started_at": start, "ended_at": end}
        stops.log_stop(cell=cast.cells[which], by=admin, **facts)
        return
    known = list(Stop.objects.order_by("pk"))
    if which >= len(known):
        return
    stop = known[which]
    if name == "correct":
        cell, kind, start, end = rest
        changes = {
            "cell": cast.cells[cell],
            "reason": kinds[kind],
            "started_at": start,
            "ended_at": end,
        }
        stops.correct_stop(stop=stop, changes=changes, why="law", by=admin)
    elif name == "end":
        stops.end_stop(stop=stop, at=rest[0], by=admin)
    elif name == "withdraw":
        stops.withdraw_stop(stop=stop, why="law", by=admin)
    else:
        stops.reinstate_stop(stop=stop, why="law", by=admin)


@pytest.mark.django_db(transaction=True)
def test_of_two_who_start_the_same_stop_at_once_one_wins(monday_noon):
    cast, reasons = the_cast(), make_reasons()
    together = threading.Barrier(2, timeout=20)
    said: list[str] = []

    def start() -> None:
        try:
            together.wait()
            stops.start_stop(
                cell=cast.cells[0], reason=reasons.stuck, by=cast.people.leader
            )
            said.append("started")
        except ValidationError as error:
            said.extend(error.messages)
        finally:
            connection.close()

    threads = [threading.Thread(target=start) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=30)

    assert Stop.objects.get().started_at == NOW
    assert len(said) == 2
    assert "started" in said
    (refusal,) = [sentence for sentence in said if sentence != "started"]
    assert "already has a running stop “stuck tip”" in refusal
