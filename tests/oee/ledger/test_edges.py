"""The corners of the rules, each by name."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from oee.ledger.account import compute_accounts
from oee.ledger.classes import LOSS_CLASSES
from oee.ledger.flags import Flag, names
from oee.ledger.inputs import STILL_RUNNING, LedgerInputs, Shifts
from oee.ledger.spread import spread
from tests.oee.ledger.builders import MINUTE, flags_of, one_shift, one_sum
from tests.oee.ledger.painted import World

COUNT = [(100, 100, 60)]
BREAKDOWN, MINOR = LOSS_CLASSES.index("breakdown"), LOSS_CLASSES.index("minor")


@pytest.mark.parametrize(
    ("shift", "flags"),
    [
        pytest.param({"counts": COUNT}, (), id="nothing to say"),
        pytest.param({}, ("no_count",), id="no count"),
        pytest.param({"planned": [(0, 480)]}, ("no_count",), id="no count, not busy"),
        pytest.param({"counts": [(5, 5, None)]}, ("no_ideal_cycle",), id="no cycle"),
        pytest.param({"counts": [(0, 0, None)]}, (), id="nothing made, no cycle"),
        pytest.param(
            {"counts": [*COUNT, (5, 5, None)]}, ("no_ideal_cycle",), id="one without"
        ),
        pytest.param(
            {"counts": COUNT, "confirmed": False}, ("not_confirmed",), id="unconfirmed"
        ),
        pytest.param(
            {"counts": COUNT, "from_line": True}, ("count_from_line",), id="from line"
        ),
        pytest.param(
            {"counts": COUNT, "planned": [(0, 480)]},
            ("unplanned_output",),
            id="made when nothing was planned",
        ),
        pytest.param(
            {"counts": [(0, 0, 60)], "planned": [(0, 480)]},
            (),
            id="made nothing when nothing was planned",
        ),
        pytest.param(
            {"counts": [(480, 480, 60)]}, (), id="exactly as fast as the ideal"
        ),
        pytest.param(
            {"confirmed": False, "late": [(0, 10)], "tallies": [("minor", 471)]},
            ("declared_late", "no_count", "not_confirmed", "overlogged"),
            id="several, in alphabetical order",
        ),
    ],
)
def test_flags_tell_what_to_know_before_trusting_the_figures(shift, flags):
    assert flags_of(one_shift(**shift)) == flags


def test_the_names_of_all_flags_are_in_alphabetical_order():
    everything = names(sum(Flag))

    assert list(everything) == sorted(flag.name.lower() for flag in Flag)
    assert len(everything) == 8


def test_a_stopped_cell_that_still_counted_has_no_performance():
    shift = {"stops": [("breakdown", 0, 480)], "counts": COUNT}

    assert flags_of(one_shift(**shift)) == ()
    one = one_sum(**shift)
    assert one.performance is None
    # Nothing is capped: 100 ideal minutes were made in none.
    assert one.slow_us == -100 * MINUTE * 10**6
    assert one.oee == 100 / 480


def test_a_planned_stop_declared_late_counts_and_is_shown():
    accounts = one_shift(planned=[(0, 30)], late=[(20, 60)], breaks=[(50, 70)])

    # Own arithmetic: [0, 50) is planned, of which only the late one covers [30, 50).
    assert accounts.planned_s.tolist() == [50 * MINUTE]
    assert accounts.planned_late_s.tolist() == [20 * MINUTE]
    assert accounts.break_s.tolist() == [20 * MINUTE]
    assert flags_of(accounts) == ("declared_late", "no_count")


def test_a_late_planned_stop_that_adds_nothing_is_not_flagged():
    assert flags_of(one_shift(planned=[(0, 60)], late=[(20, 60)])) == ("no_count",)


def test_breaks_that_overlap_or_leave_the_shift_count_once():
    accounts = one_shift(breaks=[(-10, 20), (10, 30), (470, 500)])

    assert accounts.break_s.tolist() == [40 * MINUTE]


def test_the_higher_class_owns_what_two_stops_claim():
    accounts = one_shift(stops=[("starved", 0, 60), ("setup", 30, 90)])

    assert accounts.stop_owned_s.tolist() == [30 * MINUTE, 60 * MINUTE]


def test_a_lower_stop_keeps_both_sides_of_a_higher_one():
    accounts = one_shift(stops=[("starved", 0, 60), ("setup", 20, 30)])

    assert accounts.stop_owned_s.tolist() == [50 * MINUTE, 10 * MINUTE]


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_equal_starts_are_decided_by_the_lowest_ref(order):
    accounts = World(
        shifts=[(0, 100, True)],
        stops=[(0, BREAKDOWN, 10, 30, order[0]), (0, BREAKDOWN, 10, 30, order[1])],
    ).compute()

    assert accounts.stop_owned_s.tolist() == ([20, 0] if order == (0, 1) else [0, 20])


def test_a_stop_from_the_shift_before_comes_first_whatever_its_ref():
    accounts = World(
        shifts=[(100, 200, True)],
        stops=[(0, BREAKDOWN, 100, 150, 0), (0, BREAKDOWN, 90, 150, 1)],
    ).compute()

    assert accounts.stop_owned_s.tolist() == [0, 50]


def test_stops_of_shifts_laid_side_by_side_never_mix():
    accounts = World(
        shifts=[(0, 100, True), (0, 100, True)],
        stops=[(0, BREAKDOWN, 50, 500, 0), (1, BREAKDOWN, -500, 20, 1)],
    ).compute()

    assert accounts.breakdown_s.tolist() == [50, 20]


def test_a_running_stop_is_computed_up_to_the_given_moment():
    world = {
        "shifts": [(0, 480, True)],
        "stops": [(0, BREAKDOWN, 90, STILL_RUNNING, 0)],
    }

    assert World(**world, until=100).compute().breakdown_s.tolist() == [10]
    assert World(**world, until=100).compute().scheduled_s.tolist() == [100]
    # Once the shift has ended it runs to the shift's end.
    assert World(**world, until=999).compute().breakdown_s.tolist() == [390]


def test_a_shift_that_has_not_begun_by_then_is_empty():
    accounts = one_shift(until=-5, stops=[("setup", 0, 30)], tallies=[("minor", 1)])

    assert accounts.scheduled_s.tolist() == [0]
    assert accounts.stop_owned_s.tolist() == [0]
    assert flags_of(accounts) == ("no_count", "overlogged")


def test_tallies_take_what_no_stop_owns_in_order_of_class():
    accounts = one_shift(
        minutes=60,
        stops=[("starved", 0, 40)],
        tallies=[("blocked", 15), ("minor", 9)],
    )

    # Own arithmetic: 20 are left; minor is served first, blocked gets the other 11.
    assert accounts.tally_owned_s.tolist() == [11 * MINUTE, 9 * MINUTE]
    assert accounts.minor_s.tolist() == [9 * MINUTE]
    assert accounts.blocked_s.tolist() == [11 * MINUTE]
    assert flags_of(accounts) == ("no_count", "overlogged")


def test_tallies_that_just_fit_are_not_overlogged():
    accounts = one_shift(minutes=60, tallies=[("minor", 40), ("minor", 20)])

    assert accounts.minor_s.tolist() == [3600]
    assert flags_of(accounts) == ("no_count",)


def test_ideal_time_keeps_the_decimals_of_the_cycles():
    accounts = World(
        shifts=[(0, 100, True)], counts=[(0, 3, 2, 12_345_678, False)]
    ).compute()

    assert accounts.ideal_total_us.tolist() == [37_037_034]
    assert accounts.ideal_good_us.tolist() == [24_691_356]


def test_no_cell_shifts_have_no_account():
    accounts = compute_accounts(LedgerInputs(shifts=Shifts.of([])))

    assert len(accounts.busy_s) == 0
    assert len(accounts.flags) == 0


SHIFT = [(0, 100, True)]


@pytest.mark.parametrize(
    ("tables", "message"),
    [
        pytest.param(
            {"shifts": [(5, 4, True)]},
            r"shifts row 0: ends \(4\) must not be before the start\.",
            id="shift ends before it starts",
        ),
        pytest.param(
            {"stops": [(0, 1, 5, 6, 0), (0, 1, 9, 8, 1)]},
            r"stops row 1: ends \(8\) must not be before the start\.",
            id="stop ends before it starts",
        ),
        pytest.param(
            {"planned": [(0, 9, 8, False)]},
            r"planned stops row 0: ends \(8\) must not be before the start\.",
            id="planned stop ends before it starts",
        ),
        pytest.param(
            {"breaks": [(1, 0, 5)]},
            r"breaks row 0: cell_shift \(1\) must be the place of a shift\.",
            id="no such shift",
        ),
        pytest.param(
            {"stops": [(0, 0, 5, 6, 0)]},
            r"stops row 0: loss_class \(0\) must be 1 to 9; planned time comes from",
            id="planned as a stop",
        ),
        pytest.param(
            {"tallies": [(0, 10, 5, 0)]},
            r"tallies row 0: loss_class \(10\) must be 1 to 9",
            id="no such class",
        ),
        pytest.param(
            {"tallies": [(0, 1, -5, 0)]},
            r"tallies row 0: seconds \(-5\) must not be negative\.",
            id="negative tally",
        ),
        pytest.param(
            {"counts": [(0, 5, 6, 1, False)]},
            r"counts row 0: total \(5\) must not be less than good\.",
            id="more good than made",
        ),
        pytest.param(
            {"counts": [(0, 5, -1, 1, False)]},
            r"counts row 0: good \(-1\) must not be negative\.",
            id="negative good",
        ),
        pytest.param(
            {"counts": [(0, 5, 5, 0, False)]},
            r"counts row 0: ideal_us \(0\) must be positive, or -1",
            id="cycle of no time",
        ),
        pytest.param(
            {"counts": [(0, 2**31, 0, 2**32, False)]},
            r"counts are too many to add up",
            id="beyond 64 bits",
        ),
        pytest.param(
            {"stops": [(0, 1, 5, 6, 3), (0, 1, 5, 9, 3)]},
            r"stops row 1: order \(3\) must differ",
            id="stops that only entry tells apart",
        ),
        pytest.param(
            {"tallies": [(0, MINOR, 5, 3), (0, MINOR, 6, 3)]},
            r"tallies row 1: order \(3\) must differ",
            id="tallies that only entry tells apart",
        ),
    ],
)
def test_what_no_account_can_be_made_of_is_refused_by_name(tables, message):
    with pytest.raises(ValueError, match=message):
        World(**{"shifts": SHIFT, **tables}).compute()


def test_columns_of_other_numbers_or_lengths_are_refused():
    whole, flag = np.array([1]), np.array([True])

    with pytest.raises(ValueError, match="shifts starts must be one column of int64"):
        Shifts(starts=np.array([0.5]), ends=whole, confirmed=flag)
    with pytest.raises(ValueError, match="shifts must have columns of one length"):
        Shifts(starts=np.array([0, 1]), ends=whole, confirmed=flag)


@st.composite
def cells_with_shifts(draw):
    """Shifts of some cells that do not overlap, shuffled, as (cell, start, end)."""
    shifts = []
    for cell in draw(st.sets(st.integers(-3, 3), min_size=0)):
        marks = draw(st.lists(st.integers(0, 9), max_size=6))
        marks.sort()
        shifts += [(cell, s, e) for s, e in zip(marks[::2], marks[1::2], strict=False)]
    return draw(st.permutations(shifts))


@given(
    cells_with_shifts(),
    st.lists(
        st.tuples(
            st.integers(-4, 4),
            st.integers(-2, 11),
            st.one_of(st.integers(-2, 11), st.just(STILL_RUNNING)),
        ),
        max_size=6,
    ),
)
def test_an_interval_touches_the_shifts_of_its_cell_that_share_a_second(
    shifts, intervals
):
    shift_cells, shift_starts, shift_ends = np.array(shifts, int).reshape(-1, 3).T
    cells, starts, ends = np.array(intervals, int).reshape(-1, 3).T

    touches = spread(
        shift_cells=shift_cells,
        shift_starts=shift_starts,
        shift_ends=shift_ends,
        cells=cells,
        starts=starts,
        ends=ends,
    )

    pairs = list(zip(touches.interval, touches.cell_shift, strict=True))
    assert len(set(pairs)) == len(pairs)
    assert set(pairs) == {
        (i, k)
        for i, (cell, start, end) in enumerate(intervals)
        for k, (owner, shift_start, shift_end) in enumerate(shifts)
        if cell == owner and max(start, shift_start) < min(end, shift_end)
    }


def test_shifts_of_one_cell_that_overlap_are_refused():
    none = np.array([], int)

    with pytest.raises(
        ValueError, match="Two shifts of cell 7 overlap: one ends at 11"
    ):
        spread(
            shift_cells=np.array([7, 7]),
            shift_starts=np.array([10, 0]),
            shift_ends=np.array([20, 11]),
            cells=none,
            starts=none,
            ends=none,
        )
