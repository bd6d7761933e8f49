"""How figures and moments are written on every page.

None is written "—": nothing to say, which is not nought.
"""

import math
import re
from datetime import date, datetime
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

from django import template
from django.conf import settings
from django.utils import timezone

from cells import clock as plant_clock
from cells.drawing import Seconds

register = template.Library()

UNKNOWN = "—"
MINUS = "\N{MINUS SIGN}"
_KEPT_MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ")
LONG = 600  # minutes; from ten hours on, hours are easier to read


def _sign(value: float | Fraction | Decimal) -> str:
    return MINUS if value < 0 else ""


@register.filter
def minutes(seconds: Seconds | None) -> str:
    """1680 → "28 min"; from ten hours on "12 h 30". Whole minutes, half up."""
    if seconds is None:
        return UNKNOWN
    whole = math.floor((seconds + 30) / 60)
    if abs(whole) < LONG:
        return f"{_sign(whole)}{abs(whole)} min"
    hours, rest = divmod(abs(whole), 60)
    return f"{_sign(whole)}{hours:,} h {rest:02}"


@register.filter
def exact_minutes(seconds: Seconds | None) -> str:
    """1692 → "28 min 12 s": to the second, where a sum is shown to close."""
    if seconds is None:
        return UNKNOWN
    whole = math.floor((2 * seconds + 1) / 2)
    full, rest = divmod(abs(whole), 60)
    if not rest:
        return f"{_sign(whole)}{full:,} min"
    if not full:
        return f"{_sign(whole)}{rest} s"
    return f"{_sign(whole)}{full:,} min {rest} s"


@register.filter
def percent(ratio: float | Decimal | Fraction | None) -> str:
    """0.7977 → "79.8 %". One decimal, half up."""
    if ratio is None:
        return UNKNOWN
    if isinstance(ratio, Fraction):
        ratio = float(ratio)
    # str() gives the decimals a person would see: 0.7975 is 79.75, so 79.8.
    tenths = (Decimal(str(ratio)) * 100).quantize(Decimal("0.1"), ROUND_HALF_UP)
    return f"{_sign(tenths)}{abs(tenths):,} %"


@register.filter
def count(number: float | Decimal | None) -> str:
    """1797120 → "1,797,120"; a Decimal without the zeros that its column adds."""
    if number is None:
        return UNKNOWN
    if isinstance(number, Decimal):
        return f"{_sign(number)}{abs(number).normalize():,f}"
    return f"{_sign(number)}{abs(number):,}"


def _local(moment: datetime) -> datetime:
    if timezone.is_naive(moment):
        raise ValueError(f"{moment.isoformat()} has no time zone")
    return timezone.localtime(moment)


@register.filter
def clock(moment: datetime | None) -> str:
    """ "14:05", plant time; "02:30 CEST" in the hour that a clock change repeats."""
    if moment is None:
        return UNKNOWN
    local = _local(moment)
    other = local.replace(fold=1 - local.fold)
    repeated = other.utcoffset() != local.utcoffset()
    return f"{local:%H:%M %Z}" if repeated else f"{local:%H:%M}"


@register.filter
def day(when: date | None) -> str:
    """ "Tue 3 March", of a date or of a moment; with its year when that is another."""
    if when is None:
        return UNKNOWN
    if isinstance(when, datetime):
        when = _local(when)
    this_year = _local(plant_clock.now()).year
    year = "" if when.year == this_year else f" {when.year}"
    return f"{when:%a} {when.day} {when:%B}{year}"


@register.simple_tag
def plant_now() -> datetime:
    """The moment the page is made, on the plant's (or the demo's) clock."""
    return plant_clock.now()


@register.simple_tag
def plant_speed() -> int:
    """How many times as fast as real time the plant's clock runs."""
    return settings.CLOCK_SPEED


#: Nobody reads a page that changes more often, in a demo however fast.
LEAST_REFRESH_S = 5


@register.filter
def refresh(plant_seconds: int) -> str:
    """60 → "60s", for hx-trigger; in a sped-up demo as much sooner."""
    wait = plant_clock.real_seconds(plant_seconds, least=LEAST_REFRESH_S)
    return f"{math.ceil(wait)}s"


@register.filter
def moment(when: datetime | None) -> str:
    """ "Tue 3 March 14:05", plant time."""
    return UNKNOWN if when is None else f"{day(when)} {clock(when)}"


@register.filter
def of_trail(text: str) -> str:
    """As the trail keeps it, a moment in plant time and to the second.

    "2026-03-03T13:05:00Z" → "Tue 3 March 14:05"; what is no moment stays as it is.
    """
    if not _KEPT_MOMENT.fullmatch(text):
        return text
    when = datetime.fromisoformat(text)
    return f"{moment(when)} and {when.second} s" if when.second else moment(when)
