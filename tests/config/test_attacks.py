"""What somebody tries who means no good, or whose browser sends nonsense."""

import contextlib
import csv
import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest
import time_machine
from django.apps import apps
from django.db import IntegrityError, connection, models, transaction
from django.test import Client
from django.urls import reverse
from django.utils.html import escape

from cells.models import Change
from tests.builders import NOW, make_machine, make_meter
from tests.config.every_address import ALL, OWN, example, page
from tests.config.how_it_opens import BUTTONS
from tests.config.tables import amounts, everything
from tests.config.who_writes import writes
from tests.config.whole_site import Site, make_site

pytestmark = pytest.mark.django_db

SCRIPT = "<script>alert(1)</script>"
FORMULA = "=HYPERLINK(0)"
ELSEWHERE = "https://elsewhere.example/"


@pytest.fixture(autouse=True)
def _monday_noon() -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def site(db: None) -> Site:
    return make_site()


@pytest.fixture
def admin(site: Site, client_of: Callable[[Any], Client]) -> Client:
    return client_of(site.cast.people.admin)


def write_everywhere(text: str) -> None:
    """Into every column of free text, as if no form and no file had refused it."""
    for label in ("cells", "maintenance", "oee"):
        for model in apps.get_app_config(label).get_models():
            for column in model._meta.fields:
                free = isinstance(column, models.CharField | models.TextField) and not (
                    column.choices or column.unique or column.name in KEYS
                )
                if free and (column.max_length or len(text)) >= len(text):
                    with contextlib.suppress(IntegrityError), transaction.atomic():
                        model._default_manager.update(**{column.name: text})


#: Texts that a calculation or an address reads.
KEYS = {
    "time_zone",
    "kind",
    "weekdays",
    "breaks",
    "ref",
    "clock",
    "closed_why",
    "verdict",
    "bound_by",
    "meter",
    "door",
    "position",
    "leg",
}


def test_no_page_runs_what_somebody_wrote(site: Site, admin: Client) -> None:
    write_everywhere(SCRIPT)
    shown = 0
    for name in OWN - BUTTONS:
        answer = admin.get(page(name, site), follow=True)
        assert SCRIPT not in answer.content.decode(), name
        shown += "&lt;script&gt;alert" in answer.content.decode()
    assert shown > 30


def test_no_download_carries_a_formula(site: Site, admin: Client) -> None:
    write_everywhere(FORMULA)
    guarded = 0
    for name in OWN - BUTTONS:
        answer = admin.get(page(name, site), {"csv": "1"})
        if not answer.get("Content-Type", "").startswith("text/csv"):
            continue
        for row in csv.reader(answer.content.decode().splitlines()):
            assert not [cell for cell in row if cell.startswith(("=", "+", "@"))], name
            guarded += row.count(f"'{FORMULA}")
    assert guarded > 30


def test_nothing_is_saved_without_the_forms_token(site: Site) -> None:
    careful = Client(enforce_csrf_checks=True)
    careful.force_login(
        site.cast.people.admin, backend="django.contrib.auth.backends.ModelBackend"
    )
    before = everything()
    for deed, write in writes(site).items():
        assert careful.post(write.url, write.data).status_code == 403, deed
    assert everything() == before


@pytest.mark.parametrize("where", [ELSEWHERE, "//elsewhere.example", "\\\\elsewhere"])
def test_no_address_leads_to_another_site(
    where: str, site: Site, client_of: Callable[[Any], Client], client: Client
) -> None:
    leader = site.cast.people.leader
    leader.set_password("a-word-that-only-tests-know")
    leader.save()
    tapped = client_of(leader).post(
        reverse("stop_tap", args=[site.running.pk, "called_at"]), {"next": where}
    )
    signed_in = client.post(
        f"{reverse('login')}?next={where}",
        {"username": "leader", "password": "a-word-that-only-tests-know"},
    )

    assert tapped["Location"] == reverse("stopped")
    assert signed_in["Location"] == reverse("home")


def test_a_labels_address_is_the_configured_one_whoever_asks(
    site: Site, admin: Client, settings: Any
) -> None:
    settings.BASE_ADDRESS = "https://account.plant.example"
    address = reverse("cell_label", args=["L1-10"])
    usual = admin.get(address)
    other = admin.get(address, headers={"host": "127.0.0.1"})
    forged = admin.get(address, headers={"host": "elsewhere.example"})

    for answer in (usual, other):
        assert "https://account.plant.example/c/L1-10" in answer.content.decode()
        assert "127.0.0.1" not in answer.content.decode()
    assert forged.status_code == 400
    assert "elsewhere" not in forged.content.decode()


@pytest.mark.parametrize("address", ["/cells/L1%00/", "/registry/?q=%00"])
def test_a_null_character_is_refused_with_a_sentence(
    address: str, admin: Client, client: Client
) -> None:
    for one in (admin, client):
        answer = one.get(address)
        assert answer.status_code == 400
        assert "null character" in answer.content.decode()
        assert answer["Content-Security-Policy"]


@pytest.mark.parametrize("day", ["0001-01-01", "9999-12-31", "2026-02-30"])
def test_a_date_that_no_plant_works_is_not_found(day: str, admin: Client) -> None:
    assert admin.get(f"/shift/L1/{day}/Early/").status_code == 404
    assert admin.get(f"/cells/L1-10/shifts/{day}/Early/").status_code == 404


def test_a_button_that_a_page_has_not_is_refused_with_a_sentence(
    site: Site, admin: Client
) -> None:
    answer = admin.post(page("shift", site), {"do": SCRIPT})

    assert answer.status_code == 400
    assert "has no button" in answer.content.decode()
    assert SCRIPT not in answer.content.decode()


@pytest.mark.parametrize("given", ["..", "."])
def test_no_key_is_a_step_in_an_address(given: str, site: Site, admin: Client) -> None:
    before = everything()
    answer = admin.post(reverse("machine_add"), {"serial": given, "kind": "weld"})

    assert answer.status_code == 422
    assert "nothing but dots" in answer.content.decode()
    assert everything() == before


def test_a_key_is_shown_as_a_text_and_found_by_its_address(
    site: Site, admin: Client
) -> None:
    """In tables, links, titles, the drawing of its label, and its file's name."""
    serial = "<b>&\"'%2e%2f..?#x"
    machine = make_machine(serial, cell=site.cast.cells[0], position="R09")
    make_meter(machine)
    for name in ("machine", "machine_edit", "machine_label", "machine_swap"):
        answer = admin.get(reverse(name, args=[serial]))
        assert answer.status_code == 200, name
        assert "<b>&" not in answer.content.decode(), name
        assert "&lt;b&gt;&amp;" in answer.content.decode(), name
    page_of_cell = admin.get(reverse("cell", args=["L1-10"])).content.decode()
    file = admin.get(reverse("machine", args=[serial]), {"csv": "1"})

    assert escape(reverse("machine", args=[serial])) in page_of_cell
    assert "<b>&" not in page_of_cell
    assert file["Content-Disposition"].startswith("attachment; filename=")


#: Columns that no form asks for, and people who are not the one signed in.
SMUGGLED = {
    "id": "1",
    "pk": "1",
    "by": "1",
    "user": "1",
    "logged_by": "1",
    "done_by": "1",
    "entered_at": "2020-01-01T00:00",
    "entered_late": "",
    "withdrawn": "on",
    "confirmed": "on",
    "status": "done",
    "is_superuser": "on",
    "is_staff": "on",
    "groups": "1",
    "door": "import",
    "ref": "S-1",
    "verdict": "on_time",
}


def test_what_no_form_asks_for_is_not_taken(site: Site, admin: Client) -> None:
    if connection.vendor != "sqlite":
        pytest.skip("Here ids go on after a rollback, and no two answers are alike.")

    def after(data: dict[str, Any]) -> dict[str, Any]:
        with transaction.atomic():
            assert admin.post(write.url, data).status_code == 302, deed
            stored = everything()
            transaction.set_rollback(True)
        return stored

    for deed, write in writes(site).items():
        smuggled = {**SMUGGLED, **write.data}
        assert after(smuggled) == after(write.data), deed


# Ids of another line, another area, another record in what a page hides


def test_the_stop_of_another_area_is_not_ended_from_ones_own_page(
    site: Site, client_of: Callable[[Any], Client]
) -> None:
    paint = client_of(site.cast.people.stranger)
    answer = paint.post(
        reverse("shift", args=["P1", "2026-03-02", "Early"]),
        {"do": "end", "stop": site.running.pk},
    )
    site.running.refresh_from_db()

    assert answer.status_code == 403
    assert site.running.ended_at is None


@pytest.mark.parametrize("number", ["9" * 19, "9" * 5000, "-1", "1.5", "", "x"])
def test_the_number_of_no_stop_ends_nothing(
    number: str, site: Site, admin: Client
) -> None:
    before = everything()
    answer = admin.post(page("shift", site), {"do": "end", "stop": number})

    assert answer.status_code in (400, 404)
    assert everything() == before


def test_a_stop_is_not_moved_to_another_areas_cell(
    site: Site, client_of: Callable[[Any], Client]
) -> None:
    facts = writes(site)["correct a stop"].data
    answer = client_of(site.cast.people.leader).post(
        site.stop.get_absolute_url(), {**facts, "cell": site.cast.other_cell.pk}
    )
    site.stop.refresh_from_db()

    assert answer.status_code == 422
    assert site.stop.cell == site.cast.cells[0]


def test_a_manager_declares_nothing_for_another_area(
    site: Site, client_of: Callable[[Any], Client]
) -> None:
    meeting = writes(site)["declare a planned stop"].data
    answer = client_of(site.cast.people.area_manager).post(
        reverse("planned_stops"), {**meeting, "place": "PAINT"}
    )

    assert answer.status_code == 422
    assert "PAINT" in answer.content.decode()


def test_a_reading_goes_to_no_other_machines_meter(site: Site, admin: Client) -> None:
    make_machine("W-0009")
    before = everything()
    read = {"meter": site.cast.meter.pk, "value": "9", "read_at": "2026-03-02T11:30"}
    answer = admin.post(reverse("machine", args=["W-0009"]), read)

    assert answer.status_code == 422
    assert everything() == before


def test_a_tally_of_another_shift_is_not_corrected_here(
    site: Site, admin: Client
) -> None:
    write = writes(site)["correct a tally"]
    friday = reverse("shift", args=["L1", site.friday, "Early"])
    answer = admin.post(f"{friday}?cell=L1-20&tally={site.tally.pk}", write.data)
    site.tally.refresh_from_db()

    assert answer.status_code == 400
    assert site.tally.times == 7


# Sent twice, and the administrator's pages


def test_a_form_sent_twice_saves_nothing_more(site: Site, admin: Client) -> None:
    for deed, write in writes(site).items():
        admin.post(write.url, write.data)
        once = amounts()
        admin.post(write.url, write.data)
        assert amounts() == once, deed


def test_nothing_can_be_deleted_on_the_administrators_pages(
    site: Site, admin: Client
) -> None:
    before = everything()
    # Forgetting the wrong guesses of a locked-out name is all that is deleted.
    for name in ALL.keys() - {"admin:axes_accessattempt_delete"}:
        if name.endswith("_delete"):
            for method in (admin.get, admin.post):
                assert method(example(name, site)).status_code == 403, name
        if name.endswith("_changelist") and name.startswith("admin:"):
            answer = admin.post(
                example(name, site),
                {"action": "delete_selected", "_selected_action": "1", "post": "yes"},
            )
            assert answer.status_code < 500, name
    assert everything() == before


def test_the_administrators_pages_only_show_the_plant(
    site: Site, admin: Client
) -> None:
    before = everything()
    for name in ALL:
        plant = re.match("admin:cells_.*_(add|change)$", name)
        if plant:
            assert admin.post(example(name, site), {"name": "x"}).status_code == 403
    assert everything() == before


def test_a_persons_new_role_stands_in_the_trail(site: Site, admin: Client) -> None:
    reader = site.cast.people.reader
    answer = admin.post(
        reverse("admin:auth_user_change", args=[reader.pk]),
        {
            "username": "reader",
            "is_active": "on",
            "groups": [group.pk for group in site.cast.people.planner.groups.all()],
            "duties-TOTAL_FORMS": "0",
            "duties-INITIAL_FORMS": "0",
        },
    )
    change = Change.objects.filter(kind="user", record_id=reader.pk).get()

    assert answer.status_code == 302
    assert change.by == site.cast.people.admin
    assert change.door == "admin"
    assert "roups" in change.new


def test_the_administrator_has_no_door_of_his_own(client: Client) -> None:
    for method in (client.get, client.post):
        answer = method("/admin/login/?next=/admin/", {"username": "admin"})
        assert answer["Location"].startswith("/sign-in/")
