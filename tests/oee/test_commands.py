"""What the commands print, what they say beside it, and what they refuse."""

import csv
import random
from datetime import timedelta
from decimal import Decimal
from io import StringIO

import pytest
import time_machine
from django.core.management import call_command
from django.core.management.base import CommandError

from cells import stale
from cells.models import Plant, Shift
from oee.ledger.flags import Flag
from oee.models import CellShift
from oee.recompute import waiting
from tests.builders import MONDAY, TUESDAY, Cast, at, make_pattern, the_cast
from tests.oee.stored import FIRST, LAST, an_account, make_stored_plant
from tests.oee.test_reports import a_reason
from tests.oee.worked import printed, said

pytestmark = pytest.mark.django_db

# As the contract of the files lists them.
SUMS = (
    "scheduled_s,break_s,planned_s,planned_late_s,busy_s,breakdown_s,setup_s,"
    "quality_hold_s,minor_s,people_s,supply_s,utilities_s,blocked_s,starved_s,run_s,"
    "ideal_total_s,ideal_good_s,slow_s,reject_s,own_lost_s,"
    "availability,performance,quality,oee"
)
RANGE = ("--from", str(FIRST), "--to", str(LAST))
EVERY_DATE = ("--from", str(MONDAY), "--to", str(TUESDAY))
EXPORT_OEE = ("export_oee", "--by", "line", "--every", "day")


@pytest.fixture
def cast() -> Cast:
    return the_cast()


def text_of(command: str, *arguments: str) -> str:
    out = StringIO()
    call_command(command, *arguments, stdout=out, stderr=StringIO())
    return out.getvalue()


@pytest.mark.parametrize(
    ("command", "header"),
    [
        (("export_cell_shifts",), f"area,line,cell,date,shift,{SUMS},flags\n"),
        (EXPORT_OEE, f"key,period,{SUMS},reported,expected\n"),
        (
            ("rank_cells",),
            "rank,cell,own_lost_s,slow_s,all_lost_s,busy_s,per_100_h,stops,top_reason\n",
        ),
    ],
    ids=lambda value: value[0] if isinstance(value, tuple) else "",
)
def test_a_plant_without_accounts_gets_the_header_alone(
    command: tuple[str, ...], header: str
) -> None:
    assert text_of(*command) == header


def test_an_exported_cell_shift_reads_as_the_contract_says(cast: Cast) -> None:
    an_account(
        cast.cells[0],
        cast.early,
        break_s=2400,
        planned_s=600,
        planned_late_s=60,
        breakdown_s=1200,
        counted=True,
        ideal_total_us=20_000_000_100,
        ideal_good_us=19_000_500_000,
        flags=int(Flag.NOT_CONFIRMED | Flag.DECLARED_LATE),
    ).save()

    _, row = text_of("export_cell_shifts", *EVERY_DATE).splitlines()

    # Own arithmetic: busy 28800 - 2400 - 600; run 25800 - 1200; floats by repr.
    assert row == (
        "BODY,L1,L1-10,2026-03-02,Early,28800,2400,600,60,25800,1200,0,0,0,0,0,0,0,0,"
        "24600,20000.0001,19000.5,4599.9999,999.5001,2199.5001,"
        f"{24600 / 25800!r},{20_000_000_100 / 24_600_000_000!r},"
        f"{19_000_500_000 / 20_000_000_100!r},{19_000_500_000 / 25_800_000_000!r},"
        "declared_late not_confirmed"
    )


def test_what_is_not_known_is_an_empty_field(cast: Cast) -> None:
    an_account(cast.cells[2], cast.early, flags=int(Flag.NO_COUNT), setup_s=60).save()

    (row,) = printed("export_cell_shifts", *EVERY_DATE)
    (rolled,) = printed("export_oee", "--by", "line", "--every", "all", *EVERY_DATE)
    (ranked,) = printed("rank_cells", *EVERY_DATE)

    unknown = ("ideal_total_s", "ideal_good_s", "slow_s", "reject_s", "performance")
    assert {row[name] for name in (*unknown, "quality", "oee")} == {""}
    assert (row["availability"], row["own_lost_s"]) == (repr(28740 / 28800), "60")
    assert {rolled[name] for name in (*unknown, "availability", "oee")} == {""}
    assert (rolled["reported"], rolled["expected"]) == ("0", "1")
    assert (ranked["slow_s"], ranked["all_lost_s"], ranked["top_reason"]) == ("",) * 3


def test_the_export_read_back_is_what_is_stored() -> None:
    make_stored_plant(random.Random(5))
    stored = {
        (row.cell.code, str(row.production_date), row.shift.name): row
        for row in CellShift.objects.select_related("cell", "shift")
    }
    rows = printed("export_cell_shifts", *RANGE)

    keys = [[row[k] for k in ("area", "line", "cell", "date", "shift")] for row in rows]
    assert keys == sorted(keys)
    assert len(rows) == len(stored)
    for row in rows:
        account = stored[row["cell"], row["date"], row["shift"]]
        for name in ("scheduled_s", "break_s", "planned_s", "minor_s", "starved_s"):
            assert int(row[name]) == getattr(account, name)
        if account.counted:
            assert Decimal(row["ideal_good_s"]) * 10**6 == account.ideal_good_us


def test_an_export_of_an_area_is_its_part_of_the_whole() -> None:
    make_stored_plant(random.Random(5))

    whole = printed("export_cell_shifts", *RANGE)

    part = printed("export_cell_shifts", "--area", "PAINT", *RANGE)
    assert part == [row for row in whole if row["area"] == "PAINT"]
    assert 0 < len(part) < len(whole)


def test_rows_of_the_oee_export_stand_in_the_order_of_their_keys() -> None:
    make_stored_plant(random.Random(5))

    rows = printed("export_oee", "--by", "cell", "--every", "shift", *RANGE)

    keys = [(row["key"], row["period"]) for row in rows]
    assert keys == sorted(keys)
    assert keys[0][1].endswith((" Early", " Late"))


def test_the_ranking_reads_as_the_contract_says(cast: Cast) -> None:
    stick = a_reason("tip-stick", "minor")
    an_account(
        cast.cells[0],
        cast.early,
        minor_s=540,
        counted=True,
        ideal_total_us=27_000_500_000,
        ideal_good_us=27_000_000_000,
        reasons={str(stick.pk): [540, 7]},
    ).save()

    _, row = text_of("rank_cells", *EVERY_DATE).splitlines()

    # Own arithmetic: 540.5 s are 9.008333 min, in 8 h; so 112.604… in 100 h.
    per_100_h = 540_500_000 * 6 / (28800 * 1000)
    assert row == f"1,L1-10,540.5,1259.5,1800,28800,{per_100_h!r},7,tip-stick"


def test_a_name_that_a_spreadsheet_would_run_stays_a_text(cast: Cast) -> None:
    Plant.objects.update(name='=1+1, "quoted"')
    an_account(cast.cells[2], cast.early).save()

    out = text_of("export_oee", "--by", "plant", "--every", "all", *EVERY_DATE)

    (row,) = csv.DictReader(StringIO(out))
    assert row["key"] == '\'=1+1, "quoted"'


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (("export_cell_shifts", "--from", "2.3.2026"), "--from: '2.3.2026' is not a"),
        (("rank_cells", "--to", "2026-02-30"), "--to: The day '2026-02-30' does not"),
        (
            ("compute_oee", "--from", "2026-03-03", "--to", "2026-03-02"),
            "--from 2026-03-03 lies after --to 2026-03-02: swap them",
        ),
        (
            ("rank_cells", "--from", "2026-03-09"),
            "The first date (2026-03-09) lies after yesterday (2026-03-02)",
        ),
        (
            ("rank_cells", "--area", "BOD"),
            "--area: there is no area “BOD”. Known areas: BODY, PAINT.",
        ),
        (("rank_cells", "--by", "mine"), "--by is “mine”: give own or all."),
        (("export_oee", "--every", "day"), "--by is missing: give plant, area, line"),
        (("export_oee", "--by", "cell"), "--every is missing: give shift, day, week"),
        (
            (*EXPORT_OEE, "--basis", "best"),
            "--basis is “best”: give counting or cells.",
        ),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else "",
)
def test_a_bad_argument_is_refused_in_a_sentence(
    cast: Cast, arguments: tuple[str, ...], sentence: str
) -> None:
    with (
        time_machine.travel(at("12:00", TUESDAY), tick=False),
        pytest.raises(CommandError) as refused,
    ):
        call_command(*arguments, stdout=StringIO(), stderr=StringIO())
    assert sentence in str(refused.value)
    assert refused.value.returncode != 0


def test_an_export_says_what_waits_to_be_computed(cast: Cast) -> None:
    stale.mark_cell_shifts([(cast.cells[0].pk, cast.early.pk)] * 2)
    stale.mark_cell_shifts([(cast.cells[0].pk, cast.early.pk)])
    with time_machine.travel(at("15:00"), tick=False):
        today = ("--from", str(MONDAY), "--to", str(MONDAY))
        for command in (("export_cell_shifts",), EXPORT_OEE, ("rank_cells",)):
            warning = said(*command, *today)
            assert warning.startswith("1 cell-shift waits to be computed again")
            assert "compute_oee" in warning
        assert said("rank_cells", "--area", "PAINT", *today) == ""
        assert said("rank_cells") == ""  # up to yesterday


def test_computing_is_of_what_is_marked_in_the_dates(cast: Cast) -> None:
    """Early and late shifts of three cells, stored for Monday, planned for Tuesday."""
    monday = ("--from", str(MONDAY), "--to", str(MONDAY))
    with time_machine.travel(at("23:00", TUESDAY), tick=False):
        assert said("compute_oee") == "6 so far …\n6 cell-shifts computed.\n"
        assert said("compute_oee") == "0 cell-shifts computed.\n"
        assert said("compute_oee", "--all") == "12 so far …\n12 cell-shifts computed.\n"
        stale.mark_shifts(Shift.objects.values_list("id", flat=True))
        assert said("compute_oee", *monday) == "6 so far …\n6 cell-shifts computed.\n"
        assert said("compute_oee") == "6 so far …\n6 cell-shifts computed.\n"
        assert said("compute_oee", "--all", *monday).endswith(
            "\n6 cell-shifts computed.\n"
        )
        assert waiting() == 0
    assert CellShift.objects.count() == 12


def test_computing_stores_the_shifts_to_come(cast: Cast) -> None:
    with time_machine.travel(at("23:00"), tick=False):
        said("compute_oee")

    last = Shift.objects.filter(line=cast.line).latest("production_date")
    assert last.production_date == MONDAY + timedelta(weeks=8)


def test_shifts_that_clash_hold_up_no_computing(cast: Cast) -> None:
    make_pattern(cast.area, "Between", start="13:00", end="15:00", breaks="")
    with time_machine.travel(at("23:00"), tick=False):
        words = said("compute_oee", "--all")

    assert "Shifts were not extended. " in words
    assert "Between" in words
    assert words.endswith("6 cell-shifts computed.\n")
