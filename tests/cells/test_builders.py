import pytest

from cells.moments import to_seconds
from tests import builders

pytestmark = pytest.mark.django_db


def test_the_cast_is_what_its_comments_say() -> None:
    cast = builders.the_cast()

    assert [cell.code for cell in cast.cells] == ["L1-10", "L1-20", "L1-30"]
    assert cast.line.counting_cell == cast.cells[2]
    assert _work_s(cast.early) == 26_400
    assert _work_s(cast.late) == 27_000


def test_a_night_shift_of_the_cast_ends_the_next_day() -> None:
    line = builders.make_line(area=builders.make_area())

    night = builders.make_shift(
        line, "Night", start="22:00", end="06:00", breaks="23:50-00:10;02:00-02:30"
    )

    assert night.ends_at == builders.at("06:00", builders.TUESDAY)
    assert _work_s(night) == 8 * 3600 - 20 * 60 - 30 * 60


def _work_s(shift) -> int:
    length = to_seconds(shift.ends_at) - to_seconds(shift.starts_at)
    return length - sum(
        to_seconds(rest.ends_at) - to_seconds(rest.starts_at)
        for rest in shift.breaks.all()
    )
