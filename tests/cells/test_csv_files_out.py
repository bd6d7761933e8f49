"""CSV files out, and back in."""

import io
import re
from datetime import UTC, date, datetime, time
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cells import csv_cells
from cells.csv_files import Column, Contract, cell_text, read_rows, write_rows


def written(header, *rows):
    out = io.StringIO()
    write_rows(out, header, rows)
    return out.getvalue()


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, ""),
        ("", ""),
        ("C1", "C1"),
        ("=1+1", "'=1+1"),
        ("+49", "'+49"),
        ("-", "'-"),
        ("@sum", "'@sum"),
        ("\tx", "'\tx"),
        ("\rx", "'\rx"),
        ("'=1", "''=1"),
        (" =1+1", "' =1+1"),
        ('"=1+1', "'\"=1+1"),
        ("＝1+1", "'＝1+1"),
        ("it's 5", "it's 5"),
        ("'s-Hertogenbosch", "'s-Hertogenbosch"),
        ("-5", "-5"),
        ("-0.25", "-0.25"),
        ("-5+1", "'-5+1"),
        (True, "yes"),
        (False, "no"),
        (-3, "-3"),
        (np.int64(-3), "-3"),
        (0.1, "0.1"),
        (-2.5e-9, "-2.5e-09"),
        (np.float64(0.1), "0.1"),
        (Decimal("52.500"), "52.5"),
        (Decimal("-0.00"), "0"),
        (Decimal("1E+3"), "1000"),
        (Decimal("1E-7"), "0.0000001"),
        (Decimal("100"), "100"),
        (date(2026, 3, 2), "2026-03-02"),
        (datetime(2026, 3, 2, 6, tzinfo=UTC), "2026-03-02T06:00:00+00:00"),
        (time(6, 0), "06:00"),
        (["no_count", "declared_late"], "no_count declared_late"),
        ({"no_count", "declared_late"}, "declared_late no_count"),
        ((), ""),
    ],
)
def test_a_value_has_its_text(value, text):
    assert cell_text(value) == text


@pytest.mark.parametrize(
    "value", [float("nan"), float("inf"), Decimal("NaN"), datetime(2026, 3, 2, 6)]
)
def test_a_value_that_says_nothing_certain_is_refused(value):
    with pytest.raises(ValueError, match=r"is not a number|has no time zone"):
        cell_text(value)


def test_a_value_that_has_no_exact_text_is_refused():
    with pytest.raises(TypeError, match="has no text in a CSV file"):
        cell_text(Fraction(1, 3))


def test_rows_are_written_under_their_header():
    assert written(["code", "order"], ["C1", 1], ["a,b", None]) == (
        'code,order\nC1,1\n"a,b",\n'
    )


def test_a_row_that_does_not_fit_its_header_is_refused():
    with pytest.raises(ValueError, match="1 cells under 2 columns"):
        written(["code", "order"], ["C1"])


plain = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"))
# Signs that a spreadsheet reads, more often than chance brings them.
signs = st.text(st.sampled_from("'\"=+-@\t\r\n ＝5.x"), max_size=8)
texts = (plain | signs).filter(str.strip)


@given(st.lists(st.tuples(texts, texts), max_size=5), st.booleans())
def test_texts_survive_the_way_out_and_back_in_any_order_of_columns(rows, swapped):
    contract = Contract(
        "t.csv", [Column("a", csv_cells.text()), Column("b", csv_cells.text())]
    )
    header = ["b", "a"] if swapped else ["a", "b"]
    data = written(header, *(row[:: -1 if swapped else 1] for row in rows))
    faults = []
    found = list(read_rows(io.BytesIO(data.encode()), contract, faults))
    assert faults == []
    assert [(row["a"], row["b"]) for _, row in found] == rows


@given(plain | signs)
def test_no_text_comes_out_as_a_formula_and_none_is_changed_otherwise(text):
    out = cell_text(text)
    assert out in (text, f"'{text}")
    begins = out.lstrip(' "\n`')[:1]
    assert begins not in tuple("=+@＝＋－＠\t\r")
    assert begins != "-" or re.fullmatch(r"-[0-9]+(\.[0-9]+)?", out)


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_float_keeps_its_full_precision(value):
    assert float(cell_text(value)) == value


@given(st.decimals(allow_nan=False, allow_infinity=False, places=6))
def test_a_decimal_keeps_its_full_precision_without_an_exponent(value):
    text = cell_text(value)
    assert Decimal(text) == value
    assert "e" not in text.lower()
