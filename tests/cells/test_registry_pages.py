"""The registry's pages: who may open what, what they show, what their forms do."""

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from django.conf import settings
from django.test import Client

from cells.models import Area, Bank, Cell, Change, Line, Machine, Placement, Shift
from tests import builders
from tests.builders import MONDAY, Cast

pytestmark = pytest.mark.django_db

SignIn = Callable[[Any], Client]

OPEN_TO_ALL = [
    "/registry/",
    "/registry/?area=PAINT",
    "/registry/?q=cell",
    "/registry/health/",
    "/registry/lines/L1/labels/",
    "/cells/L1-10/",
    "/cells/L1-10/label/",
    "/machines/W-0001/",
    "/machines/W-0001/label/",
    "/readings/",
    "/calendar/",
    "/calendar/?area=PAINT&line=P1",
    "/trail/",
]
FOR_PLANNERS = [
    "/registry/areas/add/",
    "/registry/areas/BODY/",
    "/registry/areas/BODY/target/",
    "/registry/lines/add/",
    "/registry/lines/L1/",
    "/registry/lines/L1/counting-cell/",
    "/registry/cells/add/",
    "/registry/machines/add/",
    "/cells/L1-10/edit/",
    "/cells/L1-10/lockout/",
    "/cells/L1-10/retire/",
    "/cells/L1-10/bank/",
    "/machines/W-0001/edit/",
    "/machines/W-0001/place/",
    "/machines/W-0001/remove/",
    "/machines/W-0001/swap/",
    "/machines/W-0001/meters/add/",
    "/calendar/patterns/add/",
    "/calendar/days-off/add/",
    "/calendar/one-off/",
]


@pytest.mark.parametrize("url", OPEN_TO_ALL)
def test_everyone_signed_in_may_read(cast: Cast, client_of: SignIn, url: str) -> None:
    assert client_of(cast.people.reader).get(url).status_code == 200


@pytest.mark.parametrize("url", [*OPEN_TO_ALL, *FOR_PLANNERS, "/c/L1-10", "/m/W-0001"])
def test_nobody_reads_without_signing_in(cast: Cast, url: str) -> None:
    answer = Client().get(url)
    assert answer.status_code == 302
    assert answer["Location"].startswith("/sign-in/?next=")


@pytest.mark.parametrize("url", FOR_PLANNERS)
def test_a_planner_may_open_the_forms(cast: Cast, client_of: SignIn, url: str) -> None:
    assert client_of(cast.people.planner).get(url).status_code == 200


@pytest.mark.parametrize("url", FOR_PLANNERS)
def test_a_team_leader_may_not_and_reads_who_may(
    cast: Cast, client_of: SignIn, url: str
) -> None:
    answer = client_of(cast.people.leader).get(url)
    assert answer.status_code == 403
    assert "planner" in answer.content.decode()


def test_a_safety_officer_records_a_sheet_and_edits_nothing_else(
    cast: Cast, client_of: SignIn
) -> None:
    client = client_of(cast.people.safety_officer)
    page = client.get("/cells/L1-10/").content.decode()
    assert "/cells/L1-10/lockout/" in page
    assert "/cells/L1-10/edit/" not in page
    assert "None on record: ask safety." in page

    client.post(
        "/cells/L1-10/lockout/",
        {"sheet": "LS-10", "revision": "C", "revised_on": "2026-02-01", "why": "new"},
    )

    page = client.get("/cells/L1-10/").content.decode()
    assert "Sheet LS-10, revision C" in page
    assert client.get("/cells/L1-10/edit/").status_code == 403


def test_the_registry_counts_robots_and_equipment_apart(
    cast: Cast, client_of: SignIn
) -> None:
    builders.make_machine("W-0002", cell=cast.cells[0], position="R02")
    gone = builders.make_machine("W-0003", cell=cast.cells[0], position="R03")
    gone.placements.update(removed_on=MONDAY)

    answer = client_of(cast.people.reader).get("/registry/?csv=1")

    assert answer["Content-Type"].startswith("text/csv")
    rows = [line.split(",") for line in answer.content.decode().splitlines()]
    robots, equipment = rows[0].index("robots"), rows[0].index("equipment")
    counts = {row[2]: (row[robots], row[equipment]) for row in rows[1:]}
    assert counts == {
        "L1-10": ("2", "1"),
        "L1-20": ("1", "0"),
        "L1-30": ("0", "0"),
        "P1-10": ("0", "0"),
    }


@pytest.mark.parametrize(
    ("typed", "leads_to"),
    [("l1-10", "/cells/L1-10/"), ("w-0001", "/machines/W-0001/")],
)
def test_a_code_typed_in_full_opens_its_page(
    cast: Cast, client_of: SignIn, typed: str, leads_to: str
) -> None:
    answer = client_of(cast.people.reader).get("/registry/", {"q": typed})
    assert answer["Location"] == leads_to


def test_a_part_of_a_serial_number_finds_the_machine_and_its_cell(
    cast: Cast, client_of: SignIn
) -> None:
    page = client_of(cast.people.reader).get("/registry/?q=H-00").content.decode()
    assert "/machines/H-0001/" in page
    assert "/cells/L1-20/" in page
    assert "/cells/L1-10/" not in page


def test_a_thousand_robots_cost_no_more_queries_than_three(
    cast: Cast, client_of: SignIn, django_assert_max_num_queries: Any
) -> None:
    cells = Cell.objects.bulk_create(
        Cell(code=f"X-{n}", name="x", order=n, line=cast.line) for n in range(250)
    )
    robots = Machine.objects.bulk_create(
        Machine(serial=f"X-{n}", kind="weld") for n in range(1000)
    )
    Placement.objects.bulk_create(
        Placement(
            machine=robot,
            cell=cells[n // 4],
            position=f"R{n % 4}",
            placed_on=date(2025, 1, 6),
        )
        for n, robot in enumerate(robots)
    )
    client = client_of(cast.people.planner)
    with django_assert_max_num_queries(12):
        page = client.get("/registry/").content.decode()
    assert "1,002 robots" in page


@pytest.mark.parametrize(
    "url",
    [
        "/cells/L1-10/",
        "/machines/W-0001/",
        "/registry/health/",
        "/calendar/",
        "/readings/",
        "/trail/",
        "/registry/lines/L1/labels/",
    ],
)
def test_every_page_asks_the_database_at_most_twenty_times(
    cast: Cast, client_of: SignIn, django_assert_max_num_queries: Any, url: str
) -> None:
    client = client_of(cast.people.planner)
    with django_assert_max_num_queries(20):
        assert client.get(url).status_code == 200


POSTS = [
    pytest.param(
        "/registry/areas/add/",
        {"code": "TRIM", "name": "Trim"},
        lambda: Area.objects.get(code="TRIM").name == "Trim",
        id="add an area",
    ),
    pytest.param(
        "/registry/areas/BODY/",
        {"name": "Body", "why": "short"},
        lambda: Area.objects.get(code="BODY").name == "Body",
        id="change an area",
    ),
    pytest.param(
        "/registry/areas/BODY/target/",
        {"percent": "77.5", "valid_from": "2026-03-02", "why": "yearly"},
        lambda: str(Area.objects.get(code="BODY").targets.get().oee) == "0.7750",
        id="set a target",
    ),
    pytest.param(
        "/registry/lines/add/",
        {"code": "L2", "area": "BODY", "name": "Sides", "order": "2"},
        lambda: Shift.objects.filter(line__code="L2").exists(),
        id="add a line",
    ),
    pytest.param(
        "/registry/lines/L1/",
        {"name": "Floor", "order": "3", "why": "renamed"},
        lambda: Line.objects.get(code="L1").order == 3,
        id="change a line",
    ),
    pytest.param(
        "/registry/lines/L1/counting-cell/",
        {"counting_cell": "L1-10", "why": "sensor"},
        lambda: Line.objects.get(code="L1").counting_cell.code == "L1-10",
        id="choose a counting cell",
    ),
    pytest.param(
        "/registry/cells/add/",
        {"code": "L1-40", "line": "L1", "name": "Load", "order": "40"},
        lambda: Cell.objects.get(code="L1-40").line.code == "L1",
        id="add a cell",
    ),
    pytest.param(
        "/cells/L1-10/edit/",
        {"name": "Load", "order": "10", "criticality": "A", "why": "review"},
        lambda: Cell.objects.get(code="L1-10").criticality == "A",
        id="change a cell",
    ),
    pytest.param(
        "/cells/L1-10/bank/",
        {"to_cell": "L1-20", "capacity": "8", "why": "built"},
        lambda: Bank.objects.get().capacity == 8,
        id="set a bank",
    ),
    pytest.param(
        "/registry/machines/add/",
        {"serial": "S-1", "kind": "seal", "tags": "rail; hot"},
        lambda: Machine.objects.get(serial="S-1").tags == ["hot", "rail"],
        id="add a machine",
    ),
    pytest.param(
        "/machines/W-0001/edit/",
        {"kind": "weld", "model": "W 210", "why": "plate"},
        lambda: Machine.objects.get(serial="W-0001").model == "W 210",
        id="change a machine",
    ),
    pytest.param(
        "/machines/W-0001/remove/",
        {"removed_on": "2026-03-02", "why": "overhaul"},
        lambda: Placement.objects.get(machine__serial="W-0001").removed_on == MONDAY,
        id="remove a machine",
    ),
    pytest.param(
        "/machines/W-0001/meters/add/",
        {"name": "weld spots", "unit": "spots", "max_per_hour": "1200"},
        lambda: Machine.objects.get(serial="W-0001").meters.count() == 2,
        id="add a meter",
    ),
]


@pytest.mark.parametrize(("url", "sent", "holds"), POSTS)
def test_a_planner_edits_through_the_forms(
    cast: Cast,
    client_of: SignIn,
    url: str,
    sent: dict[str, str],
    holds: Callable[[], bool],
) -> None:
    answer = client_of(cast.people.planner).post(url, sent)

    assert answer.status_code == 302
    assert holds()
    assert Change.objects.filter(by=cast.people.planner).exists()


@pytest.mark.parametrize(("url", "sent", "holds"), POSTS)
def test_a_technician_edits_nothing_through_them(
    cast: Cast,
    client_of: SignIn,
    url: str,
    sent: dict[str, str],
    holds: Callable[[], bool],
) -> None:
    answer = client_of(cast.people.technician).post(url, sent)
    assert answer.status_code == 403
    assert not Change.objects.exists()


def test_a_machine_is_placed_and_swapped_through_the_forms(
    cast: Cast, client_of: SignIn
) -> None:
    client = client_of(cast.people.planner)
    builders.make_machine("W-0002")

    client.post(
        "/machines/W-0001/swap/",
        {"into": "W-0002", "swapped_on": "2026-03-02", "why": "gear"},
    )
    client.post(
        "/machines/W-0001/place/",
        {"cell": "L1-30", "position": "R01", "placed_on": "2026-03-02"},
    )

    places = Placement.objects.filter(removed_on=None)
    assert places.get(machine__serial="W-0002").cell.code == "L1-10"
    assert places.get(machine__serial="W-0001").cell.code == "L1-30"
    page = client.get("/cells/L1-10/").content.decode()
    assert "Machines that stood here" in page


@pytest.mark.parametrize(
    ("url", "sent", "sentence"),
    [
        (
            "/registry/areas/add/",
            {"code": "L1-10", "name": "x"},
            "The code “L1-10” is taken by the cell L1-10",
        ),
        (
            "/registry/areas/add/",
            {"code": "", "name": "x"},
            "Code is empty: fill it in.",
        ),
        (
            "/registry/lines/L1/",
            {"name": "x", "order": "many", "why": "x"},
            "Order “many”: Enter a whole number.",
        ),
        (
            "/registry/lines/L1/",
            {"name": "x", "order": "-4", "why": "x"},
            "Order “-4”: Ensure this value is greater than or equal to 0.",
        ),
        (
            "/cells/L1-10/bank/",
            {"to_cell": "L1-30", "capacity": "8", "why": "x"},
            "Cell L1-20 stands between L1-10 and L1-30",
        ),
        (
            "/machines/W-0001/remove/",
            {"removed_on": "2026-02-30", "why": "x"},
            "Removed on “2026-02-30”: Enter a valid date.",
        ),
        (
            "/machines/W-0001/remove/",
            {"removed_on": "9999-12-31", "why": "x"},
            "9999-12-31 lies outside the years 1970 to 2199",
        ),
        (
            "/registry/machines/add/",
            {"serial": "a/b", "kind": "weld"},
            "which separates codes: choose another code.",
        ),
        (
            "/cells/L1-30/retire/",
            {"retired_on": "2026-03-02", "why": "x"},
            "choose another counting cell first",
        ),
    ],
)
def test_a_refusal_names_the_field_and_the_value_and_saves_nothing(
    cast: Cast, client_of: SignIn, url: str, sent: dict[str, str], sentence: str
) -> None:
    answer = client_of(cast.people.planner).post(url, sent)

    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert not Change.objects.exists()


def test_codes_are_escaped_on_the_page(cast: Cast, client_of: SignIn) -> None:
    cast.cells[0].name = "<script>x</script>"
    cast.cells[0].save()
    page = client_of(cast.people.reader).get("/cells/L1-10/").content.decode()
    assert "<script>x" not in page


@pytest.mark.parametrize(
    ("url", "address"),
    [
        ("/cells/L1-10/label/", "/c/L1-10"),
        ("/machines/W-0001/label/", "/m/W-0001"),
    ],
)
def test_a_label_carries_the_configured_address_whatever_the_host(
    cast: Cast, client_of: SignIn, url: str, address: str
) -> None:
    answer = client_of(cast.people.reader).get(url, headers={"host": "127.0.0.1"})

    page = answer.content.decode()
    assert f"{settings.BASE_ADDRESS}{address}" in page
    assert "127.0.0.1" not in page
    assert "<svg" in page
    assert "style=" not in page.split("<svg", 1)[1]


def test_the_qr_code_holds_the_address_beside_it(cast: Cast) -> None:
    import segno

    from cells.labels import cell_label

    label = cell_label(cast.cells[0])
    assert label.address == f"{settings.BASE_ADDRESS}/c/L1-10"
    same = segno.make(label.address, error="m", micro=False)
    assert same.svg_inline(
        scale=1.1, unit="mm", border=4, dark="#000", light="#fff"
    ) == (label.svg)


def test_a_labels_short_address_leads_to_the_page(
    cast: Cast, client_of: SignIn
) -> None:
    client = client_of(cast.people.technician)
    assert client.get("/c/l1-10")["Location"] == "/cells/L1-10/"
    assert client.get("/m/w-0001")["Location"] == "/machines/W-0001/"
    assert client.get("/c/L9-99").status_code == 404
