"""Roll-ups: seconds first, one division last."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from oee.ledger.ranking import rank_cells
from oee.ledger.sums import Sums, cell_shift, roll_up, seconds
from tests.oee.ledger.builders import one_sum, sums_of, worlds


@given(worlds(), st.data())
def test_a_bulk_roll_up_is_the_sum_of_its_cell_shifts(world, data):
    accounts = world.compute()
    groups = data.draw(
        st.lists(
            st.integers(0, 1),
            min_size=len(world.shifts),
            max_size=len(world.shifts),
        )
    )

    rolled = roll_up(accounts, np.array(groups), 2)

    for group in (0, 1):
        members = [i for i, own in enumerate(groups) if own == group]
        assert rolled[group] == sum((sums_of(accounts, i) for i in members), Sums())


@given(st.lists(worlds(), min_size=3, max_size=3))
def test_roll_ups_of_roll_ups_are_the_roll_up_of_all(three):
    a, b, c = (sums_of(world.compute()) for world in three)

    assert (a + b) + c == a + (b + c)
    assert a + b == b + a


def test_time_that_was_not_planned_is_outside_every_roll_up():
    planned = one_sum(counts=[(360, 351, 60)])
    unplanned = one_sum(planned=[(0, 480)], counts=[(10, 10, 60)])

    assert planned + unplanned == planned + Sums()
    assert unplanned.oee is None
    # Rule: the account of a counted cell-shift closes, also where busy is 0.
    assert unplanned.slow_us == -unplanned.ideal_total_us
    assert unplanned.quality == 1


def test_a_cell_shift_without_a_count_keeps_its_own_stops_and_its_coverage():
    counted = one_sum(stops=[("setup", 0, 10)], counts=[(100, 90, 60)])
    uncounted = one_sum(stops=[("breakdown", 0, 30), ("starved", 60, 90)])

    both = counted + uncounted

    assert (both.reported, both.expected) == (1, 2)
    assert both.oee == 90 / 480
    assert both.breakdown_s == 0
    assert both.starved_s == 0
    # Own arithmetic: 10 of set-up, 10 rejects of 60 s and the uncounted 30.
    assert seconds(both.own_lost_us) == 50 * 60
    assert both.expected_busy_s == 960 * 60


def test_alone_a_cell_shift_without_a_count_still_shows_its_availability():
    uncounted = one_sum(stops=[("breakdown", 0, 48)])

    assert uncounted.availability == 0.9
    assert uncounted.slow_us is None
    assert uncounted.reject_us is None
    assert uncounted.all_lost_us is None
    assert uncounted.stand_alone_oee is None
    assert seconds(uncounted.slow_us) is None
    assert seconds(uncounted.own_lost_us) == 48 * 60


def test_a_cell_that_only_waited_has_no_stand_alone_oee():
    waited = one_sum(stops=[("starved", 0, 480)], counts=[(0, 0, None)])

    assert waited.stand_alone_oee is None
    assert waited.oee == 0


def test_a_roll_up_of_nothing_knows_nothing():
    nothing = sum([], Sums())

    assert nothing.availability is None
    assert nothing.oee is None
    assert nothing.slow_us is None
    assert nothing.own_lost_us == 0


# Own arithmetic: of 480 minutes each, A lost 20 by its own fault and 480 - 400 in all,
# B 30 and nobody counted, C 20 and 480 - 300; D was not planned; E lost nothing.
CELLS = {
    "E": one_sum(counts=[(480, 480, 60)]) + Sums(),
    "D": one_sum(planned=[(0, 480)]),
    "C": one_sum(stops=[("minor", 0, 20)], counts=[(300, 300, 60)]) + Sums(),
    "B": one_sum(stops=[("breakdown", 0, 30)]) + Sums(),
    "A": one_sum(stops=[("setup", 0, 20)], counts=[(400, 400, 60)]) + Sums(),
}


@pytest.mark.parametrize(
    ("by", "order"),
    [
        pytest.param("own", ["B", "A", "C", "E"], id="own, ties by code"),
        pytest.param("all", ["C", "A", "E", "B"], id="all, the unknown last"),
    ],
)
def test_cells_are_ranked_by_the_chosen_seconds(by, order):
    ranked = rank_cells(CELLS, by=by)

    assert [row.cell for row in ranked] == order
    assert [row.rank for row in ranked] == [1, 2, 3, 4]


def test_a_ranked_cell_tells_its_lost_time_per_100_planned_hours():
    row = rank_cells({"B": CELLS["B"]}, by="own")[0]

    # Own arithmetic: 30 minutes in 8 hours are 375 in 100.
    assert row.per_100_h == 375
    assert row.busy_s == 480 * 60
    assert row.own_lost_us == 30 * 60 * 10**6
    assert row.all_lost_us is None
    assert row.slow_us is None


def test_no_cell_leaves_the_ranking_by_not_counting():
    days = [{"scheduled_s": 28800, "breakdown_s": lost} for lost in (600, 900)]
    cell = cell_shift(days[0], counted=True) + cell_shift(days[1], counted=False)

    row = rank_cells({"A": cell}, by="own")[0]

    assert seconds(row.own_lost_us) == 1500
    assert row.busy_s == 57600
    # Over the counted day only: 28800 planned, nothing made.
    assert seconds(row.all_lost_us) == 28800
    assert seconds(row.slow_us) == 28200
