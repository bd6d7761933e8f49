from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from maintenance.planning.compliance import ClosedWindow, Outcome, pm_compliance
from tests.maintenance.planning.strategies import START, days

MARCH_1, MARCH_31 = date(2026, 3, 1), date(2026, 3, 31)


def closed(
    outcome: Outcome,
    *,
    closes: date = MARCH_31,
    safety: bool = False,
    minutes: int = 10,
) -> ClosedWindow:
    return ClosedWindow(closes=closes, outcome=outcome, safety=safety, minutes=minutes)


def test_deferred_and_open_tasks_stay_in_the_denominator() -> None:
    """Common practice, own arithmetic: 412 closed, 371 on time: 90.0 %."""
    windows = (
        [closed("on_time")] * 371
        + [closed("late")] * 8
        + [closed("deferred")] * 9
        + [closed("not_done")] * 24
    )
    figures = pm_compliance(windows, first=MARCH_1, last=MARCH_31).all
    assert (figures.on_time, figures.closed) == (371, 412)
    assert figures.ratio == pytest.approx(0.900, abs=0.0005)


@pytest.mark.parametrize(
    ("outcome", "counted"),
    [
        ("early", 1),
        ("late", 1),
        ("not_done", 1),
        ("missed", 1),
        ("deferred", 1),
        ("cancelled", 1),
        ("excused", 0),
    ],
)
def test_only_what_was_cancelled_with_cause_is_left_out(
    outcome: Outcome, counted: int
) -> None:
    figures = pm_compliance([closed(outcome)], first=MARCH_1, last=MARCH_31).all
    assert (figures.on_time, figures.closed) == (0, counted)


def test_a_period_takes_both_its_days_and_no_other() -> None:
    edges = [date(2026, 2, 28), MARCH_1, MARCH_31, date(2026, 4, 1)]
    windows = [closed("on_time", closes=day) for day in edges]
    assert pm_compliance(windows, first=MARCH_1, last=MARCH_31).all.closed == 2


def test_safety_tests_also_stand_alone() -> None:
    windows = [closed("on_time"), closed("late", safety=True)]
    figures = pm_compliance(windows, first=MARCH_1, last=MARCH_31)
    assert (figures.all.ratio, figures.safety.ratio) == (0.5, 0.0)


def test_labour_minutes_weigh_a_campaign_more_than_a_check() -> None:
    windows = [closed("on_time", minutes=2), closed("late", minutes=198)]
    figures = pm_compliance(windows, first=MARCH_1, last=MARCH_31).all
    assert (figures.ratio, figures.labour_ratio) == (0.5, 0.01)


def test_nothing_closed_is_unknown_and_not_zero() -> None:
    figures = pm_compliance([], first=MARCH_1, last=MARCH_31).all
    assert (figures.ratio, figures.labour_ratio) == (None, None)


def test_faulty_arguments_are_named() -> None:
    with pytest.raises(ValueError, match="ends \\(2026-03-01\\) before"):
        pm_compliance([], first=MARCH_31, last=MARCH_1)
    with pytest.raises(ValueError, match=r"minutes \(-1\)"):
        closed("late", minutes=-1)


@given(
    windows=st.lists(
        st.builds(
            ClosedWindow,
            closes=days,
            outcome=st.sampled_from(["on_time", "late", "missed", "excused"]),
            safety=st.booleans(),
            minutes=st.integers(0, 300),
        )
    ),
    cut=days,
)
def test_two_periods_side_by_side_sum_up_to_the_whole(
    windows: list[ClosedWindow], cut: date
) -> None:
    end = START + timedelta(days=200)
    whole = pm_compliance(windows, first=START, last=end)
    parts = (
        pm_compliance(windows, first=START, last=cut),
        pm_compliance(windows, first=cut + timedelta(days=1), last=end),
    )
    assert whole.all.closed == sum(part.all.closed for part in parts)
    assert whole.all.on_time == sum(part.all.on_time for part in parts)
    assert whole.all.closed_minutes == sum(part.all.closed_minutes for part in parts)
    assert whole.safety.closed == sum(part.safety.closed for part in parts)
    assert whole.safety.closed <= whole.all.closed
