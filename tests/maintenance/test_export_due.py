"""export_due: what is due up to a date, as a file."""

from datetime import date
from decimal import Decimal
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from maintenance.models import Task
from maintenance.open_tasks import update_tasks
from tests.builders import MONDAY, at, make_machine
from tests.maintenance.task_cast import make_routine, was_done

pytestmark = pytest.mark.django_db

HEADER = [
    "routine",
    "serial",
    "cell",
    "position",
    "last_done",
    "due",
    "earliest",
    "latest",
    "bound_by",
    "state",
]


def export(*arguments: str) -> list[list[str]]:
    out = StringIO()
    call_command("export_due", *arguments, stdout=out)
    header, *rows = [line.split(",") for line in out.getvalue().splitlines()]
    assert header == HEADER
    return rows


def test_a_row_says_when_and_why(cast):
    wipe = make_routine()
    was_done(wipe, cast.robot, at("08:00", date(2026, 2, 2)))
    assert export() == [
        [
            "wipe",
            "W-0001",
            "L1-10",
            "R01",
            "2026-02-02",
            "2026-03-02",
            "2026-02-27",
            "2026-03-05",
            "calendar",
            "open",
        ]
    ]


def test_it_goes_by_the_facts_and_not_by_stored_tasks(cast):
    make_routine()
    update_tasks()
    Task.objects.all().delete()
    assert len(export()) == 1


def test_what_has_no_forecast_is_always_listed_with_empty_dates(cast):
    make_routine(every_days=None, every_units=Decimal(10), meter="strokes")
    assert export("--days", "0") == [
        ["wipe", "W-0001", "L1-10", "R01", "", "", "", "", "", "no_forecast"]
    ]


def test_the_last_day_is_included_and_the_next_is_not(cast):
    wipe = make_routine()
    was_done(wipe, cast.robot, at("08:00", date(2026, 2, 17)))  # due 17 March
    assert len(export("--days", "15")) == 1
    assert export("--days", "14") == []
    assert export() == []  # 14 days


def test_late_ones_are_included(cast):
    wipe = make_routine()
    was_done(wipe, cast.robot, at("08:00", date(2026, 1, 5)))
    assert export("--days", "0")[0][-1] == "late"


def test_what_is_dated_after_the_day_is_left_out_of_account(cast):
    wipe = make_routine()
    was_done(wipe, cast.robot, at("08:00", date(2026, 1, 5)))
    was_done(wipe, cast.robot, at("08:00", date(2026, 2, 2)))
    (row,) = export("--on", "2026-02-01")
    assert row[4:6] == ["2026-01-05", "2026-02-02"]


def test_rows_are_ordered_by_routine_and_serial(cast):
    make_machine("A-0001", cell=cast.cells[2], position="R09")
    for code in ("wipe", "aim"):
        make_routine(code)
    assert [row[:2] for row in export("--on", str(MONDAY))] == [
        ["aim", "A-0001"],
        ["aim", "W-0001"],
        ["wipe", "A-0001"],
        ["wipe", "W-0001"],
    ]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        pytest.param(("--on", "yesterday"), "--on: ", id="no-date"),
        pytest.param(("--on", "2026-02-30"), "--on: ", id="no-such-day"),
        pytest.param(("--days", "-1"), "--days is “-1”: give a whole", id="negative"),
        pytest.param(("--days", "many"), "from 0 to 3650", id="no-number"),
        pytest.param(("--days", "99999"), "from 0 to 3650", id="absurd"),
    ],
)
def test_what_cannot_be_read_is_refused_in_a_sentence(cast, arguments, words):
    with pytest.raises(CommandError, match=words):
        export("=".join(arguments))
