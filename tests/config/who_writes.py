"""Every form of the site, with something that can be saved, and who may save it.

Who: common practice, as the rights say in words. Readers may write nothing and an
administrator everything. Of the things that have a place, all of them in line L1, the
leader of another line of the area (the neighbour) may log but not correct; the leader
of another area (the stranger), a leader without a line and the manager of another area
may nothing.
"""

from typing import Any

from tests.config.deeds import (
    ADMINISTRATOR,
    CORRECTORS,
    COUNTERS,
    DECLARERS,
    LOGGERS,
    PLANNER,
    SAFETY,
    WHY,
    WORKERS,
    Write,
)
from tests.config.whole_site import EARLY, Site


def _floor(site: Site) -> dict[str, Write]:
    named = {"name": "A new name"}
    place = {**named, "order": "40"}
    cell = ("L1-10",)
    return {
        "add an area": Write("area_add", (), {"code": "NEW", **named}, PLANNER),
        "change an area": Write("area_edit", ("BODY",), {**named, **WHY}, PLANNER),
        "set a target": Write(
            "target_set",
            ("BODY",),
            {"percent": "81", "valid_from": "2026-03-02", **WHY},
            PLANNER,
        ),
        "add a line": Write(
            "line_add", (), {"code": "NEW", "area": "BODY", **place}, PLANNER
        ),
        "change a line": Write("line_edit", ("L1",), {**place, **WHY}, PLANNER),
        "set a counting cell": Write(
            "counting_cell", ("L1",), {"counting_cell": "L1-10", **WHY}, PLANNER
        ),
        "add a cell": Write(
            "cell_add", (), {"code": "NEW", "line": "L1", **place}, PLANNER
        ),
        "change a cell": Write("cell_edit", cell, {**place, **WHY}, PLANNER),
        "record a lockout sheet": Write(
            "cell_lockout",
            cell,
            {"sheet": "7", "revision": "B", "revised_on": "2026-02-01", **WHY},
            PLANNER | SAFETY,
        ),
        "retire a cell": Write(
            "cell_retire", ("P1-10",), {"retired_on": "2026-03-02", **WHY}, PLANNER
        ),
        "set a bank": Write(
            "bank_set",
            ("L1-20",),
            {"to_cell": "L1-30", "capacity": "6", **WHY},
            PLANNER,
        ),
    }


def _machines(site: Site) -> dict[str, Write]:
    robot, meter = ("W-0001",), site.cast.meter.pk
    read = {"value": "101", "read_at": "2026-03-02T11:30"}
    questioned = (site.questioned.pk,)
    return {
        "add a machine": Write(
            "machine_add", (), {"serial": "NEW", "kind": "weld"}, PLANNER
        ),
        "change a machine": Write(
            "machine_edit", robot, {"kind": "weld", "model": "m", **WHY}, PLANNER
        ),
        "place a machine": Write(
            "machine_place",
            ("W-0002",),
            {"cell": "L1-30", "position": "R07", "placed_on": "2026-03-02"},
            PLANNER,
        ),
        "remove a machine": Write(
            "machine_remove", robot, {"removed_on": "2026-03-02", **WHY}, PLANNER
        ),
        "swap a machine": Write(
            "machine_swap",
            robot,
            {"into": "W-0002", "swapped_on": "2026-03-02", **WHY},
            PLANNER,
        ),
        "add a meter": Write("meter_add", robot, {"name": "spots"}, PLANNER),
        "change a meter": Write(
            "meter_edit", (meter,), {"unit": "min", **WHY}, PLANNER
        ),
        "enter a reading": Write("machine", robot, {"meter": meter, **read}, WORKERS),
        "confirm a reading": Write(
            "reading", questioned, {"do": "confirm", **WHY}, PLANNER
        ),
        "correct a reading": Write(
            "reading", questioned, {"do": "correct", **read, **WHY}, WORKERS
        ),
        "withdraw a reading": Write(
            "reading", questioned, {"do": "withdraw", **WHY}, WORKERS
        ),
    }


def _calendar(site: Site) -> dict[str, Write]:
    night = (site.night.pk,)
    hours = {"weekdays": "mon-thu", "start": "22:00", "end": "05:30", "date_offset": 0}
    return {
        "add a pattern": Write(
            "pattern_add",
            (),
            {"area": "PAINT", "name": "N", **hours, "valid_from": "2026-05-01"},
            PLANNER,
        ),
        "change a pattern": Write(
            "pattern_change",
            night,
            {"from_date": "2026-05-01", "name": "Night", **hours, **WHY},
            PLANNER,
        ),
        "end a pattern": Write(
            "pattern_end", night, {"last_day": "2026-06-30", **WHY}, PLANNER
        ),
        "remove a pattern": Write("pattern_remove", night, WHY, PLANNER),
        "add a day off": Write(
            "day_off_add", (), {"on": "2026-04-06", "name": "Easter Monday"}, PLANNER
        ),
        "remove a day off": Write("day_off_remove", (site.day_off.pk,), WHY, PLANNER),
        "set a one-off shift": Write(
            "one_off_set",
            (),
            {
                "area": "BODY",
                "name": "Overtime",
                "starts_at": "2026-03-21T06:00",
                "ends_at": "2026-03-21T12:00",
            },
            PLANNER,
        ),
        "remove a one-off shift": Write(
            "one_off_remove", (site.one_off.pk,), WHY, PLANNER
        ),
    }


def _stops(site: Site) -> dict[str, Write]:
    cell, reasons = site.cast.cells[0].pk, site.reasons
    facts = {
        "cell": cell,
        "reason": reasons.stuck.pk,
        "started_at": "2026-03-02T07:00",
        "ended_at": "2026-03-02T07:25",
        "note": "a note",
        **WHY,
    }
    cause = {"cause": "worn shank", **WHY}
    meeting = {
        "place": "L1",
        "reason": reasons.meeting.pk,
        "starts_at": "2026-03-04T10:00",
        "ends_at": "2026-03-04T10:15",
    }
    one, planned = (site.stop.pk,), (site.planned.pk,)
    named = {"name": "A new name", "loss_class": "breakdown"}
    return {
        "start a stop": Write(
            "stop_start", (), {"cell": cell, "reason": reasons.jam.pk}, LOGGERS
        ),
        "correct a stop": Write("stop", one, facts, CORRECTORS),
        "correct a stop and its cause": Write(
            "stop", one, {**facts, **cause}, CORRECTORS
        ),
        "withdraw a stop": Write("stop_withdraw", one, WHY, CORRECTORS),
        "reinstate a stop": Write(
            "stop_reinstate", (site.withdrawn.pk,), WHY, CORRECTORS
        ),
        "say that help was called": Write(
            "stop_tap", (site.running.pk, "called_at"), {}, LOGGERS | {"technician"}
        ),
        "end a stop": Write("stop_tap", (site.running.pk, "ended_at"), {}, LOGGERS),
        "declare a planned stop": Write(
            "planned_stops",
            (),
            meeting,
            DECLARERS,
            not_offered=frozenset({"other_manager"}),
        ),
        "correct a planned stop": Write(
            "planned_stop", planned, {**meeting, **WHY}, DECLARERS
        ),
        "withdraw a planned stop": Write(
            "planned_stop_withdraw", planned, WHY, DECLARERS
        ),
        "add a reason": Write("reasons", (), {"code": "new", **named}, PLANNER),
        "change a reason": Write("reason", ("stuck-tip",), {**named, **WHY}, PLANNER),
        "retire a reason": Write("reason_retire", ("stuck-tip",), WHY, PLANNER),
        "offer a reason again": Write("reason_offer", ("old-fault",), WHY, PLANNER),
    }


def _work(site: Site) -> dict[str, Write]:
    tasks = {name: (task.pk,) for name, task in site.tasks.items()}
    work = {"done_at": "2026-03-02T11:50", "found": "normal", "minutes": "9"}
    [wipe] = tasks["wipe"]
    return {
        "do a task": Write("task", tasks["wipe"], work, WORKERS),
        "do a safety test": Write("task", tasks["light"], work, WORKERS | SAFETY),
        "do an operator's round": Write(
            "task", tasks["look"], work, WORKERS | {"leader", "neighbour"}
        ),
        "do many tasks": Write(
            "complete_many",
            (),
            {**work, f"minutes__{wipe}": "9"},
            WORKERS,
            {"task": wipe},
        ),
        "correct a record": Write(
            "task_correct", (site.done.pk,), {**work, **WHY}, WORKERS
        ),
        "withdraw a record": Write("task_withdraw", (site.done.pk,), WHY, WORKERS),
        "correct a safety test's record": Write(
            "task_correct", (site.failed.pk,), {**work, **WHY}, WORKERS | SAFETY
        ),
        "accept a failed test": Write(
            "alert_accept",
            (site.alert.pk,),
            {"measure": "the cell is handed to safety"},
            SAFETY | {"plant_manager", "area_manager"},
        ),
    }


def _routines(site: Site) -> dict[str, Write]:
    facts = {
        "name": "A new name",
        "kinds": "weld",
        "every_days": "30",
        "anchor": "completion",
        "follows": "machine",
        "minutes": "10",
        "heads": "1",
        "skills": "M",
    }
    safety = {**facts, "kinds": "gate", "anchor": "calendar", "safety": "on"}
    steps = {"order__1": "1", "text__1": "Look", "repeat__1": "1", **WHY}
    handler = site.cast.handler.pk
    dates = {"first": "2026-03-03", "last": "2026-03-10", "machines": handler}
    return {
        "add a routine": Write("routine_add", (), {"code": "new", **facts}, PLANNER),
        "add a safety routine": Write(
            "routine_add", (), {"code": "new", **safety}, SAFETY
        ),
        "change a routine": Write("routine_edit", ("wipe",), {**facts, **WHY}, PLANNER),
        "change a safety routine": Write(
            "routine_edit", ("light",), {**safety, **WHY}, SAFETY
        ),
        "retire a routine": Write("routine_retire", ("wipe",), WHY, PLANNER),
        "retire a safety routine": Write("routine_retire", ("light",), WHY, SAFETY),
        "set steps": Write("routine_steps", ("look",), steps, PLANNER),
        "set a safety test's steps": Write("routine_steps", ("light",), steps, SAFETY),
        "spread first due dates": Write(
            "routine_spread", ("look",), {**dates, **WHY}, PLANNER
        ),
        "set a first due date": Write(
            "routine_first_due",
            ("look", "H-0001"),
            {"due": "2026-03-09", **WHY},
            PLANNER,
        ),
    }


def _figures(site: Site) -> dict[str, Write]:
    numbers = {"total": "201", "good": "191"}
    between = (site.between.pk,)
    tomorrow = site.cast.late.pk
    return {
        "count outside shifts": Write(
            "line_counts",
            ("L1",),
            {
                "at": "L1",
                "variant": site.variant.pk,
                "starts_at": "2026-03-01T14:00",
                "ends_at": "2026-03-01T15:00",
                **numbers,
                **WHY,
            },
            COUNTERS,
        ),
        "correct a count outside shifts": Write(
            "count_between",
            between,
            {"do": "correct_count", **numbers, **WHY},
            COUNTERS,
        ),
        "withdraw a count outside shifts": Write(
            "count_between",
            between,
            {"do": "withdraw_count", **WHY},
            COUNTERS,
        ),
        "set an ideal cycle": Write(
            "cell_cycles",
            ("L1-10",),
            {
                "variant": "S4",
                "seconds": "58.5",
                "valid_from": "2026-03-02",
                "seen": "2026-03-02",
                **WHY,
            },
            PLANNER,
        ),
        "add a variant": Write("variants", (), {"code": "NEW", "name": "n"}, PLANNER),
        "rename a variant": Write("variant", ("S4",), {"name": "n", **WHY}, PLANNER),
        "plan output": Write(
            "line_plan", ("L1",), {f"shift_{tomorrow}": "410", **WHY}, PLANNER
        ),
    }


def _shift(site: Site) -> dict[str, Write]:
    """The buttons of the shift's page; the last one is that of Friday's."""

    def button(do: str, data: dict[str, Any], may: set[str], **query: Any) -> Write:
        return Write("shift", EARLY, {"do": do, **data}, may, query)

    jam = {"reason": site.reasons.jam.pk}
    numbers = {"total": "201", "good": "191", **WHY}
    stood = {"started_at": "10:00", "minutes": "5"}
    often = {"times": "3", "seconds": "4"}
    first, second = {"cell": "L1-10"}, {"cell": "L1-20"}
    tally, count = {"tally": site.tally.pk}, {"count": site.count.pk}
    [rest, _] = site.cast.early.breaks.order_by("starts_at")
    entered = {"at": "L1-10", "variant": site.variant.pk, **numbers}
    return {
        "start on the page": button("start", jam, LOGGERS, **first),
        "end on the page": button("end", {"stop": site.running.pk}, LOGGERS),
        "log a stop": button("stop", {**jam, **stood}, LOGGERS, **first),
        "log a tally": button("tally", {**jam, **often}, LOGGERS, **first),
        "correct a tally": button(
            "correct_tally", {**jam, **often, **WHY}, CORRECTORS, **second, **tally
        ),
        "withdraw a tally": button(
            "withdraw_tally", WHY, CORRECTORS, **second, **tally
        ),
        "enter a count": button("count", entered, COUNTERS, **first),
        "correct a count": button("correct_count", numbers, COUNTERS, **count),
        "withdraw a count": button("withdraw_count", WHY, COUNTERS, **count),
        "work through a break": button(
            "work_break", {"break": rest.pk}, COUNTERS, **second
        ),
        "take a break after all": button(
            "work_break", {"break": rest.pk, "taken": "yes"}, COUNTERS, **first
        ),
        "confirm a shift": Write(
            "shift", ("L1", site.friday, "Early"), {"do": "confirm"}, CORRECTORS
        ),
    }


def _running(site: Site) -> dict[str, Write]:
    return {
        "have work tried again": Write(
            "running", (), {"attempt": site.aside.pk}, ADMINISTRATOR
        )
    }


#: Which forms, and by what is done, an example of each.
ROOMS = {
    "floor": _floor,
    "machines": _machines,
    "calendar": _calendar,
    "stops": _stops,
    "work": _work,
    "routines": _routines,
    "figures": _figures,
    "shift": _shift,
    "running": _running,
}


def writes(site: Site) -> dict[str, Write]:
    return {deed: one for of in ROOMS.values() for deed, one in of(site).items()}
