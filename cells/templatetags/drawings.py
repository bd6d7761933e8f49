"""The drawings of the product as inline SVG, each with its words.

{% account_bar parts total=… scale=… label=… %}   where the minutes went
{% shift_strip shift breaks stops now %}          the clock of one shift
{% sparkline values target=… label=… %}           ratios over time
{% legend %} or {% legend "good" "breakdown" %}   which colour is which word
{% hatches %}                                     once a page; base.html has it
"""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django import template
from django.utils import timezone

from cells import drawing
from cells.templatetags.figures import clock, minutes, percent

register = template.Library()


@register.inclusion_tag("cells/drawings/hatches.html")
def hatches() -> dict[str, Any]:
    """One pattern per hatched kind. Once a page, so that its ids are unique there."""
    return {"kinds": drawing.HATCHED_KINDS}


@register.inclusion_tag("cells/drawings/account_bar.html")
def account_bar(
    parts: Iterable[drawing.Part],
    total: drawing.Seconds | None = None,
    scale: drawing.Seconds | None = None,
    label: str = "Planned time",
) -> dict[str, Any]:
    """``total`` and ``scale`` in seconds, as in ``drawing.account_bar``."""
    bar = drawing.account_bar(parts, total=total, scale=scale)
    return {
        "bar": bar,
        "label": f"{label}, {bar_in_words(bar)}",
        "hatched": drawing.HATCHED_KINDS,
    }


def bar_in_words(bar: drawing.Bar) -> str:
    said = [
        f"{drawing.KIND_WORDS[part.kind]} {minutes(part.seconds)}"
        + (" (more made than the time allows, not drawn)" if part.seconds < 0 else "")
        for part in bar.parts
    ]
    if bar.missing:
        said.append(f"not known {minutes(bar.missing)}")
    if not said:
        return "nothing to show"
    return f"{minutes(bar.total)}: {', '.join(said)}"


@register.inclusion_tag("cells/drawings/shift_strip.html")
def shift_strip(
    shift: drawing.Span,
    breaks: Iterable[drawing.Span],
    stops: Iterable[drawing.StripStop],
    now: datetime,
) -> dict[str, Any]:
    """``shift`` and ``breaks``: anything with starts_at and ends_at."""
    strip = drawing.shift_strip(
        shift,
        breaks=breaks,
        stops=stops,
        now=now,
        zone=timezone.get_current_timezone(),
    )
    return {
        "strip": strip,
        "label": f"{clock(shift.starts_at)} to {clock(shift.ends_at)}, "
        f"{strip_in_words(strip)}",
        "hatched": drawing.HATCHED_KINDS,
    }


def strip_in_words(strip: drawing.Strip) -> str:
    """The stops in the order of the clock, whichever is painted on top."""
    blocks = sorted(strip.stops, key=lambda block: block.starts_at)
    said = [block_in_words(block) for block in blocks]
    rests = len(strip.breaks)
    return f"{rests} break{'' if rests == 1 else 's'}, " + (
        f"stops: {'; '.join(said)}" if said else "no stop logged"
    )


@register.filter
def block_in_words(block: drawing.Block) -> str:
    """ "gun force (breakdown) 06:29 to 06:46", of one block of the strip."""
    span = f"{clock(block.starts_at)} to {clock(block.ends_at)}"
    if block.stop is None:
        return span
    running = "" if block.stop.ends_at else ", still running"
    return f"{block.stop.said} {span}{running}"


@register.inclusion_tag("cells/drawings/sparkline.html")
def sparkline(
    values: Iterable[float | None],
    target: float | None = None,
    label: str = "Trend",
) -> dict[str, Any]:
    """``values``: ratios, oldest first, None where nothing is known."""
    series = list(values)
    known = [value for value in series if value is not None]
    words = f"{label}: nothing known yet"
    if known:
        words = (
            f"{label}: {len(known)} of {len(series)} values known, "
            f"{percent(min(known))} to {percent(max(known))}, last {percent(known[-1])}"
        )
    if target is not None:
        words += f", target {percent(target)}"
    return {"spark": drawing.sparkline(series, target=target), "label": words}


@register.inclusion_tag("cells/drawings/legend.html")
def legend(*kinds: str) -> dict[str, Any]:
    """All kinds but planned, or the given ones, told apart by whose they are."""
    wanted = kinds or tuple(kind for kind in drawing.KIND_WORDS if kind != "planned")
    unknown = set(wanted) - set(drawing.KIND_WORDS)
    if unknown:
        raise ValueError(f"legend knows no kind {', '.join(sorted(unknown))}")

    def entries(of: Iterable[str]) -> list[tuple[str, str]]:
        return [(kind, drawing.KIND_WORDS[kind]) for kind in of if kind in wanted]

    groups = [
        ("", entries(["good"])),
        ("own faults", entries(drawing.OWN_KINDS)),
        ("", entries(["slow", "planned"])),
        ("done to the cell", entries(drawing.FOREIGN_KINDS)),
    ]
    return {
        "groups": [(name, members) for name, members in groups if members],
        "hatched": drawing.HATCHED_KINDS,
    }
