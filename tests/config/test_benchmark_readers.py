"""The benchmark's visitors, and the bare SQL that it holds roll-ups against."""

import random
from typing import Any

import pytest
import time_machine
from django.conf import settings
from django.test import Client

from config.benchmark import rollups, visitors
from config.benchmark.visitors import Visit
from oee.rollups import accounts, sums_by
from tests.builders import NOW
from tests.config.whole_site import make_site
from tests.oee.stored import FIRST, LAST, make_stored_plant

pytestmark = pytest.mark.django_db


def test_every_page_that_a_visitor_reads_is_there() -> None:
    with time_machine.travel(NOW, tick=False):
        make_site()
        read = set()
        for visitor in visitors.make_visitors(14):
            client = Client()
            name, _, key = visitor.cookie.partition("=")
            assert name == settings.SESSION_COOKIE_NAME
            client.cookies[name] = key
            for kind, address in visitor.pages:
                assert client.get(address, follow=True).status_code == 200, address
                read.add(kind)

    assert {"plant", "ranking", "shift", "shift, one cell", "area", "due"} <= read


def test_the_report_names_each_kind_its_percentiles_and_the_errors() -> None:
    taken = [Visit(kind="plant", seconds=n / 1000, fault="") for n in range(101)]
    lost = Visit(kind="due", seconds=2.0, fault="status 500")
    said = list(visitors.report([*taken, lost], took=51.0, pauses=True))

    assert said[
        0
    ] == "50 people at once, a page every 5 s each: 2.0 pages a second, " + ("1 errors")
    assert [line.split() for line in said if "plant" in line] == [
        ["plant", "101", "pages,", "p50", "50", "ms,", "p95", "95", "ms"]
    ]
    assert said[-2].split()[:2] == ["all", "102"]
    assert said[-1].strip() == "status 500: 1 times"


@pytest.mark.parametrize("only", ["1 = 1", rollups.COUNTING])
def test_the_bare_sql_sums_the_rows_that_the_roll_up_sums(only: str) -> None:
    make_stored_plant(random.Random(5))
    sql = rollups.sums_of("cell_id", only)
    bare: dict[int, Any] = {
        cell: sums for cell, *sums in rollups.bare(sql, [FIRST, LAST])
    }
    basis = "cells" if only == "1 = 1" else "counting"
    ours = sums_by(accounts(first=FIRST, last=LAST, basis=basis), "cell")

    assert set(bare) == {cell for (cell,) in ours}
    place = rollups.SECONDS.index("ideal_good_us")
    for (cell,), sums in ours.items():
        assert bare[cell][place] == sums.ideal_good_us


def test_ours_and_bare_sql_are_measured_in_turns() -> None:
    done: list[str] = []
    ours, bare = rollups.in_turns(lambda: done.append("ours"), "SELECT 1", [], turns=3)

    assert done == ["ours"] * 4
    assert ours >= 0
    assert bare > 0
