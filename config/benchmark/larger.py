"""Ten times the cells: does a cell-shift cost more? Target: at most 1.1 times as much.

Both plants have as many cell-shifts, so that only their shape differs.
"""

from config.benchmark import Say
from config.benchmark.plant import Size, make_plant
from config.benchmark.timing import Took, timed
from oee.recompute import bring_up_to_date, mark_all

PLANTS = (Size(cells=250, days=120), Size(cells=2500, days=12))
SMALL = (Size(cells=10, days=10), Size(cells=100, days=1))


def run(say: Say, *, small: bool) -> None:
    usual, larger = (_computed(size, say) for size in (SMALL if small else PLANTS))
    say(f"ratio: {larger.over(usual)} a cell-shift (at most 1.1)")


def _computed(size: Size, say: Say) -> Took:
    make_plant(size)
    mark_all()
    took, done = timed(bring_up_to_date)
    say(f"{size}")
    say(f"bringing {done:,} cell-shifts up to date: {took}")
    return took
