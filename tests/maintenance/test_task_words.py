"""Limits and intervals in words; a value beyond a limit is said."""

from decimal import Decimal

import pytest

from maintenance.models import Routine, Step
from maintenance.task_words import beyond, every, limits

FORCE = Step(
    order=1,
    text="Force",
    unit="kN",
    act_low=Decimal("1.84"),
    watch_low=Decimal("1.90"),
    watch_high=Decimal("2.10"),
    act_high=Decimal("2.16"),
)


@pytest.mark.parametrize(
    ("value", "words"),
    [
        ("1.83", "act: below 1.84 kN"),
        ("1.84", "watch: below 1.9 kN"),
        ("1.90", ""),
        ("2.10", ""),
        ("2.11", "watch: above 2.1 kN"),
        ("2.16", "watch: above 2.1 kN"),
        ("2.17", "act: above 2.16 kN"),
    ],
)
def test_a_value_on_a_limit_is_inside_it(value, words):
    assert beyond(FORCE, Decimal(value)) == words


def test_limits_are_said_from_watch_to_act():
    assert limits(FORCE) == (
        "watch below 1.9 or above 2.1 kN, act below 1.84 or above 2.16 kN"
    )
    assert limits(Step(order=1, text="Look")) == ""


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"every_days": 1}, "every day"),
        ({"every_days": 28}, "every 28 days"),
        (
            {"every_units": Decimal(150_000), "meter": "spots"},
            "every 150,000 of its spots",
        ),
        (
            {"every_days": 28, "every_units": Decimal(5), "meter": "h"},
            "every 28 days or 5 of its h, whichever comes first",
        ),
    ],
)
def test_an_interval_is_said_as_people_say_it(facts, words):
    assert every(Routine(**facts)) == words
