"""How many hours of each skill are there for planned work?"""

from collections import defaultdict
from datetime import date, datetime, timedelta
from fractions import Fraction

from django.db.models import Q

from cells.models import Area, Plant
from cells.working_time.plant_time import elapsed_s, to_pattern_moment
from cells.working_time.weekdays import parse_weekdays
from maintenance.models import Crew

#: Of the crew's time; the rest is for breakdowns. Common practice: 60 to 85 %.
PLANNED_SHARE = Fraction(85, 100)

DAY = timedelta(days=1)


def crew_seconds(first: date, last: date, area: Area | None = None) -> dict[str, int]:
    """Seconds of work by skill that begin from one date to another, both in.

    Of an area: its own crews and those that serve the whole plant.
    """
    zone = Plant.current().zone
    crews = Crew.objects.filter(
        Q(valid_from=None) | Q(valid_from__lte=last),
        Q(valid_to=None) | Q(valid_to__gte=first),
    )
    if area is not None:
        crews = crews.filter(Q(area=None) | Q(area=area))
    found: dict[str, int] = defaultdict(int)
    for crew in crews:
        weekdays = parse_weekdays(crew.weekdays)
        day = max(first, crew.valid_from or first)
        while day <= min(last, crew.valid_to or last):
            if day.weekday() in weekdays:
                start = to_pattern_moment(datetime.combine(day, crew.start), zone)
                ends_on = day if crew.end > crew.start else day + DAY
                end = to_pattern_moment(datetime.combine(ends_on, crew.end), zone)
                found[crew.skill] += elapsed_s(start, end) * crew.heads
            day += DAY
    return dict(found)
