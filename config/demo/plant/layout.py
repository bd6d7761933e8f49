"""What stands in the demo plant: two areas, four lines, 24 cells, 80 robots."""

from dataclasses import dataclass, field
from datetime import date, time
from zoneinfo import ZoneInfo

SEED = 20260302
PLANT = "Tarnbeck Body Plant"
ZONE = ZoneInfo("Europe/Berlin")
FIRST_DAY = date(2026, 3, 2)
#: The demo's clock starts on this day, in the Early shift.
TODAY = date(2026, 3, 31)
DAY_OFF = date(2026, 3, 20)
VARIANTS = {"H": ("hatch", 0.45), "S": ("saloon", 0.30), "E": ("electric", 0.25)}
BREAKS = {
    "Early": "08:00-08:10;10:00-10:20;12:00-12:10",
    "Late": "16:00-16:10;18:00-18:20;20:00-20:10",
    "Night": "00:00-00:10;02:00-02:20;04:00-04:10",
}
HOURS = {
    "Early": (time(6), time(14)),
    "Late": (time(14), time(22)),
    "Night": (time(22), time(6)),
}
AREAS = {
    "FR": ("Framing", "0.79"),
    "CL": ("Closures", "0.74"),
}


@dataclass(frozen=True, kw_only=True)
class DemoCell:
    code: str
    name: str
    order: int
    leg: str = ""
    criticality: str = "B"
    kinds: tuple[str, ...] = ()  # one per robot: R1, R2, …
    sheet: tuple[str, str, str] | None = None  # number, revision, date


@dataclass(frozen=True, kw_only=True)
class DemoLine:
    code: str
    area: str
    name: str
    order: int
    counting: str
    cycles: dict[str, float]  # seconds per body by variant, of the line's slowest
    cells: tuple[DemoCell, ...]
    shifts: tuple[str, ...] = ("Early", "Late")
    banks: dict[str, int] = field(default_factory=dict)  # after which cell, bodies

    def legs(self) -> list[list[DemoCell]]:
        """The cells of each leg in flow order; one list where there are none."""
        names = sorted({cell.leg for cell in self.cells})
        return [[cell for cell in self.cells if cell.leg == name] for name in names]


def _cells(
    line: str, rows: list[tuple[str, str, str]], legs: str = ""
) -> tuple[DemoCell, ...]:
    """Rows of (name, kinds as letters, criticality), numbered 010, 020, …"""
    letters = {"w": "weld", "h": "handling", "s": "seal", "m": "hem", "v": "vision"}
    per_leg = len(rows) // max(len(legs), 1)
    cells = []
    for index, (name, kinds, criticality) in enumerate(rows):
        number = (index + 1) * 10
        cells.append(
            DemoCell(
                code=f"{line}-{number:03d}",
                name=name,
                order=number,
                leg=legs[index // per_leg] if legs else "",
                criticality=criticality,
                kinds=tuple(letters[letter] for letter in kinds),
                sheet=_sheet(line, number),
            )
        )
    return tuple(cells)


def _sheet(line: str, number: int) -> tuple[str, str, str] | None:
    if (line, number) == ("CL4", 40):
        return None  # found by the registry-health page
    if (line, number) == ("FR1", 50):
        return (f"{line}-{number:03d}-LS", "2", "2024-11-18")  # older than a year
    return (f"{line}-{number:03d}-LS", "4", "2025-09-15")


LINES = (
    DemoLine(
        code="FR1",
        area="FR",
        name="load and framing geo",
        order=1,
        counting="FR1-060",
        cycles={"H": 49.0, "S": 51.0, "E": 51.0},
        banks={"FR1-030": 2, "FR1-060": 4},
        cells=_cells(
            "FR1",
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
    DemoLine(
        code="FR2",
        area="FR",
        name="respot",
        order=2,
        counting="FR2-070",
        cycles={"H": 47.0, "S": 49.0, "E": 49.0},
        banks={"FR2-030": 1, "FR2-070": 6},
        cells=_cells(
            "FR2",
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
    DemoLine(
        code="CL1",
        area="CL",
        name="front doors",
        order=1,
        counting="CL1-030",
        cycles={"H": 65.0, "S": 65.0, "E": 65.0},
        shifts=("Early", "Late", "Night"),
        banks={"CL1-010": 2, "CL1-020": 2, "CL1-040": 2, "CL1-050": 2},
        cells=_cells(
            "CL1",
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
    DemoLine(
        code="CL4",
        area="CL",
        name="tailgate",
        order=2,
        counting="CL4-050",
        cycles={"H": 45.0, "S": 47.0, "E": 47.0},
        banks={"CL4-020": 3},
        cells=_cells(
            "CL4",
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

#: code: (name, class, group, subgroup). What a leader says.
REASONS = {
    "gun-force": ("Gun force fault", "breakdown", "Spot weld", "Gun"),
    "drive": ("Drive or motor", "breakdown", "Robot", "Arm"),
    "cable": ("Cable pack", "breakdown", "Robot", "Cabling"),
    "network": ("Network drop", "breakdown", "Control", "Cell control"),
    "water": ("Low water flow", "breakdown", "Spot weld", "Water"),
    "hem-roller": ("Hem roller", "breakdown", "Hem", "Hemming"),
    "pump": ("Sealer pump", "breakdown", "Seal", "Supply"),
    "not-known": ("Not known yet", "breakdown", "Not known", ""),
    "tool-change": ("Tool change", "setup", "Set-up", "Change"),
    "touch-up": ("Touch-up", "setup", "Set-up", "Adjust"),
    "first-body": ("First-body check", "setup", "Set-up", "Start-up"),
    "weld-check": ("Weld check failed", "quality_hold", "Quality", "Product"),
    "dimension": ("Dimension hold", "quality_hold", "Quality", "Product"),
    "tip-stuck": ("Tip stuck", "minor", "Spot weld", "Tips"),
    "part-not-seen": ("Part not seen", "minor", "Handling", "Gripper"),
    "nozzle": ("Nozzle clogged", "minor", "Seal", "Application"),
    "clamp": ("Clamp not closed", "minor", "Fixture", "Clamp or pin"),
    "gate": ("Gate opened", "minor", "Safety devices", "Gate or curtain"),
    "no-operator": ("No operator", "people", "People", "Crew"),
    "no-part": ("No part at cell", "supply", "Parts", "Supply"),
    "wrong-part": ("Bad part", "supply", "Parts", "Supply"),
    "air": ("Compressed air low", "utilities", "Utilities", "Plant"),
    "downstream-full": ("Downstream full", "blocked", "Flow", "Victim"),
    "nothing-upstream": ("Nothing from upstream", "starved", "Flow", "Victim"),
    "meeting": ("Team meeting", "planned", "Planned", "Agreed"),
    "pm": ("Scheduled PM", "planned", "Planned", "Agreed"),
    "trial": ("Trial build", "planned", "Planned", "Agreed"),
    "no-demand": ("No demand", "planned", "Planned", "Agreed"),
}

#: How fast each cell is against its line's slowest; the counting cell is 1.0.
PACE = {
    "FR1-030": 1.0,
    "FR1-060": 1.0,
    "FR2-070": 1.0,
    "CL4-050": 1.0,
    "CL1-030": 1.0,
    "CL1-060": 1.0,
}
#: This cycle in the registry is from the launch; the cell really runs 65 s.
OLD_CYCLE = ("CL1-060", 72.0)


def true_cycles(line: DemoLine, cell: DemoCell) -> dict[str, float]:
    """Seconds per body that the cell can really hold."""
    factor = PACE.get(cell.code, 0.86 + 0.01 * (cell.order // 10 % 8))
    return {
        variant: round(seconds * factor, 1) for variant, seconds in line.cycles.items()
    }
