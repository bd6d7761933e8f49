import csv
import io

import pytest
from django.urls import reverse

from maintenance.models import Reason
from tests.maintenance.stop_cast import a_stop

NEW = {"code": "drive", "name": "drive", "loss_class": "breakdown", "group": "Robot"}


def test_anyone_signed_in_reads_the_reasons(cast, reasons, client, client_of):
    seen = client_of(cast.people.reader).get(reverse("reasons")).content.decode()
    assert "5 reasons" in seen
    assert "stuck tip" in seen
    assert "Add the reason" not in seen
    assert client.get(reverse("reasons")).status_code == 302


def test_a_planner_adds_a_reason(cast, client_of):
    answer = client_of(cast.people.planner).post(reverse("reasons"), NEW, follow=True)
    assert "“drive” can be chosen." in answer.content.decode()
    assert Reason.objects.get().group == "Robot"


def test_a_code_that_is_taken_is_refused_at_its_field(cast, reasons, client_of):
    answer = client_of(cast.people.planner).post(
        reverse("reasons"), {**NEW, "code": "stuck-tip"}
    )
    assert "already exists" in answer.content.decode()
    assert Reason.objects.count() == 5


def test_a_planner_changes_and_retires_a_reason(cast, reasons, client_of):
    planner = client_of(cast.people.planner)
    url = reverse("reason", args=["skid-jam"])
    changed = {"name": "skid stuck", "loss_class": "minor", "why": "clearer"}
    planner.post(url, changed)
    planner.post(reverse("reason_retire", args=["skid-jam"]), {"why": "merged"})

    stored = Reason.objects.get(code="skid-jam")
    assert stored.name == "skid stuck"
    assert stored.retired_on is not None
    seen = planner.get(url).content.decode()
    assert "merged" in seen
    assert "Offer it again" in seen
    again = planner.post(reverse("reason_retire", args=["skid-jam"]), {"why": "twice"})
    assert "is retired since" in again.content.decode()
    planner.post(reverse("reason_offer", args=["skid-jam"]), {"why": "needed"})
    assert Reason.objects.get(code="skid-jam").retired_on is None


def test_the_class_of_a_used_reason_is_refused_in_words(cast, reasons, client_of):
    a_stop(cast, reasons.stuck, "08:00", "08:10")
    answer = client_of(cast.people.planner).post(
        reverse("reason", args=["stuck-tip"]),
        {"name": "stuck tip", "loss_class": "minor", "why": "is short"},
    )
    assert "would change silently" in answer.content.decode()
    assert Reason.objects.get(code="stuck-tip").loss_class == "breakdown"


@pytest.mark.parametrize("person", ["leader", "technician", "plant_manager"])
def test_nobody_else_writes_reasons(cast, reasons, client_of, person):
    client = client_of(getattr(cast.people, person))
    retire = reverse("reason_retire", args=["skid-jam"])
    change = reverse("reason", args=["skid-jam"])
    assert "Save the change" not in client.get(change).content.decode()
    for url, data in (
        (reverse("reasons"), NEW),
        (retire, {"why": "x"}),
        (change, {"name": "x", "loss_class": "minor", "why": "x"}),
    ):
        answer = client.post(url, data)
        assert answer.status_code == 403
        assert "by a planner" in answer.content.decode()
    assert Reason.objects.get(code="skid-jam").name == "skid jam"


def test_the_reasons_as_csv_have_the_columns_of_the_file(cast, reasons, client_of):
    answer = client_of(cast.people.reader).get(reverse("reasons"), {"csv": "1"})
    rows = {row["code"]: row for row in csv.DictReader(io.StringIO(answer.text))}
    assert rows["skid-jam"]["loss_class"] == "minor"
    assert rows["old-fault"]["retired_on"] == "2026-01-31"
