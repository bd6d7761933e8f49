"""The demo's plant lives on: hours of it stepped through, on the small plant."""

import csv
from collections.abc import Callable
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from django.contrib.auth.models import User
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import OperationalError

from cells import clock
from cells.models import Change, Reading, Shift
from config.demo.life.coming import Ahead, DayAhead
from config.demo.life.diary import Act, Diary
from config.demo.life.floor import Floor
from config.demo.life.leaders import LeadersDay
from config.demo.life.plant_life import PlantLife
from config.demo.life.technicians import TechniciansDay
from config.demo.plant.small import NOW, small_plant
from maintenance.confirmations import confirm_shift, running_at_its_end
from maintenance.models import (
    LossClass,
    SafetyAlert,
    ShiftConfirmation,
    Stop,
    Tally,
    Task,
)
from oee.ledger.flags import names
from oee.models import CellShift, Count
from oee.recompute import bring_up_to_date, waiting

pytestmark = pytest.mark.demo

TODAY = NOW.date()
OLD_CYCLE = "CL1-060"
STOPS = Path(__file__).parents[2] / "fixtures" / "demo" / "stops.csv"


def moment_of(text: str) -> datetime:
    return datetime.fromisoformat(text)


def test_the_day_goes_on_as_it_was_drawn_for_the_files() -> None:
    """So nothing that the plant knows when it opens is told otherwise."""
    with STOPS.open(encoding="utf-8") as file:
        written = [
            (row["cell"], row["reason"], moment_of(row["started_at"]))
            for row in csv.DictReader(file)
            if moment_of(row["started_at"]) >= NOW - timedelta(hours=7)
        ]
    stops = Ahead(small_plant())(TODAY).stops
    ahead = [(row.cell, row.reason, row.started_at) for row in stops]

    assert len(written) > 20
    assert set(written) <= set(ahead)
    assert all(row.ended_at > row.started_at for row in stops)
    assert max(row.started_at for row in stops) > NOW + timedelta(hours=6)


def test_days_ahead_have_their_shifts_and_a_sunday_has_none() -> None:
    ahead = Ahead(small_plant())
    wednesday, sunday = ahead(date(2026, 4, 1)), ahead(date(2026, 4, 5))

    assert {row.shift for row in wednesday.counts} == {"Early", "Late", "Night"}
    assert sunday == DayAhead(day=date(2026, 4, 5))


@pytest.fixture
def life(demo_plant: Callable[[datetime], None]) -> PlantLife:
    return PlantLife(ahead=Ahead(small_plant()), since=NOW, seed=7, diary=Diary())


@pytest.mark.django_db(transaction=True)
def test_hours_of_a_plant_that_lives_on_are_accounted_for(
    life: PlantLife, demo_plant: Callable[[datetime], None]
) -> None:
    # One leader uses the demo too, and is quicker.
    early = Shift.objects.get(line__code="FR1", production_date=TODAY, name="Early")
    confirm_shift(
        shift=early,
        by=User.objects.get(username="leader"),
        still_running=list(running_at_its_end(early)),
    )
    before = {stop.pk for stop in Stop.objects.running()}

    for hours in range(1, 10):  # until after the Late shift, and its log
        demo_plant(NOW + timedelta(hours=hours))
        life.live_until(clock.now())
        bring_up_to_date()

    assert life.diary.refused == 0
    assert waiting() == 0
    check_shifts()
    check_stops(before)
    check_trail()


def check_shifts() -> None:
    over = Shift.objects.filter(production_date=TODAY, name__in=["Early", "Late"])
    confirmed = over.filter(confirmation__isnull=False)
    assert over.count() == 8
    assert confirmed.count() >= 6  # most leaders confirm
    rows = CellShift.objects.filter(shift__in=over)
    assert rows.count() == 48
    for row in rows:
        flags = names(row.flags)
        assert ("not_confirmed" in flags) is (row.shift not in confirmed)
        assert "overlogged" not in flags
        # Counts and stops come of one engine: but for the minutes that leaders round,
        # nobody made more than there was time for. One cycle is an old one, see there.
        lost = sum(getattr(row, f"{name}_s") for name in LossClass.values)
        left = row.scheduled_s - row.break_s - lost + row.minor_s
        if row.cell.code != OLD_CYCLE:
            assert row.ideal_total_us <= 1.04 * 1_000_000 * left
    assert Count.objects.filter(shift__in=confirmed).count() >= 6 * 3


def check_stops(before: set[int]) -> None:
    logged = Stop.objects.filter(logged_by__isnull=False)
    assert logged.count() > 20
    assert {stop.logged_by.username.split(".")[0] for stop in logged} == {"leader"}
    # What stood when the demo opened runs again, and people came to repair it.
    assert before
    assert not Stop.objects.running().filter(pk__in=before).exists()
    repaired = Stop.objects.filter(pk__in=before, repaired_at__isnull=False)
    assert repaired.exists()


def check_trail() -> None:
    entered = {
        "stop": Stop.objects.filter(logged_by__isnull=False),
        "tally": Tally.objects.filter(logged_by__isnull=False),
        "count": Count.objects.filter(entered_by__isnull=False),
        "shiftconfirmation": ShiftConfirmation.objects.filter(
            confirmed_by__isnull=False
        ),
    }
    for kind, records in entered.items():
        told = Change.objects.filter(kind=kind, new="entered", by__isnull=False)
        assert records.exists()
        assert set(records.values_list("pk", flat=True)) == set(
            told.values_list("record_id", flat=True)
        )


@pytest.mark.django_db(transaction=True)
def test_technicians_visit_at_night_and_read_meters_in_the_morning(
    demo_plant: Callable[[datetime], None],
) -> None:
    diary, rng = Diary(), np.random.default_rng(3)
    demo_plant(NOW + timedelta(hours=17))  # until the night is over
    diary.add(TechniciansDay(floor=Floor(), day=TODAY, rng=rng).acts())
    diary.do_due(clock.now())

    assert (diary.refused, len(diary)) == (0, 0)
    done = Task.objects.filter(done_by__isnull=False)
    assert done.exists()
    assert {task.done_by.username.split(".")[0] for task in done} == {"technician"}
    assert {task.verdict for task in done} <= {"on_time", "early"}
    assert not SafetyAlert.objects.exists()
    read = Reading.objects.filter(by__isnull=False)
    assert read.exists()
    assert not read.filter(question__gt="").exists()


@pytest.mark.django_db
def test_a_line_whose_shift_was_cancelled_puts_nothing_down(
    demo_plant: Callable[[datetime], None],
) -> None:
    ahead = Ahead(small_plant())(date(2026, 4, 1))
    Shift.objects.filter(production_date=ahead.day).exclude(line__code="FR2").delete()
    acts = list(
        LeadersDay(floor=Floor(), ahead=ahead, rng=np.random.default_rng(1)).acts()
    )

    assert acts
    assert all("FR2" in act.words for act in acts)


def act(do: Callable[[], object], *, minute: int, words: str = "An act") -> Act:
    return Act(at=NOW + timedelta(minutes=minute), words=words, do=do)


@pytest.mark.django_db
def test_what_is_refused_is_told_and_the_rest_goes_on(
    caplog: pytest.LogCaptureFixture,
) -> None:
    done: list[str] = []

    def refuse() -> None:
        raise ValidationError("The cell stands already.")

    def forbid() -> None:
        raise PermissionDenied("Only its leader may.")

    turns: list[int] = []
    diary = Diary(after_turn=lambda: turns.append(1))
    diary.add(
        [
            act(lambda: done.append("second"), minute=3),
            act(refuse, minute=2, words="Starting a stop"),
            act(forbid, minute=2, words="Confirming"),
            act(lambda: done.append("first"), minute=1),
            act(lambda: done.append("later"), minute=60),
        ]
    )
    diary.do_due(NOW + timedelta(minutes=10))

    assert done == ["first", "second"]
    assert turns
    assert (diary.done, diary.refused, len(diary)) == (2, 2, 1)
    assert "Starting a stop was refused: The cell stands already." in caplog.text
    assert "Confirming was refused: Only its leader may." in caplog.text


@pytest.mark.django_db
def test_a_database_that_gives_way_is_asked_once_more(
    caplog: pytest.LogCaptureFixture,
) -> None:
    tries: list[int] = []

    def lock() -> None:
        tries.append(1)
        if len(tries) == 1:
            raise OperationalError("database is locked")

    diary = Diary()
    diary.add([act(lock, minute=1)])
    late = NOW + timedelta(minutes=5)
    diary.do_due(late)

    assert (diary.done, diary.behind(late)) == (0, 240)
    assert "database is locked" in caplog.text
    diary.do_due(late)
    assert (diary.done, diary.behind(late)) == (1, 0)
