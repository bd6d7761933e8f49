"""A leader logs a shift of the demo's plant: tapping a tablet, or with keys alone."""

from datetime import datetime, timedelta
from typing import Any

import pytest
from playwright.sync_api import expect

from config.demo.plant.description import ZONE
from config.demo.plant.small import NOW
from maintenance.models import ShiftConfirmation, Stop, Tally
from oee.models import CellShift, Count
from oee.recompute import bring_up_to_date
from tests.config.at_the_screen import DESK, TABLET, headline, number_in, running, tap

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

SHIFT_END = datetime(2026, 3, 31, 14, 2, tzinfo=ZONE)


def unexplained(page: Any) -> int:
    """Of the cell that is open, in minutes."""
    return number_in(page.locator(".unexplained .figure").inner_text())


def end_what_stands(page: Any) -> None:
    """One tap each."""
    assert "FR1-040" in headline(page)
    assert headline(page).endswith("reported standing.")
    stop = running()
    again = page.get_by_role("button", name="It runs again")
    for left in reversed(range(again.count())):
        again.first.tap()
        expect(again).to_have_count(left)

    stop.refresh_from_db()
    assert stop.ended_at is not None
    assert timedelta(0) <= stop.ended_at - NOW < timedelta(minutes=5)
    assert not Stop.objects.filter(cell__line__code="FR1", ended_at=None).exists()


def count_for_the_line(page: Any) -> None:
    page.get_by_label("Variant").select_option(label="H hatch")
    page.get_by_label("Made").fill("390")
    page.get_by_label("First-time good").fill("380")
    tap(page, "button", "Enter the count")
    page.get_by_role("cell", name="390").wait_for()

    assert (
        Count.objects.get(line__code="FR1", shift__name="Early", total=390).good == 380
    )


def start_and_end_a_stop(page: Any, turn_clock: Any) -> None:
    tap(page, "button", "Tip stuck")
    tap_again = "FR1-030 Tip stuck"  # behind “It runs again”, for those who hear it
    page.get_by_role("button", name=tap_again).wait_for()
    turn_clock(NOW + timedelta(minutes=4))
    tap(page, "button", tap_again)
    page.get_by_role("button", name=tap_again).wait_for(state="detached")

    stop = Stop.objects.get(
        cell__code="FR1-030", reason__name="Tip stuck", logged_by__username="leader"
    )
    assert stop.ended_at is not None
    assert timedelta(minutes=3) < stop.ended_at - stop.started_at < timedelta(minutes=5)


def turn_to(page: Any, way: str) -> None:
    """The page changes in place: what is tapped next must be the new one's."""
    tap(page, "link", way)
    expect(page.locator("#log [aria-current]")).to_have_text(way)


def add_half_an_hour(page: Any) -> None:
    turn_to(page, "It stood before")
    tap(page, "radio", "Cable pack")
    page.get_by_label("From", exact=True).fill("07:10")
    for _ in range(6):
        tap(page, "button", "+5")
    tap(page, "button", "Add stop")
    page.get_by_role("row", name="Cable pack").wait_for()


def add_short_ones(page: Any) -> None:
    turn_to(page, "Many short ones")
    tap(page, "radio", "Gate opened")
    tap(page, "button", "+5")
    for _ in range(2):
        page.get_by_role("button", name="+1").last.tap()
    tap(page, "button", "Add tally")
    page.get_by_text("5 times, about 2 min").wait_for()

    tally = Tally.objects.get(
        cell__code="FR1-030", shift__name="Early", logged_by__username="leader"
    )
    assert (tally.times, tally.seconds) == (5, 120)


def confirm(page: Any) -> None:
    tap(page, "button", "This is what happened: confirm")
    page.get_by_text("Confirmed by leader").wait_for()

    confirmed = ShiftConfirmation.objects.get(
        shift__line__code="FR1", shift__production_date="2026-03-31"
    )
    assert confirmed.confirmed_by
    assert confirmed.confirmed_by.username == "leader"


def test_a_leader_logs_the_shift_and_the_ranking_changes(
    demo_page: Any, demo_plant: Any
) -> None:
    page = demo_page("leader", **TABLET)
    end_what_stands(page)
    count_for_the_line(page)

    page.get_by_role("link", name="FR1-030 framing geo").tap()
    start_and_end_a_stop(page, demo_plant)
    before = unexplained(page)
    add_half_an_hour(page)
    # The clock goes on meanwhile, and with it what is planned up to now.
    assert 28 <= before - unexplained(page) <= 30
    add_short_ones(page)

    demo_plant(SHIFT_END)
    page.goto("/ranking/?period=today")
    assert "No cell had planned time" in headline(page)
    page.goto("/")
    confirm(page)
    bring_up_to_date()

    stored = CellShift.objects.get(
        cell__code="FR1-030", shift__name="Early", shift__production_date="2026-03-31"
    )
    # The half hour, and 25 minutes that the plant's files know of.
    assert stored.breakdown_s == (30 + 25) * 60
    assert stored.minor_s in range(5 * 60, 7 * 60)  # four minutes and the tally's two
    page.get_by_role("link", name="Ranking").tap()
    tap(page, "link", "Today so far")
    row = page.get_by_role("row", name="FR1-030")
    assert "Cable pack" in row.inner_text()
    page.get_by_role("link", name="Plant", exact=True).tap()
    tap(page, "link", "Today so far")
    framing = page.get_by_role("row", name="Framing").inner_text()
    assert "380 of" in framing
    assert "FR1-030 cable pack" in framing


def tab_to(page: Any, words: str) -> None:
    """With the Tab key, as far as the element that says so."""
    for _ in range(150):
        page.keyboard.press("Tab")
        # Right after a swap it is the body that has the focus, and it says everything.
        said = page.evaluate(
            "(document.activeElement.labels?.[0] || (document.activeElement"
            " === document.body ? null : document.activeElement))?.textContent"
        )
        if words in " ".join((said or "").split()):
            return
    pytest.fail(f"Tab never reached “{words}”.")


def test_a_leader_logs_a_stop_with_the_keyboard_alone(demo_page: Any) -> None:
    page = demo_page("leader", **DESK)
    tab_to(page, "It runs again: FR1-040 Gun force")
    page.keyboard.press("Enter")
    standing = page.get_by_role("button", name="FR1-040 Gun force")
    standing.wait_for(state="detached")
    tab_to(page, "FR1-030 framing geo")
    page.keyboard.press("Enter")
    page.get_by_role("link", name="It stood before").wait_for()
    tab_to(page, "It stood before")
    page.keyboard.press("Enter")
    page.get_by_label("From", exact=True).wait_for()
    tab_to(page, page.locator(".reasons label").first.text_content().strip())
    page.keyboard.press("ArrowDown")  # the next reason
    tab_to(page, "From")
    page.keyboard.type("0710AM")  # a browser with a 24 h clock ignores the letters
    tab_to(page, "Minutes")
    page.keyboard.type("9")
    tab_to(page, "Add stop")
    page.keyboard.press("Enter")
    page.get_by_role("row", name="07:10").wait_for()

    stop = Stop.objects.get(cell__code="FR1-030", logged_by__username="leader")
    assert stop.started_at == datetime(2026, 3, 31, 7, 10, tzinfo=ZONE)
    assert stop.length_s == 9 * 60
