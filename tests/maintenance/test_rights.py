"""Who may do what to a stop, and until when. (Windows: common practice.)"""

from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied

from cells.rights import Role
from maintenance import rights, stops
from tests.builders import at, make_cell, make_line, make_user
from tests.maintenance.stop_cast import a_stop

SECOND = timedelta(seconds=1)
SHIFT_END = at("14:00")


@pytest.fixture
def neighbour(cast):
    """A cell of another line of the same area."""
    return make_cell("L2-10", line=make_line("L2", area=cast.area, order=2))


@pytest.mark.parametrize(
    ("person", "may"),
    [
        ("leader", True),
        ("area_manager", True),
        ("admin", True),
        ("technician", False),
        ("planner", False),
        ("plant_manager", False),
        ("safety_officer", False),
        ("reader", False),
        ("stranger", False),
    ],
)
def test_who_starts_a_stop(cast, reasons, person, may):
    by = getattr(cast.people, person)
    if may:
        stops.start_stop(cell=cast.cells[0], reason=reasons.stuck, by=by)
    else:
        with pytest.raises(PermissionDenied, match="team leaders of its area"):
            stops.start_stop(cell=cast.cells[0], reason=reasons.stuck, by=by)


def test_a_leader_logs_ends_and_corrects_the_stop_of_a_neighbours_cell(
    cast, reasons, neighbour
):
    stop = a_stop(cast, reasons.stuck, "11:00", None, cell=neighbour)
    stops.end_stop(stop=stop, by=cast.people.leader)
    stops.correct_stop(
        stop=stop, changes={"note": "x"}, why="own entry", by=cast.people.leader
    )


def test_a_leader_does_not_correct_what_the_neighbours_leader_logged(
    cast, reasons, neighbour
):
    colleague = make_user("colleague", Role.TEAM_LEADER, lines=(neighbour.line,))
    stop = a_stop(cast, reasons.stuck, "10:00", "10:10", cell=neighbour, by=colleague)
    with pytest.raises(PermissionDenied, match="the leader of line L2"):
        stops.correct_stop(
            stop=stop, changes={"note": "x"}, why="x", by=cast.people.leader
        )
    with pytest.raises(PermissionDenied):
        stops.withdraw_stop(stop=stop, why="x", by=cast.people.leader)


@pytest.mark.parametrize(
    ("person", "window"),
    [("leader", timedelta(hours=24)), ("area_manager", timedelta(days=14))],
)
def test_logging_and_correcting_end_some_time_after_the_shift(
    cast, reasons, monday_noon, person, window
):
    stop = a_stop(cast, reasons.stuck, "08:00", "08:10")
    by = getattr(cast.people, person)

    monday_noon.move_to(SHIFT_END + window)
    assert rights.may_correct_stop(by, stop)
    assert rights.may_log_stop(by, stop.cell, SHIFT_END)
    monday_noon.move_to(SHIFT_END + window + SECOND)
    assert not rights.may_correct_stop(by, stop)
    assert not rights.may_log_stop(by, stop.cell, SHIFT_END)
    with pytest.raises(PermissionDenied):
        a_stop(cast, reasons.stuck, "09:00", "09:10", by=by)


def test_a_running_stop_has_no_window(cast, reasons, monday_noon):
    stop = a_stop(cast, reasons.stuck, "08:00", None)
    monday_noon.move_to(at("08:00") + timedelta(days=3))
    assert rights.may_correct_stop(cast.people.leader, stop)
    assert rights.may_end_stop(cast.people.leader, stop)


def test_the_window_runs_from_the_last_shift_that_the_stop_touched(
    cast, reasons, monday_noon
):
    monday_noon.move_to(at("15:00"))
    stop = a_stop(cast, reasons.stuck, "13:50", "14:10")
    assert rights.settled_at(stop.cell, stop.started_at, stop.ended_at) == at("22:00")


def test_outside_shifts_the_window_runs_from_the_stops_own_end(cast):
    night = at("23:00"), at("23:30")
    assert rights.settled_at(cast.cells[0], *night) == at("23:30")


def test_a_technician_times_any_breakdown_until_72_h_after_its_end(
    cast, reasons, monday_noon
):
    stop = a_stop(cast, reasons.stuck, "08:00", "08:10")
    technician = cast.people.technician

    monday_noon.move_to(at("08:10") + timedelta(hours=72))
    stops.correct_stop(
        stop=stop, changes={"cause": "worn cap"}, why="found", by=technician
    )
    monday_noon.move_to(at("08:10") + timedelta(hours=72) + SECOND)
    with pytest.raises(PermissionDenied, match="until 72 h after its end"):
        stops.correct_stop(
            stop=stop, changes={"cause": "bent arm"}, why="found", by=technician
        )


def test_a_technician_touches_no_other_fact_and_no_other_class(cast, reasons):
    stop = a_stop(cast, reasons.stuck, "08:00", "08:10")
    jam = a_stop(cast, reasons.jam, "08:00", "08:10")
    technician = cast.people.technician
    for changes in ({"ended_at": at("08:20")}, {"reason": reasons.jam}, {"note": "x"}):
        with pytest.raises(PermissionDenied):
            stops.correct_stop(stop=stop, changes=changes, why="x", by=technician)
    with pytest.raises(PermissionDenied):
        stops.record_moment(stop=jam, which="called_at", by=technician)
    with pytest.raises(PermissionDenied):
        stops.withdraw_stop(stop=stop, why="x", by=technician)


def test_a_technician_ends_the_stop_whose_repair_he_recorded(cast, reasons):
    stop = a_stop(cast, reasons.stuck, "11:00", None)
    with pytest.raises(PermissionDenied, match="technician who recorded its repair"):
        stops.end_stop(stop=stop, by=cast.people.technician)

    stops.record_moment(stop=stop, which="repaired_at", by=cast.people.technician)
    another = make_user("another", Role.TECHNICIAN)
    with pytest.raises(PermissionDenied):
        stops.end_stop(stop=stop, by=another)
    stops.end_stop(stop=stop, by=cast.people.technician)


@pytest.mark.parametrize("person", ["planner", "plant_manager", "reader", "stranger"])
def test_nobody_else_records_times_or_ends_stops(cast, reasons, person):
    stop = a_stop(cast, reasons.stuck, "11:00", None)
    by = getattr(cast.people, person)
    with pytest.raises(PermissionDenied, match="repair times are recorded by"):
        stops.record_moment(stop=stop, which="called_at", by=by)
    with pytest.raises(PermissionDenied):
        stops.end_stop(stop=stop, by=by)
    with pytest.raises(PermissionDenied):
        stops.correct_stop(stop=stop, changes={"cause": "x"}, why="x", by=by)


def test_where_a_person_may_start_stops(cast):
    assert rights.areas_logged_in(cast.people.leader) == {cast.area.pk}
    assert rights.areas_logged_in(cast.people.admin) is None
    assert rights.areas_logged_in(cast.people.technician) == set()
