"""Values that no page means, and what goes wrong with forms, questions and files."""

import csv
import io
from collections.abc import Callable
from typing import Any
from urllib.parse import quote

from hypothesis import strategies as st

from tests.config.live_forms import Pairs

#: Shown as markup anywhere, it would be a page's fault.
MARKUP = "<b id=from-outside>"

NASTY = [
    "",
    " ",
    "0",
    "-1",
    "-0",
    "00012",
    "1e3",
    "1E+999",
    "1e-400",
    "NaN",
    "sNaN",
    "Infinity",
    "0.0000000001",
    "99999999",
    "2147483648",
    "9223372036854775807",
    "9223372036854775808",
    "9" * 400,
    "9" * 5000,
    "١٢",  # digits, though not of this alphabet
    "½",
    "1,5",
    "x",
    "x" * 40,
    "x" * 5000,
    "\0",
    "a\0b",
    "\ud800",  # half a character
    "\ufffe",
    "\u202egnp.exe",
    "\u2066a",
    "e\u0301" * 50,
    "\N{PILE OF POO}",
    "\r\nSet-Cookie: a=b",
    "a\nb",
    "\t",
    "\x1b[31m",
    "=1+1",
    "'=1+1",
    "@x",
    MARKUP,
    f'"{MARKUP}',
    f"'{MARKUP}",
    "{{ settings.SECRET_KEY }}",
    "%00",
    "%s%n",
    "../../etc/passwd",
    "https://elsewhere.example/",
    "//elsewhere.example",
    "javascript:alert(1)",
    "' OR 1=1 --",
    "None",
    "true",
    "on",
    "[]",
    "0000-00-00",
    "0001-01-01",
    "1899-12-31",
    "2026-02-30",
    "2026-03-02",
    "9999-12-31",
    "10000-01-01",
    "2026-W10-1",
    "someday",
    "0001-01-01T00:00",
    "9999-12-31T23:59:59",
    "2026-03-29T02:30",  # the clocks skip it
    "2026-10-25T02:30",  # the clocks show it twice
    "2026-03-02T24:00",
    "2026-03-02T12:00+99:99",
    "2026-03-02T12:00:00.1234567",
    "2026-03-02T12:00Z",
    "00:00",
    "24:00",
    "06:00-06:00",
    "09:00-09:10;09:05-09:20",
    "mon-mon",
    "sun-mon",
    "L1",
    "L1-10",
    "P1",
    "P1-10",
    "PAINT",
    "L1/L",
    "W-0001",
    "wipe",
    "stuck-tip",
]
#: Fields that no form has, which a model or a browser knows.
FOREIGN = [
    "id",
    "pk",
    "by",
    "user",
    "is_superuser",
    "withdrawn",
    "logged_by",
    "do",
    "next",
    "csv",
    "page",
    "why",
    "__proto__",
    "a[b]",
    "task",
    "x" * 300,
    "\0",
    "\ud800",
]

values = st.one_of(
    st.sampled_from(NASTY),
    st.integers(-5, 60).map(str),  # other people's, other records'
    st.text(max_size=30),
    st.dates().map(str),
    st.datetimes().map(lambda moment: moment.isoformat()),
    st.decimals(allow_nan=False, allow_infinity=False).map(str),
)
names = st.one_of(st.sampled_from(FOREIGN), st.text(max_size=8))


@st.composite
def mutated(draw: Any, pairs: Pairs, most: int = 4) -> Pairs:
    """What a form or a question sends, with some things done to it."""
    pairs = list(pairs)
    for _ in range(draw(st.integers(1, most))):
        change = draw(st.sampled_from(CHANGES))
        pairs = change(draw, pairs) if pairs else _add(draw, pairs)
    return pairs


def _set(draw: Any, pairs: Pairs) -> Pairs:
    at = _place(draw, pairs)
    return [*pairs[:at], (pairs[at][0], draw(values)), *pairs[at + 1 :]]


def _append(draw: Any, pairs: Pairs) -> Pairs:
    at = _place(draw, pairs)
    name, value = pairs[at]
    return [*pairs[:at], (name, value + draw(values)), *pairs[at + 1 :]]


def _rename(draw: Any, pairs: Pairs) -> Pairs:
    at = _place(draw, pairs)
    name, value = pairs[at]
    longer = draw(st.sampled_from(["", "x", "_1", "__1", "__99999", "_9_9"]))
    return [*pairs[:at], (name + longer, value), *pairs[at + 1 :]]


def _drop(draw: Any, pairs: Pairs) -> Pairs:
    at = _place(draw, pairs)
    return pairs[:at] + pairs[at + 1 :]


def _list(draw: Any, pairs: Pairs) -> Pairs:
    """A list where one value is meant; the last one counts."""
    at = _place(draw, pairs)
    return [*pairs, (pairs[at][0], draw(values))]


def _many(draw: Any, pairs: Pairs) -> Pairs:
    at = _place(draw, pairs)
    return [*pairs, *([pairs[at]] * draw(st.sampled_from([2, 50, 1500])))]


def _swap(draw: Any, pairs: Pairs) -> Pairs:
    one, other = _place(draw, pairs), _place(draw, pairs)
    pairs = list(pairs)
    left, right = pairs[one], pairs[other]
    pairs[one], pairs[other] = (left[0], right[1]), (right[0], left[1])
    return pairs


def _add(draw: Any, pairs: Pairs) -> Pairs:
    return [*pairs, (draw(names), draw(values))]


CHANGES: list[Callable[[Any, Pairs], Pairs]] = [
    _set,
    _set,
    _set,
    _append,
    _rename,
    _drop,
    _list,
    _many,
    _swap,
    _add,
]


def _place(draw: Any, items: Any) -> int:
    place: int = draw(st.integers(0, len(items) - 1))
    return place


def encoded(pairs: Pairs) -> bytes:
    """As a browser would, but half characters too."""

    def part(text: str) -> str:
        return quote(text, safe="", errors="surrogatepass")

    return "&".join(f"{part(name)}={part(value)}" for name, value in pairs).encode()


BOUNDARY = "a-line-between"


def as_parts(pairs: Pairs, files: set[int]) -> bytes:
    """The same in parts; those of these numbers are files."""
    body = b""
    for number, (name, value) in enumerate(pairs):
        said = quote(name, safe=" _-", errors="surrogatepass")
        file = '; filename="a.csv"' if number in files else ""
        head = f'--{BOUNDARY}\r\nContent-Disposition: form-data; name="{said}"{file}'
        text = value.encode(errors="surrogatepass")
        body += head.encode() + b"\r\n\r\n" + text + b"\r\n"
    return body + f"--{BOUNDARY}--\r\n".encode()


@st.composite
def bodies(draw: Any, pairs: Pairs) -> tuple[bytes, str]:
    """What is sent, and as what."""
    sent = draw(mutated(pairs))
    kind = draw(st.integers(0, 19))
    if kind == 0:
        files = {_place(draw, sent)} if sent else set()
        return as_parts(sent, files), f"multipart/form-data; boundary={BOUNDARY}"
    if kind == 1:
        return as_parts(sent, set()), f"multipart/form-data; boundary={BOUNDARY}"
    if kind == 2:
        broken = as_parts(sent, set())
        cut = broken[: _place(draw, broken)]
        return cut, f"multipart/form-data; boundary={BOUNDARY}"
    if kind == 3:
        other = ["application/json", "text/plain", "multipart/form-data", "", "a/b; c"]
        return encoded(sent), draw(st.sampled_from(other))
    if kind == 4:
        as_latin = "application/x-www-form-urlencoded; charset=latin-1"
        return encoded(sent), as_latin
    return encoded(sent), "application/x-www-form-urlencoded"


# Files


def table_of(text: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text)))


@st.composite
def tables(draw: Any, text: str) -> bytes:
    """A file with some of its cells, rows, columns and bytes changed."""
    rows = table_of(text)
    for _ in range(draw(st.integers(0, 3))):
        rows = draw(st.sampled_from(TABLE_CHANGES))(draw, rows) if rows else rows
    out = io.StringIO()
    quoting = draw(st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]))
    end = draw(st.sampled_from(["\n", "\n", "\n", "\r\n", "\r", "\n\n", "\u2028"]))
    csv.writer(out, quoting=quoting, lineterminator=end).writerows(rows)
    return _bytes(draw, out.getvalue())


def _cell(draw: Any, rows: list[list[str]]) -> list[list[str]]:
    rows = [list(row) for row in rows]
    row = rows[_place(draw, rows)]
    if row:
        row[_place(draw, row)] = draw(values)
    return rows


def _row_again(draw: Any, rows: list[list[str]]) -> list[list[str]]:
    return [*rows, rows[_place(draw, rows)]]


def _row_gone(draw: Any, rows: list[list[str]]) -> list[list[str]]:
    at = _place(draw, rows)
    return rows[:at] + rows[at + 1 :]


def _wider(draw: Any, rows: list[list[str]]) -> list[list[str]]:
    rows = [list(row) for row in rows]
    rows[_place(draw, rows)].extend([draw(values)] * draw(st.sampled_from([1, 500])))
    return rows


def _narrower(draw: Any, rows: list[list[str]]) -> list[list[str]]:
    rows = [list(row) for row in rows]
    rows[_place(draw, rows)][-1:] = []
    return rows


def _column_gone(draw: Any, rows: list[list[str]]) -> list[list[str]]:
    at = _place(draw, rows[0]) if rows[0] else 0
    return [row[:at] + row[at + 1 :] for row in rows]


def _columns_turned(draw: Any, rows: list[list[str]]) -> list[list[str]]:
    return [row[::-1] for row in rows]


def _huge(draw: Any, rows: list[list[str]]) -> list[list[str]]:
    size = draw(st.sampled_from([1001, 140_000, 1_100_000]))
    return [*rows, ["x" * size] * max(1, len(rows[0]) if size < 2000 else 1)]


TABLE_CHANGES = [
    _cell,
    _cell,
    _cell,
    _cell,
    _row_again,
    _row_gone,
    _wider,
    _narrower,
    _column_gone,
    _columns_turned,
    _huge,
]


def _bytes(draw: Any, text: str) -> bytes:
    data = text.encode(errors="surrogatepass")
    kind = draw(st.integers(0, 19))
    if kind == 0:
        return b"\xef\xbb\xbf" + data
    if kind == 1:
        return text.encode("utf-16", errors="surrogatepass")
    if kind == 2:
        return text.encode("latin-1", errors="replace")
    if kind == 3:
        return data.replace(b",", b";")
    if kind == 4 and data:
        at = _place(draw, data)
        return data[:at] + draw(st.binary(max_size=3)) + data[at + 1 :]
    if kind == 5 and data:
        return data[: _place(draw, data)]
    if kind == 6:
        return data + b'"'
    if kind == 7:
        return b""
    return data
