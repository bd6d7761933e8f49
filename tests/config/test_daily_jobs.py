"""The daily jobs in the demo's plant, each through the pages and nothing else."""

import csv
import io
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

from config.demo.plant.small import NOW
from maintenance.models import SafetyAlert, StepResult, Task
from tests.config.at_the_screen import (
    DESK,
    PHONE,
    TABLET,
    headline,
    number_in,
    running,
    tap,
)

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

# The planner


def test_a_planner_records_several_at_once_and_loses_nothing(demo_page: Any) -> None:
    page = demo_page("planner", **DESK)
    first = page.locator("main table").first.locator("tbody tr")
    assert headline(page).startswith("2 safety tests are overdue")
    assert all("overdue safety test" in first.nth(n).inner_text() for n in (0, 1))
    assert "overdue safety test" not in first.nth(2).inner_text()

    page.get_by_text("Choose area, skill, state").click()
    page.get_by_label("Routine").select_option(label="Weld force at two set points")
    page.wait_for_url("**routine=**")
    boxes = page.get_by_role("checkbox", name="Weld force")
    chosen = [int(boxes.nth(n).get_attribute("value")) for n in range(3)]
    for n in range(3):
        boxes.nth(n).check()
    page.get_by_role("button", name="Record the chosen ones done").click()

    page.get_by_label("normal wear").check()
    rows = page.get_by_role("group").filter(has=page.get_by_label("Reading of spots"))
    for n in range(3):
        rows.nth(n).get_by_label("Force at 2.0 kN").fill(f"2.0{n}")
        rows.nth(n).get_by_label("Force at 3.5 kN").fill("3.5")
    rows.nth(1).get_by_label("Reading of spots").fill("-5")
    page.get_by_role("button", name="Record them all done").click()

    assert "Nothing was saved" in page.get_by_role("alert").first.inner_text()
    assert "-5" in rows.nth(1).get_by_role("alert").inner_text()
    assert rows.nth(0).get_by_role("alert").count() == 0
    assert rows.nth(2).get_by_label("Force at 2.0 kN").input_value() == "2.02"
    assert not Task.objects.filter(pk__in=chosen, done_at__isnull=False).exists()

    rows.nth(1).get_by_label("Reading of spots").fill("")
    page.get_by_role("button", name="Record them all done").click()

    page.get_by_text("3 tasks are recorded done.").wait_for()
    assert Task.objects.filter(pk__in=chosen, done_by__username="planner").count() == 3
    values = StepResult.objects.filter(task__in=chosen, step__order=1)
    assert {result.value for result in values} == {
        Decimal("2.00"),
        Decimal("2.01"),
        Decimal("2.02"),
    }


def test_the_due_list_prints_with_boxes_to_tick(demo_page: Any) -> None:
    page = demo_page("planner", **DESK)
    page.emulate_media(media="print")

    assert page.locator(".tick").first.is_visible()
    assert page.get_by_text("It gives no leave to enter a cell").is_visible()
    assert page.get_by_role("navigation", name="Rooms").is_hidden()
    assert page.get_by_role("button", name="Record the chosen ones done").is_hidden()
    assert page.pdf(format="A4").startswith(b"%PDF")


# The plant manager


def test_a_manager_follows_a_figure_down_to_its_rule(demo_page: Any) -> None:
    page = demo_page("plant-manager", **DESK)
    assert headline(page).startswith("Framing was 4.0 points under its target")

    page.get_by_role("link", name="Framing").first.click()
    assert headline(page).startswith("Framing: OEE")
    page.get_by_role("link", name="FR2", exact=True).click()
    page.get_by_role("link", name="FR2-030", exact=True).first.click()
    page.get_by_role("link", name="Early", exact=False).first.click()
    assert headline(page).startswith("FR2-030 in Early")
    assert page.get_by_role("row", name="Gun force fault").first.is_visible()
    assert "min planned" in page.locator(".sums").inner_text()

    page.go_back()
    page.get_by_role("link", name="OEE", exact=True).first.click()
    assert "/definitions/#" in page.url
    assert page.locator(":target").is_visible()


def ranked(page: Any) -> list[int]:
    """The first figure of each row: minutes lost."""
    return [number_in(words) for words in page.locator("td.figure").all_inner_texts()]


def test_a_manager_sorts_the_ranking_and_takes_it_along(
    demo_page: Any, tmp_path: Path
) -> None:
    page = demo_page("plant-manager", **DESK)
    page.get_by_role("link", name="All 24 cells").click()
    own = ranked(page)
    measure = page.get_by_role("navigation", name="Measure").get_by_role("link")
    measure.nth(1).click()
    page.wait_for_url("**by=all**")
    everything = ranked(page)
    assert len(own) == len(everything) == 24
    assert own == sorted(own, reverse=True)
    assert everything == sorted(everything, reverse=True)
    assert everything[0] > own[0]

    first, last = (
        page.get_by_label(name, exact=True).input_value() for name in ("From", "To")
    )
    with page.expect_download() as download:
        page.get_by_role("link", name="CSV of the ranking").click()
    download.value.save_as(tmp_path / "ranking.csv")
    printed = io.StringIO()
    call_command(
        "rank_cells", "--from", first, "--to", last, "--by", "all", stdout=printed
    )
    wanted = list(csv.reader(io.StringIO(printed.getvalue())))
    text = (tmp_path / "ranking.csv").read_text(encoding="utf-8-sig")
    # The page's file has the loss classes behind what the command prints.
    assert [row[: len(wanted[0])] for row in csv.reader(io.StringIO(text))] == wanted


# The technician


def test_a_technician_repairs_and_records_on_a_phone(
    demo_page: Any, demo_plant: Any
) -> None:
    page = demo_page("technician", **PHONE)
    assert headline(page) == "What stands still now"
    page.goto("/c/FR1-040")  # as on the label
    assert page.url.endswith("/cells/FR1-040/")
    page.get_by_role("link", name="Gun force fault since").tap()
    for minute, words in enumerate(["Arrived", "Cause found", "Repaired"], start=1):
        demo_plant(NOW + timedelta(minutes=2 * minute))
        tap(page, "button", f"{words} now")
        page.get_by_role("button", name=f"{words} now").wait_for(state="detached")

    stop = running()
    moments = [stop.called_at, stop.arrived_at, stop.cause_found_at, stop.repaired_at]
    assert all(moments)
    assert moments == sorted(moments)

    page.goto("/c/FR1-040")
    page.get_by_role("link", name="Weld force at two set points").first.tap()
    page.get_by_label("of step 1").fill("2.05")
    page.get_by_label("of step 2").fill("3.9")
    page.get_by_label("normal wear").check()
    tap(page, "button", "Record it done")
    page.get_by_text("The task is recorded done.").wait_for()
    assert "beyond" in page.get_by_role("row", name="Force at 3.5 kN").inner_text()

    task = Task.objects.get(done_by__username="technician")
    assert list(
        task.results.values_list("value", flat=True).order_by("step__order")
    ) == [
        Decimal("2.05"),
        Decimal("3.9"),
    ]


# The area manager and the safety officer


def test_an_area_manager_corrects_a_stop_and_its_trail_says_why(demo_page: Any) -> None:
    page = demo_page("area-manager", **DESK)
    assert headline(page).startswith("Framing: OEE")
    page.get_by_role("link", name="Stopped").click()
    page.get_by_role("link", name="FR1-040 Gun force fault").click()
    page.get_by_text("Show what can be corrected").click()
    page.get_by_label("Start", exact=True).fill("2026-03-31T13:20")
    page.get_by_role("button", name="Save the correction").click()
    assert page.get_by_role("button", name="Save the correction").is_visible()
    assert running().started_at.minute == 22

    page.locator("#correct ~ details").get_by_label("Why").fill(
        "the lamp was on before"
    )
    page.get_by_role("button", name="Save the correction").click()
    page.get_by_text("The correction is saved, with its trail.").wait_for()

    assert running().started_at.minute == 20
    trail = page.get_by_role("row", name="the lamp was on before")
    assert "13:22" in trail.inner_text()
    assert "13:20" in trail.inner_text()


def fail_the_overdue_test(page: Any, cell: str) -> None:
    page.get_by_role("row", name=cell).get_by_role("link").first.click()
    page.get_by_label("failed").check()
    page.get_by_label("Note").fill("rod not seen at the bottom")
    page.get_by_role("button", name="Record it done").click()
    page.get_by_text("a named person must accept the alert").wait_for()


def accept_the_alert(page: Any, cell: str, measure: str) -> None:
    page.get_by_role("link", name="read and accept").click()
    row = page.get_by_role("row", name=cell)
    row.get_by_role("link", name="Accept by name").click()
    page.get_by_label("What is done about it").fill(measure)
    page.get_by_role("button", name="Accept it by name").click()
    page.get_by_text("Your name stands under the failed test").wait_for()


def test_a_failed_safety_test_waits_for_a_name(demo_page: Any) -> None:
    page = demo_page("safety", **DESK)
    assert page.url.endswith("/due/?only=safety")
    for cell in ("FR2-040", "CL1-020"):
        page.goto("/")
        fail_the_overdue_test(page, cell)
    page.goto("/")
    assert "2 failed safety tests wait" in page.locator("main").inner_text()
    accept_the_alert(page, "CL1-020", "curtain exchanged")

    manager = demo_page("area-manager", **DESK)
    manager.get_by_role("link", name="Due", exact=True).click()
    accept_the_alert(manager, "FR2-040", "cell stopped until it is exchanged")

    alerts = SafetyAlert.objects.order_by("accepted_at")
    assert [(alert.accepted_by.username, alert.measure) for alert in alerts] == [
        ("safety", "curtain exchanged"),
        ("area-manager", "cell stopped until it is exchanged"),
    ]
    assert Task.objects.filter(found="failed", alert__isnull=False).count() == 2


# All of them


@pytest.mark.parametrize(
    ("username", "device", "scheme"),
    [
        ("leader", TABLET, "light"),
        ("technician", PHONE, "dark"),
        ("planner", DESK, "dark"),
        ("area-manager", DESK, "light"),
        ("plant-manager", DESK, "light"),
        ("safety", TABLET, "dark"),
    ],
)
def test_the_first_page_of_a_day_fits_and_can_be_read_by_all(
    demo_page: Any, axe_faults: Any, username: str, device: Any, scheme: str
) -> None:
    page = demo_page(username, **device, color_scheme=scheme)

    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") == 0
    assert axe_faults(page) == []
