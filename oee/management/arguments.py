"""What the commands of this room are asked for, read into dates and records.

Every refusal is a CommandError with a whole sentence: the exit status is then not 0.
"""

from collections.abc import Iterable
from datetime import date
from typing import Any, TypeVar

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser

from cells.models import Area
from cells.working_time.plant_time import parse_date
from oee.recompute import waiting
from oee.reports import date_range

Choice = TypeVar("Choice", bound=str)


def add_dates(parser: CommandParser) -> None:
    parser.add_argument("--from", dest="first", metavar="DATE", help="like 2026-03-02")
    parser.add_argument("--to", dest="last", metavar="DATE", help="included")


def add_area(parser: CommandParser) -> None:
    parser.add_argument("--area", metavar="CODE", help="of this area only")


def dates_of(options: dict[str, Any]) -> tuple[date | None, date | None]:
    """First and last as given; None where not."""
    first, last = _date("--from", options["first"]), _date("--to", options["last"])
    if first is not None and last is not None and first > last:
        raise CommandError(
            f"--from {first} lies after --to {last}: swap them, or correct one of the "
            "two."
        )
    return first, last


def range_of(options: dict[str, Any], area: Area | None) -> tuple[date, date]:
    """First and last production date of a report."""
    first, last = dates_of(options)
    try:
        return date_range(first=first, last=last, area=area)
    except ValidationError as error:
        raise CommandError(" ".join(error.messages)) from error


def area_of(options: dict[str, Any]) -> Area | None:
    code = options["area"]
    if code is None:
        return None
    areas = {area.code: area for area in Area.objects.all()}
    if code not in areas:
        known = ", ".join(sorted(areas)) or "none is loaded yet"
        raise CommandError(f"--area: there is no area “{code}”. Known areas: {known}.")
    return areas[code]


def one_of(option: str, given: str | None, known: Iterable[Choice]) -> Choice:
    names = list(known)
    for name in names:
        if given == name:
            return name
    said = "is missing" if given is None else f"is “{given}”"
    raise CommandError(f"{option} {said}: give {', '.join(names[:-1])} or {names[-1]}.")


def warn_of_waiting(
    command: BaseCommand, first: date, last: date, area: Area | None = None
) -> None:
    """What is printed is what is stored; say so if that is about to change."""
    count = waiting(first=first, last=last, area=area)
    if count:
        waits = "cell-shift waits" if count == 1 else "cell-shifts wait"
        command.stderr.write(
            f"{count} {waits} to be computed again, so these are not the latest "
            "figures: compute_oee brings them up to date."
        )


def _date(option: str, text: str | None) -> date | None:
    try:
        return None if text is None else parse_date(text)
    except ValueError as error:
        raise CommandError(f"{option}: {error}") from error
