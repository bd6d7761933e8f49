"""Which kinds of loss are there, and which one wins a second that two of them claim?

A loss class is stored in bulk as its place in ``LOSS_CLASSES``: the lower place wins.

>>> LOSS_CLASSES.index("breakdown") < LOSS_CLASSES.index("starved")
True
>>> set(LOSS_CLASSES) == {"planned", *OWN, *DONE_TO}
True
"""

from typing import Final

#: In order of precedence. ``planned`` comes from planned stops only.
LOSS_CLASSES: Final = (
    "planned",
    "breakdown",
    "setup",
    "quality_hold",
    "minor",
    "people",
    "supply",
    "utilities",
    "blocked",
    "starved",
)

#: The cell's own fault: what the ranking counts.
OWN: Final = ("breakdown", "setup", "quality_hold", "minor")

#: Done to the cell from outside; kept apart from its own.
DONE_TO: Final = ("people", "supply", "utilities", "blocked", "starved")
