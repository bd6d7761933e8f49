"""What a leader says of a stop: the demo plants' reasons, and which kind has which."""

#: code: (name, class, group, subgroup).
REASONS = {
    "gun-force": ("Gun force fault", "breakdown", "Spot weld", "Gun"),
    "weld-current": ("No weld current", "breakdown", "Spot weld", "Weld control"),
    "water": ("Low water flow", "breakdown", "Spot weld", "Water"),
    "drive": ("Drive or motor", "breakdown", "Robot", "Arm"),
    "position-lost": ("Position lost", "breakdown", "Robot", "Arm"),
    "cable": ("Cable pack", "breakdown", "Robot", "Cabling"),
    "wire-feed": ("Wire feed", "breakdown", "Arc", "Feed"),
    "torch": ("Torch collision", "breakdown", "Arc", "Torch"),
    "stud-feed": ("Stud feed", "breakdown", "Stud", "Feed"),
    "hem-roller": ("Hem roller", "breakdown", "Hem", "Hemming"),
    "pump": ("Sealer pump", "breakdown", "Seal", "Supply"),
    "nozzle-blocked": ("Nozzle blocked", "breakdown", "Seal", "Application"),
    "gripper": ("Gripper", "breakdown", "Handling", "Gripper"),
    "camera": ("Camera or light", "breakdown", "Measuring", "Camera"),
    "turntable": ("Turntable", "breakdown", "Fixture", "Moving"),
    "clamp-fault": ("Clamp or pin fault", "breakdown", "Fixture", "Clamp or pin"),
    "network": ("Network drop", "breakdown", "Control", "Cell control"),
    "not-known": ("Not known yet", "breakdown", "Not known", ""),
    "tool-change": ("Tool change", "setup", "Set-up", "Change"),
    "drum-change": ("Drum change", "setup", "Set-up", "Change"),
    "touch-up": ("Touch-up", "setup", "Set-up", "Adjust"),
    "first-body": ("First-body check", "setup", "Set-up", "Start-up"),
    "weld-check": ("Weld check failed", "quality_hold", "Quality", "Product"),
    "dimension": ("Dimension hold", "quality_hold", "Quality", "Product"),
    "tip-stuck": ("Tip stuck", "minor", "Spot weld", "Tips"),
    "burn-back": ("Burn-back", "minor", "Arc", "Feed"),
    "stud-stuck": ("Stud stuck", "minor", "Stud", "Feed"),
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
CODES = tuple(REASONS)
NUMBER = {code: number for number, code in enumerate(CODES)}
CLASS = {code: row[1] for code, row in REASONS.items()}

BREAKDOWNS_OF = {
    "weld": ("gun-force", "weld-current", "drive", "cable", "water"),
    "seal": ("pump", "drive"),
    "arc": ("wire-feed", "torch", "drive"),
    "stud": ("stud-feed", "drive"),
    "hem": ("hem-roller", "drive"),
    "handling": ("drive", "gripper", "network"),
    "vision": ("camera", "network"),
}
MINORS_OF = {
    "weld": ("tip-stuck",),
    "seal": ("nozzle",),
    "arc": ("burn-back",),
    "stud": ("stud-stuck",),
    "hem": ("part-not-seen",),
    "handling": ("part-not-seen", "clamp"),
    "vision": ("gate",),
}
SETUPS = ("touch-up", "first-body", "weld-check")
#: What no cell can help, per shift and cell.
FOREIGN = {"no-operator": 0.03, "no-part": 0.03, "wrong-part": 0.012, "air": 0.003}

#: What maintenance wrote as the cause of what it repaired.
CAUSES = {
    "gun-force": "force sensor plug loose",
    "weld-current": "diode plate exchanged",
    "drive": "drive tripped on load, reset",
    "position-lost": "backup battery flat, zero position set anew",
    "cable": "signal wire broken at the wrist",
    "wire-feed": "liner worn, exchanged",
    "torch": "neck bent, exchanged and checked",
    "stud-feed": "escapement worn, exchanged",
    "network": "field-bus plug seated again",
    "water": "strainer loaded, cleaned",
    "hem-roller": "roller bearing dry, greased",
    "pump": "check valve stuck, cleaned",
    "nozzle-blocked": "cured material in the nozzle, filter loaded",
    "gripper": "clamp cylinder leaking, exchanged",
    "camera": "lamp exchanged",
    "turntable": "lock pin sheared, exchanged",
    "clamp-fault": "clamp link worn, exchanged",
}
