"""Which seconds are covered: half-open spans of whole UTC seconds.

A span holds its start and not its end, so two spans that touch share no second.
Made for the few spans of one shift; bulk work is vectorised elsewhere.

Three stops of which two overlap, less a break, in seconds after 10:00:

>>> stops = [Span(600, 1200), Span(0, 300), Span(900, 1800)]
>>> covered = union(stops)
>>> covered
[Span(start=0, end=300), Span(start=600, end=1800)]
>>> length(covered)
1500
>>> length(subtraction(stops, [Span(1500, 3600)]))
1200
"""

from collections.abc import Iterable
from typing import NamedTuple


class Span(NamedTuple):
    """The seconds from start up to, not including, end.

    Both are whole seconds, UTC, since 1970. A span whose end is not after its start
    covers nothing.
    """

    start: int  # s
    end: int  # s


def union(spans: Iterable[Span]) -> list[Span]:
    """Return what at least one span covers, sorted, with nothing touching.

    >>> union([Span(5, 9), Span(0, 5), Span(7, 7)])
    [Span(start=0, end=9)]
    """
    merged: list[Span] = []
    for span in sorted(span for span in spans if span.start < span.end):
        if merged and span.start <= merged[-1].end:
            merged[-1] = Span(merged[-1].start, max(merged[-1].end, span.end))
        else:
            merged.append(span)
    return merged


def intersection(first: Iterable[Span], second: Iterable[Span]) -> list[Span]:
    """Return what both sides cover, sorted, with nothing touching.

    >>> intersection([Span(0, 10)], [Span(8, 20), Span(2, 4)])
    [Span(start=2, end=4), Span(start=8, end=10)]
    """
    right = union(second)
    return union(
        Span(max(a.start, b.start), min(a.end, b.end))
        for a in union(first)
        for b in right
    )


def subtraction(spans: Iterable[Span], taken: Iterable[Span]) -> list[Span]:
    """Return what the spans cover and nothing taken does, sorted.

    >>> subtraction([Span(0, 10)], [Span(3, 5)])
    [Span(start=0, end=3), Span(start=5, end=10)]
    """
    holes = union(taken)
    left: list[Span] = []
    for span in union(spans):
        start = span.start
        for hole in holes:
            if hole.end <= start or hole.start >= span.end:
                continue
            if start < hole.start:
                left.append(Span(start, hole.start))
            start = hole.end
        if start < span.end:
            left.append(Span(start, span.end))
    return left


def length(spans: Iterable[Span]) -> int:
    """Return the seconds that the spans cover, each second once.

    >>> length([Span(0, 20), Span(12, 30)])
    30
    """
    return sum(span.end - span.start for span in union(spans))
