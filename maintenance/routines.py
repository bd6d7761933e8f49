"""Routines: added, changed, retired, given steps and first due dates, by verbs.

A safety routine answers to the safety officer alone. What was done under an old rule
keeps its verdict; a step that has results is never deleted.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date, timedelta
from decimal import Decimal
from itertools import pairwise
from typing import Any

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction

from cells import clock, codes, trail
from cells.models import Area, Change, Machine, Placement
from cells.shift_plan import production_dates
from maintenance.due import is_for
from maintenance.models import FirstDue, Routine, Step, Task
from maintenance.open_tasks import update_tasks
from maintenance.task_rights import need_to_edit_routine, need_to_spread

#: Fields that decide when it is due. Changing one starts a new rule.
RULE = ("every_days", "every_units", "meter", "anchor", "safety", "follows")

#: While steps change places, they stand beyond any order that is given.
ASIDE = 1_000_000

LONGEST_SPREAD = timedelta(days=366)


@dataclass(frozen=True, kw_only=True)
class StepFacts:
    """One line of the steps; ``id`` None: it is new."""

    id: int | None
    text: str
    unit: str = ""
    act_low: Decimal | None = None
    watch_low: Decimal | None = None
    watch_high: Decimal | None = None
    act_high: Decimal | None = None
    repeat: int = 1

    def facts(self) -> dict[str, Any]:
        names = [one.name for one in fields(self) if one.name != "id"]
        return {name: getattr(self, name) for name in names}


@transaction.atomic
def add_routine(*, by: User, **facts: Any) -> Routine:
    """``facts``: the fields of a Routine."""
    need_to_edit_routine(by, safety=bool(facts.get("safety")))
    codes.check_key("code", facts["code"])
    if Routine.objects.filter(code__iexact=facts["code"]).exists():
        raise ValidationError(
            {"code": f"The code “{facts['code']}” is taken: give another."}
        )
    routine = Routine(**facts)
    routine.full_clean()
    routine.save()
    trail.created([routine], by=by)
    update_tasks(routines=[routine.pk])
    return routine


@transaction.atomic
def change_routine(
    *, routine: Routine, changes: Mapping[str, Any], by: User, why: str
) -> None:
    need_to_edit_routine(by, safety=routine.safety)
    need_to_edit_routine(by, safety=bool(changes.get("safety", routine.safety)))
    _check_follows(routine, changes)
    old = {name: getattr(routine, name) for name in RULE}
    if not trail.save_changes(routine, changes, by=by, why=why):
        return
    if any(getattr(routine, name) != value for name, value in old.items()):
        Routine.objects.filter(pk=routine.pk).update(rule_since=clock.now())
    update_tasks(routines=[routine.pk])


@transaction.atomic
def retire_routine(*, routine: Routine, by: User, why: str) -> None:
    """From today on it opens no task; its open tasks close and its record stays."""
    need_to_edit_routine(by, safety=routine.safety)
    if routine.retired_on is not None:
        raise ValidationError(
            f"“{routine}” is retired since {routine.retired_on}: nothing was changed."
        )
    trail.save_changes(routine, {"retired_on": clock.today()}, by=by, why=why)
    update_tasks(routines=[routine.pk])


@transaction.atomic
def set_steps(
    *, routine: Routine, steps: Sequence[StepFacts], by: User, why: str
) -> None:
    """These are its steps now, in this order. One with results is kept as it was."""
    need_to_edit_routine(by, safety=routine.safety)
    # Of two who set them at once, the second sets aside what the first one set.
    Routine.objects.select_for_update(no_key=True).get(pk=routine.pk)
    current = {step.pk: step for step in Step.objects.current().filter(routine=routine)}
    _check_steps(steps, current)
    kept = {one.id for one in steps}
    for step in current.values():
        if step.pk not in kept:
            _take_out(step, by=by, why=why)
    staying = Step.objects.current().filter(routine=routine)
    for step in staying:
        Step.objects.filter(pk=step.pk).update(order=step.order + ASIDE)
    for order, one in enumerate(steps, start=1):
        _set_step(routine, current.get(one.id or 0), one, order, by=by, why=why)


@transaction.atomic
def set_first_due(
    *, routine: Routine, machine: Machine, due: date, by: User, why: str
) -> FirstDue:
    """When a new routine is first due on a machine where it was never done."""
    need_to_spread(by, routine)
    _check_why(why)
    _check_not_past("due", due)
    _check_machines(routine, [machine])
    (first,) = _set_first_dues(routine, {machine.pk: due}, by=by, why=why)
    return first


@transaction.atomic
def spread_first_dues(
    *,
    routine: Routine,
    machines: Collection[Machine],
    first: date,
    last: date,
    by: User,
    why: str,
) -> list[FirstDue]:
    """Evenly over the production dates of each machine's area, in order of place."""
    need_to_spread(by, routine)
    _check_why(why)
    _check_not_past("first", first)
    _check_span(first, last)
    _check_machines(routine, machines)
    dues: dict[int, date] = {}
    for area, placed in _by_area(machines).items():
        dates = production_dates(area, first, last)
        if not dates:
            raise ValidationError(
                {
                    "last": f"Area {area} has no shift from {first} to {last}: choose "
                    "other dates."
                }
            )
        for index, machine in enumerate(placed):
            dues[machine] = dates[index * len(dates) // len(placed)]
    return _set_first_dues(routine, dues, by=by, why=why)


def machines_of(routine: Routine) -> list[Placement]:
    """What it is for and stands somewhere today, in order of place."""
    placements = Placement.objects.on(clock.today()).select_related(
        "machine", "cell__line__area"
    )
    ordered = placements.filter(machine__kind__in=routine.kinds).order_by(
        "cell__line__area__code",
        "cell__line__order",
        "cell__order",
        "position",
        "machine__serial",
    )
    return [placed for placed in ordered if is_for(routine, placed.machine)]


def done_somewhere(routine: Routine) -> set[int]:
    """Ids of the machines on which it was done."""
    rows = Task.objects.done().filter(routine=routine, machine__isnull=False)
    return set(rows.order_by().values_list("machine_id", flat=True).distinct())


def _check_follows(routine: Routine, changes: Mapping[str, Any]) -> None:
    """Its record hangs on the clock that it followed."""
    follows = changes.get("follows", routine.follows)
    if follows != routine.follows and routine.tasks.done().exists():
        raise ValidationError(
            {
                "follows": f"“{routine}” was done already and follows the "
                f"{routine.follows}: retire it and add one that follows the {follows}."
            }
        )


def _check_steps(steps: Sequence[StepFacts], current: Mapping[int, Step]) -> None:
    for order, one in enumerate(steps, start=1):
        if one.id is not None and one.id not in current:
            raise ValidationError(
                f"Step {order} has been changed by somebody else: open the page again."
            )
        named = [
            (name, getattr(one, name))
            for name in ("act_low", "watch_low", "watch_high", "act_high")
            if getattr(one, name) is not None
        ]
        for (lower, low), (higher, high) in pairwise(named):
            if low > high:
                raise ValidationError(
                    f"Step {order}: {higher.replace('_', ' ')} ({high}) is below "
                    f"{lower.replace('_', ' ')} ({low}): give the limits from low to "
                    "high."
                )


def _take_out(step: Step, *, by: User, why: str) -> None:
    if step.results.exists():
        trail.save_changes(step, {"retired_on": clock.today()}, by=by, why=why)
    else:
        trail.removed(step, by=by, why=why)
        step.delete()


def _set_step(
    routine: Routine,
    step: Step | None,
    given: StepFacts,
    order: int,
    *,
    by: User,
    why: str,
) -> None:
    facts = given.facts()
    if step is not None:
        same = all(getattr(step, name) == value for name, value in facts.items())
        if same or not step.results.exists():
            _save_moved(step, {**facts, "order": order}, by=by, why=why)
            return
        # Its values were held against other limits or words: they keep those.
        trail.save_changes(step, {"retired_on": clock.today()}, by=by, why=why)
    new = Step(routine=routine, order=order, **facts)
    new.full_clean()
    new.save()
    trail.created([new], by=by, why=why)


def _save_moved(step: Step, new: Mapping[str, Any], *, by: User, why: str) -> None:
    """Stored it stands aside for a moment; the trail tells where it stood before."""
    changes = trail.changes_between(step, new, by=by, why=why)
    for name, value in new.items():
        setattr(step, name, value)
    step.full_clean()
    step.save()
    Change.objects.bulk_create(changes)


def _check_why(why: str) -> None:
    if not why.strip():
        raise ValidationError({"why": "Say why the first due date is set."})


def _check_not_past(field: str, day: date) -> None:
    if day < clock.today():
        raise ValidationError(
            {field: f"{day} lies in the past: give today or a later date."}
        )


def _check_span(first: date, last: date) -> None:
    if last < first:
        raise ValidationError(
            {"last": f"{last} lies before {first}: swap the two dates."}
        )
    if last - first > LONGEST_SPREAD:
        raise ValidationError(
            {"last": f"{first} to {last} is longer than a year: choose less."}
        )


def _check_machines(routine: Routine, machines: Collection[Machine]) -> None:
    if not machines:
        raise ValidationError("No machine was chosen: choose one or more.")
    standing = {placed.machine_id for placed in machines_of(routine)}
    done = done_somewhere(routine)
    for machine in machines:
        if machine.pk not in standing:
            raise ValidationError(
                f"“{routine}” is not for {machine}, or {machine} stands nowhere: "
                "choose machines that it is for."
            )
        if machine.pk in done:
            raise ValidationError(
                f"“{routine}” was done on {machine} already, so its dates go by that: "
                "leave it out."
            )


def _by_area(machines: Collection[Machine]) -> dict[Area, list[int]]:
    """Machine ids by the area where they stand, in order of place."""
    placements = Placement.objects.on(clock.today()).filter(machine__in=machines)
    found: dict[Area, list[int]] = {}
    for placed in placements.select_related("cell__line__area").order_by(
        "cell__line__order", "cell__order", "position", "machine__serial"
    ):
        found.setdefault(placed.cell.line.area, []).append(placed.machine_id)
    return found


def _set_first_dues(
    routine: Routine, dues: Mapping[int, date], *, by: User, why: str
) -> list[FirstDue]:
    there = {
        first.machine_id: first
        for first in FirstDue.objects.filter(routine=routine, machine__in=dues)
    }
    changes: list[Change] = []
    for machine, due in dues.items():
        first = there.get(machine)
        if first is not None:
            new = {"due": due, "why": why}
            changes += trail.changes_between(first, new, by=by, why=why)
            first.due, first.why = due, why
    FirstDue.objects.bulk_update(there.values(), ["due", "why"], batch_size=200)
    Change.objects.bulk_create(changes, batch_size=1000)
    made = FirstDue.objects.bulk_create(
        FirstDue(routine=routine, machine_id=machine, due=due, why=why)
        for machine, due in dues.items()
        if machine not in there
    )
    trail.created(made, by=by, why=why)
    # Nothing counts as missed before the new date, and from it on it does.
    open_ones = Task.objects.open().filter(routine=routine, machine__in=dues)
    open_ones.update(window_closed_on=None)
    update_tasks(machines=set(dues), routines=[routine.pk])
    return [*there.values(), *made]
