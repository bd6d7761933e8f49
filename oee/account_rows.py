"""A row of a table of accounts: whose account, its figures, and what lies behind it."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from cells.drawing import Part
from oee.account_words import Balance, balance_of, flags_in_words, parts_of
from oee.ledger.flags import names
from oee.ledger.sums import Sums, seconds


@dataclass(frozen=True, kw_only=True)
class AccountRow:
    """The account of an area, a line, a cell, a day or a shift."""

    name: str
    words: str = ""  # under the name
    href: str = ""  # the rows that these figures are made of
    sums: Sums
    flags: int = 0
    of: str = "shift"  # what coverage counts
    #: Of running shifts without a count yet, which the sums leave out: by class.
    open_stops_s: Mapping[str, int] = field(default_factory=dict)

    @property
    def is_planned(self) -> bool:
        return bool(self.sums.expected)

    @property
    def parts(self) -> list[Part]:
        known = {part.kind: part.seconds for part in parts_of(self.sums)}
        for kind, stopped_s in self.open_stops_s.items():
            known[kind] = known.get(kind, 0) + stopped_s
        return [Part(kind=kind, seconds=length) for kind, length in known.items()]

    @property
    def balance(self) -> Balance:
        return balance_of(self.sums)

    @property
    def planned_s(self) -> int:
        """Planned busy time, that of shifts without a count included."""
        return self.sums.expected_busy_s

    @property
    def own_lost_s(self) -> float:
        return seconds(self.sums.own_lost_us)

    @property
    def slow_s(self) -> float | None:
        return seconds(self.sums.slow_us)

    @property
    def all_lost_s(self) -> float | None:
        return seconds(self.sums.all_lost_us)

    @property
    def coverage(self) -> str:
        return coverage(self.sums, self.of)

    @property
    def is_covered(self) -> bool:
        return self.sums.reported == self.sums.expected

    @property
    def remarks(self) -> list[str]:
        return flags_in_words(names(self.flags))


def coverage(sums: Sums, of: str = "shift") -> str:
    """ "78 of 78 shifts": how many of those with planned time were counted."""
    plural = "" if sums.expected == 1 else "s"
    return f"{sums.reported} of {sums.expected} {of}{plural}"
