"""python -m config.demo.life WHICH, started by a live demo beside its servers."""

import logging
import sys
import time
from datetime import datetime
from typing import TYPE_CHECKING

import django

if TYPE_CHECKING:
    from config.demo.life.plant_life import PlantLife

LOOK_S = 1.0  # real seconds between two looks into the diary
TELL_S = 3600  # plant seconds between two words about how it goes

log = logging.getLogger("config.demo.life")


def main(which: str) -> None:
    django.setup()
    from cells import clock, stale
    from config.demo.life.coming import Ahead
    from config.demo.life.diary import Diary
    from config.demo.life.plant_life import PlantLife
    from config.demo.plants import plant_of
    from oee.jobs import ask_for_recompute

    plant = plant_of(which)
    # From when the files end, not from now: the clock ran on while they were loaded.
    life = PlantLife(
        ahead=Ahead(plant),
        since=plant.now,
        seed=plant.seed,
        diary=Diary(after_turn=ask_for_recompute),
    )
    # One person's change asks for the job. Here a whole plant's people do what they
    # do in one process, so their changes of one turn ask for it together.
    stale.marked.disconnect(dispatch_uid="recompute")
    told, late = clock.now(), 0.0
    while True:
        began = time.monotonic()
        now = clock.now()
        late = max(late, life.diary.behind(now))
        life.live_until(now)
        if (now - told).total_seconds() >= TELL_S:
            tell(life, now, late)
            told, late = now, 0.0
        time.sleep(max(0.0, LOOK_S - (time.monotonic() - began)))


def tell(life: "PlantLife", now: datetime, late: float) -> None:
    diary = life.diary
    log.info(
        "%s UTC: %s things done, %s refused, %s to come; at most %.0f s late.",
        f"{now:%a %d %b %H:%M}",
        f"{diary.done:,}",
        diary.refused,
        f"{len(diary):,}",
        late,
    )


if __name__ == "__main__":
    main(sys.argv[1])
