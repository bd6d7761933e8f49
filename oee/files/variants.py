"""variants.csv and ideal_cycles.csv"""

from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db.models import QuerySet

from cells.csv_cells import code, decimal, text
from cells.csv_files import Column, Contract
from cells.files.kinds import CELLS
from cells.files.run import Kind, Row
from cells.files.sheet import Sheet
from cells.working_time.plant_time import parse_date
from oee import cycles
from oee.models import IdealCycle, Variant


def _variants() -> dict[str, Variant]:
    return {variant.code: variant for variant in Variant.objects.order_by()}


VARIANTS = Kind("variant", "variants.csv", _variants)


class VariantSheet(Sheet[Variant]):
    file = "variants.csv"
    model = Variant
    key = ("code",)
    facts = ("name",)
    brings = VARIANTS
    brings_by = "code"

    def make_contract(self) -> Contract:
        return Contract(
            self.file,
            [Column("code", code(20)), Column("name", text(80))],
            key=("code",),
        )

    def read(self, row: Row) -> Variant:
        return Variant(code=row["code"], name=row["name"])

    def is_saved(self, row: Row, record: Variant, before: Variant | None) -> None:
        self.run.known(VARIANTS)[record.code] = record


class IdealCycleSheet(Sheet[IdealCycle]):
    file = "ideal_cycles.csv"
    model = IdealCycle
    key = ("cell", "variant", "valid_from")
    facts = ("seconds",)

    def make_contract(self) -> Contract:
        seconds = decimal(max_decimals=cycles.DECIMALS)
        return Contract(
            self.file,
            [
                Column("cell", code(20)),
                Column("variant", code(20)),
                Column("seconds", seconds),
                Column("valid_from", parse_date),
            ],
            key=("cell", "variant", "valid_from"),
        )

    def read(self, row: Row) -> IdealCycle | None:
        cell, variant = row.find(CELLS, "cell"), row.find(VARIANTS, "variant")
        seconds: Decimal = row["seconds"]
        try:
            cycles.check_seconds(seconds)
        except ValidationError as error:
            row.refuse_all(error)
        if cell is None or variant is None:
            return None
        return IdealCycle(
            cell=cell, variant=variant, seconds=seconds, valid_from=row["valid_from"]
        )

    def stored(self, records: list[IdealCycle]) -> QuerySet[IdealCycle]:
        return IdealCycle.objects.filter(cell__in={one.cell_id for one in records})

    def is_saved(self, row: Row, record: IdealCycle, before: IdealCycle | None) -> None:
        self.run.touched.from_date(record.cell_id, record.valid_from)
