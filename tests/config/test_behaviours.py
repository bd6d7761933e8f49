"""The small scripts, each in a real browser on a page of its own."""

from pathlib import Path

import pytest

pytestmark = pytest.mark.browser

SCRIPTS = Path(__file__).parents[2] / "config" / "static" / "js"

COUNT_SENDS = """
window.sends = 0;
document.addEventListener("submit", (event) => {
  event.preventDefault();
  window.sends += 1;
});
"""


@pytest.fixture
def page_with(browser):
    contexts = []

    def open_page(script, body):
        # Berlin's clocks must show on a device that stands somewhere else.
        contexts.append(browser.new_context(timezone_id="America/New_York"))
        page = contexts[-1].new_page()
        page.clock.install()
        page.set_content(body)
        page.add_script_tag(path=SCRIPTS / script)
        page.evaluate(COUNT_SENDS)
        return page

    yield open_page
    for context in contexts:
        context.close()


@pytest.mark.parametrize(("answer", "sends"), [("accept", 1), ("dismiss", 0)])
def test_a_form_that_asks_is_sent_only_after_a_yes(page_with, answer, sends):
    page = page_with(
        "confirm.js",
        '<form data-confirm="Withdraw this stop?"><button>Withdraw</button></form>',
    )
    asked = []
    page.on("dialog", lambda box: (asked.append(box.message), getattr(box, answer)()))

    page.click("button")

    assert asked == ["Withdraw this stop?"]
    assert page.evaluate("window.sends") == sends


def test_a_button_asks_for_itself_and_its_neighbour_does_not(page_with):
    page = page_with(
        "confirm.js",
        '<form><button id="a">Save</button>'
        '<button id="b" data-confirm="Really?">Withdraw</button></form>',
    )
    asked = []
    page.on("dialog", lambda box: (asked.append(box.message), box.dismiss()))

    page.click("#a")
    page.click("#b")

    assert asked == ["Really?"]
    assert page.evaluate("window.sends") == 1


def test_a_changed_choice_sends_its_form_and_the_button_goes(page_with):
    page = page_with(
        "autosubmit.js",
        "<form data-autosubmit><select><option>own</option><option>all</option>"
        '</select><button id="go">Show</button></form><button id="other">x</button>',
    )
    assert page.is_hidden("#go")
    assert page.is_visible("#other")

    page.select_option("select", "all")

    assert page.evaluate("window.sends") == 1


def test_a_form_without_the_mark_waits_for_its_button(page_with):
    page = page_with(
        "autosubmit.js",
        "<form><select><option>own</option><option>all</option></select></form>",
    )
    page.select_option("select", "all")

    assert page.evaluate("window.sends") == 0


def test_the_clock_goes_on_in_plant_time_right_over_a_clock_change(page_with):
    # Clocks go forward on 29 March 2026 at 01:00 UTC (EU Directive 2000/84; MEMORY).
    page = page_with(
        "clock.js",
        '<time datetime="2026-03-29T00:58:00+00:00" data-clock="Europe/Berlin" '
        'data-speed="1">Sun 29 March 01:58</time>',
    )
    page.clock.run_for("03:00")

    assert page.inner_text("time") == "Sun 29 March 03:01"


def test_the_clock_of_a_faster_demo_goes_on_faster(page_with):
    page = page_with(
        "clock.js",
        '<time datetime="2026-03-03T12:50:00+00:00" data-clock="Europe/Berlin" '
        'data-speed="60">Tue 3 March 13:50</time>',
    )
    page.clock.run_for("00:10")

    assert page.inner_text("time") == "Tue 3 March 14:00"


@pytest.mark.parametrize(
    ("event", "words"),
    [
        ('new Event("htmx:sendError")', "the server cannot be reached"),
        (
            'new CustomEvent("htmx:responseError", {detail: {xhr: {status: 403}}})',
            "your role may not do this",
        ),
        (
            'new CustomEvent("htmx:responseError", {detail: {xhr: {status: 500}}})',
            "the server answered with an error (500)",
        ),
    ],
)
def test_a_refresh_that_fails_is_said_in_words(page_with, event, words):
    page = page_with("trouble.js", '<div id="messages"></div>')

    page.evaluate(f"document.dispatchEvent({event})")

    assert words in page.inner_text("#messages")
