"""What stands on the floor: verbs for areas, lines, cells and the banks between."""

from datetime import date
from decimal import Decimal

from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction

from cells import clock, codes, rights, shifts, stale, trail
from cells.models import Area, AreaTarget, Bank, Cell, Line, Placement

ONLY_PLANNERS = "Only a planner edits the registry: ask one to enter this."
ONLY_SAFETY = "Only a safety officer or a planner records a cell's lockout sheet."


def need_planner(by: User) -> None:
    rights.need(rights.may_edit_registry(by), ONLY_PLANNERS)


@transaction.atomic
def add_area(*, code: str, name: str, by: User) -> Area:
    need_planner(by)
    _check_code(code)
    area = Area(code=code, name=name)
    area.full_clean()
    area.save()
    trail.created([area], by=by)
    return area


def change_area(*, area: Area, name: str, by: User, why: str) -> None:
    need_planner(by)
    trail.save_changes(area, {"name": name}, by=by, why=why)


@transaction.atomic
def set_target(
    *, area: Area, oee: Decimal, valid_from: date, by: User, why: str
) -> AreaTarget:
    """From a date on; a target that is already there for that date is corrected."""
    need_planner(by)
    target = AreaTarget.objects.filter(area=area, valid_from=valid_from).first()
    if target is not None:
        trail.save_changes(target, {"oee": oee}, by=by, why=why)
        return target
    target = AreaTarget(area=area, oee=oee, valid_from=valid_from)
    target.full_clean()
    target.save()
    trail.created([target], by=by, why=why)
    return target


@transaction.atomic
def add_line(*, code: str, area: Area, name: str, order: int, by: User) -> Line:
    """The line works its area's shifts from today on."""
    need_planner(by)
    _check_code(code)
    line = Line(code=code, area=area, name=name, order=order)
    line.full_clean()
    line.save()
    trail.created([line], by=by)
    today = clock.today()
    shifts.materialise(
        lines=[line], first=today, last=shifts.horizon(today), by=by, why="new line"
    )
    return line


def change_line(*, line: Line, name: str, order: int, by: User, why: str) -> None:
    need_planner(by)
    trail.save_changes(line, {"name": name, "order": order}, by=by, why=why)


def set_counting_cell(*, line: Line, cell: Cell | None, by: User, why: str) -> None:
    """Whose account stands for the line; none: the line leaves the roll-ups."""
    need_planner(by)
    if cell is not None and cell.line_id != line.pk:
        raise ValidationError(
            {
                "counting_cell": f"Cell {cell} stands in line {cell.line}: choose a "
                f"cell of line {line}."
            }
        )
    if cell is not None and cell.retired_on is not None:
        raise ValidationError(
            {
                "counting_cell": f"Cell {cell} is retired on {cell.retired_on}: choose "
                "a cell that stays."
            }
        )
    trail.save_changes(line, {"counting_cell": cell}, by=by, why=why)


@transaction.atomic
def add_cell(
    *,
    code: str,
    line: Line,
    name: str,
    order: int,
    by: User,
    leg: str = "",
    criticality: str = "",
    heads_limit: int | None = None,
) -> Cell:
    """Its account begins with the shifts of today."""
    need_planner(by)
    _check_code(code)
    cell = Cell(
        code=code,
        line=line,
        name=name,
        order=order,
        leg=leg,
        criticality=criticality,
        heads_limit=heads_limit,
    )
    cell.full_clean()
    cell.save()
    trail.created([cell], by=by)
    stale.mark_cycles([cell.pk], since=clock.today())
    return cell


@transaction.atomic
def change_cell(
    *,
    cell: Cell,
    name: str,
    order: int,
    leg: str,
    criticality: str,
    heads_limit: int | None,
    by: User,
    why: str,
) -> None:
    need_planner(by)
    new = {
        "name": name,
        "order": order,
        "leg": leg,
        "criticality": criticality,
        "heads_limit": heads_limit,
    }
    changes = trail.save_changes(cell, new, by=by, why=why)
    if any(change.field == "leg" for change in changes):
        # A count for the line or for a leg now holds for other cells.
        stale.mark_cycles([cell.pk], since=date.min)


def record_lockout_sheet(
    *,
    cell: Cell,
    sheet: str,
    revision: str,
    revised_on: date | None,
    by: User,
    why: str,
) -> None:
    """As entered: which sheet the plant's procedure names for this cell."""
    rights.need(
        rights.has_role(by, rights.Role.SAFETY_OFFICER, rights.Role.PLANNER),
        ONLY_SAFETY,
    )
    if not sheet and (revision or revised_on):
        raise ValidationError(
            {"sheet": "The sheet's number is missing: give it with its revision."}
        )
    if revised_on is not None and revised_on > clock.today():
        raise ValidationError(
            {
                "revised_on": f"The sheet's date {revised_on} lies in the future: give "
                "the date of the revision in use."
            }
        )
    new = {
        "lockout_sheet": sheet,
        "lockout_revision": revision,
        "lockout_date": revised_on,
    }
    trail.save_changes(cell, new, by=by, why=why)


@transaction.atomic
def retire_cell(*, cell: Cell, retired_on: date, by: User, why: str) -> None:
    """From this date the cell has no shifts; what happened before stays."""
    need_planner(by)
    if Line.objects.filter(counting_cell=cell).exists():
        raise ValidationError(
            f"Cell {cell} is the counting cell of line {cell.line}: choose another "
            "counting cell first."
        )
    standing = Placement.objects.filter(cell=cell, removed_on=None)
    serials = list(standing.values_list("machine__serial", flat=True))
    if serials:
        raise ValidationError(
            f"{', '.join(serials)} still stand in cell {cell}: remove them first."
        )
    dates = [day for day in (cell.retired_on, retired_on) if day is not None]
    trail.save_changes(cell, {"retired_on": retired_on}, by=by, why=why)
    stale.mark_cycles([cell.pk], since=min(dates))


@transaction.atomic
def set_bank(
    *, from_cell: Cell, to_cell: Cell, capacity: int, by: User, why: str
) -> Bank:
    """Bodies that fit between two neighbours of the flow."""
    need_planner(by)
    check_neighbours(from_cell, to_cell)
    bank = Bank.objects.filter(from_cell=from_cell, to_cell=to_cell).first()
    if bank is not None:
        trail.save_changes(bank, {"capacity": capacity}, by=by, why=why)
        return bank
    bank = Bank(from_cell=from_cell, to_cell=to_cell, capacity=capacity)
    bank.full_clean()
    bank.save()
    trail.created([bank], by=by, why=why)
    return bank


def _check_code(code: str) -> None:
    codes.check_shape(code)
    codes.check_free(code)


def check_neighbours(from_cell: Cell, to_cell: Cell) -> None:
    """Within a line nothing may stand between; lines themselves may be joined."""
    if from_cell.line_id != to_cell.line_id:
        return
    if to_cell.order <= from_cell.order and from_cell != to_cell:
        raise ValidationError(
            {
                "to_cell": f"Cell {to_cell} does not come after {from_cell} in line "
                f"{from_cell.line}: name the two in the order of the flow."
            }
        )
    legs = {"", from_cell.leg, to_cell.leg}
    between = Cell.objects.filter(
        line=from_cell.line_id,
        order__gt=from_cell.order,
        order__lt=to_cell.order,
        leg__in=legs,
        retired_on=None,
    ).first()
    if between is not None:
        raise ValidationError(
            {
                "to_cell": f"Cell {between} stands between {from_cell} and {to_cell}: "
                "a bank lies between neighbours."
            }
        )
