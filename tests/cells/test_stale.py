"""Exactly what a change touches is marked, and one message goes out."""

from collections.abc import Iterator
from datetime import datetime

import pytest

from cells import stale
from cells.models import StaleMark
from tests import builders
from tests.builders import MONDAY, TUESDAY, Cast, at

pytestmark = pytest.mark.django_db


def marked() -> list[tuple[str, str]]:
    marks = StaleMark.objects.select_related("cell", "shift__line")
    return sorted((mark.cell.code, str(mark.shift)) for mark in marks)


@pytest.fixture
def told() -> Iterator[list[object]]:
    heard: list[object] = []

    def hear(**kwargs: object) -> None:
        heard.append(kwargs)

    stale.marked.connect(hear)
    yield heard
    stale.marked.disconnect(hear)


EARLY, LATE = "L1 2026-03-02 Early", "L1 2026-03-02 Late"


@pytest.mark.parametrize(
    ("start", "end", "shifts"),
    [
        pytest.param(at("07:00"), at("08:00"), [EARLY], id="inside one"),
        pytest.param(at("13:00"), at("15:00"), [EARLY, LATE], id="over the change"),
        pytest.param(at("13:00"), at("14:00"), [EARLY], id="ends as the next starts"),
        pytest.param(at("14:00"), at("14:01"), [LATE], id="starts as the last ends"),
        pytest.param(at("05:00"), at("06:00"), [], id="before the first"),
        pytest.param(at("22:00"), at("23:00"), [], id="after the last"),
        pytest.param(at("05:00"), None, [EARLY, LATE], id="still running"),
    ],
)
def test_a_span_marks_the_shifts_of_its_cell_that_it_touches(
    cast: Cast, start: datetime, end: datetime | None, shifts: list[str]
) -> None:
    cell = cast.cells[1]

    assert stale.mark_spans([(cell.pk, start, end)]) == len(shifts)

    assert marked() == [("L1-20", shift) for shift in shifts]


def test_a_cancelled_shift_inside_a_prolonged_one_hides_neither(cast: Cast) -> None:
    # Late is cancelled and kept without length at 14:00; Early goes on to 16:00.
    cast.late.ends_at = cast.late.starts_at
    cast.late.save()
    cast.early.ends_at = at("16:00")
    cast.early.save()
    builders.make_shift(cast.line, on=TUESDAY)

    stale.mark_spans([(cast.cells[0].pk, at("15:00"), at("15:30"))])
    stale.mark_spans(
        [(cast.cells[1].pk, at("13:00"), at("07:00", TUESDAY))],
    )

    assert marked() == [
        ("L1-10", EARLY),
        ("L1-20", EARLY),
        ("L1-20", "L1 2026-03-03 Early"),
    ]


def test_a_shift_is_marked_for_every_cell_of_its_line(cast: Cast) -> None:
    assert stale.mark_shifts([cast.early.pk, cast.other_early.pk]) == 4
    assert [cell for cell, _ in marked()] == ["L1-10", "L1-20", "L1-30", "P1-10"]


def test_a_changed_cycle_marks_from_its_date_on(cast: Cast) -> None:
    builders.make_shift(cast.line, on=TUESDAY)
    stale.mark_cycles([cast.cells[0].pk], since=TUESDAY)
    assert marked() == [("L1-10", "L1 2026-03-03 Early")]
    stale.mark_cycles([cast.cells[1].pk], since=MONDAY)
    assert len(marked()) == 4


def test_nothing_touched_tells_nobody(
    cast: Cast, told: list[object], django_capture_on_commit_callbacks: object
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        assert stale.mark_spans([]) == 0
        assert stale.mark_spans([(cast.cells[0].pk, at("23:00"), at("23:30"))]) == 0
    assert told == []


def test_the_message_goes_out_after_the_commit(
    cast: Cast, told: list[object], django_capture_on_commit_callbacks: object
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        stale.mark_cell_shifts([(cast.cells[0].pk, cast.early.pk)])
        assert told == []
    assert len(told) == 1
