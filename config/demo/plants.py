"""The demo's plants by name: the small one, or the whole one as of a date."""

from datetime import date

from config.demo.plant.description import Plant
from config.demo.plant.small import small_plant
from config.demo.plant.whole import whole_plant

SMALL = "small"


def plant_of(which: str) -> Plant:
    """`which`: SMALL, or the date before which the whole plant's weeks end."""
    return small_plant() if which == SMALL else whole_plant(date.fromisoformat(which))
