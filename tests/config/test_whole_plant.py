"""The whole demo plant, built once: each planted story shows where it is looked for.

Its README lists the stories. Numbers that a story states are tested as stated; what
follows from the simulation is tested as more or less than its neighbours.
"""

from collections import Counter
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from html import unescape
from itertools import pairwise
from pathlib import Path
from re import sub
from typing import Any

import pytest
import time_machine
from django.contrib.auth.models import User
from django.db.models import QuerySet, Sum
from django.test import Client
from pytest_django import DjangoDbBlocker

from cells.health import run_checks
from cells.models import Area, Cell, Line, Machine, MachineKind, Placement, Reading
from config.demo.plant.dates import dates
from config.demo.plant.description import Plant
from config.demo.plant.files import write_plant
from config.demo.plant.whole import whole_plant
from config.demo.plant.whole_stories import IMPROVED, NOZZLES, at
from config.loading import load
from maintenance import compliance
from maintenance.models import StepResult, Stop, Task
from maintenance.tasks import safety_overdue
from oee.ledger.flags import names
from oee.ledger.sums import Sums
from oee.models import CellShift
from oee.ranking import Ranked, rank
from oee.recompute import bring_up_to_date
from oee.rollups import accounts, sums_by

#: In spring: the thirteen weeks are 2 February to 3 May 2026.
TODAY = date(2026, 5, 6)
WHEN = dates(TODAY)
FIRST, LAST = WHEN.first, WHEN.last
DAY = timedelta(days=1)

pytestmark = [pytest.mark.demo, pytest.mark.django_db]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The plant's files."""
    written = tmp_path_factory.mktemp("whole")
    write_plant(written, whole_plant(TODAY))
    return written


@pytest.fixture(scope="module", autouse=True)
def plant(
    django_db_setup: None, django_db_blocker: DjangoDbBlocker, folder: Path
) -> Iterator[Plant]:
    """Loaded and computed once, and rolled back after the last story."""
    from django.db import transaction

    described = whole_plant(TODAY)
    with django_db_blocker.unblock(), time_machine.travel(described.now, tick=False):
        atomic = transaction.atomic()
        atomic.__enter__()
        try:
            assert load(folder).faults == []
            bring_up_to_date()
            yield described
        finally:
            transaction.set_rollback(True)
            atomic.__exit__(None, None, None)


@pytest.fixture(scope="module")
def ranks(plant: Plant) -> dict[str, dict[str, Ranked]]:
    """By what is ranked and cell."""
    return {
        by: {row.cell.code: row for row in rank(first=FIRST, last=LAST, by=by)}
        for by in ("own", "all")
    }


@pytest.fixture
def words(plant: Plant) -> Callable[[str], str]:
    """What a page says to the administrator."""
    admin = User.objects.create(username="admin", is_staff=True, is_superuser=True)
    client = Client()
    client.force_login(admin)

    def read(address: str) -> str:
        answer = client.get(address, follow=True)
        assert answer.status_code == 200
        text = sub(r"<(script|style)\b.*?</\1>|<[^>]+>", " ", answer.content.decode())
        return " ".join(unescape(text).split())

    return read


def shifts(**asked: Any) -> QuerySet[CellShift]:
    return CellShift.objects.filter(counted=True, **asked)


def total(rows: QuerySet[CellShift], name: str) -> int:
    return rows.aggregate(total=Sum(name))["total"] or 0


def figures(rows: QuerySet[CellShift]) -> Sums:
    """Of one cell's rows."""
    (found,) = sums_by(rows, "cell").values()
    return found


def minutes(stops: QuerySet[Stop]) -> list[int]:
    return [
        stop.length_s // 60 for stop in stops.order_by("started_at") if stop.ended_at
    ]


def by_week(stops: QuerySet[Stop]) -> Counter[int]:
    return Counter(
        (stop.started_at.date() - FIRST).days // 7 + 1
        for stop in stops.filter(started_at__lt=at(LAST, 23, 59))
    )


# The plant


def test_it_has_the_numbers_that_it_should_have() -> None:
    assert Area.objects.count() == 6
    assert Line.objects.count() == 26
    assert Cell.objects.count() == 250
    standing = Placement.objects.filter(removed_on=None)
    robots = standing.filter(machine__kind__in=MachineKind.robots())
    # One swapped out stands by as a spare.
    kinds = Counter(
        robots.exclude(position="Spare place").values_list("machine__kind", flat=True)
    )
    assert kinds == {
        "weld": 560,
        "handling": 230,
        "seal": 90,
        "arc": 30,
        "stud": 30,
        "hem": 30,
        "vision": 30,
    }


def test_each_line_counts_at_its_slowest_cell() -> None:
    for line in whole_plant(TODAY).lines:
        paces = {cell.code: max(cell.true.values()) for cell in line.cells}
        assert paces[line.counting] == max(paces.values())


def test_each_area_lands_one_to_five_points_under_its_target() -> None:
    sums = sums_by(accounts(first=FIRST, last=LAST, basis="counting"), "area")
    for area in Area.objects.prefetch_related("targets"):
        target, reached = area.target_on(LAST), sums[(area.pk,)].oee
        assert target is not None
        assert reached is not None
        assert 0.01 <= float(target.oee) - reached <= 0.05, area.code


def test_blocked_and_starved_follow_from_the_neighbours() -> None:
    """A turntable stands for hours: those before it are full, those behind it wait."""
    day = WHEN.day(6, 2)
    waits = {
        code: shifts(cell__code=code, production_date=day)
        for code in ("UB6-040", "UB6-060")
    }
    assert total(waits["UB6-040"], "blocked_s") > 200 * 60
    assert total(waits["UB6-060"], "starved_s") > 200 * 60


def test_nine_of_ten_windows_were_kept() -> None:
    last = whole_plant(TODAY).today - DAY
    found = compliance.figures(last - 27 * DAY, last)
    assert found.all.closed > 5_000
    assert 0.89 <= found.all.on_time / found.all.closed <= 0.93


def test_the_clock_stands_in_a_shift_that_runs(words: Callable[[str], str]) -> None:
    text = words("/shift/FR1/2026-05-05/Early/")
    assert "runs until 14:00" in text
    assert "FR1-040 reported standing" in text
    assert "Nothing is counted yet" in text
    assert "CL4-070" in words("/stopped/")


def test_first_pages_have_something_to_say(words: Callable[[str], str]) -> None:
    due = words("/due/")
    assert "5 safety tests are overdue" in due
    assert "The crew is too small for skill S" in due
    assert "points under its target yesterday" in words("/plant/")


# The stories, by their number


def test_1_a_nozzle_blocks_more_and_more_often(
    words: Callable[[str], str],
) -> None:
    stops = Stop.objects.filter(cell__code="SF2-030", reason__code="nozzle-blocked")
    weeks = by_week(stops)
    assert sum(weeks.values()) >= 0.9 * sum(NOZZLES)
    assert sum(weeks[week] for week in range(9, 14)) >= 2 * sum(
        weeks[week] for week in range(1, 6)
    )
    filters = StepResult.objects.filter(
        task__routine__code="pump-filter", task__machine__serial="PU-SF2-030"
    ).order_by("task__done_at")
    rise = [float(result.value) for result in filters]
    assert rise[-1] > rise[0] + 2
    lots = [stop.note for stop in Stop.objects.filter(reason__code="drum-change")]
    assert {"drum of lot A44", "drum of lot B01"} <= set(lots)
    assert "Nozzle blocked" in words("/cells/SF2-030/")


def test_2_cable_packs_fail_by_spots(ranks: Any) -> None:
    lives = [
        [
            float(reading.value)
            for reading in Reading.objects.filter(meter__machine=pack)
        ]
        for pack in Machine.objects.filter(
            kind="dress pack", placements__removed_on__isnull=False
        )
    ]
    ends = [max(values) for values in lives]
    assert len(ends) >= 8
    assert all(270_000 < end < 350_000 for end in ends)
    assert ranks["own"]["UB4-070"].rank <= 5
    assert ranks["own"]["UB4-070"].top_reason.code == "cable"


def test_3_the_waiting_cell_is_first_by_all_time_and_far_down_by_its_own(
    ranks: Any, words: Callable[[str], str]
) -> None:
    assert ranks["all"]["FR3-040"].rank <= 5
    assert ranks["own"]["FR3-040"].rank > 100
    assert ranks["own"]["FR3-020"].rank <= 10
    rows = shifts(cell__code="FR3-040")
    lost = figures(rows).all_lost_us
    assert lost is not None
    assert 0.75 < total(rows, "starved_s") * 1_000_000 / lost < 0.9
    assert "FR3-040" in words("/ranking/?by=all")


def test_4_controller_filters_of_two_areas_are_found_as_new() -> None:
    done = Task.objects.filter(routine__code="controller-fan")
    clean = done.filter(machine__placements__cell__line__area__code__in=["UB", "FS"])
    found = Counter(clean.values_list("found", flat=True))
    found.pop("", None)  # those that are open
    assert found["as_new"] / sum(found.values()) > 0.9
    others = done.filter(machine__placements__cell__line__area__code="BS")
    assert not others.filter(found="as_new").exists()


def test_5_one_team_logs_no_minor_stops_at_the_same_pace() -> None:
    early, late = (
        shifts(cell__code="BS5-060", shift__name=name) for name in ("Early", "Late")
    )
    assert total(late, "minor_s") == 0
    assert total(early, "minor_s") / early.count() > 5 * 60
    line = [total(rows, "made") / rows.count() for rows in (early, late)]
    other = [
        total(rows, "made") / rows.count()
        for rows in (
            shifts(cell__code="BS2-060", shift__name=name) for name in ("Early", "Late")
        )
    ]
    assert line[1] / line[0] == pytest.approx(other[1] / other[0], abs=0.03)
    logged = shifts(cell__code="BS2-060", shift__name="Late")
    assert total(logged, "minor_s") > 0


def test_6_an_old_ideal_cycle_shows_as_faster_than_ideal() -> None:
    rows = shifts(cell__code="CL1-080")
    fast = [row for row in rows if "faster_than_ideal" in names(row.flags)]
    assert len(fast) > 0.5 * rows.count()
    neighbour = shifts(cell__code="CL1-160")
    assert len([r for r in neighbour if "faster_than_ideal" in names(r.flags)]) < len(
        fast
    )


def test_7_a_gun_loses_force_from_week_to_week() -> None:
    results = StepResult.objects.filter(
        task__machine__serial="FR1030-04",
        task__routine__code="gun-force-weekly",
        step__order=1,
    ).order_by("task__done_at")
    values = [float(result.value) for result in results]
    falls = [later - earlier for earlier, later in pairwise(values)]
    assert len(values) >= 6
    assert sum(falls) < 0
    watch = results[0].step.watch_low
    assert watch is not None
    assert values[0] > float(watch) > values[-1]


def test_8_one_long_stop_is_no_chronic_one(ranks: Any) -> None:
    told = Stop.objects.filter(cell__code="UB6-050", reason__code="turntable")
    assert minutes(told) == [pytest.approx(310, abs=75)]
    assert ranks["own"]["UB6-050"].rank <= 25


def test_9_part_not_seen_leads_by_count_and_not_by_length(ranks: Any) -> None:
    by_count = sorted(ranks["own"].values(), key=lambda row: -row.stops)
    assert "BS2-060" in [row.cell.code for row in by_count[:3]]
    longest = sorted(
        Stop.objects.filter(reason__loss_class="breakdown").select_related("cell"),
        key=lambda stop: -stop.length_s if stop.ended_at else 0,
    )
    assert "BS2-060" not in [stop.cell.code for stop in longest[:20]]


def test_10_the_late_shift_changes_tools_more_slowly() -> None:
    stops = Stop.objects.filter(cell__code="CL4-020", reason__code="tool-change")
    # By UTC: the shifts change at 13:00 in winter and at 12:00 in summer.
    early, late = (
        [
            stop.length_s / 60
            for stop in stops
            if (stop.started_at.hour < 12) == is_early
        ]
        for is_early in (True, False)
    )
    assert sum(early) / len(early) == pytest.approx(18, abs=1.5)
    assert sum(late) / len(late) == pytest.approx(27, abs=1.5)


def test_11_and_12_before_and_after_are_to_be_seen_week_by_week() -> None:
    better = by_week(
        Stop.objects.filter(cell__code="UB3-090", reason__code="clamp-fault")
    )
    before = sum(better[week] for week in range(3, 7))
    after = sum(better[week] for week in range(7, 11))
    assert sum(IMPROVED[2:6]) * 0.8 <= before
    assert after <= sum(IMPROVED[6:10]) + 1
    gone, control = (
        by_week(Stop.objects.filter(cell__code=code, reason__code="gun-force"))
        for code in ("BS1-030", "BS4-030")
    )
    # The bad month passed at one cell, and one came at its like: nothing was done.
    assert sum(gone[week] for week in (4, 5, 6)) > sum(
        gone[week] for week in (8, 9, 10)
    )
    assert sum(control[week] for week in (8, 9, 10)) > sum(
        control[week] for week in (4, 5, 6)
    )


def test_13_a_robot_in_bypass_slows_its_cell() -> None:
    first = WHEN.day(6, 0)
    paces = [
        figures(
            shifts(
                cell__code="FR2-070", production_date__range=(start, start + 18 * DAY)
            )
        )
        for start in (first - 21 * DAY, first)
    ]
    before, then = (one.performance for one in paces)
    assert before is not None
    assert then is not None
    assert then < before
    assert Stop.objects.filter(cell__code="FR2-070", note__contains="bypass").exists()


def test_14_the_night_of_the_clock_change_is_an_hour_short() -> None:
    row = CellShift.objects.get(
        cell__code="CL1-050", production_date=WHEN.change - DAY, shift__name="Night"
    )
    assert row.scheduled_s == 420 * 60
    assert row.scheduled_s - row.break_s == 380 * 60
    assert row.breakdown_s >= 3600  # 01:30 to 03:50 on the wall, less a break


def test_15_a_stop_over_the_shift_change_is_split_but_one_event() -> None:
    day = WHEN.day(5, 1)
    stop = Stop.objects.get(cell__code="FS1-040", started_at=at(day, 13, 40))
    shares = [
        CellShift.objects.get(
            cell__code="FS1-040", production_date=day, shift__name=name
        ).reasons[str(stop.reason_id)]
        for name in ("Early", "Late")
    ]
    assert shares == [[20 * 60, 1], [25 * 60, 0]]


def test_16_electric_bodies_in_runs_block_the_cells_before() -> None:
    def blocked_per_shift(weekday: int) -> float:
        rows = shifts(
            cell__code="FR4-080",
            production_date__week_day=weekday,
            production_date__gte=WHEN.day(4, 0),
        )
        return total(rows, "blocked_s") / 60 / rows.count()

    thursday, tuesday = blocked_per_shift(5), blocked_per_shift(3)
    assert thursday > 10
    assert thursday > 2 * tuesday


def test_17_low_batteries_were_read_before_positions_were_lost() -> None:
    low = StepResult.objects.filter(task__routine__code="battery", value__lt=3.2)
    assert {result.task.cell.line.code for result in low if result.task.cell} == {"FS3"}
    assert low.count() == 6
    read = {result.task.done_at for result in low}
    lost = Stop.objects.filter(reason__code="position-lost")
    assert {stop.cell.line.code for stop in lost} == {"FS3"}
    assert lost.count() == 2
    assert {stop.started_at.date() for stop in lost} == {WHEN.day(10, 1)}
    assert max(filter(None, read)) < lost[0].started_at


def test_18_hours_follow_the_robot_and_not_its_place(
    words: Callable[[str], str],
) -> None:
    places = Placement.objects.filter(machine__serial="BS4050-02")
    assert [place.cell.code for place in places.order_by("placed_on")] == [
        "BS4-050",
        "CL3-010",
    ]
    readings = Reading.objects.filter(meter__machine__serial="SPARE-01")
    values = [r.value for r in readings.filter(meter__name="spots").order_by("read_at")]
    assert values == sorted(values)
    assert len(values) > 5
    assert "CL3-010" in words("/machines/BS4050-02/")


def test_20_a_stud_feed_fails_soon_after_each_visit() -> None:
    visits = Task.objects.filter(
        cell__code="FS2-030", routine__code="stud-feeder", done_at__isnull=False
    ).exclude(position="R3")
    days = [task.done_at.date() for task in visits if task.done_at]
    stops = Stop.objects.filter(
        cell__code="FS2-030", reason__code="stud-feed", position__in=["R1", "R2"]
    )
    after = [
        stop
        for stop in stops
        if any(0 < (stop.started_at.date() - day).days <= 5 for day in days)
    ]
    assert len(after) >= 4


def test_21_the_forgotten_safety_tests_are_overdue(
    words: Callable[[str], str],
) -> None:
    today = whole_plant(TODAY).today
    overdue = {
        task.cell.code: (today - task.due).days
        for task in safety_overdue(today).tasks
        if task.due and task.cell
    }
    assert overdue == {
        "SF1-010": 4,
        "SF2-010": 7,
        "SF3-010": 9,
        "UB6-030": 2,
        "BS5-080": 13,
    }
    assert "5 safety tests are overdue" in words("/due/")


def test_23_by_night_it_is_the_way_there_that_takes_long() -> None:
    nights = Stop.objects.filter(cell__code="FR3-020", note="while welding in")
    waited = [
        (stop.arrived_at - stop.called_at).total_seconds() / 60
        for stop in nights
        if stop.arrived_at and stop.called_at
    ]
    assert len(waited) == 7
    assert set(waited) == {25}


def test_24_two_robots_down_at_once_cost_the_union_not_the_sum() -> None:
    start = at(WHEN.day(8, 1), 9, 0)
    told = Stop.objects.filter(
        cell__code="FR2-010", started_at__range=(start, start + timedelta(minutes=30))
    )
    assert sorted(minutes(told)) == [18, 20]
    row = CellShift.objects.get(
        cell__code="FR2-010", production_date=WHEN.day(8, 1), shift__name="Early"
    )
    assert sum(row.reasons[str(stop.reason_id)][0] for stop in told) == 30 * 60


def test_25_output_without_planned_time_is_found(
    words: Callable[[str], str],
) -> None:
    found = {
        finding.subject
        for title, findings in run_checks()
        if title.startswith("Output")
        for finding in findings
    }
    assert found == {"UB3", "UB4", "UB6", "UB7"}
    assert "where no shift was planned" in words("/registry/health/")


def test_the_same_day_gives_the_same_bytes(folder: Path, tmp_path: Path) -> None:
    write_plant(tmp_path, whole_plant(TODAY))
    first, again = (
        {path.name: path.read_bytes() for path in one.iterdir()}
        for one in (folder, tmp_path)
    )
    assert first == again
