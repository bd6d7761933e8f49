"""The ledger's work in pieces, so that one bad cell-shift spoils nothing else.

First a chunk: some lines at once, with all their marks. If it fails, or kills the
process that computes it, its lines are computed by production date from then on. A
date that fails three times is set aside (``cells.attempts``), and the line goes on
without it.

Whoever computes a line holds its claim, so a note that somebody finds under the claim
was left by a process that is gone.
"""

from collections.abc import Callable, Iterable, Iterator
from datetime import date

from django.db.models import Exists, OuterRef, QuerySet

from cells import attempts
from cells.claims import claimed_of
from cells.models import Line, StaleMark

#: In one chunk at least; of many lines a quarter, so that others find some too.
LINES_AT_ONCE = 8

Marks = QuerySet[StaleMark]
#: A line's id and a production date.
Day = tuple[int, date]
#: Computes what these marks ask of these lines, and in the same transaction ends the
#: marks and the notes of these pieces. Returns how many cell-shifts it computed: none
#: if somebody else has the lines now.
Compute = Callable[[Marks, list[int], list[str]], int]


class Run:
    """One walk through what is marked; what fails in it waits for the next one."""

    def __init__(self, marks: Callable[[], Marks], compute: Compute) -> None:
        self._marks = marks
        self._compute = compute
        self._failed: set[Day] = set()
        self._busy: set[int] = set()  # lines that somebody else has

    def rounds(self) -> Iterator[int]:
        """How many cell-shifts were computed, round by round, until nothing is left."""
        while lines := self._lines():
            of_claim = {_line_piece(line): line for line in lines}
            most = max(LINES_AT_ONCE, len(lines) // 4)
            with claimed_of(of_claim, most=most) as mine:
                if not mine:
                    return
                careful = attempts.left_over(mine)
                for piece in sorted(careful)[:1]:
                    yield self._by_date(of_claim[piece], lines[of_claim[piece]])
                if not careful:
                    chosen = [of_claim[piece] for piece in mine]
                    yield self._chunk({line: lines[line] for line in chosen})

    def _left(self) -> Marks:
        left = without(self._marks(), self._failed | set_aside())
        return left.exclude(shift__line__in=self._busy)

    def _lines(self) -> dict[int, str]:
        """Ids and codes of the lines that have marks: not every mark is looked at."""
        marked = Exists(self._left().filter(shift__line=OuterRef("pk")))
        return dict(
            Line.objects.filter(marked).order_by("pk").values_list("pk", "code")
        )

    def _chunk(self, lines: dict[int, str]) -> int:
        pieces = {
            _line_piece(line): f"The account of line {code}"
            for line, code in lines.items()
        }
        attempts.begin(pieces)
        return self._try(self._left(), list(lines), list(pieces)) or 0

    def _by_date(self, line: int, code: str) -> int:
        """The dates that failed before come last, so that the others are done first."""
        left = self._left().filter(shift__line=line)
        days = left.values_list("shift__production_date", flat=True).distinct()
        pieces = {_day_piece(line, day): day for day in sorted(days)}
        before = attempts.left_over(pieces)
        total = 0
        for piece in sorted(pieces, key=lambda piece: piece in before):
            day = pieces[piece]
            if not attempts.begin({piece: f"The account of line {code} on {day}"}):
                continue
            of_day = left.filter(shift__production_date=day)
            computed = self._try(of_day, [line], [piece])
            if computed is None:
                self._failed.add((line, day))
            total += computed or 0
        if not any(failed == line for failed, _ in self._failed):
            attempts.done([_line_piece(line)])
        return total

    def _try(self, marks: Marks, lines: list[int], pieces: list[str]) -> int | None:
        """None: it failed, and is noted."""
        try:
            computed = self._compute(marks, lines, pieces)
        except Exception as error:
            attempts.failed(pieces, error)
            return None
        if not computed:
            attempts.done(pieces)
            self._busy.update(lines)
        return computed


def without(marks: Marks, days: Iterable[Day]) -> Marks:
    for line, day in days:
        marks = marks.exclude(shift__line=line, shift__production_date=day)
    return marks


def set_aside() -> set[Day]:
    pieces = attempts.set_aside().values_list("piece", flat=True)
    parts = (piece.split("/") for piece in pieces)
    return {
        (int(part[1]), date.fromisoformat(part[2]))
        for part in parts
        if part[0] == "account"
    }


def _line_piece(line: int) -> str:
    return f"account/{line}"


def _day_piece(line: int, day: date) -> str:
    return f"account/{line}/{day}"
