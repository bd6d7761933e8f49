"""Registry health: each check finds what is wrong, and nothing when all is well."""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client

from cells import floor_checks
from cells.models import Placement, WorkedBreak
from tests import builders
from tests.builders import NOW, Cast, at

pytestmark = pytest.mark.django_db


def test_two_machines_in_one_place(cast: Cast) -> None:
    assert list(floor_checks.machines_in_one_place()) == []
    other = builders.make_machine("W-0002")
    Placement.objects.create(
        machine=other, cell=cast.cells[0], position="R01", placed_on=date(2026, 1, 1)
    )

    [finding] = floor_checks.machines_in_one_place()

    assert finding.subject == "L1-10 R01"
    assert finding.sentence.startswith("W-0001 and W-0002 stand here together")


@pytest.mark.parametrize(
    ("days_ago", "found"),
    [(None, "was never read"), (31, "was last read on 2026-01-30"), (29, None)],
)
def test_meters_not_read_for_thirty_days(
    cast: Cast, days_ago: int | None, found: str | None
) -> None:
    if days_ago is not None:
        builders.make_reading(cast.meter, "5", read_at=NOW - timedelta(days=days_ago))
    # Neither a questioned nor a withdrawn reading counts.
    builders.make_reading(cast.meter, "6", read_at=NOW, confirmed=False)
    findings = [finding.sentence for finding in floor_checks.meters_not_read()]
    if found is None:
        assert findings == []
    else:
        assert found in findings[0]


def test_meters_of_spares_and_of_new_machines_are_left_alone(cast: Cast) -> None:
    builders.make_reading(cast.meter, "5", read_at=NOW)
    builders.make_meter(builders.make_machine("W-0002"))
    builders.make_meter(
        builders.make_machine(
            "W-0003",
            cell=cast.cells[0],
            position="R03",
            placed_on=date(2026, 2, 20),
        )
    )
    assert list(floor_checks.meters_not_read()) == []


def test_lines_without_a_counting_cell(cast: Cast) -> None:
    [finding] = floor_checks.lines_without_counting_cell()
    assert finding.subject == "P1"
    assert finding.url == "/registry/lines/P1/counting-cell/"


@pytest.mark.parametrize(
    ("sheet", "dated", "sentence"),
    [
        ("", None, "No lockout sheet is on record: ask safety."),
        ("LS-1", None, "has no date on record"),
        ("LS-1", date(2025, 3, 1), "more than a year old"),
        ("LS-1", date(2025, 3, 3), None),
    ],
)
def test_lockout_sheets(
    cast: Cast, sheet: str, dated: date | None, sentence: str | None
) -> None:
    cell = cast.cells[0]
    cell.lockout_sheet, cell.lockout_date = sheet, dated
    cell.save()
    found = {one.subject: one.sentence for one in floor_checks.lockout_sheets()}
    if sentence is None:
        assert "L1-10" not in found
    else:
        assert sentence in found["L1-10"]


def test_a_retired_cell_needs_no_sheet(cast: Cast) -> None:
    cast.cells[0].retired_on = date(2026, 3, 2)
    cast.cells[0].save()
    subjects = [finding.subject for finding in floor_checks.lockout_sheets()]
    assert "L1-10" not in subjects


def test_a_worked_break_that_is_no_break_any_more(cast: Cast) -> None:
    WorkedBreak.objects.create(
        cell=cast.cells[0], shift=cast.early, break_start=at("09:00")
    )
    assert list(floor_checks.worked_breaks_that_are_none()) == []
    cast.early.breaks.filter(starts_at=at("09:00")).delete()

    [finding] = floor_checks.worked_breaks_that_are_none()
    assert finding.subject == "L1-10"


def test_the_page_shows_each_check_and_its_findings(
    cast: Cast, client_of: Callable[[Any], Client]
) -> None:
    client = client_of(cast.people.reader)
    page = client.get("/registry/health/").content.decode()
    assert "Two machines in one place" in page
    assert "No cell stands for the line, so it has no OEE: choose one." in page
    rows = client.get("/registry/health/?csv=1").content.decode()
    assert "Lines without a counting cell,P1," in rows
