"""What one cell of a CSV file means, and the sentences that refuse it."""

from datetime import UTC, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cells import csv_cells
from cells.working_time.weekdays import parse_weekdays

BERLIN = ZoneInfo("Europe/Berlin")


@pytest.mark.parametrize(
    ("read", "cell", "value"),
    [
        (csv_cells.text(), "two\nlines ", "two\nlines "),
        (csv_cells.code(), "B1-C01", "B1-C01"),
        (csv_cells.code(), "Früh 1", "Früh 1"),
        (csv_cells.code(slash=True), "B1/left", "B1/left"),
        (csv_cells.integer(), "-12", -12),
        (csv_cells.integer(0, 5), "5", 5),
        (csv_cells.decimal(), "52.50", Decimal("52.5")),
        (csv_cells.decimal(), "1e-5", Decimal("0.00001")),
        (csv_cells.decimal(), "0.1000000000", Decimal("0.1")),
        (csv_cells.yes_no, "yes", True),
        (csv_cells.yes_no, "no", False),
        (csv_cells.choice("A", "B"), "B", "B"),
        (csv_cells.list_of(csv_cells.code()), "weld;seal", ("weld", "seal")),
        (csv_cells.list_of(csv_cells.integer()), "3;1", (3, 1)),
        (
            csv_cells.moment(BERLIN),
            "2026-07-01T06:00",
            datetime(2026, 7, 1, 4, tzinfo=UTC),
        ),
    ],
)
def test_a_cell_is_read_as_it_is_meant(read, cell, value):
    assert read(cell) == value


@pytest.mark.parametrize(
    ("read", "cell", "sentence"),
    [
        (csv_cells.text(), "  ", "'  ' is only blanks: write a text."),
        (
            csv_cells.text(3),
            "four",
            "'four' has 4 characters: shorten it to at most 3.",
        ),
        (csv_cells.code(), " C1", "' C1' has a blank around it: remove it."),
        (
            csv_cells.code(),
            "C\u200b1",
            r"'C\u200b1' holds a character that cannot be seen: type it anew.",
        ),
        (
            csv_cells.code(),
            "C\n1",
            r"'C\n1' holds a character that cannot be seen: type it anew.",
        ),
        (
            csv_cells.code(),
            "L1/left",
            "'L1/left' holds a semicolon or a slash, which separates codes: choose "
            "another code.",
        ),
        (
            csv_cells.code(),
            "=C1",
            "'=C1' starts with =, which a spreadsheet would not leave alone: start the "
            "code with a letter or a digit.",
        ),
        (
            csv_cells.integer(),
            "12.0",
            "'12.0' is not a whole number: write digits only, like 12.",
        ),
        (
            csv_cells.integer(),
            "１２",
            "'１２' is not a whole number: write digits only, like 12.",
        ),
        (csv_cells.integer(0), "-1", "'-1' is too small: write at least 0."),
        (csv_cells.integer(0, 99), "100", "'100' is too large: write at most 99."),
        (
            csv_cells.integer(),
            "9" * 19,
            f"'{'9' * 19}' has more than 18 digits: check the number.",
        ),
        (
            csv_cells.decimal(),
            "52,5",
            "'52,5' is not a number: write digits and a decimal point, like 12.5.",
        ),
        (
            csv_cells.decimal(),
            "nan",
            "'nan' is not a number: write digits and a decimal point, like 12.5.",
        ),
        (
            csv_cells.decimal(),
            "Infinity",
            "'Infinity' is not a number: write digits and a decimal point, like 12.5.",
        ),
        (
            csv_cells.decimal(),
            "1e300",
            "'1e300' has more than 18 digits: check the number.",
        ),
        (
            csv_cells.decimal(max_decimals=2),
            "1.005",
            "'1.005' has too many decimals: write at most 2.",
        ),
        (
            csv_cells.decimal(at_least=Decimal("0.1")),
            "0.09",
            "'0.09' is too small: write at least 0.1.",
        ),
        (
            csv_cells.yes_no,
            "True",
            "'True' is neither yes nor no: write one of them.",
        ),
        (
            csv_cells.choice("A", "B"),
            "a",
            "'a' is not known here: write one of A, B.",
        ),
        (
            csv_cells.list_of(csv_cells.code()),
            "weld;;seal",
            "'weld;;seal' has nothing between two semicolons or at an end: separate "
            "the values by one semicolon each.",
        ),
        (
            csv_cells.list_of(csv_cells.code()),
            "weld;weld",
            "'weld;weld' names weld twice: name it once.",
        ),
    ],
)
def test_a_cell_that_cannot_be_read_is_named_with_what_to_do(read, cell, sentence):
    with pytest.raises(ValueError, match=r"\.$") as caught:
        read(cell)
    assert str(caught.value) == sentence


def test_a_long_cell_is_quoted_in_short():
    with pytest.raises(ValueError, match="is not a whole number") as caught:
        csv_cells.integer()("x" * 100_000)
    assert len(str(caught.value)) < 150


def test_a_decimal_beyond_what_decimals_count_exactly_is_refused():
    with pytest.raises(ValueError, match="more than 18 digits"):
        csv_cells.decimal()("1." + "0" * 40 + "1")


@given(st.decimals(-(10**12), 10**12, places=6))
def test_every_decimal_of_six_places_is_read_exactly(value):
    assert csv_cells.decimal()(str(value)) == value


@given(st.text(), st.sampled_from([csv_cells.integer(), csv_cells.decimal()]))
def test_any_text_is_a_number_or_refused_with_a_sentence(cell, read):
    try:
        value = read(cell)
    except ValueError as refused:
        sentence = str(refused)
    else:
        assert value == Decimal(cell)
        return
    assert sentence.endswith(".")


def test_the_readers_of_working_time_read_cells_too():
    assert csv_cells.list_of(parse_weekdays)("mon-fri;sat") == (
        frozenset(range(5)),
        frozenset({5}),
    )
