"""reasons.csv"""

from django.core.exceptions import ValidationError

from cells.csv_cells import choice, code, text
from cells.csv_files import Column, Contract
from cells.files.run import Row
from cells.files.sheet import Sheet
from maintenance import reasons
from maintenance.files.kinds import REASONS
from maintenance.models import LossClass, Reason


class ReasonSheet(Sheet[Reason]):
    file = "reasons.csv"
    model = Reason
    key = ("code",)
    facts = ("name", "loss_class", "group", "subgroup")
    brings = REASONS
    brings_by = "code"

    def make_contract(self) -> Contract:
        return Contract(
            self.file,
            [
                Column("code", code(40)),
                Column("name", text(80)),
                Column("loss_class", choice(*LossClass.values)),
                Column("group", text(60), optional=True, default=""),
                Column("subgroup", text(60), optional=True, default=""),
            ],
            key=("code",),
        )

    def read(self, row: Row) -> Reason:
        facts = {name: row[name] for name in self.facts}
        return Reason(code=row["code"], **facts)

    def may_correct(self, row: Row, before: Reason, after: Reason) -> bool:
        try:
            reasons.check_class(before, after.loss_class)
        except ValidationError as error:
            row.refuse_all(error)
        return row.good

    def is_saved(self, row: Row, record: Reason, before: Reason | None) -> None:
        self.run.known(REASONS)[record.code] = record
