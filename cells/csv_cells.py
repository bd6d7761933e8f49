"""What the text of one CSV cell means; beside the dates and times of working_time.

Each reader takes the text of a cell that is not empty and returns its value, or raises
ValueError with a whole sentence that names the text and says what to write instead.
Nothing is trimmed, rounded or guessed.
"""

import re
from collections.abc import Callable
from datetime import datetime
from decimal import Decimal
from functools import partial
from typing import TypeVar
from zoneinfo import ZoneInfo

from cells.working_time.plant_time import parse_moment

T = TypeVar("T")
Read = Callable[[str], T]

# What a spreadsheet would run: signs with which a formula begins, also those of full
# width and behind quotes and blanks, and what splits a cell on its way in.
_FORMULA = re.compile(r"[\s'\"`]*[=+\-@\uFF1D\uFF0B\uFF0D\uFF20]|['\"` ]*[\t\r\n]")
_NEGATIVE = re.compile(r"-[0-9]+(?:\.[0-9]+)?")

_DIGITS = 18  # more than anything that is counted here, and it fits a database column
_INTEGER = re.compile(r"-?[0-9]+")
_DECIMAL = re.compile(r"-?[0-9]+(?:\.[0-9]+)?(?:[eE][+-]?[0-9]{1,3})?")


def shown(text: str) -> str:
    """Return a text as a sentence quotes it: what cannot be seen is spelled out."""
    return repr(text if len(text) <= 60 else text[:57] + "…")


def defused(text: str) -> str:
    """Return a text so that a spreadsheet shows it: with an apostrophe where needed."""
    runs = _FORMULA.match(text) and not _NEGATIVE.fullmatch(text)
    return f"'{text}" if runs else text


def as_meant(cell: str) -> str:
    """Return the text that ``defused`` was given."""
    meant = cell.removeprefix("'")
    return meant if defused(meant) == cell else cell


def text(max_length: int = 1000) -> Read[str]:
    """Return a reader of free text, which may have several lines."""

    def read(cell: str) -> str:
        cell = as_meant(cell)
        if not cell.strip():
            raise ValueError(f"{shown(cell)} is only blanks: write a text.")
        if len(cell) > max_length:
            raise ValueError(
                f"{shown(cell)} has {len(cell)} characters: shorten it to at most "
                f"{max_length}."
            )
        return cell

    return read


def code(max_length: int = 100, *, slash: bool = False) -> Read[str]:
    """Return a reader of codes, names and other keys: one line, no blanks around it.

    A slash stands between a line and its leg, so only `slash` takes one.
    """
    as_text = text(max_length)

    def read(cell: str) -> str:
        as_text(cell)
        if cell != cell.strip():
            raise ValueError(f"{shown(cell)} has a blank around it: remove it.")
        if not cell.isprintable():
            raise ValueError(
                f"{shown(cell)} holds a character that cannot be seen: type it anew."
            )
        if ";" in cell or ("/" in cell and not slash):
            raise ValueError(
                f"{shown(cell)} holds a semicolon or a slash, which separates codes: "
                "choose another code."
            )
        if not cell.strip("."):
            raise ValueError(
                f"{shown(cell)} has nothing but dots, which an address cannot hold: "
                "choose another code."
            )
        if cell[0] in "=+-@'":
            raise ValueError(
                f"{shown(cell)} starts with {cell[0]}, which a spreadsheet would not "
                "leave alone: start the code with a letter or a digit."
            )
        return cell

    return read


def integer(at_least: int | None = None, at_most: int | None = None) -> Read[int]:
    """Return a reader of whole numbers between two bounds, both included."""

    def read(cell: str) -> int:
        if not _INTEGER.fullmatch(cell):
            raise ValueError(
                f"{shown(cell)} is not a whole number: write digits only, like 12."
            )
        if len(cell) > _DIGITS:
            raise _too_long(cell)
        value = int(cell)
        _check_bounds(cell, value, at_least, at_most)
        return value

    return read


def decimal(
    at_least: Decimal | int | None = None,
    at_most: Decimal | int | None = None,
    max_decimals: int = 6,
) -> Read[Decimal]:
    """Return a reader of decimal numbers between two bounds, both included."""

    def read(cell: str) -> Decimal:
        if not _DECIMAL.fullmatch(cell):
            raise ValueError(
                f"{shown(cell)} is not a number: write digits and a decimal point, "
                "like 12.5."
            )
        value = Decimal(cell)
        # Decimal counts exactly only up to its 28 digits.
        if value.adjusted() >= _DIGITS or len(value.as_tuple().digits) > 28:
            raise _too_long(cell)
        if value != round(value, max_decimals):
            raise ValueError(
                f"{shown(cell)} has too many decimals: write at most {max_decimals}."
            )
        _check_bounds(cell, value, at_least, at_most)
        return value

    return read


def yes_no(cell: str) -> bool:
    """Return whether a cell says yes."""
    if cell not in ("yes", "no"):
        raise ValueError(f"{shown(cell)} is neither yes nor no: write one of them.")
    return cell == "yes"


def choice(*options: str) -> Read[str]:
    """Return a reader of one word out of a few."""

    def read(cell: str) -> str:
        if cell not in options:
            raise ValueError(
                f"{shown(cell)} is not known here: write one of {', '.join(options)}."
            )
        return cell

    return read


def list_of(read_one: Read[T]) -> Read[tuple[T, ...]]:
    """Return a reader of values separated by semicolons, none of them twice."""

    def read(cell: str) -> tuple[T, ...]:
        parts = cell.split(";")
        if "" in parts:
            raise ValueError(
                f"{shown(cell)} has nothing between two semicolons or at an end: "
                "separate the values by one semicolon each."
            )
        values = tuple(read_one(part) for part in parts)
        twice = [one for n, one in enumerate(values) if one in values[:n]]
        if twice:
            raise ValueError(f"{shown(cell)} names {twice[0]} twice: name it once.")
        return values

    return read


def moment(zone: ZoneInfo) -> Read[datetime]:
    """Return a reader of times; without an offset they are plant time."""
    return partial(parse_moment, zone=zone)


def _check_bounds(
    cell: str,
    value: Decimal | int,
    at_least: Decimal | int | None,
    at_most: Decimal | int | None,
) -> None:
    if at_least is not None and value < at_least:
        raise ValueError(f"{shown(cell)} is too small: write at least {at_least}.")
    if at_most is not None and value > at_most:
        raise ValueError(f"{shown(cell)} is too large: write at most {at_most}.")


def _too_long(cell: str) -> ValueError:
    return ValueError(
        f"{shown(cell)} has more than {_DIGITS} digits: check the number."
    )
