"""A whole year, from the database to stored rows."""

import time

from config.benchmark import Say
from config.benchmark.plant import SMALL, YEAR, make_plant
from oee.recompute import bring_up_to_date, mark_all


def run(say: Say, *, small: bool) -> None:
    size = SMALL if small else YEAR
    make_plant(size)
    say(f"{size}")
    mark_all()
    began = time.perf_counter()
    done = bring_up_to_date()
    say(
        f"bring_up_to_date: {done:,} cell-shifts in {time.perf_counter() - began:.1f} s"
    )
