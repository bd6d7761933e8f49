"""What stands in the whole demo plant: 6 areas, 26 lines, 250 cells, 1,000 robots."""

from collections.abc import Iterator
from datetime import date, timedelta
from typing import NamedTuple

from config.demo.plant.description import Area, Bank, Cell, Line

AREAS = (
    Area(code="FS", name="Front structure", ahead=3.0),
    Area(code="UB", name="Floor and marriage", ahead=2.5),
    Area(code="BS", name="Bodysides", ahead=2.0),
    Area(code="FR", name="Framing", ahead=2.5),
    Area(code="CL", name="Closures", ahead=3.5),
    Area(code="SF", name="Seal and finish", ahead=2.0),
)
KINDS = ("weld", "handling", "seal", "arc", "stud", "hem", "vision")


class Row(NamedTuple):
    line: str
    name: str
    cells: int
    robots: tuple[int, int, int, int, int, int, int]  # in the order of KINDS
    ideal: tuple[int, int, int]  # seconds for H, S and E, of the slowest cell
    legs: str = ""


ROWS = (
    Row("FS1", "front rails", 12, (32, 10, 2, 6, 0, 0, 0), (44, 44, 48)),
    Row("FS2", "dash and cowl", 8, (16, 6, 2, 0, 4, 0, 0), (42, 42, 45)),
    Row("FS3", "long members", 8, (12, 7, 0, 9, 0, 0, 0), (41, 41, 47)),
    Row("UB3", "front floor", 14, (32, 12, 5, 0, 5, 0, 0), (45, 45, 49)),
    Row("UB4", "rear floor", 16, (37, 16, 6, 0, 5, 0, 0), (46, 47, 51)),
    Row("UB6", "marriage and geo", 10, (27, 14, 5, 0, 4, 0, 0), (48, 48, 50)),
    Row("UB7", "respot", 12, (44, 10, 0, 0, 2, 0, 0), (47, 48, 50)),
    Row("BS1", "left inner", 12, (36, 10, 0, 2, 0, 0, 0), (45, 46, 46)),
    Row("BS2", "left outer and join", 14, (45, 13, 2, 0, 2, 0, 0), (46, 48, 48)),
    Row("BS3", "left seal and conveyor", 4, (2, 7, 5, 0, 1, 0, 0), (44, 45, 45)),
    Row("BS4", "right inner", 12, (35, 10, 0, 3, 0, 0, 0), (45, 46, 46)),
    Row("BS5", "right outer and join", 14, (45, 13, 3, 0, 1, 0, 0), (46, 48, 48)),
    Row("BS6", "right seal and conveyor", 4, (2, 7, 5, 0, 1, 0, 0), (44, 45, 45)),
    Row("FR1", "load and framing geo", 6, (30, 8, 0, 0, 0, 0, 4), (49, 51, 51)),
    Row("FR2", "respot 1", 10, (60, 2, 0, 0, 0, 0, 0), (47, 49, 49)),
    Row("FR3", "roof and bows", 6, (10, 6, 6, 4, 2, 0, 0), (46, 47, 49)),
    Row("FR4", "respot 2 and measuring", 8, (30, 2, 0, 0, 0, 0, 6), (47, 48, 48)),
    Row("CL1", "front doors", 16, (16, 16, 7, 0, 0, 9, 0), (65, 65, 65), "LR"),
    Row("CL2", "rear doors", 16, (16, 16, 7, 0, 0, 9, 0), (65, 65, 65), "LR"),
    Row("CL3", "bonnet", 10, (8, 9, 4, 0, 0, 5, 0), (45, 45, 49)),
    Row("CL4", "tailgate", 12, (14, 9, 4, 0, 0, 7, 0), (45, 47, 47)),
    Row("CL5", "wings and small parts", 6, (6, 5, 1, 2, 0, 0, 0), (46, 46, 46)),
    Row("SF1", "studs and brackets", 4, (4, 5, 0, 0, 3, 0, 0), (43, 43, 48)),
    Row("SF2", "seam seal", 8, (0, 8, 26, 0, 0, 0, 6), (94, 98, 102), "LR"),
    Row("SF3", "closures hang", 5, (1, 7, 0, 4, 0, 0, 8), (47, 48, 48)),
    Row("SF4", "measuring and hand-over", 3, (0, 2, 0, 0, 0, 0, 6), (42, 42, 42)),
)
#: From the end of a line to the head of the next: bodies, or sets of parts. Of doors a
#: day makes about 760 sets where hanging takes 870: five days take 550 from the store,
#: and four nights until one o'clock give 4 × 140 back. So it goes from 285 to 175 by
#: day, and may go lower on a bad one. A store of 60 would be full an hour into each
#: night, and empty before each day's Late shift.
BANKS = tuple(
    Bank(line=line, into=into, capacity=capacity)
    for line, into, capacity in (
        ("FS1", "UB6", 20),
        ("FS2", "UB6", 15),
        ("FS3", "UB6", 30),
        ("UB3", "UB6", 18),
        ("UB4", "UB6", 18),
        ("UB6", "UB7", 4),
        ("UB7", "FR1", 25),
        ("BS1", "BS2", 12),
        ("BS2", "BS3", 6),
        ("BS3", "FR1", 35),
        ("BS4", "BS5", 12),
        ("BS5", "BS6", 6),
        ("BS6", "FR1", 35),
        ("FR1", "FR2", 2),
        ("FR2", "FR3", 3),
        ("FR3", "FR4", 6),
        ("FR4", "SF1", 30),
        ("SF1", "SF2", 5),
        ("SF2", "SF3", 8),
        ("SF3", "SF4", 10),
        ("CL1", "SF3", 300),
        ("CL2", "SF3", 300),
        ("CL3", "SF3", 40),
        ("CL4", "SF3", 30),
        ("CL5", "SF3", 80),
    )
)
NIGHTS = ("CL1", "CL2")
#: Not the last cell alone, as elsewhere; the first of them counts for its line.
SLOWEST = {
    "FR2": ("FR2-100", "FR2-070"),
    "FR1": ("FR1-030",),
    "FR3": ("FR3-020",),
    "SF1": ("SF1-020",),
    "CL1": ("CL1-160", "CL1-080"),
    "CL2": ("CL2-160", "CL2-080"),
    "SF2": ("SF2-080", "SF2-040"),
}
#: Bows are laid faster than anything else is done on a body, so this cell waits most.
FASTEST = {"FR3-040": 0.72}
#: These stand in the registry since the launch; the cell is faster by now.
OLD_IDEAL = {"CL1-080": 70.0}
#: Here the electric bodies take this long, and the registry does not know it.
UNKNOWN_E = {"SF1-020": 66.0}
#: An arc cell that takes so much longer than the registry says; and the room behind
#: the cell that waits for it.
SLOWER = {"FR3-020": 1.04}
WITHIN = {"FR3": {"FR3-040": 6}}
NAMES = {
    "FR1-030": "framing geo",
    "FR3-040": "bows",
    "UB6-050": "turntable",
    "SF1-020": "studs",
}
#: Which kinds stand first in a line, where it is not as in PROCESS.
FIRST = {"FS2": (("weld", 5), ("stud", 4)), "SF1": (("stud", 3),)}
PROCESS = ("stud", "arc", "weld", "seal", "hem", "vision")


def lines(today: date) -> tuple[Line, ...]:
    orders: dict[str, int] = {}
    found = []
    for row in ROWS:
        area = row.line[:2]
        orders[area] = orders.get(area, 0) + 1
        slowest = SLOWEST.get(row.line, (f"{row.line}-{row.cells * 10:03d}",))
        found.append(
            Line(
                code=row.line,
                area=area,
                name=row.name,
                order=orders[area],
                counting=slowest[0],
                cells=tuple(_cells(row, slowest, today)),
                shifts=("Early", "Late", "Night")
                if row.line in NIGHTS
                else ("Early", "Late"),
                in_turn=row.line == "SF2",
                banks=WITHIN.get(row.line, {}),
            )
        )
    return tuple(found)


def _cells(row: Row, slowest: tuple[str, ...], today: date) -> Iterator[Cell]:
    legs = row.legs or " "
    per_leg = row.cells // len(legs)
    for number, leg in enumerate(legs):
        numbers = _share(row.robots, number, len(legs))
        stations = _stations(row.line, numbers, per_leg)
        for place, kinds in enumerate(stations):
            order = (number * per_leg + place + 1) * 10
            code = f"{row.line}-{order:03d}"
            ideal = _ideal(row, code, order, code in slowest)
            name = NAMES.get(code) or _name(place, per_leg, kinds)
            yield Cell(
                code=code,
                name=name + {"L": ", left", "R": ", right", " ": ""}[leg],
                order=order,
                leg=leg.strip(),
                criticality=_criticality(row.line, place, per_leg, code in slowest),
                kinds=kinds,
                sheet=_sheet(code, today),
                ideal=_registered(code, ideal),
                true=_true(code, ideal),
            )


def _registered(code: str, ideal: dict[str, float]) -> dict[str, float]:
    return dict.fromkeys(ideal, OLD_IDEAL[code]) if code in OLD_IDEAL else ideal


def _true(code: str, ideal: dict[str, float]) -> dict[str, float]:
    electric = {"E": UNKNOWN_E[code]} if code in UNKNOWN_E else {}
    factor = SLOWER.get(code, 1.0)
    return {key: seconds * factor for key, seconds in (ideal | electric).items()}


def _share(robots: tuple[int, ...], leg: int, legs: int) -> list[int]:
    """Of each kind, so that the legs have as many robots each."""
    shares = []
    odd = 0
    for number in robots:
        extra, rest = number // legs, number % legs
        takes = rest and (odd + leg) % legs == 0
        odd += rest
        shares.append(extra + (1 if takes else 0))
    return shares


def _stations(line: str, numbers: list[int], cells: int) -> list[tuple[str, ...]]:
    """The kinds of each cell's robots, spread evenly.

    Handling robots load the first cell, hand over at the last, and help at every
    fourth; the processes follow each other along the line.
    """
    left = dict(zip(KINDS, numbers, strict=True))
    size = [sum(numbers) // cells] * cells
    for extra in range(sum(numbers) % cells):
        size[(extra * 2 + 1) % cells] += 1
    placed: list[list[str]] = [[] for _ in range(cells)]
    keen = [0, cells - 1, *range(3, cells - 1, 4)]
    rest = [place for place in range(cells) if place not in keen]
    for place in [*keen, *keen, *keen, *rest, *rest, *rest, *rest]:
        if left["handling"] and len(placed[place]) < size[place]:
            placed[place].append("handling")
            left["handling"] -= 1
    queue = _queue(line, left)
    for place in range(cells):
        while len(placed[place]) < size[place]:
            placed[place].append(next(queue))
    return [tuple(kinds) for kinds in placed]


def _queue(line: str, left: dict[str, int]) -> Iterator[str]:
    for kind, number in FIRST.get(line, ()):
        left[kind] -= number
        yield from [kind] * number
    for kind in (*PROCESS, "handling"):
        yield from [kind] * left[kind]


def _ideal(row: Row, code: str, order: int, slowest: bool) -> dict[str, float]:
    """Of the cells that are not the slowest, some are a little faster than others."""
    factor = FASTEST.get(code, 1.0 if slowest else 0.90 + 0.01 * (order // 10 * 3 % 7))
    pairs = zip(("H", "S", "E"), row.ideal, strict=True)
    return {variant: round(seconds * factor, 1) for variant, seconds in pairs}


def _name(place: int, cells: int, kinds: tuple[str, ...]) -> str:
    if place == 0:
        return "load"
    if place == cells - 1:
        return "transfer"
    if place % 4 == 3:
        return "geo"
    most = max(kinds, key=lambda kind: (kinds.count(kind), kind))
    words = {"weld": "respot", "arc": "arc weld", "vision": "measuring"}
    return words.get(most, most)


def _criticality(line: str, place: int, cells: int, slowest: bool) -> str:
    if line in ("FR1", "UB6") or (slowest and line not in ("CL5", "SF4")):
        return "A"
    return "C" if place in (0, cells - 1) and line[:2] in ("CL", "SF") else "B"


def _sheet(code: str, today: date) -> tuple[str, str, str] | None:
    if code == "CL4-040":
        return None  # found by the registry-health page
    # One is older than a year.
    months = 16 if code == "FR1-050" else 3 + len(set(code)) % 7
    return (f"{code}-LS", "4", str(today - timedelta(days=30 * months)))
