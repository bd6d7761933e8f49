"""Registry health: what is missing or contradictory, found by registered checks."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Finding:
    subject: str  # what people call it: a cell's code, a serial number
    url: str  # where to mend it
    sentence: str  # what is wrong and what to do


@dataclass(frozen=True, kw_only=True)
class Check:
    order: int
    title: str
    find: Callable[[], Iterable[Finding]]


_checks: list[Check] = []


def register(check: Check) -> None:
    """Rooms above add theirs when Django starts."""
    if check not in _checks:
        _checks.append(check)


def run_checks() -> list[tuple[str, list[Finding]]]:
    """Every check's title with its findings, in order; empty lists included."""
    return [
        (check.title, list(check.find()))
        for check in sorted(_checks, key=lambda check: check.order)
    ]
