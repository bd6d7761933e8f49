"""The planner's list: what is overdue, late, open and ahead, and is the crew enough?"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db.models import Case, Count, IntegerField, Q, Value, When

from cells.models import Area, Cell
from cells.rights import Person
from maintenance.crew_hours import PLANNED_SHARE, crew_seconds
from maintenance.models import Routine, Task
from maintenance.models.tasks import TaskQuerySet
from maintenance.task_rights import may_complete
from maintenance.task_rules import sheet_of

#: In the order of the list. The safety tests come first, and in words.
STATES = (
    "overdue safety test",
    "late",
    "open",
    "ahead",
    "no forecast",
)
PLANNED_AHEAD = 14  # days

HEADER = (
    "routine",
    "name",
    "serial",
    "area",
    "line",
    "cell",
    "position",
    "due",
    "earliest",
    "latest",
    "bound_by",
    "state",
    "safety",
    "skill",
    "minutes",
    "heads",
    "lockout",
    "lockout_sheet",
)


@dataclass(frozen=True, kw_only=True)
class SkillLoad:
    """Hours of one skill that late and coming tasks need, and those that are there."""

    skill: str
    due_s: int
    crew_s: int

    @property
    def planned_s(self) -> int:
        """What of the crew's time can be planned."""
        return int(self.crew_s * PLANNED_SHARE)

    @property
    def is_enough(self) -> bool:
        return self.due_s <= self.planned_s

    @property
    def short_s(self) -> int:
        return max(0, self.due_s - self.planned_s)


@dataclass(frozen=True, kw_only=True)
class Counts:
    """Of the open tasks that were chosen."""

    late: int  # safety tests among them
    coming: int  # due up to 14 days from today on, not late
    no_forecast: int


def ranked(tasks: TaskQuerySet, on: date) -> Any:
    """The same queryset, with ``rank``, an index of STATES."""
    late = Q(latest__lt=on)
    return tasks.annotate(
        rank=Case(
            When(late & Q(routine__safety=True), then=Value(0)),
            When(late, then=Value(1)),
            When(Q(due=None), then=Value(4)),
            When(earliest__gt=on, then=Value(3)),
            default=Value(2),
            output_field=IntegerField(),
        )
    )


def rank_of(task: Task) -> int:
    rank: int = task.rank  # type: ignore[attr-defined]  # put there by ranked()
    return rank


def counts(tasks: TaskQuerySet, on: date) -> Counts:
    late, coming = _late(on), _coming(on)
    return Counts(
        **tasks.order_by().aggregate(
            late=Count("pk", filter=late),
            coming=Count("pk", filter=coming),
            no_forecast=Count("pk", filter=Q(due=None)),
        )
    )


def loads(on: date, area: Area | None) -> list[SkillLoad]:
    """All that the crew must do, whatever part of it the list shows."""
    tasks = Task.objects.open().filter(_late(on) | _coming(on))
    if area is not None:
        tasks = tasks.filter(cell__line__area=area)
    found = tasks.order_by().values("routine").annotate(tasks=Count("pk"))
    times = {row["routine"]: row["tasks"] for row in found}
    needed: dict[str, int] = defaultdict(int)
    for routine in Routine.objects.filter(pk__in=times):
        for skill in routine.skills:
            each_s = routine.minutes * routine.heads * 60
            needed[skill] += times[routine.pk] * each_s
    crews = crew_seconds(on, on + timedelta(days=PLANNED_AHEAD - 1), area)
    return [
        SkillLoad(skill=skill, due_s=due_s, crew_s=crews.get(skill, 0))
        for skill, due_s in sorted(needed.items())
    ]


def sentence(
    *,
    safety: int,
    counts: Counts,
    is_part: bool,
    loads: list[SkillLoad],
    area: Area | None,
) -> str:
    """What a colleague would say first; the overdue tests are the whole plant's.

    ``is_part``: the counts are of some of the tasks only.
    """
    tests = {0: "No safety test is", 1: "1 safety test is"}
    overdue = tests.get(safety, f"{safety:,} safety tests are")
    among = " in all" if safety and not is_part else ""  # the overdue tests too
    late = f"{counts.late:,} tasks{among} are late"
    if counts.late == 1:
        late = f"1 task{among} is late"
    falls = "1 falls due" if counts.coming == 1 else f"{counts.coming:,} fall due"
    tasks = f"{late}, {falls} in {PLANNED_AHEAD} days"
    part = f"Of what is chosen {tasks}" if is_part else tasks
    return f"{overdue} overdue in the plant. {part}. {_crew(loads, area)}"


def _crew(loads: list[SkillLoad], area: Area | None) -> str:
    where = "" if area is None else f" of {area}"
    short = ", ".join(load.skill for load in loads if not load.is_enough)
    if not loads:
        return f"No work waits for the crew{where}."
    if not short:
        return f"The crew{where} is enough."
    return f"The crew{where} is too small for skill {short}."


def _late(on: date) -> Q:
    return Q(latest__lt=on)


def _coming(on: date) -> Q:
    return Q(due__lte=on + timedelta(days=PLANNED_AHEAD)) & ~_late(on)


@dataclass(frozen=True, kw_only=True)
class Row:
    """A task as the list shows it."""

    task: Task
    state: str
    late_days: int  # since its window closed
    sheet: str  # the cell's lockout sheet as entered; empty: none on record
    may_complete: bool

    @classmethod
    def of(cls, task: Task, *, on: date, user: Person) -> "Row":
        late = task.latest is not None and task.latest < on
        return cls(
            task=task,
            state=STATES[rank_of(task)],
            late_days=(on - task.latest).days if late and task.latest else 0,
            sheet=sheet_of(task.cell),
            may_complete=may_complete(user, task),
        )


@dataclass(frozen=True, kw_only=True)
class CellGroup:
    """The rows of one cell that stand together on the list."""

    cell: Cell | None
    sheet: str
    rows: list[Row]


def by_cell(rows: Iterable[Row]) -> list[CellGroup]:
    """In the order in which the rows come."""
    groups: list[CellGroup] = []
    for row in rows:
        if not groups or groups[-1].cell != row.task.cell:
            groups.append(CellGroup(cell=row.task.cell, sheet=row.sheet, rows=[]))
        groups[-1].rows.append(row)
    return groups


def csv_rows(tasks: TaskQuerySet) -> Iterator[list[object]]:
    for task in tasks.iterator(chunk_size=2000):
        routine, cell = task.routine, task.cell
        yield [
            routine.code,
            routine.name,
            task.machine.serial if task.machine else "",
            cell.line.area.code if cell else "",
            cell.line.code if cell else "",
            cell.code if cell else "",
            task.position,
            task.due,
            task.earliest,
            task.latest,
            task.bound_by,
            STATES[rank_of(task)],
            routine.safety,
            ";".join(routine.skills),
            routine.minutes,
            routine.heads,
            routine.lockout,
            cell.lockout_sheet if cell else "",
        ]
