"""Readings: entered, questioned, confirmed, corrected, withdrawn."""

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import PermissionDenied, ValidationError

from cells import meters
from cells.meters import Entry
from cells.models import Change, Meter, Reading
from tests import builders
from tests.builders import NOW, Cast, at

pytestmark = pytest.mark.django_db


@pytest.fixture
def told() -> Iterator[list[list[int]]]:
    """What listeners of ``reading_changed`` hear."""
    heard: list[list[int]] = []

    def hear(machine_ids: list[int], **kwargs: object) -> None:
        heard.append(machine_ids)

    meters.reading_changed.connect(hear)
    yield heard
    meters.reading_changed.disconnect(hear)


@pytest.fixture
def steady(cast: Cast) -> Meter:
    """Ten hours of motion on each weekday of February."""
    value = Decimal(1000)
    for day in range(2, 28):
        on = date(2026, 2, day)
        if on.weekday() < 5:
            builders.make_shift(cast.line, on=on)
            value += 10
            builders.make_reading(cast.meter, str(value), read_at=at("14:00", on))
    return cast.meter  # 20 weekdays, so 1200 on Friday 27 February


def enter(
    cast: Cast, value: str, read_at: datetime = NOW, who: str = "technician"
) -> Reading:
    return meters.enter_reading(
        meter=cast.meter,
        value=Decimal(value),
        read_at=read_at,
        by=getattr(cast.people, who),
    )


def test_a_plausible_reading_counts_at_once(
    cast: Cast, steady: Meter, told: list[list[int]]
) -> None:
    reading = enter(cast, "1210")

    assert reading.confirmed
    assert reading.question == ""
    assert told == [[cast.robot.pk]]
    assert Change.objects.get(kind="reading").by == cast.people.technician


@pytest.mark.parametrize(
    ("value", "question"),
    [
        ("1100", "is below the last one"),
        ("1300", "this meter can run"),
        ("1235", "over three times what this machine usually uses"),
    ],
)
def test_an_odd_reading_asks_and_moves_nothing(
    cast: Cast, steady: Meter, told: list[list[int]], value: str, question: str
) -> None:
    # Friday 14:00 to Monday noon: 70 hours, one production date, 10 hours usually.
    reading = enter(cast, value)

    assert not reading.confirmed
    assert question in reading.question
    assert told == []
    assert reading not in Reading.objects.counting()


def test_a_planner_confirms_and_then_it_counts(
    cast: Cast, steady: Meter, told: list[list[int]]
) -> None:
    reading = enter(cast, "1235")

    meters.confirm_reading(reading=reading, by=cast.people.planner, why="looked again")

    assert Reading.objects.counting().filter(pk=reading.pk).exists()
    assert told == [[cast.robot.pk]]
    change = Change.objects.get(field="confirmed")
    assert (change.old, change.new, change.why) == ("no", "yes", "looked again")


def test_a_technician_does_not_confirm(cast: Cast, steady: Meter) -> None:
    reading = enter(cast, "1235")
    with pytest.raises(PermissionDenied, match="Only a planner confirms"):
        meters.confirm_reading(reading=reading, by=cast.people.technician, why="?")


@pytest.mark.parametrize(
    ("value", "sentence"),
    [
        ("-1", "a meter reads from 0"),
        ("1e15", "a meter reads from 0"),
        ("NaN", "a meter reads from 0"),
        ("1.0005", "more than three decimals"),
    ],
)
def test_what_no_meter_shows_is_refused(cast: Cast, value: str, sentence: str) -> None:
    with pytest.raises(ValidationError, match=sentence):
        enter(cast, value)


def test_a_reading_of_the_future_is_refused(cast: Cast) -> None:
    with pytest.raises(ValidationError, match="2026-03-02 12:01, which lies in the"):
        enter(cast, "1", NOW + timedelta(minutes=1))


def test_a_second_reading_at_the_same_moment_is_refused(cast: Cast) -> None:
    enter(cast, "5")
    with pytest.raises(ValidationError, match="reads 5 at 2026-03-02 12:00 already"):
        enter(cast, "6")


def test_a_corrected_reading_is_asked_about_anew(
    cast: Cast, steady: Meter, told: list[list[int]]
) -> None:
    reading = enter(cast, "1235")

    meters.correct_reading(
        reading=reading,
        value=Decimal(1215),
        read_at=NOW,
        by=cast.people.technician,
        why="misread",
    )

    reading.refresh_from_db()
    assert (reading.value, reading.confirmed, reading.question) == (1215, True, "")
    assert told == [[cast.robot.pk]]
    assert Change.objects.get(field="value").old == "1235.000"


def test_a_withdrawn_reading_counts_no_more_and_frees_its_moment(
    cast: Cast, told: list[list[int]]
) -> None:
    reading = enter(cast, "5")

    meters.withdraw_reading(reading=reading, by=cast.people.planner, why="other robot")

    assert not Reading.objects.counting().exists()
    assert told == [[cast.robot.pk]] * 2
    assert enter(cast, "6").confirmed
    with pytest.raises(ValidationError, match="withdrawn"):
        meters.correct_reading(
            reading=reading,
            value=Decimal(7),
            read_at=NOW,
            by=cast.people.planner,
            why="?",
        )


@pytest.mark.parametrize("who", ["leader", "safety_officer", "reader"])
def test_who_may_not_enter_or_correct(cast: Cast, who: str) -> None:
    with pytest.raises(PermissionDenied, match="technician or a planner"):
        enter(cast, "5", who=who)
    reading = enter(cast, "5")
    with pytest.raises(PermissionDenied, match="Only a planner or the technician"):
        meters.withdraw_reading(reading=reading, by=getattr(cast.people, who), why="?")


def test_many_readings_are_recorded_all_or_none(
    cast: Cast, told: list[list[int]], django_assert_max_num_queries: object
) -> None:
    robots = [
        builders.make_machine(f"W-1{n:03}", cell=cast.cells[1], position=f"R{n}")
        for n in range(60)
    ]
    entries = [
        Entry(builders.make_meter(robot), Decimal(100 + n), NOW)
        for n, robot in enumerate(robots)
    ]
    with pytest.raises(ValidationError, match="future"):
        meters.record_readings(
            [*entries, Entry(cast.meter, Decimal(1), NOW + timedelta(hours=1))],
            by=cast.people.technician,
        )
    assert not Reading.objects.exists()

    # Far fewer than the 60 readings; whoever listens to them asks in bulk too.
    with django_assert_max_num_queries(50):
        readings = meters.record_readings(entries, by=cast.people.technician)

    assert [reading.value for reading in readings] == list(range(100, 160))
    assert told == [sorted(robot.pk for robot in robots)]


def test_a_meter_has_one_name_per_machine(cast: Cast) -> None:
    with pytest.raises(ValidationError, match="has a meter named"):
        meters.add_meter(
            machine=cast.robot,
            name="Motion hours",
            unit="h",
            max_per_hour=None,
            by=cast.people.planner,
        )
    spots = meters.add_meter(
        machine=cast.robot,
        name="weld spots",
        unit="spots",
        max_per_hour=Decimal(1200),
        by=cast.people.planner,
    )
    meters.change_meter(
        meter=spots,
        unit="spots",
        max_per_hour=Decimal(1500),
        by=cast.people.planner,
        why="new gun",
    )
    assert Meter.objects.get(name="weld spots").max_per_hour == 1500
