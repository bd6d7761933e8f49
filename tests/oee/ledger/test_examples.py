"""Worked examples: each names where its numbers come from.

"Own arithmetic" are invented numbers worked by hand. Where a published formula is
named, "from memory" means that it was not at hand when the check was written.
"""

from dataclasses import replace
from datetime import UTC, datetime
from fractions import Fraction
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from oee.ledger.classes import LOSS_CLASSES
from oee.ledger.spread import spread
from oee.ledger.sums import Sums
from tests.oee.ledger.builders import MINUTE, flags_of, one_shift, one_sum
from tests.oee.ledger.painted import World

BREAKDOWN = LOSS_CLASSES.index("breakdown")


def test_the_book_example_of_total_productive_maintenance():
    # S. Nakajima, Introduction to TPM (1988), from memory: 460 minutes of loading, 60
    # down, 400 pieces at an ideal half minute, 98 % good; printed 87 %, 50 %, 98 % and
    # 42.6 %. Exactly 49/115.
    one = one_sum(minutes=460, stops=[("breakdown", 0, 60)], counts=[(400, 392, 30)])

    assert one.availability == pytest.approx(0.8695652174, abs=1e-10)
    assert one.performance == 0.5
    assert one.quality == 0.98
    assert one.oee == pytest.approx(0.4260869565, abs=1e-10)
    assert one.oee == 49 / 115
    # The identity that goes with it: ideal cycle × good pieces / loading time.
    assert one.oee == 0.5 * 392 / 460


@pytest.mark.parametrize(
    ("good", "oee"),
    [
        pytest.param(169_290, 0.84645, id="quality 99 %"),
        pytest.param(170_829, 0.854145, id="quality 99.9 %"),
    ],
)
def test_the_world_class_figure_is_the_product_of_its_three_factors(good, oee):
    # Nakajima, from memory: availability 90 %, performance 95 %, quality 99 %; 99.9 %
    # is the later popular form of "85 %".
    one = replace(
        Sums(counted=1, expected=1),
        scheduled_s=200_000,
        breakdown_s=20_000,
        ideal_total_us=171_000 * 10**6,
        ideal_good_us=good * 10**6,
    )

    assert (one.availability, one.performance) == (0.9, 0.95)
    assert one.oee == oee


def test_the_time_model_of_one_unit_by_the_international_formulas():
    # Constructed on the formulas of ISO 22400-2 (from memory): planned busy 450,
    # production 380, set-up 25, delay 25 and 20 not occupied; 0.9 minutes per piece,
    # 400 made, 388 good.
    one = one_sum(
        minutes=480,
        planned=[(0, 30)],
        stops=[("setup", 30, 55), ("supply", 55, 80), ("starved", 80, 100)],
        counts=[(400, 388, 54)],
    )

    assert one.busy_s == 450 * MINUTE
    assert one.availability == pytest.approx(0.8444444444, abs=1e-10)
    assert one.performance == pytest.approx(0.9473684211, abs=1e-10)
    assert one.quality == 0.97
    assert one.oee == 0.776


# Constructed, exact: planned and run minutes, ideal seconds, made, good.
THREE_CELLS = {
    "A": (460, 400, 30, 400, 392),
    "B": (920, 874, 60, 760, 722),
    "C": (480, 288, 90, 160, 160),
}


def three_cells():
    return {
        cell: one_sum(
            minutes=busy,
            stops=[("breakdown", 0, busy - run)],
            counts=[(made, good, ideal)],
        )
        for cell, (busy, run, ideal, made, good) in THREE_CELLS.items()
    }


def test_a_roll_up_of_three_cells_divides_sums_and_never_averages():
    cells = three_cells()
    area = sum(cells.values(), Sums())

    assert cells["A"].oee == pytest.approx(0.4260869565, abs=1e-10)
    assert cells["B"].oee == pytest.approx(0.7847826087, abs=1e-10)
    assert cells["C"].oee == 0.5
    assert area.availability == 1562 / 1860
    assert area.performance == 1200 / 1562
    # By ideal time; by pieces it were 1274/1320, and the product would not be the OEE.
    assert area.quality == 1158 / 1200
    assert area.oee == 193 / 310
    mean = sum(cell.oee for cell in cells.values()) / 3
    assert mean == pytest.approx(0.5702898551, abs=1e-10)
    assert abs(area.oee - mean) > 0.05


def test_oee_weighted_by_planned_busy_time_is_the_roll_up_exactly():
    cells = three_cells().values()
    area = sum(cells, Sums())

    weighted = sum(
        cell.busy_s * Fraction(cell.ideal_good_us, cell.busy_s * 10**6)
        for cell in cells
    )
    assert weighted / area.busy_s == Fraction(193, 310)
    assert Fraction(area.ideal_good_us, area.busy_s * 10**6) == Fraction(193, 310)


# The first example, own arithmetic: 480 minutes, 40 of breaks, 52 stopped, 360 made.
BASE = {
    "breaks": [(120, 140), (300, 320)],
    "stops": [("breakdown", 0, 40), ("minor", 400, 412)],
    "counts": [(360, 351, 60)],
}


def test_base_shift():
    one = one_sum(**BASE | {"stops": [("breakdown", 0, 52)]})

    assert one.availability == 388 / 440
    assert one.performance == 360 / 388
    assert one.quality == 351 / 360
    assert one.oee == 351 / 440


def test_logged_minor_stops_lower_performance_and_not_availability():
    # Own arithmetic: the same 52 minutes, 12 of them minor.
    one = one_sum(**BASE)

    assert one.availability == 400 / 440
    assert one.performance == 360 / 400
    assert one.oee == 351 / 440


def test_a_break_worked_through_is_planned_time():
    # Own arithmetic. With the break left in, performance would be 415/410.
    shift = {"stops": [("breakdown", 0, 40)], "counts": [(415, 415, 60)]}
    right = one_sum(**shift)
    wrong = one_shift(**shift, breaks=[(200, 230)])

    assert right.availability == 440 / 480
    assert right.performance == 415 / 440
    assert right.oee == 415 / 480
    assert flags_of(wrong) == ("faster_than_ideal",)


def test_starved_and_blocked_minutes_are_kept_apart_from_the_cells_own():
    # Own arithmetic: 450 planned, own 27, blocked 40, starved 33, 330 good.
    one = one_sum(
        minutes=450,
        stops=[("breakdown", 0, 27), ("blocked", 50, 90), ("starved", 100, 133)],
        counts=[(330, 330, 60)],
    )

    assert one.oee == 330 / 450
    assert one.availability == 350 / 450
    assert one.done_to_s == 73 * MINUTE
    assert one.stand_alone_oee == 330 / 377
    assert one.run_s / (one.busy_s - one.done_to_s) == 350 / 377
    assert one.own_lost_us == 27 * MINUTE * 10**6


def test_three_variants_each_bring_their_own_ideal_cycle():
    # Own arithmetic: 108 + 96 2/3 + 66 ideal minutes in 300. The mean cycle would give
    # 92.3 %.
    one = one_sum(minutes=300, counts=[(120, 120, 54), (100, 100, 58), (60, 60, 66)])

    assert one.performance == (120 * 54 + 100 * 58 + 60 * 66) / (300 * 60)
    assert round(one.performance, 3) == 0.902


def test_performance_above_1_is_shown_as_it_is_and_flagged():
    # Own arithmetic: 405 made in 390 minutes at 60 s; at 56 s it is 378/390.
    too_fast = one_shift(minutes=390, counts=[(405, 405, 60)])

    assert one_sum(minutes=390, counts=[(405, 405, 60)]).performance == 405 / 390
    assert flags_of(too_fast) == ("faster_than_ideal",)
    corrected = {"minutes": 390, "counts": [(405, 405, 56)]}
    assert one_sum(**corrected).performance == 378 / 390
    assert flags_of(one_shift(**corrected)) == ()


def test_two_robots_down_at_once_cost_the_cell_the_union():
    # Own arithmetic: 10:00 to 10:20 and 10:12 to 10:30 are 30 minutes, not 38.
    accounts = one_shift(stops=[("breakdown", 240, 260), ("breakdown", 252, 270)])

    assert accounts.breakdown_s.tolist() == [30 * MINUTE]
    assert accounts.stop_owned_s.tolist() == [20 * MINUTE, 10 * MINUTE]


def test_a_stop_over_the_shift_change_is_shared_by_both_shifts():
    # Own arithmetic: 13:40 to 14:25 around 14:00; minutes from 06:00.
    shifts = np.array([0, 480]) * MINUTE
    touches = spread(
        shift_cells=np.array([1, 1]),
        shift_starts=shifts,
        shift_ends=shifts + 480 * MINUTE,
        cells=np.array([1]),
        starts=np.array([460 * MINUTE]),
        ends=np.array([505 * MINUTE]),
    )
    accounts = World(
        shifts=[(start, start + 480 * MINUTE, True) for start in shifts.tolist()],
        stops=[
            (shift, BREAKDOWN, 460 * MINUTE, 505 * MINUTE, 0)
            for shift in touches.cell_shift.tolist()
        ],
    ).compute()

    assert accounts.breakdown_s.tolist() == [20 * MINUTE, 25 * MINUTE]


def test_a_stop_over_a_break_loses_only_what_lies_outside_it():
    # Own arithmetic: 10:50 to 11:40 with a break from 11:00 to 11:30.
    one = one_sum(breaks=[(300, 330)], stops=[("breakdown", 290, 340)])

    assert one.breakdown_s == 20 * MINUTE


PLANT_ZONE = ZoneInfo("Europe/Berlin")


def utc_seconds(day: int, month: int, clock: str, fold: int = 0) -> int:
    hour, minute = map(int, clock.split(":"))
    local = datetime(2026, month, day, hour, minute, tzinfo=PLANT_ZONE, fold=fold)
    return int(local.astimezone(UTC).timestamp())


@pytest.mark.parametrize(
    ("shift", "stop", "shift_minutes", "stop_minutes"),
    [
        pytest.param(
            (utc_seconds(28, 3, "22:00"), utc_seconds(29, 3, "06:00")),
            (utc_seconds(29, 3, "01:30"), utc_seconds(29, 3, "03:30")),
            420,
            60,
            id="spring, an hour is missing",
        ),
        pytest.param(
            (utc_seconds(24, 10, "22:00"), utc_seconds(25, 10, "06:00")),
            (utc_seconds(25, 10, "02:40"), utc_seconds(25, 10, "02:10", fold=1)),
            540,
            30,
            id="autumn, an hour comes twice",
        ),
    ],
)
def test_the_nights_of_the_clock_change(shift, stop, shift_minutes, stop_minutes):
    # Own arithmetic on the changes of 2026 in central Europe: 29 March, 25 October.
    accounts = World(
        shifts=[(*shift, True)], stops=[(0, BREAKDOWN, *stop, 0)]
    ).compute()

    assert accounts.scheduled_s.tolist() == [shift_minutes * MINUTE]
    assert accounts.breakdown_s.tolist() == [stop_minutes * MINUTE]


def test_a_repaired_body_is_not_good_the_first_time():
    # Own arithmetic: 360 made, 6 repaired, 3 scrap; the 6 stay a quality loss.
    one = one_sum(counts=[(360, 351, 60)])

    assert one.quality == 0.975
    assert one.reject_us == 9 * MINUTE * 10**6


@pytest.mark.parametrize(
    ("minutes_and_good", "oee", "mean"),
    [
        pytest.param([(450, 350), (200, 78)], 428 / 650, 0.584, id="two cells"),
        pytest.param([(440, 351), (200, 100)], 451 / 640, 0.649, id="two shifts"),
        pytest.param(
            [(880, 704), (440, 286), (220, 99)],
            1089 / 1540,
            0.633,
            id="area of three lines",
        ),
    ],
)
def test_percentages_are_never_averaged(minutes_and_good, oee, mean):
    # Own arithmetic; the mean of the percentages is the wrong answer.
    parts = [
        one_sum(minutes=busy, counts=[(good, good, 60)])
        for busy, good in minutes_and_good
    ]

    assert sum(parts, Sums()).oee == oee
    assert sum(part.oee for part in parts) / len(parts) == pytest.approx(mean, abs=6e-4)


def test_planned_maintenance_that_runs_over_is_a_stop_for_the_rest():
    # Own arithmetic: 440 minutes, 20 scheduled, 32 taken, 40 of other stops, 340 good.
    shift = {"minutes": 440, "counts": [(340, 340, 60)]}
    stops = [("breakdown", 100, 132), ("supply", 200, 240)]
    one = one_sum(**shift, planned=[(100, 120)], stops=stops)

    assert one.busy_s == 420 * MINUTE
    assert one.down_s == 52 * MINUTE
    assert one.availability == 368 / 420
    assert one.oee == 340 / 420
    assert one_sum(**shift, stops=stops).oee == 340 / 440


def test_a_bypassed_robot_costs_performance_and_not_availability():
    # Own arithmetic: 200 minutes at 72 s make 166 bodies, 240 at 60 s make 240.
    one = one_sum(minutes=440, counts=[(406, 406, 60)])

    assert one.availability == 1
    assert one.performance == 406 / 440
    assert one.slow_us == 34 * MINUTE * 10**6


def test_a_cell_faster_than_the_constraint_looks_worse_and_lost_nothing_itself():
    # Own arithmetic: 360 bodies through both in 440 minutes, at 62 s and at 54 s.
    constraint = one_sum(minutes=440, counts=[(360, 360, 62)])
    neighbour = one_sum(minutes=440, counts=[(360, 360, 54)])

    assert constraint.oee == 372 / 440
    assert neighbour.oee == 324 / 440
    assert neighbour.own_lost_us == 0


def test_what_nobody_explained_is_what_is_left():
    # Own arithmetic: 440 = 351 good + 9 rejected + 28 unexplained + 52 stopped.
    one = one_sum(**BASE)

    assert one.slow_us == 28 * MINUTE * 10**6
    assert one.reject_us == 9 * MINUTE * 10**6
    assert one.all_lost_us == (440 - 351) * MINUTE * 10**6


@pytest.mark.parametrize(
    ("stopped", "availability", "performance"),
    [
        pytest.param(440, 0, None, id="stopped all the time"),
        pytest.param(410, 30 / 440, 0, id="ran for 30 minutes"),
    ],
)
def test_a_count_of_zero(stopped, availability, performance):
    # Own arithmetic: never 0 divided by 0, never 100 %.
    one = one_sum(minutes=440, stops=[("breakdown", 0, stopped)], counts=[(0, 0, 60)])

    assert one.availability == availability
    assert one.performance == performance
    assert one.quality is None
    assert one.oee == 0


def test_time_that_was_not_planned_has_no_oee():
    one = one_sum(minutes=440, planned=[(0, 440)], counts=[(0, 0, 60)])

    assert one.availability is None
    assert one.performance is None
    assert one.quality is None
    assert one.oee is None
