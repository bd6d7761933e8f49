"""The ranking: by own fault or all, in total or per 100 planned hours."""

import csv
from collections.abc import Iterator
from io import StringIO
from types import SimpleNamespace
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from oee.models import CellShift
from oee.ranking import reason_totals
from oee.ranking_page import RankingPage
from tests.builders import MONDAY, TUESDAY, at
from tests.oee.account_cast import counted, make_accounts, minutes
from tests.oee.stored import an_account

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant() -> Iterator[SimpleNamespace]:
    """Monday's early shift, seen on Tuesday: L1-10 lost 60 own min, L1-30 49."""
    cast, reasons = make_accounts()
    with time_machine.travel(at("08:00", TUESDAY), tick=False):
        yield SimpleNamespace(cast=cast, reasons=reasons, people=cast.people)


@pytest.fixture
def page(plant: SimpleNamespace, client_of: Any) -> Any:
    client = client_of(plant.people.reader)

    def get(query: str = "?period=yesterday") -> str:
        content = client.get(reverse("ranking") + query).content.decode()
        return " ".join(content.split())

    return get


def monday(**asked: Any) -> RankingPage:
    return RankingPage(first=MONDAY, last=MONDAY, **asked)


def places(page: RankingPage) -> list[tuple[int, str]]:
    return [(row.ranked.rank, row.cell.code) for row in page.rows]


def test_a_stranger_is_asked_to_sign_in(plant: SimpleNamespace, client: Client) -> None:
    assert client.get(reverse("ranking"))["Location"].startswith(reverse("login"))


@pytest.mark.parametrize("role", ["reader", "leader", "plant_manager"])
def test_everyone_signed_in_may_read_it(
    plant: SimpleNamespace, client_of: Any, role: str
) -> None:
    response = client_of(getattr(plant.people, role)).get(reverse("ranking"))

    assert response.status_code == 200
    assert "L1-10" in response.content.decode()


def test_a_cell_without_a_count_does_not_leave_the_ranking(
    plant: SimpleNamespace,
) -> None:
    assert places(monday()) == [(1, "L1-10"), (2, "L1-30")]


def test_by_all_a_cell_of_which_nothing_is_known_stands_last(
    plant: SimpleNamespace,
) -> None:
    page = monday(by="all")

    assert places(page) == [(1, "L1-30"), (2, "L1-10")]
    assert page.rows[0].lost_s == (440 - 351) * 60
    assert page.rows[1].lost_s is None


def test_own_and_all_answer_different_questions(plant: SimpleNamespace) -> None:
    """A cell that its feeder starved leads by all lost time, not by its own."""
    CellShift.objects.bulk_create(
        [
            an_account(
                plant.cast.cells[1],
                plant.cast.early,
                **counted(made=200, good=200, starved=200, minor=2),
            )
        ]
    )
    assert places(monday())[-1] == (3, "L1-20")
    assert places(monday(by="all"))[0] == (1, "L1-20")


def test_per_100_hours_a_short_run_can_be_the_worse(plant: SimpleNamespace) -> None:
    cast = plant.cast
    # 20 own minutes of 110 planned ones are more than 60 of 440.
    CellShift.objects.bulk_create(
        [
            an_account(
                cast.cells[1],
                cast.early,
                break_s=28800 - 110 * 60,
                **minutes(setup=20),
            )
        ]
    )
    page = monday(per="100h")

    assert places(page) == [(1, "L1-20"), (2, "L1-10"), (3, "L1-30")]
    assert page.rows[0].per_100_h == pytest.approx(20 / (110 / 60) * 100)


def test_the_rate_of_all_lost_time_is_over_counted_hours(
    plant: SimpleNamespace,
) -> None:
    first = monday(by="all", per="100h").rows[0]

    assert first.per_100_h == pytest.approx((440 - 351) / (440 / 60) * 100)


def test_a_bars_parts_add_up_to_the_minutes_that_it_stands_for(
    plant: SimpleNamespace,
) -> None:
    for asked in ({}, {"by": "all"}):
        for row in monday(**asked).rows:
            if row.lost_s is not None:
                assert sum(part.seconds for part in row.parts) == row.lost_s


def test_bars_are_drawn_against_the_longest(plant: SimpleNamespace) -> None:
    assert monday().longest_s == 60 * 60


def test_a_cell_with_under_40_planned_hours_is_grey_with_a_word(
    plant: SimpleNamespace, page: Any
) -> None:
    CellShift.objects.filter(cell=plant.cast.cells[0]).update(
        scheduled_s=42 * 3600, break_s=0
    )
    shown = page()

    assert shown.count('class="thin"') == 1
    assert "only 440 min planned: too little to judge" in shown


def test_of_a_short_period_it_is_said_once_for_all_cells(page: Any) -> None:
    shown = page()

    assert shown.count('class="thin"') == 2
    assert shown.count("Each has less than 40 planned hours") == 1
    assert "planned: too little to judge" not in shown


def test_a_cell_with_enough_planned_hours_is_not_grey(
    plant: SimpleNamespace,
) -> None:
    # 21 shifts of 440 and 480 minutes.
    CellShift.objects.filter(cell=plant.cast.cells[0]).update(
        scheduled_s=42 * 3600, break_s=0
    )
    assert [row.is_thin for row in monday().rows] == [False, True]


def test_the_page_says_who_lost_most_and_to_what(page: Any) -> None:
    assert (
        '<span class="code">L1-10</span> lost most by its own fault: '
        "60 min yesterday, first of all gun force." in page()
    )


def test_an_area_narrows_it(plant: SimpleNamespace, page: Any) -> None:
    assert "L1-10" not in page("?period=yesterday&area=PAINT").split("<main")[1]
    assert "No cell had planned time yesterday." in page("?period=yesterday&area=PAINT")


def test_a_switch_keeps_the_rest_of_the_address(page: Any) -> None:
    shown = page("?period=yesterday&by=all&area=BODY&page=1")

    assert 'href="?period=yesterday&amp;by=all&amp;area=BODY&amp;per=100h"' in shown


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("?by=guess", "By “guess” is not known: choose one of own, all."),
        ("?per=day", "Per “day” is not known: choose one of total, 100h."),
        ("?area=NONE", "Area “NONE” is not known"),
        ("?from=2026-03-02&to=x", "To “x”"),
    ],
)
def test_what_cannot_be_meant_is_refused_in_a_sentence(
    plant: SimpleNamespace, client_of: Any, query: str, words: str
) -> None:
    client = client_of(plant.people.reader)
    for address in (reverse("ranking") + query, reverse("ranking") + query + "&csv=1"):
        response = client.get(address)
        assert response.status_code == 400
        assert words in response.content.decode()


def test_the_file_has_the_commands_columns_and_the_classes(
    plant: SimpleNamespace, client_of: Any
) -> None:
    client = client_of(plant.people.reader)
    response = client.get(reverse("ranking") + "?period=yesterday&csv=1")
    first, second = csv.DictReader(StringIO(response.content.decode()))

    assert (first["rank"], first["cell"], first["top_reason"]) == ("1", "L1-10", "gun")
    assert (first["breakdown_s"], first["minor_s"]) == ("3000", "600")
    assert first["all_lost_s"] == ""
    assert (second["breakdown_s"], second["reject_s"]) == ("2400", "540")
    assert second["starved_s"] == "720"


def test_a_later_page_keeps_the_sentence_the_scale_and_the_file(
    plant: SimpleNamespace, client_of: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With one cell to a page, L1-30 is on the second."""
    monkeypatch.setattr("oee.views.ranking.SHOWN", 1)
    client = client_of(plant.people.reader)
    address = reverse("ranking") + "?period=yesterday&page=2"
    answer = client.get(address)
    content = answer.content.decode()
    table = content.split("<tbody>")[1].split("</tbody>")[0]

    assert "L1-30" in table
    assert "L1-10" not in table
    assert '<span class="code">L1-10</span> lost most' in content
    assert "2 cells, by own lost minutes" in content
    assert answer.context["page"].longest_s == 60 * 60
    file = client.get(address + "&csv=1").content.decode()
    assert [row["cell"] for row in csv.DictReader(StringIO(file))] == ["L1-10", "L1-30"]


def test_reasons_are_read_of_the_cells_shown_only(
    plant: SimpleNamespace, monkeypatch: pytest.MonkeyPatch
) -> None:
    read: list[str] = []

    def totals(rows: Any, **more: Any) -> Any:
        read.extend(rows.values_list("cell__code", flat=True))
        return reason_totals(rows, **more)

    monkeypatch.setattr("oee.ranking.reason_totals", totals)

    assert [row.cell.code for row in monday(shown=1).rows] == ["L1-10"]
    assert read == ["L1-10"]


def test_the_file_is_ranked_as_the_page_is(
    plant: SimpleNamespace, client_of: Any
) -> None:
    client = client_of(plant.people.reader)
    query = "?period=yesterday&csv=1&by=all"
    content = client.get(reverse("ranking") + query).content.decode()

    rows = csv.DictReader(StringIO(content))
    assert [row["cell"] for row in rows] == ["L1-30", "L1-10"]


def test_the_page_asks_the_database_few_questions(
    plant: SimpleNamespace, client_of: Any, django_assert_max_num_queries: Any
) -> None:
    client = client_of(plant.people.reader)
    with django_assert_max_num_queries(20):
        client.get(reverse("ranking"))
