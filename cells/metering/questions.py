"""Does a meter reading that a person entered ask a question before it is believed?

A question is no refusal: the reading is kept, and moves no due date until confirmed.
Own arithmetic: 400 in one hour on a meter that can run 300 an hour.

>>> from datetime import date
>>> history = MeterHistory([
...     MeterReading(at=0, on=date(2026, 3, 2), value=Decimal(5000)),
... ])
>>> entered = MeterReading(at=3600, on=date(2026, 3, 2), value=Decimal(5400))
>>> idle = ProductionCalendar(
...     (), known_from=date(2026, 1, 1), known_to=date(2026, 1, 1)
... )
>>> for question in reading_questions(
...     entered, history=history, production=idle, max_per_hour=Decimal(300)
... ):
...     print(question)
The reading 5400 is 400 above the last one (5000 on 2026-03-02), but in the 1.0 hours \
since then this meter can run 300 at most: correct it, or confirm it.
"""

from decimal import Decimal

from cells.metering.history import MeterHistory, MeterReading
from cells.working_time.production_calendar import ProductionCalendar

TIMES_USUAL = 3
ANSWER = "correct it, or confirm it."


def reading_questions(
    entered: MeterReading,
    *,
    history: MeterHistory,
    production: ProductionCalendar,
    max_per_hour: Decimal | None,  # units an hour, None when not known
) -> tuple[str, ...]:
    """Whole sentences, one per question; empty when the reading is plausible.

    `history` holds the confirmed readings; the last one is the last before the moment
    of the entered one, so a reading entered afterwards is held against its own past.
    The first reading ever asks nothing.
    """
    before = history.count_at(entered.at - 1)
    if before == 0:
        return ()
    last = MeterReading(
        at=history.ats[before - 1],
        on=history.dates[before - 1],
        value=history.values[before - 1],
    )
    if entered.value < last.value:
        return (
            f"The reading {entered.value} is below the last one "
            f"({last.value} on {last.on}): {ANSWER}",
        )
    questions = (
        _faster_than_it_can(entered, last, max_per_hour),
        _unusual(entered, last, history, production, before),
    )
    return tuple(question for question in questions if question is not None)


def _faster_than_it_can(
    entered: MeterReading, last: MeterReading, max_per_hour: Decimal | None
) -> str | None:
    seconds = entered.at - last.at
    used = entered.value - last.value
    if max_per_hour is None or used * 3600 <= max_per_hour * seconds:
        return None
    return (
        f"The reading {entered.value} is {used} above the last one ({last.value} on "
        f"{last.on}), but in the {seconds / 3600:.1f} hours since then this meter can "
        f"run {_plain(max_per_hour * seconds / 3600)} at most: {ANSWER}"
    )


def _unusual(
    entered: MeterReading,
    last: MeterReading,
    history: MeterHistory,
    production: ProductionCalendar,
    before: int,
) -> str | None:
    """Over three times the usual use per production date, as for the forecast.

    With no production date since the last reading (same day, a weekend) it is held
    against one: use within a day is not more than a day's. No usual use, no question.
    """
    use = history.usual_use(production, stop=before)
    if use is None:
        return None
    dates = max(1, production.count(after=last.on, up_to=entered.on))
    used = entered.value - last.value
    if used * use.dates <= TIMES_USUAL * use.units * dates:
        return None
    usual = use.units * dates / use.dates
    return (
        f"The reading {entered.value} is {used} above the last one ({last.value} on "
        f"{last.on}), over three times what this machine usually uses in that time "
        f"({_plain(usual)}): {ANSWER}"
    )


def _plain(value: Decimal) -> str:
    """At most one decimal, and none that is zero."""
    return f"{value:.1f}".removesuffix(".0")
