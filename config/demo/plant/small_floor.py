"""What stands in the small demo plant: two areas, four lines, 24 cells, 80 robots."""

from collections.abc import Iterator
from datetime import date

from config.demo.plant.description import Area, Bank, Cell, Equipment, Line

AREAS = (
    Area(code="FR", name="Framing", ahead=2.5),
    Area(code="CL", name="Closures", ahead=2.5),
)
LETTERS = {"w": "weld", "h": "handling", "s": "seal", "m": "hem", "v": "vision"}
#: The slowest of their lines.
SLOWEST = ("FR1-030", "FR1-060", "FR2-070", "CL4-050", "CL1-030", "CL1-060")
#: This cycle in the registry is from the launch; the cell really runs 65 s.
OLD_CYCLE = ("CL1-060", 72.0)
PLACED = date(2023, 9, 4)


def _cells(
    line: str,
    cycles: dict[str, float],
    rows: list[tuple[str, str, str]],
    legs: str = "",
) -> tuple[Cell, ...]:
    """Rows of (name, kinds as letters, criticality), numbered 010, 020, …"""
    per_leg = len(rows) // max(len(legs), 1)
    cells = []
    for index, (name, kinds, criticality) in enumerate(rows):
        order = (index + 1) * 10
        code = f"{line}-{order:03d}"
        factor = 1.0 if code in SLOWEST else 0.86 + 0.01 * (order // 10 % 8)
        true = {key: round(seconds * factor, 1) for key, seconds in cycles.items()}
        old, seconds = OLD_CYCLE
        cells.append(
            Cell(
                code=code,
                name=name,
                order=order,
                leg=legs[index // per_leg] if legs else "",
                criticality=criticality,
                kinds=tuple(LETTERS[letter] for letter in kinds),
                sheet=_sheet(code),
                ideal=dict.fromkeys(true, seconds) if code == old else true,
                true=true,
            )
        )
    return tuple(cells)


def _sheet(code: str) -> tuple[str, str, str] | None:
    if code == "CL4-040":
        return None  # found by the registry-health page
    if code == "FR1-050":
        return (f"{code}-LS", "2", "2024-11-18")  # older than a year
    return (f"{code}-LS", "4", "2025-09-15")


LINES = (
    Line(
        code="FR1",
        area="FR",
        name="load and framing geo",
        order=1,
        counting="FR1-060",
        banks={"FR1-030": 2},
        cells=_cells(
            "FR1",
            {"H": 49.0, "S": 51.0, "E": 51.0},
            [
                ("load", "hhw", "B"),
                ("tack", "wwww", "B"),
                ("framing geo", "wwwwwv", "A"),
                ("geo 2", "wwwwv", "A"),
                ("respot", "wwww", "B"),
                ("transfer", "hv", "C"),
            ],
        ),
    ),
    Line(
        code="FR2",
        area="FR",
        name="respot",
        order=2,
        counting="FR2-070",
        banks={"FR2-030": 1},
        cells=_cells(
            "FR2",
            {"H": 47.0, "S": 49.0, "E": 49.0},
            [
                ("load", "hww", "B"),
                ("respot left", "wwww", "B"),
                ("respot right", "wwwww", "B"),
                ("roof seal", "ssh", "B"),
                ("respot roof", "wwww", "B"),
                ("bracket handling", "hhww", "B"),
                ("respot and transfer", "wwwwh", "A"),
            ],
        ),
    ),
    Line(
        code="CL1",
        area="CL",
        name="front doors",
        order=1,
        counting="CL1-030",
        shifts=("Early", "Late", "Night"),
        banks={"CL1-010": 2, "CL1-020": 2, "CL1-040": 2, "CL1-050": 2},
        cells=_cells(
            "CL1",
            {"H": 65.0, "S": 65.0, "E": 65.0},
            [
                ("load and weld, left", "hwm", "B"),
                ("seal and hem, left", "smm", "B"),
                ("respot, left", "wh", "B"),
                ("load and weld, right", "hwm", "B"),
                ("seal and hem, right", "smm", "B"),
                ("respot, right", "wh", "B"),
            ],
            legs="LR",
        ),
    ),
    Line(
        code="CL4",
        area="CL",
        name="tailgate",
        order=2,
        counting="CL4-050",
        banks={"CL4-020": 3},
        cells=_cells(
            "CL4",
            {"H": 45.0, "S": 47.0, "E": 47.0},
            [
                ("load", "hw", "C"),
                ("inner weld", "ww", "B"),
                ("seal", "ssh", "B"),
                ("hem", "mmh", "B"),
                ("respot and transfer", "wh", "B"),
            ],
        ),
    ),
)
BANKS = (Bank(line="FR1", into="FR2", capacity=4),)
CURTAINS = (
    "FR1-010",
    "FR2-010",
    "FR2-040",
    "CL1-010",
    "CL1-020",
    "CL1-040",
    "CL1-050",
    "CL4-010",
)
DRESSERS = ("FR1-020", "FR1-030", "FR1-050", "FR2-020", "FR2-030", "FR2-050", "FR2-070")


def _equipment() -> Iterator[Equipment]:
    cells = [cell.code for line in LINES for cell in line.cells]
    for kind, letters, position, where in (
        ("gate", "G", "Gate 1", cells),
        ("light curtain", "LC", "Curtain 1", CURTAINS),
        ("tip dresser", "TD", "Dresser 1", DRESSERS),
    ):
        for cell in where:
            yield Equipment(
                serial=f"{letters}-{cell}",
                kind=kind,
                cell=cell,
                position=position,
                placed_on=PLACED,
            )


EQUIPMENT = tuple(_equipment())
