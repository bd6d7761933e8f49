"""Every address of the site: that there is an example, and what an answer costs."""

import re
from collections import Counter
from collections.abc import Callable, Iterator
from datetime import date
from typing import Any

import pytest
import time_machine
from django.core.cache import cache
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from maintenance.models import Reason, Stop
from oee.jobs import sweep
from tests.builders import NOW
from tests.config.every_address import OWN, example
from tests.config.how_it_opens import BUTTONS
from tests.config.tables import everything
from tests.config.whole_site import Site, make_site, pages

pytestmark = pytest.mark.django_db

MOST_QUERIES = 20
WITH_PERIOD = ("plant", "ranking", "area", "line", "cell_account")
#: What no argument of an example is, by its type.
UNKNOWN = {str: "nowhere", int: 999_999, date: date(2031, 5, 5)}


@pytest.fixture(autouse=True)
def _monday_noon() -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def site(db: None) -> Site:
    return make_site()


def costs(name: str, queries: CaptureQueriesContext) -> str:
    """How many questions an answer took, and which ones differ in their values only."""
    shapes = Counter(
        re.sub(r"'[^']*'|\b\d+(\.\d+)?\b", "?", query["sql"])
        for query in queries.captured_queries
    )
    repeated = [f"{times} × {sql}" for sql, times in shapes.items() if times > 1]
    return "\n".join([f"{name}: {len(queries)} questions.", *repeated])


def test_every_address_has_an_example(site: Site) -> None:
    assert set(pages(site)) == OWN


@pytest.mark.parametrize("period", ["today", "yesterday", "week", "28"])
def test_no_period_costs_more_questions(
    period: str, site: Site, client_of: Callable[[Any], Client]
) -> None:
    """Not of the first who asks either: running shifts are computed by the sweep."""
    client = client_of(site.cast.people.plant_manager)
    for name in WITH_PERIOD:
        cache.clear()
        sweep()
        address = f"{example(name, site)}?period={period}"
        with CaptureQueriesContext(connection) as queries:
            assert client.get(address).status_code == 200, address
        assert len(queries) <= MOST_QUERIES, costs(address, queries)


def test_a_question_asked_twice_is_named() -> None:
    with CaptureQueriesContext(connection) as queries:
        for pk in (1, 22):
            Stop.objects.filter(pk=pk).exists()
        Reason.objects.exists()
    first, *repeated = costs("a page", queries).splitlines()

    assert first == "a page: 3 questions."
    assert len(repeated) == 1
    assert repeated[0].startswith("2 × SELECT")
    assert "maintenance_stop" in repeated[0]


def test_an_unknown_code_is_not_found(
    site: Site, client_of: Callable[[Any], Client]
) -> None:
    client = client_of(site.cast.people.admin)
    before = everything()
    for name, given in pages(site).items():
        if not given:
            continue
        unknown = [UNKNOWN[type(one)] for one in given]
        address = reverse(name, args=unknown)
        method = client.post if name in BUTTONS else client.get
        assert method(address).status_code == 404, address
    assert everything() == before
