"""The pages of the account in a browser: no serious fault, nothing wider than it is."""

from collections.abc import Iterator
from typing import Any

import pytest
import time_machine

from tests.builders import TUESDAY, Cast, at
from tests.oee.account_cast import make_accounts

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

ADDRESSES = [
    "/plant/",
    "/areas/BODY/",
    "/lines/L1/?basis=cells",
    "/cells/L1-30/account/",
    "/ranking/",
    "/definitions/",
]


@pytest.fixture
def cast(db: None) -> Iterator[Cast]:
    cast, _ = make_accounts()
    with time_machine.travel(at("08:00", TUESDAY), tick=True):
        yield cast


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [380, 820, 1280])
def test_the_pages_fit_and_can_be_read_by_all(
    cast: Cast, page_of: Any, axe_faults: Any, width: int, scheme: str
) -> None:
    page = page_of(
        cast.people.plant_manager,
        viewport={"width": width, "height": 900},
        color_scheme=scheme,
    )
    for address in ADDRESSES:
        page.goto(address)
        wider = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        assert (address, wider) == (address, 0)
        assert (address, axe_faults(page)) == (address, [])


def test_a_figure_leads_down_to_the_rows_it_was_made_of(
    cast: Cast, page_of: Any
) -> None:
    page = page_of(cast.people.plant_manager)
    page.goto("/")

    page.get_by_role("link", name="Body shop").click()
    page.get_by_role("link", name="L1", exact=True).click()
    page.get_by_role("link", name="L1-30", exact=True).click()
    page.get_by_role("link", name="Early", exact=True).click()

    assert page.url.endswith("/cells/L1-30/shifts/2026-03-02/Early/")
    assert (
        page.get_by_role("heading", level=1).inner_text().startswith("L1-30 in Early")
    )


def test_a_rule_opens_from_the_figure_it_made(cast: Cast, page_of: Any) -> None:
    page = page_of(cast.people.reader)
    page.goto("/ranking/")

    page.get_by_role("link", name="Per 100 h").click()

    assert page.url.endswith("/definitions/#per-100-h")
    assert page.locator("#per-100-h").is_visible()
