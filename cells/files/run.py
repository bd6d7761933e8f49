"""One load of one directory: what it reads, knows, refuses and touches.

Every file of the load shares this, so that a code in one file finds the row that
another one has just brought, and a row that was refused is not blamed again by all the
rows that name it.
"""

from collections import defaultdict
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from datetime import date, datetime
from difflib import get_close_matches
from functools import cached_property
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.utils.timezone import localtime

from cells import clock
from cells.csv_cells import shown
from cells.csv_files import Contract, Fault
from cells.csv_files import Row as Values
from cells.files.noted import Noted
from cells.files.touched import Touched
from cells.models import Line

#: Told of each file: its name, the rows done and the rows there are.
Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Kind:
    """A kind of record that rows of other files name by its key."""

    word: str  # what people call it: area, line, machine
    file: str  # the file that brings it
    read: Callable[[], dict[Any, Any]]  # every stored one by its key


@dataclass
class Outcome:
    """What became of one file's rows."""

    file: str
    new: int = 0
    changed: int = 0
    unchanged: int = 0


@dataclass
class Run:
    directory: Path
    zone: ZoneInfo
    progress: Progress | None = None
    faults: list[Fault] = field(default_factory=list)
    outcomes: list[Outcome] = field(default_factory=list)
    now: datetime = field(default_factory=clock.now)
    touched: Touched = field(default_factory=Touched)
    #: Kinds of which not every row could be read, so that a key may be missing.
    unsure: set[str] = field(default_factory=set)
    #: Keys that the files name, by kind, in good rows and in refused ones.
    named: defaultdict[str, set[Hashable]] = field(
        default_factory=lambda: defaultdict(set)
    )
    new_lines: list[Line] = field(default_factory=list)
    #: Lines whose shifts are to be made anew, and from which date on.
    to_plan: dict[Line, date] = field(default_factory=dict)
    asked: list[Any] = field(default_factory=list)  # rows that ask for shifts
    moved: set[int] = field(default_factory=set)  # ids of machines
    #: Ids of routines whose due dates this load moves.
    due_of: set[int] = field(default_factory=set)
    readings: Noted = field(default_factory=Noted)
    _known: dict[str, dict[Any, Any]] = field(default_factory=dict)

    @cached_property
    def today(self) -> date:
        return self.now.astimezone(self.zone).date()

    def known(self, kind: Kind) -> dict[Any, Any]:
        """Every record of a kind by its key, stored before or brought by this load."""
        if kind.word not in self._known:
            self._known[kind.word] = kind.read()
        return self._known[kind.word]

    def may_be_refused(self, kind: Kind, key: Hashable) -> bool:
        """Whether a key is missing only because its own row was refused."""
        return kind.word in self.unsure or key in self.named[kind.word]

    def plan_anew(self, line: Line, first: date) -> None:
        self.to_plan[line] = min(first, self.to_plan.get(line, first))

    def refuse(self, fault: Fault) -> None:
        self.faults.append(fault)

    def has_refused(self, *files: str) -> bool:
        return any(fault.file in files for fault in self.faults)


class Row:
    """One row of a file, and what is wrong with it."""

    __slots__ = ("_contract", "good", "line", "run", "values")

    def __init__(self, run: Run, contract: Contract, line: int, values: Values) -> None:
        self.run, self._contract = run, contract
        self.line, self.values = line, values
        self.good = True

    def __getitem__(self, column: str) -> Any:
        return self.values[column]

    def refuse(self, column: str, reason: str) -> None:
        self.good = False
        self.run.refuse(self._contract.fault(self.line, column, reason))

    def skip(self) -> None:
        """Not this row's fault, but it cannot be taken."""
        self.good = False

    def refuse_all(
        self, error: ValidationError, columns: dict[str, str] | None = None
    ) -> None:
        """What a rule says, by its field; `columns` names those called otherwise."""
        names = columns or {}
        if not hasattr(error, "error_dict"):
            for message in error.messages:
                self.refuse("", message)
            return
        for name, messages in error.message_dict.items():
            name = "" if name == NON_FIELD_ERRORS else name
            column = names.get(name, name)
            known = column if column in self._contract.header else ""
            for message in messages:
                self.refuse(known, message)

    def find(self, kind: Kind, column: str) -> Any:
        """The record that a cell names; None where it is empty or there is none."""
        key = self.values[column]
        if key is None:
            return None
        found = self.run.known(kind).get(key)
        if found is None:
            self.miss(kind, key, column, unknown(self.run, kind, key))
        return found

    def miss(self, kind: Kind, key: Hashable, column: str, reason: str) -> None:
        """A record that is not there: a fault, unless its own row has one."""
        if self.run.may_be_refused(kind, key):
            self.skip()
        else:
            self.refuse(column, reason)


def unknown(run: Run, kind: Kind, key: str) -> str:
    known = run.known(kind)
    if not known:
        return f"{shown(key)} is unknown, and so is any {kind.word}: add {kind.file}."
    texts = [one for one in known if isinstance(one, str)]
    near = sorted(texts) if len(texts) <= 12 else get_close_matches(key, texts, n=3)
    these = f"write one of {', '.join(near)}" if near else "check it"
    return (
        f"No {kind.word} has the code {shown(key)}: {these}, or add it to {kind.file}."
    )


def noted(read: Callable[[str], Any], named: set[Hashable]) -> Callable[[str], Any]:
    """A reader that remembers what a file names, whatever becomes of the row."""

    def read_and_note(cell: str) -> Any:
        value = read(cell)
        named.add(value)
        return value

    return read_and_note


def on_the_clock(moment: datetime) -> str:
    """A moment of any year in plant time, as a file could write it."""
    return f"{localtime(moment):%Y-%m-%d %H:%M}"
