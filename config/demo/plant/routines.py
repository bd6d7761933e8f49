"""The demo plants' routines and steps.

Texts are in our own words; intervals are invented around common practice. A plant has
a routine where it has a machine of one of its kinds.
"""

from typing import NamedTuple

ROBOTS = "weld;seal;handling;arc;stud;hem;vision"


class Routine(NamedTuple):
    code: str
    name: str
    kinds: str
    every_days: int | None
    minutes: int
    skill: str
    lockout: bool = False
    every_units: int | None = None
    meter: str = ""
    anchor: str = "completion"
    safety: bool = False
    running_allowed: bool = False
    follows: str = "machine"
    heads: int = 1
    tags: str = ""


ROUTINES = (
    Routine(
        "gun-force",
        "Weld force at two set points",
        "weld",
        28,
        15,
        "W",
        every_units=250_000,
        meter="spots",
    ),
    Routine(
        "gun-force-weekly",
        "Weld force, geometry guns",
        "weld",
        7,
        8,
        "W",
        tags="geometry-gun",
    ),
    Routine(
        "shunts",
        "Secondary circuit: shunts, links and bolts",
        "weld",
        90,
        25,
        "W",
        lockout=True,
        every_units=750_000,
        meter="spots",
    ),
    Routine(
        "gun-water",
        "Gun water: flow and return temperature",
        "weld",
        28,
        6,
        "W",
        running_allowed=True,
    ),
    Routine(
        "gun-float", "Gun float and play of the arms", "weld", 90, 15, "M", lockout=True
    ),
    Routine("dress-pack", "Cable pack by eye", "weld;arc;stud", 28, 6, "M"),
    Routine(
        "pack-change",
        "Cable pack: change",
        "dress pack",
        None,
        150,
        "M;E",
        lockout=True,
        every_units=1_500_000,
        meter="spots",
    ),
    Routine(
        "reference",
        "Tool centre point against the pin",
        "weld;seal;handling;hem;arc;stud",
        28,
        4,
        "C",
        follows="place",
    ),
    Routine(
        "robot-eye", "Robot by eye: leaks, noise, covers, cables", ROBOTS, 90, 12, "M"
    ),
    Routine(
        "grease",
        "Grease change, all axes",
        ROBOTS,
        1080,
        180,
        "M",
        lockout=True,
        every_units=10_000,
        meter="motion hours",
        heads=2,
    ),
    Routine("brakes", "Brake holding test, each axis", ROBOTS, 180, 15, "C"),
    Routine("battery", "Backup batteries: voltage", ROBOTS, 360, 10, "E"),
    Routine(
        "base-bolts",
        "Base bolts: torque and marks",
        ROBOTS,
        720,
        30,
        "M",
        lockout=True,
        follows="place",
    ),
    Routine(
        "controller-fan",
        "Controller: filter, fans, door seal",
        ROBOTS,
        90,
        20,
        "E",
        running_allowed=True,
    ),
    Routine(
        "backup",
        "Programs: copy, and compare with the last",
        ROBOTS,
        28,
        3,
        "C",
        running_allowed=True,
    ),
    Routine("wire-feed", "Wire liner, rolls and brake", "arc", 28, 35, "W", True),
    Routine("torch-clean", "Torch cleaner: reamer and spray", "arc", 28, 20, "W", True),
    Routine("gas", "Shield gas: flow at the nozzle, leaks", "arc", 28, 8, "W"),
    Routine("stud-feeder", "Stud feeder, hose, escapement", "stud", 28, 30, "W", True),
    Routine("nozzle", "Nozzle tip and needle", "seal", 14, 15, "S", True),
    Routine("shot", "Shot weight against the set one", "seal", 14, 10, "S"),
    Routine(
        "hoses",
        "Heated hoses: temperature of each zone",
        "seal",
        28,
        10,
        "S",
        running_allowed=True,
    ),
    Routine("pump-filter", "Material filter: change", "sealer pump", 7, 25, "S", True),
    Routine(
        "pump-seals", "Pump packing and valves", "sealer pump", 360, 240, "S", True
    ),
    Routine("hem-roller", "Hem roller: bearing and surface", "hem", 14, 20, "M", True),
    Routine("hem-force", "Hem force and spring", "hem", 90, 30, "M"),
    Routine(
        "gripper", "Gripper: jaws, pads, pins, screws", "handling", 28, 20, "M", True
    ),
    Routine("part-sensors", "Part sensors: clean, gap", "handling", 28, 10, "E", True),
    Routine("camera", "Camera window, light and reference part", "vision", 7, 10, "C"),
    Routine(
        "gate-test",
        "Gate interlock test, each gate",
        "gate",
        180,
        12,
        "X",
        anchor="calendar",
        safety=True,
        follows="place",
    ),
    Routine(
        "curtain-test",
        "Light curtain: test rod at three heights",
        "light curtain",
        28,
        6,
        "X",
        anchor="calendar",
        safety=True,
        follows="place",
    ),
    Routine(
        "scanner-test",
        "Area scanner: window and fields",
        "scanner",
        90,
        12,
        "X",
        anchor="calendar",
        safety=True,
        follows="place",
    ),
    Routine(
        "stop-test",
        "Emergency stop, each button",
        "emergency stop",
        180,
        15,
        "X",
        anchor="calendar",
        safety=True,
        follows="place",
    ),
    Routine(
        "dresser",
        "Tip dresser: motor, holder, blow-off",
        "tip dresser",
        180,
        40,
        "M",
        True,
    ),
    Routine("pins", "Pins and pads: wear, shims", "fixture", 90, 45, "M", True),
    Routine("clamps", "Clamps: force, play, switches", "fixture", 90, 40, "M", True),
    Routine(
        "panel",
        "Cell panel: cooler, battery, terminals",
        "cell panel",
        180,
        35,
        "E",
        True,
    ),
    Routine(
        "water-panel", "Water: filters, shut-off", "water panel", 90, 35, "M", True
    ),
    Routine(
        "air-panel",
        "Air: bowl, filter, pressure",
        "air panel",
        28,
        8,
        "M",
        running_allowed=True,
    ),
    Routine("turntable", "Turntable: drive and lock", "turntable", 90, 50, "M", True),
    Routine("lift", "Lift: belts, chains, brake", "lift", 28, 45, "M", True, heads=2),
    Routine("conveyor", "Rollers, drives, stops", "conveyor", 90, 30, "M", True),
    Routine("extraction", "Fume filter and trap", "extraction", 28, 30, "U"),
)
COLUMNS = Routine._fields


class Step(NamedTuple):
    routine: str
    order: int
    text: str
    unit: str = ""
    act_low: str = ""
    watch_low: str = ""
    watch_high: str = ""
    act_high: str = ""
    repeat: int = 1


FORCE = (
    ("Force at 2.0 kN set", "kN", "1.84", "1.90", "2.10", "2.16"),
    ("Force at 3.5 kN set", "kN", "3.22", "3.33", "3.68", "3.78"),
)
STEPS = (
    *(Step("gun-force", n, *row) for n, row in enumerate(FORCE, start=1)),
    *(Step("gun-force-weekly", n, *row) for n, row in enumerate(FORCE, start=1)),
    Step("shunts", 1, "Bolts tightened to the sheet's torque"),
    Step("shunts", 2, "Loop resistance over as new", "%", "", "", "15", "20"),
    Step("gun-water", 1, "Flow", "l/min", "5", "6"),
    Step("gun-water", 2, "Return temperature", "°C", "", "", "33", "35"),
    Step("gun-float", 1, "Play of the arms", "mm", "", "", "0.4", "0.5"),
    Step("dress-pack", 1, "Chafe, deepest place", "mm", "", "", "1", "2"),
    Step("pack-change", 1, "Old pack: which conductor failed, if any"),
    Step("reference", 1, "Deviation from the pin", "mm", "", "", "0.5", "1.0"),
    Step("robot-eye", 1, "Walk round: leaks, noise, loose covers"),
    Step("grease", 1, "Grams in over grams out", "%", "-10", "-5", "5", "10", 6),
    Step("brakes", 1, "Drift in 60 s at the tool", "mm", "", "", "1", "2", 6),
    Step("battery", 1, "Voltage found", "V", "3.0", "3.2"),
    Step("base-bolts", 1, "Marks moved", "count", "", "", "0", "1"),
    Step("controller-fan", 1, "Inside temperature", "°C", "", "", "40", "45"),
    Step("backup", 1, "Differences since the last copy", "count", "", "", "0"),
    Step("wire-feed", 1, "Feed force", "N", "", "", "40", "60"),
    Step("torch-clean", 1, "Reamer sharp, spray seen"),
    Step("gas", 1, "Flow at the nozzle", "l/min", "12", "13", "17", "18"),
    Step("stud-feeder", 1, "Misfeeds in a thousand", "count", "", "", "3", "5"),
    Step("nozzle", 1, "Bead width after the change", "mm", "6", "7", "9", "10"),
    Step("shot", 1, "Weight against set", "%", "-8", "-5", "5", "8"),
    Step("hoses", 1, "Zone against set", "°C", "-5", "-3", "3", "5", 4),
    Step("pump-filter", 1, "Pressure over the old filter", "bar", "", "", "12", "15"),
    Step("pump-seals", 1, "Strokes per litre over base", "%", "", "", "8", "10"),
    Step("hem-roller", 1, "Run-out", "mm", "", "", "0.04", "0.05"),
    Step("hem-force", 1, "Force against set", "%", "-8", "-5", "5", "8"),
    Step("gripper", 1, "Pin wear", "mm", "", "", "0.10", "0.15"),
    Step("part-sensors", 1, "Sensors set anew", "count"),
    Step("camera", 1, "Deviation on the reference part", "mm", "", "", "0.10", "0.20"),
    Step("gate-test", 1, "Opening the gate stops the cell; reset only outside"),
    Step("curtain-test", 1, "Rod detected at top, middle and bottom"),
    Step("scanner-test", 1, "Window clean, fields as drawn"),
    Step("stop-test", 1, "Each button stops, stays in, and is reset by hand"),
    Step("dresser", 1, "Holder floats free, chips blown off"),
    Step("pins", 1, "Pin under its drawn diameter", "mm", "", "", "0.07", "0.10"),
    Step("clamps", 1, "Clamps found loose", "count", "", "", "1", "3"),
    Step("panel", 1, "Inside temperature", "°C", "", "", "38", "40"),
    Step("water-panel", 1, "Pressure drop", "bar", "", "", "0.4", "0.5"),
    Step("air-panel", 1, "Pressure", "bar", "5.0", "5.5", "6.5", "7.0"),
    Step("turntable", 1, "Play of the lock", "mm", "", "", "0.08", "0.10"),
    Step("lift", 1, "Chain over its new length", "%", "", "", "1.5", "2"),
    Step("conveyor", 1, "Hot rollers", "count", "", "", "0", "2"),
    Step("extraction", 1, "Trap emptied"),
)
STEP_COLUMNS = Step._fields
