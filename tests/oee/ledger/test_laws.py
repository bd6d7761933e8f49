"""What holds of every account, whatever was entered."""

from dataclasses import fields, replace

import numpy as np
from hypothesis import assume, given
from hypothesis import strategies as st

from oee.ledger.account import CellShiftColumns
from oee.ledger.classes import DONE_TO, LOSS_CLASSES, OWN
from oee.ledger.sums import Sums
from tests.oee.ledger.builders import flags_of, moments, sums_of, worlds
from tests.oee.ledger.painted import Painted

COLUMNS = [field.name for field in fields(CellShiftColumns)]
SUMMED = ("scheduled_s", "break_s", "planned_s", "planned_late_s", "busy_s", "run_s")


def columns(accounts):
    return {name: getattr(accounts, name).tolist() for name in COLUMNS}


@given(worlds(until=True))
def test_every_column_is_what_painting_each_second_gives(world):
    accounts = world.compute()

    for shift in range(len(world.shifts)):
        figures = Painted(world, shift).figures()
        assert flags_of(accounts, shift) == figures.pop("flags")
        assert {name: getattr(accounts, name)[shift] for name in figures} == figures


@given(worlds(until=True))
def test_each_stop_and_each_tally_owns_the_seconds_painted_in_its_name(world):
    accounts = world.compute()

    painted = [Painted(world, shift) for shift in range(len(world.shifts))]
    stops = {row: s for shift in painted for row, s in shift.stop_owned.items()}
    tallies = {row: s for shift in painted for row, s in shift.tally_owned.items()}
    assert dict(enumerate(accounts.stop_owned_s)) == stops
    assert dict(enumerate(accounts.tally_owned_s)) == tallies


@given(worlds())
def test_the_account_of_a_counted_cell_shift_closes_to_the_second(world):
    accounts = world.compute()

    for shift in np.flatnonzero(accounts.counted):
        one = sums_of(accounts, shift)
        stopped_s = sum(getattr(one, f"{name}_s") for name in (*OWN, *DONE_TO))
        parts_us = one.slow_us + one.reject_us + one.ideal_good_us
        assert one.busy_s * 10**6 == stopped_s * 10**6 + parts_us


@given(worlds())
def test_a_class_is_the_seconds_of_its_stops_and_tallies_and_nothing_else(world):
    accounts = world.compute()

    for index, name in enumerate(LOSS_CLASSES[1:], start=1):
        owned = [0] * len(world.shifts)
        for row, seconds in enumerate(accounts.stop_owned_s):
            if world.stops[row][1] == index:
                owned[world.stops[row][0]] += seconds
        for row, seconds in enumerate(accounts.tally_owned_s):
            if world.tallies[row][1] == index:
                owned[world.tallies[row][0]] += seconds
        assert getattr(accounts, f"{name}_s").tolist() == owned


@given(worlds(until=True))
def test_busy_time_is_never_owned_twice(world):
    accounts = world.compute()

    assert (accounts.run_s >= accounts.minor_s).all()
    assert (accounts.planned_late_s <= accounts.planned_s).all()
    assert (accounts.busy_s >= 0).all()


@given(worlds(tallies=False), moments)
def test_splitting_a_shift_in_two_changes_no_total(world, moment):
    whole = world.compute()

    (start, end, confirmed), *others = world.shifts
    middle = min(max(moment, start), end)
    added = len(world.shifts)
    halves = replace(
        world,
        shifts=[(start, middle, confirmed), *others, (middle, end, confirmed)],
        **{
            table: rows + [(added, *row[1:]) for row in rows if row[0] == 0]
            for table in ("breaks", "planned", "stops")
            for rows in [getattr(world, table)]
        },
    ).compute()

    for name in (*SUMMED, *(f"{loss}_s" for loss in LOSS_CLASSES[1:])):
        column = getattr(halves, name)
        assert column[0] + column[added] == getattr(whole, name)[0]
    owned = halves.stop_owned_s[: len(world.stops)].copy()
    split = [row for row, stop in enumerate(world.stops) if stop[0] == 0]
    owned[split] += halves.stop_owned_s[len(world.stops) :]
    assert owned.tolist() == whole.stop_owned_s.tolist()


@given(worlds(until=True), st.randoms(use_true_random=False))
def test_the_order_of_entry_changes_nothing(world, random):
    entered = world.compute()

    tables = ("breaks", "planned", "stops", "tallies", "counts")
    places = {name: list(range(len(getattr(world, name)))) for name in tables}
    for rows in places.values():
        random.shuffle(rows)
    shuffled = replace(
        world,
        **{name: [getattr(world, name)[i] for i in places[name]] for name in tables},
    ).compute()

    assert columns(shuffled) == columns(entered)
    assert shuffled.stop_owned_s.tolist() == [
        entered.stop_owned_s[i] for i in places["stops"]
    ]
    assert shuffled.tally_owned_s.tolist() == [
        entered.tally_owned_s[i] for i in places["tallies"]
    ]


@given(worlds(tallies=False), st.data())
def test_withdrawing_a_stop_hands_its_seconds_on_and_takes_none(world, data):
    assume(world.stops)
    gone = data.draw(st.integers(0, len(world.stops) - 1))
    before = world.compute()

    left = [stop for row, stop in enumerate(world.stops) if row != gone]
    after = replace(world, stops=left).compute()

    kept = np.delete(before.stop_owned_s, gone)
    handed_on = after.stop_owned_s - kept
    assert (handed_on >= 0).all()
    assert handed_on.sum() <= before.stop_owned_s[gone]
    assert after.busy_s.tolist() == before.busy_s.tolist()


@given(worlds(), moments, st.integers(0, 150), st.data())
def test_a_stop_of_a_lower_class_takes_nothing_from_a_higher_one(
    world, start, length, data
):
    lower = data.draw(st.integers(2, len(LOSS_CLASSES) - 1))
    before = world.compute()

    added = (0, lower, start, start + length, len(world.stops))
    after = replace(world, stops=[*world.stops, added]).compute()

    higher = [row for row, stop in enumerate(world.stops) if stop[1] < lower]
    assert (after.stop_owned_s[higher] == before.stop_owned_s[higher]).all()


@given(worlds(), moments)
def test_a_running_shift_is_the_shift_that_ends_now(world, now):
    running = replace(world, until=now).compute()

    ended = replace(
        world,
        shifts=[(min(s, now), min(e, now), *rest) for s, e, *rest in world.shifts],
    ).compute()
    assert columns(running) == columns(ended)


@given(worlds())
def test_oee_is_the_product_of_its_factors_where_all_are_defined(world):
    accounts = world.compute()

    for shift in range(len(world.shifts)):
        one = sums_of(accounts, shift)
        factors = (one.availability, one.performance, one.quality)
        if None not in factors:
            a, p, q = factors
            assert abs(a * p * q - one.oee) <= 1e-12 * max(one.oee, 1)


@given(worlds())
def test_a_zero_denominator_gives_none_and_nothing_else_does(world):
    accounts = world.compute()

    for shift in range(len(world.shifts)):
        one = sums_of(accounts, shift)
        counted = bool(one.counted)
        assert (one.availability is not None) == (one.busy_s > 0)
        assert (one.performance is not None) == (counted and one.run_s > 0)
        assert (one.quality is not None) == (counted and one.ideal_total_us > 0)
        assert (one.oee is not None) == (counted and one.busy_s > 0)


@given(worlds())
def test_what_the_cell_lost_in_all_is_its_own_the_unexplained_and_the_others(world):
    accounts = world.compute()

    for shift in np.flatnonzero(accounts.counted):
        one = sums_of(accounts, shift)
        parts_us = one.own_lost_us + one.slow_us + one.done_to_s * 10**6
        assert one.all_lost_us == parts_us
        assert one + Sums() == (one if one.expected else Sums())
