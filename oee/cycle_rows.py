"""A cell's ideal cycles, variant by variant, as its pages list them."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from cells.models import Cell
from oee.models import IdealCycle, Variant


@dataclass(frozen=True, kw_only=True)
class VariantRow:
    variant: Variant
    today: date
    cycles: list[IdealCycle]  # the latest first

    @property
    def now(self) -> IdealCycle | None:
        begun = (cycle for cycle in self.cycles if cycle.valid_from <= self.today)
        return next(begun, None)

    @property
    def spans(self) -> list[tuple[IdealCycle, date | None]]:
        """With its last day; None: until the next one is set."""
        later = [None, *(cycle.valid_from for cycle in self.cycles)]
        return [
            (cycle, following and following - timedelta(days=1))
            for cycle, following in zip(self.cycles, later, strict=False)
        ]


def cycles_of(
    cell: Cell, today: date, variants: Iterable[Variant] = ()
) -> list[VariantRow]:
    """By code, with those of ``variants`` that this cell has no cycle for."""
    rows = {one.pk: VariantRow(variant=one, today=today, cycles=[]) for one in variants}
    known = IdealCycle.objects.filter(cell=cell).select_related("variant")
    for cycle in known.order_by("-valid_from"):
        fresh = VariantRow(variant=cycle.variant, today=today, cycles=[])
        rows.setdefault(cycle.variant_id, fresh).cycles.append(cycle)
    return sorted(rows.values(), key=lambda row: row.variant.code)
