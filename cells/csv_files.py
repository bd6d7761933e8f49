"""CSV files in, fault by fault, and out, so that a spreadsheet leaves them alone.

An app declares a Contract for each file that it reads; `read_rows` gives the good rows
one at a time and appends a Fault for everything else, so a file of a million rows needs
no more memory than its keys.
"""

import csv
import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from decimal import Decimal
from functools import partial
from numbers import Integral
from operator import getitem, itemgetter
from typing import TYPE_CHECKING, Any, BinaryIO, NamedTuple

from cells.csv_cells import defused, shown
from cells.working_time.plant_time import format_clock_time

if TYPE_CHECKING:
    from _typeshed import SupportsWrite

Row = dict[str, Any]  # the value of every column of the contract, by name

_LINE_LIMIT = 1 << 20  # bytes; a longer line is not a line of a table
_REMEMBERED = 20_000  # cells of a column whose values are kept, as most repeat
_OTHER_ENCODINGS = (b"\xff\xfe", b"\xfe\xff")  # the marks of UTF-16 and UTF-32

_SAVE_AS = "save the file as CSV in UTF-8 and try again"
_CSV_ERRORS = {
    "field larger": "A cell is longer than {limit} characters; a closing quote may be "
    "missing: close it, or shorten the cell.",
    "unexpected end": "A cell opens with a quote that is never closed: close it.",
    "expected after": "There is text after a closing quote: write a quote within a "
    "cell as two quotes.",
    "new-line character": "A line ends in a bare carriage return: end each line in LF "
    "or CRLF.",
}


class Fault(NamedTuple):
    """One thing wrong with a file, for a person to put right."""

    file: str
    line: int | None  # None: the file as a whole
    column: str  # empty: the line as a whole
    reason: str  # a whole sentence

    def __str__(self) -> str:
        where = [self.file]
        if self.line is not None:
            where.append(f"line {self.line}")
        if self.column:
            plain = self.column.isprintable() and len(self.column) <= 60
            where.append(f"column {self.column if plain else shown(self.column)}")
        return f"{', '.join(where)}: {self.reason}"


@dataclass(frozen=True)
class Column:
    """A column, and how to read its cells that are not empty."""

    name: str
    read: Callable[[str], Any]  # raises ValueError with a whole sentence
    optional: bool = field(default=False, kw_only=True)  # may be missing or empty
    may_be_empty: bool = field(
        default=False, kw_only=True
    )  # must be there all the same
    default: Any = field(default=None, kw_only=True)  # the value where it is empty


@dataclass(frozen=True)
class Contract:
    """What one kind of file holds; two rows of one key are a fault."""

    file: str
    columns: Sequence[Column]
    key: Sequence[str] = ()

    def __post_init__(self) -> None:
        if len(set(self.header)) < len(self.header):
            raise ValueError(f"{self.file} declares a column twice.")
        if not set(self.key) <= set(self.header):
            raise ValueError(f"{self.file} has no column for a part of its key.")

    @property
    def header(self) -> list[str]:
        return [column.name for column in self.columns]

    def fault(self, line: int | None, column: str, reason: str) -> Fault:
        return Fault(self.file, line, column, reason)


def read_rows(
    stream: BinaryIO,
    contract: Contract,
    faults: list[Fault],
    lines: dict[Any, int] | None = None,
) -> Iterator[tuple[int, Row]]:
    """Yield (line, row) for each good row; append what is wrong to `faults`.

    `lines` is given the first line of each key (no tuple where it is one column).
    The line is the one on which the row starts, from 1. Every column of the contract
    has its value in the row. A fault in the header, in the encoding or in the quotes
    ends the reading; any other costs only its own row.
    """
    try:
        table = _table(stream)
        columns = _columns_of(table, contract, faults)
        if columns is not None:
            lines = {} if lines is None else lines
            yield from _good_rows(table, contract, columns, faults, lines)
    except _UnreadableError as unreadable:
        faults.append(contract.fault(unreadable.line, "", unreadable.reason))


def header_of(stream: BinaryIO) -> list[str]:
    """Return the names in a file's header, as far as it can be read, and rewind."""
    try:
        _, names = next(_table(stream), (1, []))
    except _UnreadableError:
        names = []
    stream.seek(0)
    return names


def write_rows(
    out: "SupportsWrite[str]", header: Sequence[str], rows: Iterable[Sequence[object]]
) -> None:
    """Write a header and rows as CSV with LF line ends, for programs and spreadsheets.

    None is an empty cell, True and False yes and no; numbers keep full precision,
    several texts are separated by spaces (a set in alphabetical order), dates and times
    are ISO 8601. A text that a spreadsheet would run as a formula gets an apostrophe in
    front, which a load takes away again; numbers stay numbers.
    """
    writer = csv.writer(_LfLines(out), lineterminator="\r\n")
    writer.writerow(header)
    for row in rows:
        if len(row) != len(header):
            raise ValueError(f"{row} has {len(row)} cells under {len(header)} columns.")
        # Most are whole numbers, which csv writes as cell_text would.
        writer.writerow([v if type(v) is int else cell_text(v) for v in row])


class _LfLines:
    """Ends lines in LF; csv quotes a cell's own CR only if the line ends in one."""

    def __init__(self, out: "SupportsWrite[str]") -> None:
        self.out = out

    def write(self, line: str) -> None:
        self.out.write(line.removesuffix("\r\n") + "\n")


def cell_text(value: object) -> str:
    """Return the text of one cell, as write_rows writes it."""
    if value is None:
        return ""
    if isinstance(value, str):
        return defused(str(value))
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float | Decimal):
        return _number_text(value)
    if isinstance(value, Integral):
        return str(int(value))
    if isinstance(value, datetime | date | time):
        return _time_text(value)
    if isinstance(value, list | tuple):
        return cell_text(" ".join(value))
    if isinstance(value, set | frozenset):
        return cell_text(" ".join(sorted(value)))
    raise TypeError(f"{value!r} has no text in a CSV file.")


def _number_text(value: Decimal | float) -> str:
    if not math.isfinite(value):
        raise ValueError(f"{value!r} is not a number: write None for what is unknown.")
    if not isinstance(value, Decimal):
        # repr() of numpy's floats is not their text.
        return repr(float(value))
    plain = format(value, "f")
    if "." in plain:
        plain = plain.rstrip("0").rstrip(".")
    return "0" if plain == "-0" else plain


def _time_text(value: datetime | date | time) -> str:
    if isinstance(value, time):
        return format_clock_time(value)
    if isinstance(value, datetime):
        if value.tzinfo is None:
            raise ValueError(f"{value} has no time zone; a moment has one.")
        return value.isoformat(timespec="seconds")
    return value.isoformat()


class _UnreadableError(Exception):
    """The file cannot be read beyond a line."""

    def __init__(self, line: int, reason: str) -> None:
        super().__init__(reason)
        self.line, self.reason = line, f"{reason} Nothing after it was read."


def _table(stream: BinaryIO) -> Iterator[tuple[int, list[str]]]:
    """Yield the cells of each row that has any, with the line on which it starts."""
    reader = csv.reader(_lines(stream), strict=True)
    line = 1
    try:
        for cells in reader:
            # A row of empty cells is a blank line as a spreadsheet writes it.
            if any(cells):
                yield line, cells
            line = reader.line_num + 1
    except csv.Error as error:
        reason = f"The line is no CSV ({error}): correct it."
        for part, known in _CSV_ERRORS.items():
            if part in str(error):
                reason = known.format(limit=csv.field_size_limit())
        raise _UnreadableError(line, reason) from None


def _lines(stream: BinaryIO) -> Iterator[str]:
    raws = iter(partial(stream.readline, _LINE_LIMIT), b"")
    for number, raw in enumerate(raws, start=1):
        if number == 1 and raw.startswith(_OTHER_ENCODINGS):
            reason = f"The file is in UTF-16 or UTF-32: {_SAVE_AS}."
            raise _UnreadableError(number, reason)
        if len(raw) == _LINE_LIMIT:
            reason = f"The line is longer than {_LINE_LIMIT} bytes: break it up."
            raise _UnreadableError(number, reason)
        text = _decoded(number, raw)
        yield text.removeprefix("\ufeff") if number == 1 else text


def _decoded(number: int, raw: bytes) -> str:
    try:
        text = raw.decode()
    except UnicodeDecodeError as error:
        reason = (
            f"Byte {error.start + 1} of the line (0x{raw[error.start]:02X}) is not "
            f"UTF-8: {_SAVE_AS}."
        )
        raise _UnreadableError(number, reason) from None
    if "\0" in text:
        reason = (
            f"Byte {raw.index(0) + 1} of the line is zero, so this is no text: "
            f"{_SAVE_AS}."
        )
        raise _UnreadableError(number, reason)
    return text


def _columns_of(
    table: Iterator[tuple[int, list[str]]], contract: Contract, faults: list[Fault]
) -> list[Column] | None:
    """Return the columns in the order of the header, or None where it is at fault."""
    wanted = ", ".join(contract.header)
    for line, names in table:
        found = list(_header_faults(line, names, contract))
        faults += found
        known = {column.name: column for column in contract.columns}
        return None if found else [known[name] for name in names]
    reason = f"The file is empty: write a header with the columns {wanted}."
    faults.append(contract.fault(None, "", reason))
    return None


def _header_faults(line: int, names: list[str], contract: Contract) -> Iterator[Fault]:
    wanted = ", ".join(contract.header)
    if len(names) == 1 and ";" in names[0]:
        reason = "The columns are separated by semicolons: separate them by commas."
        yield contract.fault(line, "", reason)
        return
    for n, name in enumerate(names):
        if not name:
            reason = f"Column {n + 1} has no name: name it or remove it."
            yield contract.fault(line, "", reason)
        elif name not in contract.header:
            reason = (
                f"{shown(name)} is not a column of {contract.file}: remove it or name "
                f"it as one of {wanted}."
            )
            yield contract.fault(line, name, reason)
        elif name in names[:n]:
            reason = f"The column {name} is there twice: remove one."
            yield contract.fault(line, name, reason)
    for column in contract.columns:
        if column.name not in names and not column.optional:
            reason = f"The column {column.name} is missing: add it."
            yield contract.fault(line, column.name, reason)


class _Values(dict[str, Any]):
    """The values of a column's cells by their text; most cells repeat."""

    def __init__(self, column: Column) -> None:
        self.column = column
        if column.optional or column.may_be_empty:
            self[""] = column.default

    def __missing__(self, cell: str) -> Any:
        if not cell:
            raise ValueError(f"{self.column.name} is empty: fill it in.")
        value = self.column.read(cell)
        if len(self) < _REMEMBERED:
            self[cell] = value
        return value


def _good_rows(
    table: Iterator[tuple[int, list[str]]],
    contract: Contract,
    columns: list[Column],
    faults: list[Fault],
    lines: dict[Any, int],
) -> Iterator[tuple[int, Row]]:
    names = [column.name for column in columns]
    values = [_Values(column) for column in columns]
    absent = {
        column.name: column.default
        for column in contract.columns
        if column.name not in names
    }
    key_of = itemgetter(*contract.key) if contract.key else None
    for line, cells in table:
        if len(cells) != len(names):
            faults.append(_wrong_width(line, cells, names, contract))
            continue
        try:
            row = dict(zip(names, map(getitem, values, cells), strict=True))
        except ValueError:
            faults.extend(_cell_faults(line, cells, values, contract))
            continue
        row.update(absent)
        if key_of is not None:
            first = lines.setdefault(key_of(row), line)
            if first != line:
                faults.append(_same_key(first, line, cells, names, contract))
                continue
        yield line, row


def _wrong_width(
    line: int, cells: list[str], names: list[str], contract: Contract
) -> Fault:
    reason = (
        f"The row that starts with {shown(cells[0])} has {len(cells)} cells, but the "
        f"header has {len(names)}: give it a cell for each column, and quote a cell "
        "that holds a comma."
    )
    return contract.fault(line, "", reason)


def _cell_faults(
    line: int, cells: list[str], values: list[_Values], contract: Contract
) -> Iterator[Fault]:
    for cell, value in zip(cells, values, strict=True):
        try:
            value[cell]
        except ValueError as error:
            yield contract.fault(line, value.column.name, str(error))


def _same_key(
    first: int, line: int, cells: list[str], names: list[str], contract: Contract
) -> Fault:
    texts = dict(zip(names, cells, strict=True))
    key = ", ".join(f"{name} {shown(texts.get(name, ''))}" for name in contract.key)
    reason = f"Lines {first} and {line} are both for {key}: keep one of them."
    return contract.fault(line, ", ".join(contract.key), reason)
