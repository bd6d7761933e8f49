"""Routines: the list, one with its steps and machines, and the doors to change it."""

from django.contrib import messages
from django.db.models import Count, Q
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from cells import clock, trail
from cells.downloads import csv_response
from cells.models import Machine
from cells.plant_forms import WhyForm
from cells.rights import Role, SignedIn, has_role
from cells.views.doors import done, door, sent, status_of
from maintenance import routines as verbs
from maintenance.forms.routines import (
    ChangeRoutineForm,
    FirstDueForm,
    RoutineFields,
    RoutineForm,
    SpreadForm,
    StepsForm,
)
from maintenance.models import FirstDue, Routine, Step
from maintenance.task_rights import (
    may_edit_routine,
    may_spread,
    need_to_edit_routine,
    need_to_spread,
)
from maintenance.task_words import every, step_records

CHANGES_SHOWN = 30

COLUMNS = (
    "code",
    "name",
    "kinds",
    "every_days",
    "every_units",
    "meter",
    "anchor",
    "minutes",
    "heads",
    "skill",
    "lockout",
    "safety",
    "running_allowed",
    "follows",
    "tags",
    "valid_from",
    "retired_on",
    "open",
    "late",
)


@require_safe
def routines(request: SignedIn) -> HttpResponse:
    open_ones = Q(tasks__done_at=None, tasks__closed_why="")
    late = open_ones & Q(tasks__latest__lt=clock.today())
    found = Routine.objects.annotate(
        open_tasks=Count("tasks", filter=open_ones),
        late_tasks=Count("tasks", filter=late),
    )
    in_use = [(one, every(one)) for one in found if one.retired_on is None]
    if request.GET.get("csv"):
        return csv_response("routines", COLUMNS, (_csv_row(one) for one in found))
    context = {
        "routines": in_use,
        "retired": [one for one in found if one.retired_on is not None],
        "may_add": has_role(request.user, Role.PLANNER, Role.SAFETY_OFFICER),
        "csv_url": "?csv=1",
    }
    return render(request, "maintenance/routines.html", context)


@require_safe
def routine(request: SignedIn, code: str) -> HttpResponse:
    one = get_object_or_404(Routine, code=code)
    placements = verbs.machines_of(one)
    firsts = {first.machine_id: first for first in FirstDue.objects.filter(routine=one)}
    open_by_clock = {
        task.machine_id: task for task in one.tasks.open().select_related("routine")
    }
    done_on = verbs.done_somewhere(one)
    context = {
        "routine": one,
        "every": every(one),
        "records": step_records(list(one.steps.order_by("order")), []),
        "machines": [
            {
                "placed": placed,
                "task": open_by_clock.get(placed.machine_id),
                "first": firsts.get(placed.machine_id),
                "is_new": placed.machine_id not in done_on,
            }
            for placed in placements
        ],
        "may_edit": may_edit_routine(request.user, safety=one.safety),
        "may_spread": may_spread(request.user, one),
        "changes": trail.changes_of(one)[:CHANGES_SHOWN],
    }
    return render(request, "maintenance/routine.html", context)


def routine_add(request: SignedIn) -> HttpResponse:
    # Which of the two may add it depends on what it will be; the verb asks again.
    safety = bool(request.POST.get("safety")) or not has_role(
        request.user, Role.PLANNER
    )
    need_to_edit_routine(request.user, safety=safety)
    return door(
        request,
        RoutineForm(sent(request), initial={"safety": safety, "heads": 1}),
        lambda **facts: verbs.add_routine(by=request.user, **facts),
        lead="Add a routine.",
        back=reverse("routines"),
        said="The routine is added. Spread its first due dates before they all come "
        "on one day.",
        then=Routine.get_absolute_url,
    )


def routine_edit(request: SignedIn, code: str) -> HttpResponse:
    one = get_object_or_404(Routine, code=code)
    need_to_edit_routine(request.user, safety=one.safety)
    initial = {name: getattr(one, name) for name in RoutineFields.base_fields}
    return door(
        request,
        ChangeRoutineForm(sent(request), initial=initial),
        lambda **facts: verbs.change_routine(routine=one, by=request.user, **facts),
        lead=f"Change the routine “{one}”.",
        back=one.get_absolute_url(),
        said="The routine is changed and open due dates follow it. What was done "
        "before keeps its verdict.",
    )


def routine_retire(request: SignedIn, code: str) -> HttpResponse:
    one = get_object_or_404(Routine, code=code)
    need_to_edit_routine(request.user, safety=one.safety)
    return door(
        request,
        WhyForm(sent(request)),
        lambda why: verbs.retire_routine(routine=one, by=request.user, why=why),
        lead=f"Retire the routine “{one}”.",
        back=one.get_absolute_url(),
        said="The routine is retired. Its record stays.",
        action="Retire it",
        warning="Its open tasks are closed, and nobody is asked to do it any more.",
    )


def routine_steps(request: SignedIn, code: str) -> HttpResponse:
    one = get_object_or_404(Routine, code=code)
    need_to_edit_routine(request.user, safety=one.safety)
    current = Step.objects.current().filter(routine=one).order_by("order")
    form = StepsForm(sent(request), steps=list(current))
    if form.is_bound and done(
        form,
        lambda **facts: verbs.set_steps(routine=one, by=request.user, **facts) or True,
    ):
        messages.success(request, "The steps are saved. Results keep those they had.")
        return redirect(one)
    context = {"form": form, "routine": one, "back": one.get_absolute_url()}
    return render(
        request, "maintenance/routine_steps.html", context, status=status_of(form)
    )


def routine_spread(request: SignedIn, code: str) -> HttpResponse:
    one = get_object_or_404(Routine, code=code)
    need_to_spread(request.user, one)
    done_on = verbs.done_somewhere(one)
    new = [
        placed for placed in verbs.machines_of(one) if placed.machine_id not in done_on
    ]
    return door(
        request,
        SpreadForm(sent(request), placements=new, initial={"first": clock.today()}),
        lambda **facts: verbs.spread_first_dues(routine=one, by=request.user, **facts),
        lead=f"Spread the first due dates of “{one}” over {len(new)} machines.",
        back=one.get_absolute_url(),
        said="The first due dates are set, evenly over the production dates. Nothing "
        "counts as missed before them.",
        action="Spread them",
        warning="" if new else "It was done on every machine that it is for already.",
    )


def routine_first_due(request: SignedIn, code: str, serial: str) -> HttpResponse:
    one = get_object_or_404(Routine, code=code)
    need_to_spread(request.user, one)
    machine = get_object_or_404(Machine, serial=serial)
    first = FirstDue.objects.filter(routine=one, machine=machine).first()
    return door(
        request,
        FirstDueForm(sent(request), initial={"due": first.due if first else None}),
        lambda **facts: verbs.set_first_due(
            routine=one, machine=machine, by=request.user, **facts
        ),
        lead=f"Set when “{one}” is first due on {machine}.",
        back=one.get_absolute_url(),
        said="The first due date is set. Nothing counts as missed before it.",
    )


def _csv_row(one: Routine) -> list[object]:
    return [
        one.code,
        one.name,
        ";".join(one.kinds),
        one.every_days,
        one.every_units,
        one.meter,
        one.anchor,
        one.minutes,
        one.heads,
        ";".join(one.skills),
        one.lockout,
        one.safety,
        one.running_allowed,
        one.follows,
        ";".join(one.tags),
        one.valid_from,
        one.retired_on,
        one.open_tasks,  # type: ignore[attr-defined]  # annotated above
        one.late_tasks,  # type: ignore[attr-defined]
    ]
