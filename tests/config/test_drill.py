"""The drill's judge sees what is lost, doubled or wrong; a short drill finds none."""

import os
import subprocess
import sys
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import time_machine
from django.conf import settings
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import connection

from config.drill.judge import of_shifts, of_stops, of_the_account
from maintenance.confirmations import confirm_shift
from maintenance.models import Stop
from maintenance.stops import correct_stop, log_stop, withdraw_stop
from oee.counts import enter_count
from oee.models import CellShift, Variant
from oee.recompute import bring_up_to_date, mark_all
from tests.builders import Cast, at, the_cast
from tests.maintenance.stop_cast import make_reason

pytestmark = pytest.mark.django_db

NOTHING_WRONG = {"lost stops": 0, "doubled stops": 0, "lost corrections": 0}


@pytest.fixture
def cast() -> Any:
    with time_machine.travel(at("15:00"), tick=False):
        yield the_cast()


def log(cast: Cast, start: str, note: str) -> Stop:
    return log_stop(
        cell=cast.cells[0],
        reason=make_reason(note),
        started_at=at(start),
        ended_at=at(start) + timedelta(minutes=2),
        note=note,
        by=None,
    )


def said(key: str, end: str, what: str = "stop") -> dict[str, Any]:
    return {"what": what, "key": key, "end": str(at(end))}


def test_what_was_said_and_is_stored_is_in_order(cast: Cast) -> None:
    log(cast, "07:00", "a")
    corrected, withdrawn = log(cast, "08:00", "b"), log(cast, "09:00", "c")
    shorter = {"ended_at": at("08:01")}
    correct_stop(stop=corrected, changes=shorter, why="shorter", by=None)
    withdraw_stop(stop=withdrawn, why="never was", by=None)
    notes = [said("a", "07:02"), said("b", "08:02"), said("c", "09:02")]
    notes += [said("b", "08:01", "correction"), said("c", "09:02", "withdrawal")]

    assert of_stops(notes) == {"acknowledged stops": 3, **NOTHING_WRONG}


def test_what_is_lost_doubled_or_not_corrected_is_seen(cast: Cast) -> None:
    log(cast, "07:00", "a")
    log(cast, "08:00", "b")
    Stop.objects.filter(note="b").update(note="a")
    log(cast, "09:00", "c")
    notes = [said("a", "07:02"), said("b", "08:02"), said("c", "09:01", "correction")]

    assert of_stops(notes) == {
        "acknowledged stops": 3,
        "lost stops": 1,
        "doubled stops": 1,
        "lost corrections": 1,
    }


def test_a_count_or_a_confirmation_that_is_not_stored_is_seen(cast: Cast) -> None:
    variant = Variant.objects.create(code="V", name="Body")
    enter_count(
        at=cast.line, variant=variant, shift=cast.early, total=20, good=19, by=None
    )
    confirm_shift(shift=cast.early, by=None)
    early = {"line": "L1", "day": "2026-03-02", "shift": "Early"}
    notes = [
        {"what": "count", "total": 20, **early},
        {"what": "count", "total": 21, **early},
        {"what": "confirmation", **early},
        {"what": "confirmation", **early, "shift": "Late"},
    ]

    assert of_shifts(notes) == {
        "acknowledged counts and confirmations": 4,
        "lost counts and confirmations": 2,
    }


def test_a_stored_account_that_is_wrong_or_missing_is_seen(cast: Cast) -> None:
    log(cast, "07:00", "a")
    mark_all()
    bring_up_to_date()
    assert of_the_account(at("15:00")) == {"cell-shifts": 4, "wrong cell-shifts": 0}

    CellShift.objects.filter(cell=cast.cells[0]).update(breakdown_s=119)
    CellShift.objects.filter(cell=cast.cells[1]).delete()

    assert of_the_account(at("15:00")) == {"cell-shifts": 4, "wrong cell-shifts": 2}


def test_it_touches_no_database_but_its_own() -> None:
    with pytest.raises(CommandError, match="DATABASE_URL is set"):
        call_command("drill")


@pytest.mark.live
def test_a_short_drill_finds_nothing_lost(tmp_path: Path) -> None:
    if connection.vendor == "sqlite":
        pytest.skip("The drill breaks a PostgreSQL too.")
    aside = ("DATABASE_URL", "REDIS_URL")
    environment = {key: it for key, it in os.environ.items() if key not in aside}
    drill = subprocess.run(
        [sys.executable, "manage.py", "drill", "--minutes", "0.2", "--seed", "5"],
        cwd=settings.BASE_DIR,
        env={**environment, "VAR_DIR": str(tmp_path)},
        capture_output=True,
        text=True,
        check=False,
    )

    assert drill.returncode == 0, drill.stdout + drill.stderr
    found = {" ".join(line.split()) for line in drill.stdout.splitlines()}
    assert {"0 lost stops", "0 doubled stops", "0 wrong cell-shifts"} <= found
