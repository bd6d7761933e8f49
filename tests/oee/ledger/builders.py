"""Small worlds: one cell-shift told in minutes, and any that Hypothesis thinks of."""

from dataclasses import fields
from fractions import Fraction

from hypothesis import strategies as st

from oee.ledger.account import Accounts, CellShiftColumns
from oee.ledger.classes import LOSS_CLASSES
from oee.ledger.flags import names
from oee.ledger.sums import Sums, cell_shift
from tests.oee.ledger.painted import World

MINUTE = 60


def one_shift(
    *,
    minutes=480,
    confirmed=True,
    breaks=(),
    planned=(),
    late=(),
    stops=(),
    tallies=(),
    counts=(),
    from_line=False,
    until=None,
) -> Accounts:
    """The account of one cell-shift that starts at 0; intervals in minutes.

    Stops are (class, start, end), tallies (class, minutes), counts (total, good, ideal
    seconds or None where no cycle is valid).
    """
    return World(
        shifts=[(0, minutes * MINUTE, confirmed)],
        breaks=[(0, s * MINUTE, e * MINUTE) for s, e in breaks],
        planned=[
            (0, s * MINUTE, e * MINUTE, is_late)
            for intervals, is_late in ((planned, False), (late, True))
            for s, e in intervals
        ],
        stops=[
            (0, LOSS_CLASSES.index(name), s * MINUTE, e * MINUTE, order)
            for order, (name, s, e) in enumerate(stops)
        ],
        tallies=[
            (0, LOSS_CLASSES.index(name), m * MINUTE, order)
            for order, (name, m) in enumerate(tallies)
        ],
        counts=[
            (0, total, good, -1 if ideal is None else int(ideal * 10**6), from_line)
            for total, good, ideal in counts
        ],
        until=None if until is None else until * MINUTE,
    ).compute()


def sums_of(accounts: CellShiftColumns, row: int = 0) -> Sums:
    """The sums of one cell-shift of an account."""
    names = {field.name for field in fields(Sums)} & {
        field.name for field in fields(CellShiftColumns)
    }
    return cell_shift(
        {name: int(getattr(accounts, name)[row]) for name in names - {"counted"}},
        counted=bool(accounts.counted[row]),
    )


def one_sum(**shift) -> Sums:
    """The sums of ``one_shift``."""
    return sums_of(one_shift(**shift))


def flags_of(accounts: CellShiftColumns, row: int = 0) -> tuple[str, ...]:
    """The names of the flags of one cell-shift."""
    return names(int(accounts.flags[row]))


def minutes(seconds: int) -> Fraction:
    """Seconds as minutes."""
    return Fraction(seconds, MINUTE)


moments = st.integers(-60, 320)
lengths = st.integers(0, 150)


@st.composite
def intervals(draw, shifts: int, *, columns=()) -> list[tuple[int, ...]]:
    """Rows of cell-shift, start, end and further columns."""
    rows = st.tuples(st.integers(0, shifts - 1), moments, lengths, *columns)
    return [
        (at, s, s + n, *more) for at, s, n, *more in draw(st.lists(rows, max_size=6))
    ]


@st.composite
def worlds(draw, *, until=False, tallies=True) -> World:
    """One to three cell-shifts of at most some minutes, with anything on them."""
    starts_and_lengths = st.tuples(st.integers(-40, 200), lengths, st.booleans())
    shifts = [
        (start, start + length, confirmed)
        for start, length, confirmed in draw(
            st.lists(starts_and_lengths, min_size=1, max_size=3)
        )
    ]
    at = st.integers(0, len(shifts) - 1)
    classes = st.integers(1, len(LOSS_CLASSES) - 1)
    stops = draw(intervals(len(shifts), columns=(classes,)))
    ranks = draw(st.permutations(range(len(stops))))
    tally_rows = st.lists(st.tuples(at, classes, st.integers(0, 90)), max_size=4)
    tallied = draw(tally_rows) if tallies else []
    count_rows = st.tuples(
        at,
        st.integers(0, 9),
        st.integers(0, 9),
        st.one_of(st.just(-1), st.integers(1, 60_000_000)),
        st.booleans(),
    )
    return World(
        shifts=shifts,
        breaks=draw(intervals(len(shifts))),
        planned=draw(intervals(len(shifts), columns=(st.booleans(),))),
        stops=[(c, k, s, e, r) for (c, s, e, k), r in zip(stops, ranks, strict=True)],
        tallies=[(*row, rank) for rank, row in enumerate(tallied)],
        counts=[
            (c, good + bad, good, ideal, from_line)
            for c, good, bad, ideal, from_line in draw(st.lists(count_rows, max_size=4))
        ],
        until=draw(st.one_of(st.none(), moments)) if until else None,
    )
