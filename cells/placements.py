"""Machines and where they stand: verbs for adding, placing, removing and swapping.

Clocks of routines follow a machine's serial number or its place, so whoever keeps such
clocks listens to ``moved``.
"""

from datetime import date

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction
from django.dispatch import Signal

from cells import clock, codes, trail
from cells.models import Cell, Machine, Placement
from cells.registry import need_planner

#: Sent inside the transaction with machine_ids, a list: they stand somewhere else now.
moved = Signal()


@transaction.atomic
def add_machine(
    *, serial: str, kind: str, by: User, model: str = "", tags: list[str] | None = None
) -> Machine:
    need_planner(by)
    taken = Machine.objects.filter(serial__iexact=serial).first()
    if taken is not None:
        raise ValidationError(
            {
                "serial": f"The serial number “{serial}” belongs to a "
                f"{taken.get_kind_display()} already: open that machine instead."
            }
        )
    codes.check_key("serial", serial)
    machine = Machine(serial=serial, kind=kind, model=model, tags=tags or [])
    machine.full_clean()
    machine.save()
    trail.created([machine], by=by)
    return machine


def change_machine(
    *, machine: Machine, kind: str, model: str, tags: list[str], by: User, why: str
) -> None:
    need_planner(by)
    new = {"kind": kind, "model": model, "tags": tags}
    trail.save_changes(machine, new, by=by, why=why)


@transaction.atomic
def place_machine(
    *, machine: Machine, cell: Cell, position: str, placed_on: date, by: User
) -> Placement:
    need_planner(by)
    placement = _place(machine, cell, position, placed_on, by=by, why="")
    moved.send(sender=None, machine_ids=[machine.pk])
    return placement


@transaction.atomic
def remove_machine(*, machine: Machine, removed_on: date, by: User, why: str) -> None:
    need_planner(by)
    _remove(machine, removed_on, by=by, why=why)
    moved.send(sender=None, machine_ids=[machine.pk])


@transaction.atomic
def swap_machine(
    *, out: Machine, into: Machine, swapped_on: date, by: User, why: str
) -> Placement:
    """One goes, the other stands in its place from the same day on."""
    need_planner(by)
    gone = _remove(out, swapped_on, by=by, why=why)
    placement = _place(into, gone.cell, gone.position, swapped_on, by=by, why=why)
    moved.send(sender=None, machine_ids=[out.pk, into.pk])
    return placement


def _place(
    machine: Machine, cell: Cell, position: str, on: date, *, by: User, why: str
) -> Placement:
    codes.check_key("position", position)
    _check_not_ahead("placed_on", on)
    _check_cell_stays(cell)
    _check_machine_is_free(machine, on)
    _check_position_is_free(cell, position, on)
    placement = Placement(machine=machine, cell=cell, position=position, placed_on=on)
    placement.full_clean()
    placement.save()
    trail.created([placement], by=by, why=why)
    return placement


def _remove(machine: Machine, on: date, *, by: User, why: str) -> Placement:
    _check_not_ahead("removed_on", on)
    standing = machine.placements.filter(removed_on=None).first()
    if standing is None:
        raise ValidationError(
            f"{machine} stands nowhere, so it cannot be removed: place it first."
        )
    if on < standing.placed_on:
        raise ValidationError(
            {
                "removed_on": f"{machine} was placed on {standing.placed_on}, after "
                f"{on}: give a later date."
            }
        )
    trail.save_changes(standing, {"removed_on": on}, by=by, why=why)
    return standing


def _check_not_ahead(field: str, on: date) -> None:
    if on > clock.today():
        raise ValidationError(
            {field: f"{on} lies in the future: enter it on the day it is done."}
        )


def _check_cell_stays(cell: Cell) -> None:
    if cell.retired_on is not None:
        raise ValidationError(
            {
                "cell": f"Cell {cell} is retired on {cell.retired_on}: choose another "
                "cell."
            }
        )


def _check_machine_is_free(machine: Machine, on: date) -> None:
    for placement in machine.placements.select_related("cell"):
        if placement.removed_on is None:
            raise ValidationError(
                f"{machine} still stands in {placement.cell} {placement.position}: "
                "remove it there first."
            )
        if placement.placed_on == on:
            raise ValidationError(
                {
                    "placed_on": f"{machine} was placed in {placement.cell} "
                    f"{placement.position} on {on} already: give a later date."
                }
            )
        if placement.removed_on > on:
            raise ValidationError(
                {
                    "placed_on": f"{machine} stood in {placement.cell} "
                    f"{placement.position} until {placement.removed_on}: give that "
                    "date or a later one."
                }
            )


def _check_position_is_free(cell: Cell, position: str, on: date) -> None:
    """Nothing may stand there on that day or have been put there since."""
    there = Placement.objects.filter(cell=cell, position__iexact=position)
    rival = there.filter(removed_on=None).first()
    rival = rival or there.filter(removed_on__gt=on).first()
    if rival is not None:
        until = f"until {rival.removed_on}" if rival.removed_on else "still"
        raise ValidationError(
            {
                "position": f"{rival.machine} stands at {cell} {rival.position} "
                f"{until}: swap the two, or give another position or date."
            }
        )
