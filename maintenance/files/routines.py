"""routines.csv, steps.csv, first_due.csv and crews.csv."""

from itertools import pairwise
from typing import Any

from django.db.models import QuerySet

from cells.csv_cells import choice, code, decimal, integer, list_of, text, yes_no
from cells.csv_files import Column, Contract
from cells.files.kinds import AREAS, MACHINES
from cells.files.run import Row, Run
from cells.files.sheet import Sheet
from cells.meters import MOST
from cells.models import MachineKind
from cells.working_time.plant_time import parse_clock_time, parse_date
from cells.working_time.weekdays import format_weekdays, parse_weekdays
from maintenance.files.kinds import ROUTINES, STEPS
from maintenance.models import Crew, FirstDue, Routine, Step
from maintenance.planning.routine_rule import LONGEST_DAYS

MOST_MINUTES = 10_080  # a week
MOST_HEADS = 100
MOST_LIMIT = 10**9
MOST_VALUES = 100


def touch_routine(run: Run, routine: Routine) -> None:
    run.due_of.add(routine.pk)


class RoutineSheet(Sheet[Routine]):
    file = "routines.csv"
    model = Routine
    key = ("code",)
    facts = (
        "name",
        "kinds",
        "every_days",
        "every_units",
        "meter",
        "anchor",
        "minutes",
        "heads",
        "skills",
        "lockout",
        "safety",
        "running_allowed",
        "follows",
        "tags",
        "valid_from",
    )
    columns = {"skills": "skill"}
    brings = ROUTINES
    brings_by = "code"

    def make_contract(self) -> Contract:
        return Contract(
            self.file,
            [
                Column("code", code(40)),
                Column("name", text(120)),
                Column("kinds", list_of(choice(*MachineKind.values))),
                Column("every_days", integer(1, LONGEST_DAYS), optional=True),
                Column("every_units", decimal(0, MOST, 3), optional=True),
                Column("meter", code(40), optional=True, default=""),
                Column("anchor", choice(*Routine.Anchor.values)),
                Column("minutes", integer(1, MOST_MINUTES)),
                Column("heads", integer(1, MOST_HEADS)),
                Column("skill", list_of(code(10))),
                Column("lockout", yes_no),
                Column("safety", yes_no, optional=True, default=False),
                Column("running_allowed", yes_no, optional=True, default=False),
                Column(
                    "follows",
                    choice(*Routine.Follows.values),
                    optional=True,
                    default=Routine.Follows.MACHINE.value,
                ),
                Column("tags", list_of(code(40)), optional=True, default=()),
                Column("valid_from", parse_date, optional=True),
            ],
            key=("code",),
        )

    def read(self, row: Row) -> Routine:
        self._check_interval(row)
        if row["lockout"] and row["running_allowed"]:
            row.refuse(
                "running_allowed",
                "Work under lockout cannot be allowed while the cell runs: write no in "
                "lockout or in running_allowed.",
            )
        facts = {name: row[self.columns.get(name, name)] for name in self.facts}
        lists = {name: list(facts[name]) for name in ("kinds", "skills", "tags")}
        return Routine(code=row["code"], **(facts | lists))

    def _check_interval(self, row: Row) -> None:
        if row["every_days"] is None and row["every_units"] is None:
            row.refuse(
                "every_days",
                "The routine has no interval: write every_days, every_units or both.",
            )
        if row["every_units"] == 0:
            row.refuse(
                "every_units", "0 units are no interval: write more, or nothing."
            )
        if row["every_units"] is not None and not row["meter"]:
            row.refuse(
                "meter",
                f"every_units ({row['every_units']}) are units of a meter: write the "
                "meter's name.",
            )

    def is_saved(self, row: Row, record: Routine, before: Routine | None) -> None:
        self.run.known(ROUTINES)[record.code] = record
        touch_routine(self.run, record)


class StepSheet(Sheet[Step]):
    file = "steps.csv"
    model = Step
    key = ("routine", "order")
    facts = (
        "text",
        "unit",
        "act_low",
        "watch_low",
        "watch_high",
        "act_high",
        "repeat",
    )
    limits = ("act_low", "watch_low", "watch_high", "act_high")
    brings = STEPS

    def make_contract(self) -> Contract:
        limit = decimal(-MOST_LIMIT, MOST_LIMIT, 4)
        return Contract(
            self.file,
            [
                Column("routine", code(40)),
                Column("order", integer(1, 1000)),
                Column("text", text(300)),
                Column("unit", text(20), optional=True, default=""),
                *[Column(name, limit, optional=True) for name in self.limits],
                Column("repeat", integer(1, MOST_VALUES), optional=True, default=1),
            ],
            key=("routine", "order"),
        )

    def read(self, row: Row) -> Step | None:
        routine = row.find(ROUTINES, "routine")
        given = [name for name in self.limits if row[name] is not None]
        for lower, higher in pairwise(given):
            if row[lower] > row[higher]:
                row.refuse(
                    higher,
                    f"{higher} ({row[higher]}) is below {lower} ({row[lower]}): write "
                    "the limits from low to high.",
                )
        if routine is None:
            return None
        facts = {name: row[name] for name in self.facts}
        return Step(routine=routine, order=row["order"], **facts)

    def stored(self, records: list[Step]) -> QuerySet[Step]:
        return Step.objects.current()

    def is_saved(self, row: Row, record: Step, before: Step | None) -> None:
        self.run.known(STEPS)[record.routine_id, record.order] = record


class FirstDueSheet(Sheet[FirstDue]):
    file = "first_due.csv"
    model = FirstDue
    key = ("routine", "machine")
    facts = ("due", "why")

    def make_contract(self) -> Contract:
        return Contract(
            self.file,
            [
                Column("routine", code(40)),
                Column("serial", code(40)),
                Column("due", parse_date),
                Column("why", text(200)),
            ],
            key=("routine", "serial"),
        )

    def read(self, row: Row) -> FirstDue | None:
        routine, machine = row.find(ROUTINES, "routine"), row.find(MACHINES, "serial")
        if routine is None or machine is None:
            return None
        check_is_for(row, routine, machine)
        return FirstDue(
            routine=routine, machine=machine, due=row["due"], why=row["why"]
        )

    def is_saved(self, row: Row, record: FirstDue, before: FirstDue | None) -> None:
        touch_routine(self.run, record.routine)


def check_is_for(row: Row, routine: Routine, machine: Any) -> None:
    if machine.kind not in routine.kinds:
        row.refuse(
            "serial",
            f"{machine} is a {machine.get_kind_display()}, and “{routine}” is for "
            f"{', '.join(routine.kinds)} only: check the serial number.",
        )


class CrewSheet(Sheet[Crew]):
    file = "crews.csv"
    model = Crew
    key = ("crew", "skill", "area", "weekdays", "start", "valid_from")
    facts = ("end", "heads", "valid_to")

    def make_contract(self) -> Contract:
        return Contract(
            self.file,
            [
                Column("crew", code(40)),
                Column("skill", code(10)),
                Column("area", code(20), optional=True),
                Column("weekdays", parse_weekdays),
                Column("start", parse_clock_time),
                Column("end", parse_clock_time),
                Column("heads", integer(1, MOST_HEADS)),
                Column("valid_from", parse_date, optional=True),
                Column("valid_to", parse_date, optional=True),
            ],
            key=self.key,
        )

    def read(self, row: Row) -> Crew:
        first, last = row["valid_from"], row["valid_to"]
        if first is not None and last is not None and last < first:
            row.refuse(
                "valid_to",
                f"{last} lies before {first}, from which it is valid: change one.",
            )
        facts = {name: row[name] for name in (*self.key, *self.facts)}
        facts["area"] = row.find(AREAS, "area")
        facts["weekdays"] = format_weekdays(row["weekdays"])
        return Crew(**facts)
