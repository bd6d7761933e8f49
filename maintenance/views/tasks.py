"""One task: what it asks, the form that records it done, and then the record."""

from django.contrib import messages
from django.core.exceptions import BadRequest
from django.db.models import Prefetch
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse

from cells import trail
from cells.models import Reading
from cells.plant_forms import WhyForm
from cells.rights import SignedIn
from cells.views.doors import UNPROCESSABLE, done, door, sent, status_of
from maintenance import task_rights, tasks
from maintenance.forms.tasks import (
    AcceptForm,
    CompleteForm,
    CompleteManyForm,
    CorrectTaskForm,
)
from maintenance.models import SafetyAlert, Step, StepResult, Task
from maintenance.task_rules import last_done, sheet_of
from maintenance.task_words import every, step_records, why_due

CHANGES_SHOWN = 30
MANY = 100  # rows of one form that a person can still check


def task(request: SignedIn, pk: int) -> HttpResponse:
    one = _task(pk)
    may = one.is_open and task_rights.may_complete(request.user, one)
    if request.method == "POST":
        task_rights.need_to_complete(request.user, one)
    form = CompleteForm(sent(request), task=one) if may or sent(request) else None
    if form is not None:
        recorded = done(
            form, lambda **facts: tasks.complete_task(**facts, by=request.user)
        )
        if recorded:
            _say(request, recorded)
            return redirect(one)
        if form.is_bound:
            one = _task(pk)  # as it is stored, not as it was tried
    context = _context(request, one) | {"form": form}
    status = 200 if form is None else status_of(form)
    return render(request, "maintenance/task.html", context, status=status)


def complete_many(request: SignedIn) -> HttpResponse:
    """Those that were chosen on the list, ``?task=1&task=2``: all of them or none."""
    chosen = _chosen(request)
    for one in chosen:
        task_rights.need_to_complete(request.user, one)
    form = CompleteManyForm(sent(request), tasks=chosen)
    if form.is_bound and form.is_valid():
        try:
            recorded = tasks.complete_many(form.work(), by=request.user)
        except tasks.RowsRefusedError as refused:
            form.refuse(refused.by_row)
        else:
            _say(request, recorded)
            return redirect("due")
    context = {"form": form, "tasks": chosen, "back": reverse("due")}
    status = UNPROCESSABLE if form.is_bound else 200
    return render(request, "maintenance/task_many.html", context, status=status)


def task_correct(request: SignedIn, pk: int) -> HttpResponse:
    one = _task(pk)
    task_rights.need_to_correct(request.user, one)
    return door(
        request,
        CorrectTaskForm(sent(request), task=one),
        lambda **facts: tasks.correct_completion(task=one, by=request.user, **facts),
        lead=f"Correct the record of “{one}”.",
        back=one.get_absolute_url(),
        said="The record is corrected, with its trail, and the due dates follow it.",
        action="Save the correction",
    )


def task_withdraw(request: SignedIn, pk: int) -> HttpResponse:
    one = _task(pk)
    task_rights.need_to_correct(request.user, one)
    return door(
        request,
        WhyForm(sent(request)),
        lambda why: tasks.withdraw_completion(task=one, by=request.user, why=why),
        lead=f"“{one}” was recorded done by mistake.",
        back=one.get_absolute_url(),
        said="The record is withdrawn and stays readable. The task is open again.",
        action="Withdraw the record",
        warning="Its due date goes back to what the records before it say.",
    )


def alert_accept(request: SignedIn, pk: int) -> HttpResponse:
    alerts = SafetyAlert.objects.select_related(
        "task__cell__line__area", "task__routine", "task__machine"
    )
    alert = get_object_or_404(alerts, pk=pk)
    task_rights.need_to_accept_alert(request.user, alert)
    return door(
        request,
        AcceptForm(sent(request)),
        lambda measure: tasks.accept_alert(
            alert=alert, measure=measure, by=request.user
        ),
        lead=f"“{alert.task}” was reported failed.",
        back=reverse("alerts"),
        said="Your name stands under the failed test, with the measure as reported.",
        action="Accept it by name",
        warning="Accepting it records who answers for it. It changes no device and "
        "gives no leave to use the cell.",
    )


def _task(pk: int) -> Task:
    related = (
        "routine",
        "machine",
        "cell__line__area",
        "done_by",
        "alert__accepted_by",
    )
    steps = Prefetch("routine__steps", Step.objects.order_by("order"))
    return get_object_or_404(
        Task.objects.select_related(*related).prefetch_related(steps), pk=pk
    )


def _chosen(request: SignedIn) -> list[Task]:
    texts = request.GET.getlist("task")
    if not all(text.isdecimal() and len(text) < 16 for text in texts):
        raise BadRequest("The address of this page names a task by something else.")
    count = len(set(texts))
    if not 1 <= count <= MANY:
        raise BadRequest(
            f"Choose from 1 to {MANY} tasks on the due list; here are {count}."
        )
    steps = Prefetch("routine__steps", Step.objects.order_by("order"))
    rows = (
        Task.objects.filter(pk__in=texts)
        .select_related("routine", "machine", "cell__line__area")
        .prefetch_related(steps)
    )
    return list(
        rows.order_by("routine__code", "cell__line__order", "cell__order", "position")
    )


def _context(request: SignedIn, one: Task) -> dict[str, object]:
    results = StepResult.objects.filter(task=one).select_related("step")
    last = last_done([one]).get((one.routine_id, one.clock)) if one.is_open else None
    return {
        "task": one,
        "routine": one.routine,
        "sheet": sheet_of(one.cell),
        "every": every(one.routine),
        "why_due": why_due(one, last) if one.is_open else "",
        "last_read": _last_read(one) if one.is_open else None,
        "records": step_records(list(one.routine.steps.all()), list(results)),
        "alert": getattr(one, "alert", None),
        "may_accept": hasattr(one, "alert")
        and task_rights.may_accept_alert(request.user, one.alert),
        "may_correct": one.is_done and task_rights.may_correct(request.user, one),
        "changes": trail.changes_of(one)[:CHANGES_SHOWN],
    }


def _last_read(one: Task) -> Reading | None:
    if not one.routine.meter:
        return None
    readings = Reading.objects.counting().filter(
        meter__machine=one.machine_id, meter__name=one.routine.meter
    )
    return readings.order_by("-read_at").first()


def _say(request: SignedIn, recorded: list[tasks.Recorded]) -> None:
    count = len(recorded)
    what = "The task is" if count == 1 else f"{count} tasks are"
    messages.success(request, f"{what} recorded done.")
    for one in recorded:
        if one.question:
            messages.warning(
                request,
                f"{one.task.machine}: {one.question} The reading moves no due date "
                "until a planner has confirmed it.",
            )
        if one.alert is not None:
            messages.warning(
                request,
                f"“{one.task}” is reported failed: a named person must accept the "
                "alert. Tell safety now, as the plant’s procedure says.",
            )
