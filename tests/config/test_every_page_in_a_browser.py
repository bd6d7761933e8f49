"""Every page of the site, wide and narrow, light or dark: it fits and all can read it.

Which addresses there are is asked of the site itself, so that no page is forgotten.
"""

from collections.abc import Iterator
from typing import Any

import pytest
import time_machine
from django.urls import URLPattern, get_resolver

from tests.builders import NOW
from tests.config.how_it_opens import BUTTONS, addresses
from tests.config.whole_site import Site, make_site

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

WIDE = {"width": 1280, "height": 900}
NARROW = {"width": 380, "height": 800}


@pytest.fixture
def site(db: None) -> Iterator[Site]:
    with time_machine.travel(NOW, tick=True):
        yield make_site()


def names_by_room() -> dict[str, list[str]]:
    """The names of the addresses, by the app whose view answers."""
    rooms: dict[str, list[str]] = {}
    for pattern in _patterns(get_resolver().url_patterns):
        name, view = pattern.name, pattern.callback
        if name not in BUTTONS:
            rooms.setdefault(view.__module__.split(".")[0], []).append(name)
    return rooms


def _patterns(found: list[Any]) -> Iterator[URLPattern]:
    """All but the administrator's, which Django brings."""
    for one in found:
        if isinstance(one, URLPattern):
            yield one
        elif getattr(one, "app_name", None) != "admin":
            yield from _patterns(one.url_patterns)


#: What another width may change; all else is the same text in the same order.
BY_WIDTH = ("color-contrast", "target-size", "scrollable-region-focusable")


def faults_of(page: Any, axe_faults: Any, number: int) -> Iterator[str]:
    """In both widths, one light and one dark: the other way round from page to page.

    What all pages share is so read in all four; reading costs most of the time.
    """
    schemes = ("light", "dark") if number % 2 else ("dark", "light")
    looks = (("wide", WIDE, ()), ("narrow", NARROW, BY_WIDTH))
    for scheme, (width, view, rules) in zip(schemes, looks, strict=True):
        page.set_viewport_size(view)
        page.emulate_media(color_scheme=scheme)
        wider = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        if wider > 0:
            yield f"{width}: the page is {wider} px wider than the screen"
        for fault in axe_faults(page, *rules):
            yield f"{width}, {scheme}: {fault}"


@pytest.mark.parametrize("room", sorted(names_by_room()))
def test_the_pages_of_a_room_fit_and_can_be_read_by_all(
    room: str, site: Site, page_of: Any, axe_faults: Any
) -> None:
    page = page_of(site.cast.people.admin)
    found: dict[str, list[str]] = {}
    for number, address in enumerate(addresses(site, names_by_room()[room])):
        page.goto(address)
        if faults := list(faults_of(page, axe_faults, number)):
            found[address] = faults
    assert found == {}


def test_a_refusal_fits_and_can_be_read_by_all(
    site: Site, page_of: Any, axe_faults: Any
) -> None:
    page = page_of(site.cast.people.reader)
    for address, status in [("/registry/areas/add/", 403), ("/nowhere/", 404)]:
        answer = page.goto(address)
        assert (address, answer.status) == (address, status)
        for number in (0, 1):
            faults = list(faults_of(page, axe_faults, number))
            assert (address, faults) == (address, [])
