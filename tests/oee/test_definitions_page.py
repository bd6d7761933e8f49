"""The rules in words: every link to a rule leads to one, and the settings are true."""

import re
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

import oee
from cells.models import AreaTarget
from maintenance.models import LossClass, Reason
from oee.account_words import FLAG_WORDS
from tests.builders import MONDAY, Cast, the_cast

pytestmark = pytest.mark.django_db

TEMPLATES = Path(oee.__file__).parent / "templates"


@pytest.fixture
def cast() -> Cast:
    return the_cast()


@pytest.fixture
def page(cast: Cast, client_of: Any) -> Any:
    def get() -> str:
        content = client_of(cast.people.reader).get(reverse("definitions")).content
        return " ".join(content.decode().split())

    return get


def test_a_stranger_is_asked_to_sign_in(cast: Cast, client: Client) -> None:
    assert client.get(reverse("definitions"))["Location"].startswith(reverse("login"))


def test_everyone_signed_in_may_read_it(page: Any) -> None:
    assert "Every planned minute of a cell has exactly one owner" in page()


def test_every_link_to_a_rule_leads_to_one(page: Any) -> None:
    texts = [path.read_text() for path in TEMPLATES.rglob("*.html")]
    linked = {
        anchor
        for text in texts
        for anchor in re.findall(r'{% rule "([^"]+)"', text)
        + re.findall(r'{% url "definitions" %}#([\w-]+)', text)
    }
    known = set(re.findall(r'id="([\w-]+)"', page()))

    assert linked
    assert linked <= known


def test_no_two_rules_have_one_anchor(page: Any) -> None:
    anchors = re.findall(r'<(?:dt|h2|h3) id="([\w-]+)"', page())

    assert len(anchors) == len(set(anchors))


def test_loss_classes_stand_in_order_of_precedence_with_their_reasons(
    page: Any,
) -> None:
    Reason.objects.create(code="gun", name="Gun force", loss_class="breakdown")
    shown = page().split('id="classes"')[1]
    places = [shown.index(f'class="edge-{name}"') for name in LossClass.values]

    assert places == sorted(places)
    assert "Gun force" in shown


def test_every_remark_is_explained(page: Any) -> None:
    shown = page()

    for words in FLAG_WORDS.values():
        assert words[0].upper() + words[1:] + ":" in shown


def test_targets_stand_with_the_date_from_which_they_hold(
    cast: Cast, page: Any
) -> None:
    AreaTarget.objects.create(area=cast.area, oee=Decimal("0.775"), valid_from=MONDAY)
    shown = page()

    assert "77.5 %" in shown
    assert "from Mon 2 March" in shown
    assert "Without a target: Paint shop" in shown


def test_lines_stand_with_their_counting_cells(page: Any) -> None:
    shown = page().split('id="counting"')[1]

    assert "L1-30" in shown
    assert "the line has no OEE at counting points" in shown


def test_the_plants_own_settings_are_shown(page: Any) -> None:
    shown = page()

    assert "Europe/Berlin" in shown
    assert "until 24 h after the shift’s end" in shown
    assert "manager for 14 days" in shown
    assert "final from 10:00 of the next working day" in shown
    assert "40 h of planned time" in shown


def test_the_page_asks_the_database_few_questions(
    cast: Cast, client_of: Any, django_assert_max_num_queries: Any
) -> None:
    client = client_of(cast.people.reader)
    with django_assert_max_num_queries(20):
        client.get(reverse("definitions"))
