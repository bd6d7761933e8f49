"""Hours of a skill that the crews on record bring."""

from datetime import date, time

import pytest

from maintenance.crew_hours import crew_seconds
from maintenance.due_list import SkillLoad
from maintenance.models import Crew
from tests.builders import MONDAY, make_area, make_plant

pytestmark = pytest.mark.django_db

HOUR = 3600
SUNDAY = date(2026, 3, 8)


@pytest.fixture(autouse=True)
def plant(db):
    return make_plant()


def make_crew(skill: str = "M", **facts: object) -> Crew:
    given = {
        "crew": "Night",
        "weekdays": "mon-thu",
        "start": time(22),
        "end": time(6),
        "heads": 3,
        **facts,
    }
    return Crew.objects.create(skill=skill, **given)


def test_a_week_of_nights_counts_every_head():
    """Own arithmetic: 4 nights × 8 h × 3 heads."""
    make_crew()
    make_crew("E", heads=1)
    assert crew_seconds(MONDAY, SUNDAY) == {"M": 96 * HOUR, "E": 32 * HOUR}


def test_the_night_of_a_clock_change_has_its_real_length():
    make_crew(weekdays="sat", heads=1)
    assert crew_seconds(date(2026, 3, 28), date(2026, 3, 28)) == {"M": 7 * HOUR}
    assert crew_seconds(date(2026, 10, 24), date(2026, 10, 24)) == {"M": 9 * HOUR}


def test_a_crew_counts_while_it_is_valid():
    make_crew(heads=1, valid_from=date(2026, 3, 3), valid_to=date(2026, 3, 4))
    assert crew_seconds(MONDAY, SUNDAY) == {"M": 16 * HOUR}
    assert crew_seconds(date(2026, 3, 9), date(2026, 3, 15)) == {}


def test_an_area_has_its_own_crews_and_those_of_the_whole_plant():
    body, paint = make_area(), make_area("PAINT")
    make_crew(heads=1)
    make_crew(heads=1, area=body, crew="Body")
    assert crew_seconds(MONDAY, MONDAY, body) == {"M": 16 * HOUR}
    assert crew_seconds(MONDAY, MONDAY, paint) == {"M": 8 * HOUR}


def test_no_more_than_85_percent_of_a_crew_can_be_planned():
    """Common practice, own arithmetic: 85 h of 100."""
    full = SkillLoad(skill="M", due_s=85 * HOUR, crew_s=100 * HOUR)
    over = SkillLoad(skill="M", due_s=85 * HOUR + 60, crew_s=100 * HOUR)
    assert (full.is_enough, full.short_s) == (True, 0)
    assert (over.is_enough, over.short_s) == (False, 60)
