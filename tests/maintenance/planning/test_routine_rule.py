from decimal import Decimal
from typing import Any

import pytest

from maintenance.planning.routine_rule import RoutineRule, tolerance_days


@pytest.mark.parametrize(
    ("every_days", "expected"),
    [
        pytest.param(1, 1, id="at least a day"),
        pytest.param(14, 1, id="1.4 down"),
        pytest.param(15, 2, id="1.5 up"),
        pytest.param(25, 3, id="2.5 up, not to the even"),
        pytest.param(135, 14, id="13.5 up"),
        pytest.param(365, 14, id="at most 14"),
        # Common practice: 7 d ±1, 28 ±3, 90 ±9, 180 and above ±14.
        pytest.param(7, 1, id="a week"),
        pytest.param(28, 3, id="four weeks"),
        pytest.param(90, 9, id="a quarter"),
        pytest.param(180, 14, id="half a year"),
    ],
)
def test_the_tolerance_is_a_tenth_rounded_half_up(
    every_days: int, expected: int
) -> None:
    assert tolerance_days(every_days) == expected


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({}, "every_days, every_units or both"),
        ({"every_days": 0}, r"every_days \(0\)"),
        ({"every_days": 40_000}, r"every_days \(40000\)"),
        ({"every_units": Decimal(0)}, r"every_units \(0\)"),
        ({"every_units": Decimal("NaN")}, r"every_units \(NaN\)"),
        ({"every_days": 7, "anchor": "due"}, r"anchor \('due'\)"),
    ],
)
def test_a_rule_without_a_sound_interval_is_refused(
    fields: dict[str, Any], message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        RoutineRule(**fields)


def test_a_zero_interval_has_no_tolerance() -> None:
    with pytest.raises(ValueError, match=r"every_days \(0\)"):
        tolerance_days(0)


def test_a_tenth_of_the_units_is_exact() -> None:
    rule = RoutineRule(every_units=Decimal("0.3"))
    assert rule.tolerance_units == Decimal("0.03")
    assert rule.tolerance_days is None
