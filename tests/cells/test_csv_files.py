"""CSV files in, fault by fault."""

import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cells import csv_cells
from cells.csv_files import Column, Contract, Fault, read_rows

CELLS = Contract(
    file="cells.csv",
    columns=(
        Column("code", csv_cells.code()),
        Column("order", csv_cells.integer(at_least=0)),
        Column("note", csv_cells.text(), optional=True),
    ),
    key=("code",),
)


def read(data, contract=CELLS):
    """Return the rows of a file with their lines, and its faults."""
    faults: list[Fault] = []
    stream = io.BytesIO(data if isinstance(data, bytes) else data.encode())
    rows = list(read_rows(stream, contract, faults))
    return rows, faults


def fault_of(data):
    """Return the one fault of a file."""
    _, (fault,) = read(data)
    return fault


def test_rows_come_with_the_line_on_which_they_start():
    rows, faults = read('code,order,note\nC1,1,"two\nlines"\n\n,,\nC2,2,\n')
    assert faults == []
    assert rows == [
        (2, {"code": "C1", "order": 1, "note": "two\nlines"}),
        (6, {"code": "C2", "order": 2, "note": None}),
    ]


@pytest.mark.parametrize(
    "data",
    [
        "order,code\n1,C1\n",
        "\ufeffcode,order\nC1,1\n",
        "code,order\r\nC1,1\r\n",
        "code,order\nC1,1",
        "\n\ncode,order\nC1,1\n",
        '"code","order"\n"C1","1"\n',
    ],
    ids=["any-order", "bom", "crlf", "no-last-line-end", "blank-first", "quoted"],
)
def test_the_same_row_may_be_written_in_many_ways(data):
    rows, faults = read(data)
    assert faults == []
    assert [row for _, row in rows] == [{"code": "C1", "order": 1, "note": None}]


def test_an_empty_cell_or_a_missing_column_has_the_columns_default():
    contract = Contract(
        "patterns.csv",
        [
            Column("name", csv_cells.text()),
            Column("breaks", csv_cells.text(), may_be_empty=True, default=()),
            Column("offset", csv_cells.integer(), optional=True, default=0),
        ],
    )
    rows, faults = read("name,breaks\nEarly,\n", contract)
    assert faults == []
    assert rows == [(2, {"name": "Early", "breaks": (), "offset": 0})]


@pytest.mark.parametrize(
    ("data", "fault"),
    [
        pytest.param(
            "code,order,colour\nC1,1,red\n",
            Fault(
                "cells.csv",
                1,
                "colour",
                "'colour' is not a column of cells.csv: remove it or name it as one of "
                "code, order, note.",
            ),
            id="unknown-column",
        ),
        pytest.param(
            "code,note\nC1,x\n",
            Fault("cells.csv", 1, "order", "The column order is missing: add it."),
            id="missing-column",
        ),
        pytest.param(
            "code,order,code\nC1,1,C1\n",
            Fault(
                "cells.csv", 1, "code", "The column code is there twice: remove one."
            ),
            id="column-twice",
        ),
        pytest.param(
            "code,order,\nC1,1,\n",
            Fault("cells.csv", 1, "", "Column 3 has no name: name it or remove it."),
            id="column-without-name",
        ),
        pytest.param(
            "code;order\nC1;1\n",
            Fault(
                "cells.csv",
                1,
                "",
                "The columns are separated by semicolons: separate them by commas.",
            ),
            id="semicolons",
        ),
        pytest.param(
            "",
            Fault(
                "cells.csv",
                None,
                "",
                "The file is empty: write a header with the columns code, order, note.",
            ),
            id="empty-file",
        ),
        pytest.param(
            "code,order\nC1,1,2\n",
            Fault(
                "cells.csv",
                2,
                "",
                "The row that starts with 'C1' has 3 cells, but the header has 2: give "
                "it a cell for each column, and quote a cell that holds a comma.",
            ),
            id="too-many-cells",
        ),
        pytest.param(
            "code,order\nC1,x\n",
            Fault(
                "cells.csv",
                2,
                "order",
                "'x' is not a whole number: write digits only, like 12.",
            ),
            id="bad-cell",
        ),
        pytest.param(
            "code,order\nC1,\n",
            Fault("cells.csv", 2, "order", "order is empty: fill it in."),
            id="empty-cell",
        ),
        pytest.param(
            "code,order\nC1,1\nC2,2\nC1,3\n",
            Fault(
                "cells.csv",
                4,
                "code",
                "Lines 2 and 4 are both for code 'C1': keep one of them.",
            ),
            id="same-key",
        ),
        pytest.param(
            "code,order\nC1,1\nB\u00fchne,1\n".encode("latin-1"),
            Fault(
                "cells.csv",
                3,
                "",
                "Byte 2 of the line (0xFC) is not UTF-8: save the file as CSV in UTF-8 "
                "and try again. Nothing after it was read.",
            ),
            id="latin-1",
        ),
        pytest.param(
            "code,order\n".encode("utf-16"),
            Fault(
                "cells.csv",
                1,
                "",
                "The file is in UTF-16 or UTF-32: save the file as CSV in UTF-8 and "
                "try again. Nothing after it was read.",
            ),
            id="utf-16",
        ),
        pytest.param(
            "code,order\nC\0,1\n",
            Fault(
                "cells.csv",
                2,
                "",
                "Byte 2 of the line is zero, so this is no text: save the file as CSV "
                "in UTF-8 and try again. Nothing after it was read.",
            ),
            id="nul",
        ),
        pytest.param(
            'code,order,note\nC1,1,"open\nC2,2,x\n',
            Fault(
                "cells.csv",
                2,
                "",
                "A cell opens with a quote that is never closed: close it. Nothing "
                "after it was read.",
            ),
            id="open-quote",
        ),
        pytest.param(
            'code,order,note\nC1,1,"a"b\n',
            Fault(
                "cells.csv",
                2,
                "",
                "There is text after a closing quote: write a quote within a cell as "
                "two quotes. Nothing after it was read.",
            ),
            id="text-after-quote",
        ),
        pytest.param(
            "code,order\rC1,1\r",
            Fault(
                "cells.csv",
                1,
                "",
                "A line ends in a bare carriage return: end each line in LF or CRLF. "
                "Nothing after it was read.",
            ),
            id="carriage-returns",
        ),
        pytest.param(
            "code,order,note\nC1,1," + "x" * 200_000 + "\n",
            Fault(
                "cells.csv",
                2,
                "",
                "A cell is longer than 131072 characters; a closing quote may be "
                "missing: close it, or shorten the cell. Nothing after it was read.",
            ),
            id="huge-cell",
        ),
        pytest.param(
            "code,order,note\nC1,1," + "x" * 2_000_000 + "\n",
            Fault(
                "cells.csv",
                2,
                "",
                "The line is longer than 1048576 bytes: break it up. Nothing after it "
                "was read.",
            ),
            id="huge-line",
        ),
    ],
)
def test_what_is_wrong_is_told_with_its_place_and_what_to_do(data, fault):
    assert fault_of(data) == fault


def test_every_fault_of_a_file_is_told_and_the_good_rows_still_come():
    rows, faults = read("code,order\nC1,x\n;,-1\nC3,3\nC4\n")
    assert [row["code"] for _, row in rows] == ["C3"]
    assert [(fault.line, fault.column) for fault in faults] == [
        (2, "order"),
        (3, "code"),
        (3, "order"),
        (5, ""),
    ]


def test_a_fault_is_printed_as_file_line_column_and_reason():
    assert str(fault_of("code,order\nC1,\n")) == (
        "cells.csv, line 2, column order: order is empty: fill it in."
    )
    assert str(fault_of("")).startswith("cells.csv: The file is empty")


def test_keys_are_the_same_when_their_values_are():
    contract = Contract("counts.csv", [Column("n", csv_cells.integer())], key=("n",))
    rows, (fault,) = read("n\n7\n07\n", contract)
    assert rows == [(2, {"n": 7})]
    assert fault.reason == "Lines 2 and 3 are both for n '07': keep one of them."


def test_a_part_of_the_key_may_be_missing():
    contract = Contract(
        "patterns.csv",
        [
            Column("area", csv_cells.code()),
            Column("line", csv_cells.code(), optional=True),
        ],
        key=("area", "line"),
    )
    rows, (fault,) = read("area\nA\nB\nA\n", contract)
    assert len(rows) == 2
    assert fault.reason == (
        "Lines 2 and 4 are both for area 'A', line '': keep one of them."
    )


def test_rows_stream():
    data = io.BytesIO(
        b"code,order\n" + b"".join(b"C%d,1\n" % n for n in range(100_000))
    )
    rows = read_rows(data, CELLS, [])
    assert next(rows) == (2, {"code": "C0", "order": 1, "note": None})
    assert data.tell() < 100
    assert sum(1 for _ in rows) == 99_999


def test_more_different_cells_than_are_remembered_are_read_all_the_same():
    numbers = range(30_000)
    data = "code,order\n" + "".join(f"C{n},{n}\n" for n in numbers)
    rows, faults = read(data)
    assert faults == []
    assert [row["order"] for _, row in rows] == list(numbers)


@pytest.mark.parametrize(
    "wrong",
    [
        {"columns": [CELLS.columns[0]] * 2},
        {"columns": CELLS.columns, "key": ("serial",)},
    ],
    ids=["column-twice", "key-without-column"],
)
def test_a_contract_that_contradicts_itself_is_refused(wrong):
    with pytest.raises(ValueError, match=r"cells\.csv (declares|has no column)"):
        Contract(file="cells.csv", **wrong)


@given(st.binary(max_size=200))
def test_any_bytes_are_rows_or_faults_in_whole_sentences(data):
    rows, faults = read(data)
    assert all(fault.reason.endswith(".") for fault in faults)
    assert rows == [] or set(rows[0][1]) == {"code", "order", "note"}
