"""A machine's page, and the doors to its place and its meters."""

from django.contrib import messages
from django.db.models import Prefetch
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from cells import clock, meters, panels, placements, registry, rights, trail
from cells.downloads import csv_response
from cells.forms import (
    ChangeMachineForm,
    ChangeMeterForm,
    MachineForm,
    MeterForm,
    PlaceMachineForm,
    ReadingForm,
    RemoveMachineForm,
    SwapMachineForm,
)
from cells.models import Machine, Meter, Placement, Reading
from cells.rights import SignedIn
from cells.views.doors import csv_url, done, door, sent, status_of

READINGS_SHOWN = 5
CHANGES_SHOWN = 20


def machine(request: SignedIn, serial: str) -> HttpResponse:
    """Facts and history; a reading is entered here."""
    machine = _machine(serial)
    if "csv" in request.GET:
        return _csv(machine)
    form = ReadingForm(sent(request), machine=machine, initial={"read_at": clock.now()})
    if form.is_bound:
        rights.need(meters.may_read_meters(request.user), meters.ONLY_READERS)
        entered = done(
            form, lambda **facts: meters.enter_reading(**facts, by=request.user)
        )
        if entered:
            _say(request, entered[0])
            return redirect(machine)
    context = _context(request, machine) | {"form": form}
    return render(request, "cells/machine.html", context, status=status_of(form))


@require_safe
def machine_short(request: SignedIn, serial: str) -> HttpResponse:
    """What a label's QR code opens."""
    return redirect(get_object_or_404(Machine, serial__iexact=serial))


def machine_add(request: SignedIn) -> HttpResponse:
    registry.need_planner(request.user)
    return door(
        request,
        MachineForm(sent(request)),
        lambda **facts: placements.add_machine(**facts, by=request.user),
        lead="Add a machine.",
        back=reverse("registry"),
        said="The machine is in the registry and stands nowhere yet: place it.",
        then=Machine.get_absolute_url,
    )


def machine_edit(request: SignedIn, serial: str) -> HttpResponse:
    registry.need_planner(request.user)
    machine = _machine(serial)
    initial = {
        "kind": machine.kind,
        "model": machine.model,
        "tags": ";".join(machine.tags),
    }
    return door(
        request,
        ChangeMachineForm(sent(request), initial=initial),
        lambda **facts: placements.change_machine(
            machine=machine, by=request.user, **facts
        ),
        lead=f"Change machine {machine}.",
        back=machine.get_absolute_url(),
        said=f"Machine {machine} is changed.",
    )


def machine_place(request: SignedIn, serial: str) -> HttpResponse:
    registry.need_planner(request.user)
    machine = _machine(serial)
    return door(
        request,
        PlaceMachineForm(sent(request), initial={"placed_on": clock.today()}),
        lambda **facts: placements.place_machine(
            machine=machine, by=request.user, **facts
        ),
        lead=f"Say where machine {machine} stands.",
        back=machine.get_absolute_url(),
        said=f"Machine {machine} is placed.",
        action="Place it",
    )


def machine_remove(request: SignedIn, serial: str) -> HttpResponse:
    registry.need_planner(request.user)
    machine = _machine(serial)
    return door(
        request,
        RemoveMachineForm(sent(request), initial={"removed_on": clock.today()}),
        lambda **facts: placements.remove_machine(
            machine=machine, by=request.user, **facts
        ),
        lead=f"Take machine {machine} out of its place.",
        back=machine.get_absolute_url(),
        said=f"Machine {machine} stands nowhere now. Its history stays.",
        action="Take it out",
    )


def machine_swap(request: SignedIn, serial: str) -> HttpResponse:
    registry.need_planner(request.user)
    machine = _machine(serial)
    return door(
        request,
        SwapMachineForm(sent(request), initial={"swapped_on": clock.today()}),
        lambda **facts: placements.swap_machine(out=machine, by=request.user, **facts),
        lead=f"Swap machine {machine} for another.",
        back=machine.get_absolute_url(),
        said=f"Machine {machine} was swapped. Its meters and history go with it.",
        action="Swap them",
    )


def meter_add(request: SignedIn, serial: str) -> HttpResponse:
    registry.need_planner(request.user)
    machine = _machine(serial)
    return door(
        request,
        MeterForm(sent(request)),
        lambda **facts: meters.add_meter(machine=machine, by=request.user, **facts),
        lead=f"Add a meter to machine {machine}.",
        back=machine.get_absolute_url(),
        said=f"Machine {machine} has a new meter.",
    )


def meter_edit(request: SignedIn, pk: int) -> HttpResponse:
    registry.need_planner(request.user)
    meter = get_object_or_404(Meter.objects.select_related("machine"), pk=pk)
    initial = {"unit": meter.unit, "max_per_hour": meter.max_per_hour}
    return door(
        request,
        ChangeMeterForm(sent(request), initial=initial),
        lambda **facts: meters.change_meter(meter=meter, by=request.user, **facts),
        lead=f"Change the meter “{meter.name}” of machine {meter.machine}.",
        back=meter.machine.get_absolute_url(),
        said=f"The meter “{meter.name}” is changed.",
    )


def _machine(serial: str) -> Machine:
    return get_object_or_404(Machine, serial=serial)


def _context(request: SignedIn, machine: Machine) -> dict[str, object]:
    places = list(
        Placement.objects.filter(machine=machine)
        .select_related("cell__line__area")
        .order_by("-placed_on")
    )
    last = Reading.objects.filter(withdrawn=False).order_by("-read_at")
    return {
        "machine": machine,
        "places": places,
        "place": next((place for place in places if place.removed_on is None), None),
        "meters": machine.meters.prefetch_related(
            Prefetch(
                "readings",
                last.select_related("by")[:READINGS_SHOWN],
                to_attr="last_readings",
            )
        ),
        "panels": panels.rendered("machine", request, machine),
        "changes": trail.changes_of(machine)[:CHANGES_SHOWN],
        "trail_url": f"{reverse('trail')}?kind=machine&record={machine.pk}",
        "may_edit": rights.may_edit_registry(request.user),
        "may_read": meters.may_read_meters(request.user),
        "csv_url": csv_url(request),
    }


def _say(request: SignedIn, reading: Reading) -> None:
    if reading.confirmed:
        messages.success(request, "The reading is entered and counts.")
    else:
        messages.warning(
            request,
            f"{reading.question} It is kept, and moves no due date until a planner "
            "has confirmed it.",
        )


def _csv(machine: Machine) -> HttpResponse:
    header = ["meter", "unit", "read_at", "value", "confirmed", "question"]
    readings = Reading.objects.filter(meter__machine=machine, withdrawn=False)
    rows = (
        (
            reading.meter.name,
            reading.meter.unit,
            reading.read_at,
            reading.value,
            reading.confirmed,
            reading.question,
        )
        for reading in readings.select_related("meter").order_by("meter", "read_at")
    )
    return csv_response(f"readings-{machine.serial}", header, rows)
