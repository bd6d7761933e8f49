"""One account as a person reads it: a bar, a line that adds up, remarks in words."""

from dataclasses import dataclass

from cells.drawing import Part
from cells.templatetags.figures import MINUS
from oee.ledger.classes import LOSS_CLASSES
from oee.ledger.sums import MICROSECONDS, Sums

MINUTE_US = 60 * MICROSECONDS

#: Of planned time; above it the unexplained minutes ask a question (common practice).
MUCH = 0.12

FLAG_WORDS = {
    "count_from_line": "count taken from the line",
    "declared_late": "planned time declared after the shift began",
    "faster_than_ideal": "faster than its ideal cycle",
    "no_count": "nothing counted yet",
    "no_ideal_cycle": "no ideal cycle for what was built",
    "not_confirmed": "not confirmed",
    "overlogged": "more tallied than there was time",
    "unplanned_output": "built in time that was not planned",
}


def parts_of(sums: Sums) -> list[Part]:
    """The account bar. Without a count, what is not stopped stays empty."""
    parts = [
        Part(kind=name, seconds=getattr(sums, f"{name}_s")) for name in LOSS_CLASSES[1:]
    ]
    if sums.slow_us is not None and sums.reject_us is not None:
        parts += [
            Part(kind="good", seconds=sums.ideal_good_us / MICROSECONDS),
            Part(kind="reject", seconds=sums.reject_us / MICROSECONDS),
            Part(kind="slow", seconds=sums.slow_us / MICROSECONDS),
        ]
    return parts


@dataclass(frozen=True, kw_only=True)
class Balance:
    """Whole minutes that add up to the planned ones, however they were rounded."""

    planned: int
    good: int | None  # None: nothing counted
    rejects: int | None
    stopped: int
    unexplained: int | None
    unknown: int | None  # what is neither stopped nor counted; None: counted

    @property
    def line(self) -> str:
        """ "351 good making · 9 rejects · 52 stopped · 28 unexplained"."""
        shares = (
            (self.good, "good making"),
            (self.rejects, "rejects"),
            (self.stopped, "stopped"),
            (self.unexplained, "unexplained"),
            (self.unknown, "not counted yet"),
        )
        return " · ".join(
            f"{_signed(share)} {words}" for share, words in shares if share is not None
        )

    @property
    def unexplained_words(self) -> str:
        """ "28 min", the largest figure on the leader's page."""
        return "—" if self.unexplained is None else f"{_signed(self.unexplained)} min"

    @property
    def is_much(self) -> bool:
        return bool(self.unexplained and self.unexplained > MUCH * self.planned)

    @property
    def is_negative(self) -> bool:
        return self.unexplained is not None and self.unexplained < 0


def balance_of(sums: Sums) -> Balance:
    stopped_us = (sums.down_s + sums.minor_s) * MICROSECONDS
    planned_us = sums.busy_s * MICROSECONDS
    if sums.slow_us is None or sums.reject_us is None:
        stopped, unknown = adding_up([stopped_us, planned_us - stopped_us])
        return Balance(
            planned=stopped + unknown,
            good=None,
            rejects=None,
            stopped=stopped,
            unexplained=None,
            unknown=unknown,
        )
    good, rejects, stopped, unexplained = adding_up(
        [sums.ideal_good_us, sums.reject_us, stopped_us, sums.slow_us]
    )
    return Balance(
        planned=good + rejects + stopped + unexplained,
        good=good,
        rejects=rejects,
        stopped=stopped,
        unexplained=unexplained,
        unknown=None,
    )


def flags_in_words(flags: tuple[str, ...]) -> list[str]:
    return [FLAG_WORDS[flag] for flag in flags]


def _signed(minutes: int) -> str:
    return f"{minutes:,}".replace("-", MINUS)


def adding_up(shares_us: list[int], unit_us: int = MINUTE_US) -> list[int]:
    """Whole units whose sum is the rounded sum: the largest remainders go up."""
    whole = [share // unit_us for share in shares_us]
    total = (2 * sum(shares_us) + unit_us) // (2 * unit_us)
    by_remainder = sorted(
        range(len(shares_us)), key=lambda i: -(shares_us[i] % unit_us)
    )
    for i in by_remainder[: total - sum(whole)]:
        whole[i] += 1
    return whole
