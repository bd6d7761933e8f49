"""The committed demo plant: made as it says, and its planted stories can be found.

The plant is invented, so no test here counts on one of its numbers but those that a
story states itself.
"""

from collections.abc import Iterator
from datetime import date, datetime
from pathlib import Path

import pytest
import time_machine
from pytest_django import DjangoDbBlocker

from cells.health import run_checks
from config.demo.plant.description import ZONE
from config.demo.plant.files import write_plant
from config.demo.plant.small import NOW, small_plant
from config.loading import load
from maintenance.models import Stop
from maintenance.tasks import safety_overdue
from oee.ledger.flags import names
from oee.models import CellShift
from oee.ranking import rank
from oee.recompute import bring_up_to_date
from oee.rollups import accounts, sums_by

FIXTURE = Path(__file__).parents[2] / "fixtures" / "demo"
FIRST, YESTERDAY = date(2026, 3, 3), date(2026, 3, 30)

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module", autouse=True)
def plant(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """Loaded and computed once, and rolled back after the last story."""
    from django.db import transaction

    with django_db_blocker.unblock(), time_machine.travel(NOW, tick=False):
        atomic = transaction.atomic()
        atomic.__enter__()
        try:
            assert load(FIXTURE).faults == []
            bring_up_to_date()
            yield
        finally:
            transaction.set_rollback(True)
            atomic.__exit__(None, None, None)


def at(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=ZONE)


def account(cell: str, day: date, shift: str) -> CellShift:
    return CellShift.objects.get(
        cell__code=cell, production_date=day, shift__name=shift
    )


def test_the_committed_files_are_what_the_generator_writes(tmp_path: Path) -> None:
    write_plant(tmp_path, small_plant())
    committed = {path.name: path.read_bytes() for path in FIXTURE.glob("*.csv")}
    made = {path.name: path.read_bytes() for path in tmp_path.glob("*.csv")}
    assert made == committed


def test_two_robots_down_at_once_cost_the_union_not_the_sum() -> None:
    told = Stop.objects.filter(
        cell__code="FR2-010",
        position__in=["R2", "R3"],
        started_at__range=(at("2026-03-24T09:00"), at("2026-03-24T09:30")),
    )
    assert sorted(stop.length_s // 60 for stop in told) == [18, 20]
    row = account("FR2-010", date(2026, 3, 24), "Early")
    both = sum(row.reasons[str(stop.reason_id)][0] for stop in told)
    assert both == 30 * 60


def test_the_night_of_the_clock_change_is_an_hour_short() -> None:
    row = account("CL1-050", date(2026, 3, 28), "Night")
    assert row.scheduled_s == 420 * 60
    assert row.scheduled_s - row.break_s == 380 * 60
    assert row.breakdown_s >= 3600  # 01:30 to 03:50 on the wall, less a break


def test_an_old_ideal_cycle_shows_as_faster_than_ideal() -> None:
    flagged = {
        row.cell.code
        for row in CellShift.objects.select_related("cell")
        if "faster_than_ideal" in names(row.flags)
    }
    assert "CL1-060" in flagged


def test_part_not_seen_leads_by_count_and_not_by_minutes() -> None:
    ranked = rank(first=FIRST, last=YESTERDAY)
    by_count = sorted(ranked, key=lambda row: -row.stops)
    assert by_count[0].cell.code == "FR2-060"
    assert ranked[0].cell.code != "FR2-060"


def test_the_waiting_cell_ranks_higher_by_all_time_than_by_its_own() -> None:
    own = {r.cell.code: r.rank for r in rank(first=FIRST, last=YESTERDAY)}
    everything = {
        r.cell.code: r.rank for r in rank(first=FIRST, last=YESTERDAY, by="all")
    }
    assert everything["FR2-040"] < own["FR2-040"]
    assert own["FR2-030"] < own["FR2-040"]


def test_a_trial_declared_late_is_shown_as_such() -> None:
    row = account("CL4-030", date(2026, 3, 26), "Early")
    assert row.planned_late_s == 45 * 60
    assert "declared_late" in names(row.flags)


def test_a_stop_over_the_shift_change_is_split_but_one_event() -> None:
    stop = Stop.objects.get(
        cell__code="CL4-040",
        reason__code="hem-roller",
        started_at=at("2026-03-25T13:40"),
    )
    early = account("CL4-040", date(2026, 3, 25), "Early")
    late = account("CL4-040", date(2026, 3, 25), "Late")
    shares = [row.reasons[str(stop.reason_id)] for row in (early, late)]
    assert [seconds // 60 for seconds, _ in shares] == [20, 25]
    assert [events for _, events in shares] == [1, 0]


def test_the_forgotten_curtain_tests_are_overdue() -> None:
    overdue = safety_overdue(NOW.date())
    assert {task.cell.code for task in overdue.tasks} == {"CL1-020", "FR2-040"}


def test_output_without_planned_time_is_found_on_the_health_page() -> None:
    findings = {f.subject for _, found in run_checks() for f in found}
    assert "FR2" in " ".join(findings)


def test_each_area_lands_under_its_target() -> None:
    from cells.models import Area

    sums = sums_by(accounts(first=FIRST, last=YESTERDAY, basis="counting"), "area")
    for area in Area.objects.prefetch_related("targets"):
        target = area.target_on(YESTERDAY)
        assert target is not None
        reached = sums[(area.pk,)].oee
        assert reached is not None
        assert float(target.oee) - 0.05 < reached < float(target.oee)
