"""From an area down to the rows behind its figures: area, line and cell pages."""

import csv
from collections.abc import Iterator
from io import StringIO
from types import SimpleNamespace
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from cells.models import Bank, Cell
from maintenance.models import Stop
from oee.account_pages import AreaPage, CellPage, LinePage
from oee.ledger.flags import Flag
from oee.models import CellShift
from oee.periods import chosen
from tests.builders import MONDAY, TUESDAY, at, make_cell, make_line, make_shift
from tests.oee.account_cast import counted, make_accounts, minutes
from tests.oee.stored import an_account

pytestmark = pytest.mark.django_db

PAGES = ["/areas/BODY/", "/lines/L1/", "/cells/L1-30/account/"]
ONLY_MONDAY = {"from": "2026-03-02", "to": "2026-03-02"}
MONDAY_QUERY = "?from=2026-03-02&to=2026-03-02"


@pytest.fixture
def plant() -> Iterator[SimpleNamespace]:
    """Tuesday 3 March, 08:00, the early shift running."""
    cast, reasons = make_accounts()
    tuesday = make_shift(cast.line, on=TUESDAY)
    with time_machine.travel(at("08:00", TUESDAY), tick=False):
        yield SimpleNamespace(
            cast=cast, reasons=reasons, people=cast.people, tuesday=tuesday
        )


@pytest.fixture
def page(plant: SimpleNamespace, client_of: Any) -> Any:
    client = client_of(plant.people.reader)

    def get(address: str) -> str:
        return " ".join(client.get(address).content.decode().split())

    return get


@pytest.fixture
def file(plant: SimpleNamespace, client_of: Any) -> Any:
    client = client_of(plant.people.reader)

    def get(address: str) -> list[dict[str, str]]:
        content = client.get(address).content.decode()
        return list(csv.DictReader(StringIO(content)))

    return get


def asked(query: dict[str, str] | None = None) -> Any:
    return chosen(query or ONLY_MONDAY, today=TUESDAY)


def area_page(plant: SimpleNamespace, basis: Any = "counting") -> AreaPage:
    now = at("08:00", TUESDAY)
    return AreaPage(plant.cast.area, asked(), now=now, basis=basis)


def line_page(
    plant: SimpleNamespace, basis: Any = "counting", query: Any = None
) -> LinePage:
    now = at("08:00", TUESDAY)
    return LinePage(plant.cast.line, asked(query), now=now, basis=basis)


def cell_page(plant: SimpleNamespace, cell: Cell, query: Any = None) -> CellPage:
    return CellPage(cell, asked(query), now=at("08:00", TUESDAY))


@pytest.mark.parametrize("address", PAGES)
def test_a_stranger_is_asked_to_sign_in(
    plant: SimpleNamespace, client: Client, address: str
) -> None:
    assert client.get(address)["Location"].startswith(reverse("login"))


@pytest.mark.parametrize("address", PAGES)
@pytest.mark.parametrize("role", ["reader", "stranger", "area_manager"])
def test_everyone_signed_in_may_read_it(
    plant: SimpleNamespace, client_of: Any, address: str, role: str
) -> None:
    response = client_of(getattr(plant.people, role)).get(address + MONDAY_QUERY)

    assert response.status_code == 200
    assert "79.8 %" in response.content.decode()


@pytest.mark.parametrize(
    "address", ["/areas/NONE/", "/lines/NONE/", "/cells/NONE/account/"]
)
def test_a_code_that_nothing_has_is_not_found(
    plant: SimpleNamespace, client_of: Any, address: str
) -> None:
    assert client_of(plant.people.reader).get(address).status_code == 404


def test_both_bases_are_offered_and_named(page: Any) -> None:
    shown = page(f"/areas/BODY/{MONDAY_QUERY}")

    assert 'aria-current="true">Counting points' in shown
    assert "All cells (diagnosis)</a>" in shown


def test_the_bases_differ_by_the_cells_they_take(plant: SimpleNamespace) -> None:
    counting, cells = area_page(plant), area_page(plant, "cells")

    assert counting.total.coverage == "1 of 1 shift"
    assert cells.total.coverage == "1 of 2 cell-shifts"
    # The cell without a count brings its own stops and no OEE.
    assert counting.total.sums.oee == cells.total.sums.oee == 351 / 440
    assert cells.total.own_lost_s - counting.total.own_lost_s == 60 * 60


def test_a_mean_of_percentages_appears_nowhere(plant: SimpleNamespace) -> None:
    cast = plant.cast
    CellShift.objects.bulk_create(
        [
            an_account(
                cast.cells[2],
                cast.late,
                **{**counted(made=100, good=100), "break_s": 28800 - 200 * 60},
            )
        ]
    )
    # Domain example X10: 351 of 440 and 100 of 200 make 451 of 640, not 64.9 %.
    assert line_page(plant).total.sums.oee == 451 / 640


def test_each_row_leads_to_the_rows_it_was_made_of(plant: SimpleNamespace) -> None:
    [line] = area_page(plant).lines
    [day] = area_page(plant).days
    shift = line_page(plant).shifts[0]
    [cell_shift] = cell_page(plant, plant.cast.cells[2]).shifts
    cells = [row.href for row in line_page(plant).flow]

    assert line.href == f"/lines/L1/{MONDAY_QUERY}&basis=counting"
    assert day.href == f"{MONDAY_QUERY}&basis=counting"
    assert cells[0] == f"/cells/L1-10/account/{MONDAY_QUERY}"
    assert shift.href == "/shift/L1/2026-03-02/Early/"
    assert cell_shift.href == "/cells/L1-30/shifts/2026-03-02/Early/"


def test_a_line_shows_its_cells_in_the_order_of_the_flow_with_their_banks(
    plant: SimpleNamespace, page: Any
) -> None:
    first, second, _ = plant.cast.cells
    Bank.objects.create(from_cell=first, to_cell=second, capacity=2)
    rows = line_page(plant).flow
    shown = page(f"/lines/L1/{MONDAY_QUERY}")

    assert [row.name for row in rows] == ["L1-10", "L1-20", "L1-30"]
    assert [row.words for row in rows][2] == "Cell L1-30, counting cell"
    assert "Bank of 2 bodies before L1-20" in shown
    assert (
        shown.index("L1-10</a>") < shown.index("Bank of 2") < shown.index("L1-20</a>")
    )


def test_a_line_without_a_counting_cell_says_so(
    plant: SimpleNamespace, page: Any
) -> None:
    assert "No counting cell:" in page("/lines/P1/")


def test_a_retired_cell_stays_while_it_has_an_account(plant: SimpleNamespace) -> None:
    gone = make_cell("L1-40", line=plant.cast.line, order=40, retired_on=TUESDAY)
    CellShift.objects.bulk_create([an_account(gone, plant.cast.early)])
    names = [row.name for row in line_page(plant).flow]

    assert "L1-40" in names
    later = {"from": "2026-03-03", "to": "2026-03-03"}
    assert "L1-40" not in [row.name for row in line_page(plant, query=later).flow]


def test_flags_are_said_in_words(plant: SimpleNamespace, page: Any) -> None:
    shown = page(f"/cells/L1-10/account/{MONDAY_QUERY}")

    assert "nothing counted yet · not confirmed" in shown
    assert "no OEE is known" in shown


def test_a_shift_that_was_not_planned_is_shown_as_such(
    plant: SimpleNamespace, page: Any
) -> None:
    CellShift.objects.bulk_create(
        [
            an_account(
                plant.cast.cells[0],
                plant.cast.late,
                planned_s=28800,
                made=4,
                flags=int(Flag.UNPLANNED_OUTPUT),
            )
        ]
    )
    shown = page(f"/cells/L1-10/account/{MONDAY_QUERY}")

    assert "Not planned · built in time that was not planned" in shown


def test_reasons_stand_in_the_order_of_what_they_took(plant: SimpleNamespace) -> None:
    rows = area_page(plant).reasons

    assert [(row.reason.code, row.seconds, row.times) for row in rows] == [
        ("gun", 2400 + 3000, 7),
        ("wait", 720, 2),
        ("tip", 600, 9),
    ]


def test_a_reason_leads_to_its_stops(page: Any) -> None:
    shown = page(f"/cells/L1-10/account/{MONDAY_QUERY}")

    assert (
        "/stops/?cell=L1-10&amp;first=2026-03-02&amp;last=2026-03-02&amp;reason=gun"
        in shown
    )


def test_a_running_shift_stands_among_the_stored_ones(plant: SimpleNamespace) -> None:
    Stop.objects.create(
        ref="run",
        cell=plant.cast.cells[2],
        reason=plant.reasons["gun"],
        started_at=at("07:30", TUESDAY),
        logged_at=at("07:30", TUESDAY),
    )
    week = {"period": "week"}
    running, stored = cell_page(plant, plant.cast.cells[2], week).shifts
    line = line_page(plant, query=week)

    assert (running.name, running.words) == ("Early", "Tue 3 March")
    assert running.sums.breakdown_s == 30 * 60
    assert running.planned_s == 120 * 60
    assert stored.sums.oee == 351 / 440
    assert line.shifts[0].words == "Tue 3 March"
    assert line.running == 1


def test_a_running_shifts_stops_are_drawn_before_anything_is_counted(
    plant: SimpleNamespace,
) -> None:
    Stop.objects.create(
        ref="run",
        cell=plant.cast.cells[2],
        reason=plant.reasons["wait"],
        started_at=at("07:00", TUESDAY),
        ended_at=at("07:20", TUESDAY),
        logged_at=at("07:30", TUESDAY),
    )
    line = line_page(plant, query={"period": "today"})
    drawn = {part.kind: part.seconds for part in line.total.parts}

    assert line.total.sums.oee is None
    assert drawn["starved"] == 20 * 60
    assert line.shifts[0].open_stops_s["starved"] == 20 * 60


def test_planned_minutes_of_an_uncounted_shift_are_drawn_as_not_known(
    page: Any,
) -> None:
    shown = page(f"/lines/L1/{MONDAY_QUERY}&basis=cells")

    # 880 planned minutes in two cell-shifts, of which one is counted.
    assert "not known 440 min" in shown


def test_late_planned_stops_stand_beside_the_figure(
    plant: SimpleNamespace, page: Any
) -> None:
    CellShift.objects.filter(cell=plant.cast.cells[2], shift=plant.cast.early).update(
        **minutes(planned=30, planned_late=20)
    )
    for address in PAGES:
        assert "20 min declared late" in page(address + MONDAY_QUERY)


@pytest.mark.parametrize("address", PAGES)
def test_where_nothing_was_planned_the_last_date_is_offered(
    page: Any, address: str
) -> None:
    shown = page(f"{address}?from=2026-03-01&to=2026-03-01")

    assert "nothing was planned on Sun 1 March" in shown
    assert "?from=2026-02-27&amp;to=2026-02-27" in shown


def test_the_usual_period_is_28_production_dates(plant: SimpleNamespace) -> None:
    choice = asked({"period": "28"})

    # 20 working days of February and Monday are all there are.
    assert (choice.period.first.isoformat(), choice.period.last) == (
        "2026-02-02",
        MONDAY,
    )


@pytest.mark.parametrize(
    ("address", "table", "rows"),
    [
        ("/areas/BODY/", "lines", ["L1"]),
        ("/areas/BODY/", "days", ["Mon 2 March"]),
        ("/lines/L1/", "cells", ["L1-10", "L1-20", "L1-30"]),
        ("/lines/L1/", "shifts", ["Early"]),
        ("/cells/L1-30/account/", "shifts", ["Early"]),
    ],
)
def test_every_table_is_a_file(
    file: Any, address: str, table: str, rows: list[str]
) -> None:
    found = file(f"{address}{MONDAY_QUERY}&csv={table}")

    assert [row["name"] for row in found] == rows
    assert float(found[-1]["oee"]) == 351 / 440


def test_the_ranking_and_the_reasons_are_files_too(file: Any) -> None:
    cells = file(f"/areas/BODY/{MONDAY_QUERY}&csv=cells")
    reasons = file(f"/areas/BODY/{MONDAY_QUERY}&csv=reasons")

    assert [row["cell"] for row in cells] == ["L1-10", "L1-30"]
    assert [row["reason"] for row in reasons] == ["gun", "wait", "tip"]


def test_csv_1_is_the_first_table(file: Any) -> None:
    assert [row["name"] for row in file(f"/areas/BODY/{MONDAY_QUERY}&csv=1")] == ["L1"]


@pytest.mark.parametrize("address", PAGES)
def test_a_period_that_cannot_be_meant_gives_no_file(
    plant: SimpleNamespace, client_of: Any, address: str
) -> None:
    client = client_of(plant.people.reader)
    response = client.get(f"{address}?from=2026-03-09&to=2026-03-02&csv=1")

    assert response.status_code == 400
    assert response["Content-Type"].startswith("text/plain")
    assert "2026-03-02 lies before 2026-03-09" in response.content.decode()


def test_an_unknown_basis_is_refused_in_a_sentence(
    plant: SimpleNamespace, client_of: Any
) -> None:
    response = client_of(plant.people.reader).get("/areas/BODY/?basis=robots")

    assert response.status_code == 400
    assert "Basis “robots” is not known" in response.content.decode()


@pytest.mark.parametrize("address", PAGES)
def test_the_pages_ask_the_database_few_questions(
    plant: SimpleNamespace,
    client_of: Any,
    django_assert_max_num_queries: Any,
    address: str,
) -> None:
    # More of everything, so that a question per row would show.
    for number in range(5):
        line = make_line(f"M{number}", area=plant.cast.area, order=number + 2)
        cell = make_cell(f"M{number}-10", line=line)
        shift = make_shift(line)
        CellShift.objects.bulk_create([an_account(cell, shift)])
        line.counting_cell = cell
        line.save()
    client = client_of(plant.people.reader)
    with django_assert_max_num_queries(20):
        client.get(address)


def test_the_cells_own_page_shows_its_account_and_leads_to_it(page: Any) -> None:
    shown = page("/cells/L1-30/")

    assert "Where its planned minutes went, last 28 production days" in shown
    assert "Most of its own fault went to gun force (40 min, 3 times)." in shown
    assert 'href="/cells/L1-30/account/"' in shown


def test_a_cell_without_planned_time_says_so_on_its_page(page: Any) -> None:
    assert "It had no planned time in these dates." in page("/cells/L1-20/")
