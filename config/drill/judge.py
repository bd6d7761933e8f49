"""The verdict, in a clean process: is what was said true, and what is stored?

python -m config.drill.judge SECOND: of the shifts that had ended by that second of UTC.
"""

import json
import sys
from collections import Counter
from datetime import datetime
from typing import Any

import django
from django.core.management.base import CommandError

Note = dict[str, Any]


def verdict(until: datetime) -> dict[str, int]:
    from config.drill.home import JOURNAL, is_own_database

    if not is_own_database():
        raise CommandError("This is not the drill's own database.")
    lines = JOURNAL.read_text(encoding="utf-8").splitlines()
    notes = [json.loads(line) for line in lines]
    return {**of_stops(notes), **of_shifts(notes), **of_the_account(until)}


def of_stops(notes: list[Note]) -> dict[str, int]:
    from maintenance.models import Stop

    said: dict[str, Note] = {}
    for note in notes:
        if note["what"] in ("stop", "correction", "withdrawal"):
            facts = said.setdefault(note["key"], {})
            facts.update(note, withdrawn=note["what"] == "withdrawal")
    stored: dict[str, list[Stop]] = {}
    for stop in Stop.objects.all():
        stored.setdefault(stop.note, []).append(stop)
    changed = (
        stop.withdrawn != said[key]["withdrawn"]
        or str(stop.ended_at) != said[key]["end"]
        for key, (stop, *_) in stored.items()
        if key in said
    )
    return {
        "acknowledged stops": len(said),
        "lost stops": len(said.keys() - stored.keys()),
        "doubled stops": sum(len(found) > 1 for found in stored.values()),
        "lost corrections": sum(changed),
    }


def of_shifts(notes: list[Note]) -> dict[str, int]:
    from maintenance.models import ShiftConfirmation
    from oee.models import Count

    place = ("shift__line__code", "shift__production_date", "shift__name")
    counts = Counter(Count.objects.values_list(*place, "total"))
    confirmed = Counter(ShiftConfirmation.objects.values_list(*place))
    stored = Counter({_words(key): many for key, many in (counts + confirmed).items()})
    said = [
        _words((note["line"], note["day"], note["shift"], *_total(note)))
        for note in notes
        if note["what"] in ("count", "confirmation")
    ]
    return {
        "acknowledged counts and confirmations": len(said),
        "lost counts and confirmations": sum(stored[key] != 1 for key in said),
    }


def of_the_account(until: datetime) -> dict[str, int]:
    """Throws the stored account away, so it comes last."""
    from cells.models import StaleMark
    from oee.models import CellShift
    from oee.recompute import bring_up_to_date, mark_all

    found = _accounts(until)
    CellShift.objects.all().delete()
    StaleMark.objects.all().delete()
    mark_all(last=until.date())
    bring_up_to_date(now=lambda: until)
    fresh = _accounts(until)
    return {
        "cell-shifts": len(fresh),
        "wrong cell-shifts": sum(
            found.get(key) != fresh.get(key) for key in found.keys() | fresh.keys()
        ),
    }


def _accounts(until: datetime) -> dict[tuple[int, int], Note]:
    from oee.models import CellShift

    rows = CellShift.objects.filter(shift__ends_at__lte=until).values()
    return {
        (row["cell_id"], row["shift_id"]): {
            name: value
            for name, value in row.items()
            if name not in ("id", "computed_at")
        }
        for row in rows
    }


def _total(note: Note) -> tuple[int, ...]:
    return (note["total"],) if note["what"] == "count" else ()


def _words(parts: tuple[Any, ...]) -> str:
    return " ".join(str(part) for part in parts)


if __name__ == "__main__":
    django.setup()
    from cells.moments import from_seconds

    print(json.dumps(verdict(from_seconds(int(sys.argv[1])))))
