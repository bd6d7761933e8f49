"""Every page of the site, wide and narrow, light and dark: it fits and all can read it.

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


def faults_of(page: Any, axe_faults: Any) -> Iterator[str]:
    """In both widths; in the dark only the colours are others."""
    for width, view in (("wide", WIDE), ("narrow", NARROW)):
        page.set_viewport_size(view)
        wider = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        if wider > 0:
            yield f"{width}: the page is {wider} px wider than the screen"
        for scheme, rules in (("light", []), ("dark", ["color-contrast"])):
            page.emulate_media(color_scheme=scheme)
            faults = axe_faults(page, *rules)
            yield from (f"{width}, {scheme}: {fault}" for fault in faults)


@pytest.mark.parametrize("room", sorted(names_by_room()))
def test_the_pages_of_a_room_fit_and_can_be_read_by_all(
    room: str, site: Site, page_of: Any, axe_faults: Any
) -> None:
    page = page_of(site.cast.people.admin)
    found: dict[str, list[str]] = {}
    for address in addresses(site, names_by_room()[room]):
        page.goto(address)
        if faults := list(faults_of(page, axe_faults)):
            found[address] = faults
    assert found == {}


def test_a_refusal_fits_and_can_be_read_by_all(
    site: Site, page_of: Any, axe_faults: Any
) -> None:
    page = page_of(site.cast.people.reader)
    for address, status in [("/registry/areas/add/", 403), ("/nowhere/", 404)]:
        answer = page.goto(address)
        assert (address, answer.status) == (address, status)
        assert (address, list(faults_of(page, axe_faults))) == (address, [])
