from datetime import timedelta

from maintenance.models import Stop
from maintenance.timeline import down_s, parts
from tests.builders import at


def minutes(stop: Stop) -> dict[str, float | None]:
    return {
        part.name: None if part.seconds is None else part.seconds / 60
        for part in parts(stop)
    }


def test_a_breakdown_is_cut_into_parts_that_add_up():
    # The trade's worked example: 3 + 8 + 8 + 18 + 7 + 4 + 3 = 51 min.
    stop = Stop(
        started_at=at("09:02"),
        called_at=at("09:05"),
        arrived_at=at("09:13"),
        cause_found_at=at("09:21"),
        repaired_at=at("09:46"),
        parts_wait_s=7 * 60,
        restarted_at=at("09:50"),
        first_good_at=at("09:53"),
    )

    assert minutes(stop) == {
        "call": 3,
        "response": 8,
        "diagnosis": 8,
        "waiting for parts": 7,
        "repair": 18,
        "check and restart": 4,
        "ramp": 3,
    }
    assert down_s(stop) == 51 * 60 == sum(part.seconds for part in parts(stop))


def test_what_was_not_recorded_is_unknown_and_not_nought():
    stop = Stop(started_at=at("09:02"), arrived_at=at("09:13"))
    assert set(minutes(stop).values()) == {None}
    assert down_s(stop) is None


def test_without_a_first_good_part_the_restart_ends_the_down_time():
    stop = Stop(started_at=at("09:02"), restarted_at=at("09:50"))
    assert down_s(stop) == 48 * 60


def test_a_part_may_take_no_time():
    stop = Stop(
        started_at=at("09:02"),
        called_at=at("09:02"),
        arrived_at=at("09:02") + timedelta(seconds=1),
    )
    assert minutes(stop)["call"] == 0
