"""Two people who correct the same record: nobody overwrites what he has not seen."""

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from maintenance.models import Stop
from maintenance.planned_stops import declare_planned_stop
from maintenance.tallies import log_tally
from oee.counts import enter_count
from oee.models import Variant
from tests.builders import TUESDAY, Cast, at
from tests.maintenance.stop_cast import Reasons, a_stop, trail_of

SHIFT = "/shift/L1/2026-03-02/Early/"


@pytest.fixture
def stop(cast: Cast, reasons: Reasons) -> Stop:
    return a_stop(cast, reasons.stuck, "07:00", "07:20", note="hot")


@pytest.fixture
def leader(cast: Cast, client_of: Callable[[Any], Client]) -> Client:
    return client_of(cast.people.leader)


@pytest.fixture
def manager(cast: Cast, client_of: Callable[[Any], Client]) -> Client:
    return client_of(cast.people.area_manager)


def form_of(client: Client, stop: Stop) -> dict[str, str]:
    """What a browser would send of the page as it is shown now."""
    page = client.get(reverse("stop", args=[stop.pk])).content.decode()
    form = page[page.index('id="correct"') :]
    seen = re.search(r'name="seen" value="(\d+)"', form)
    assert seen
    return {
        "cell": str(stop.cell_id),
        "reason": str(stop.reason_id),
        "started_at": "2026-03-02T07:00",
        "ended_at": "2026-03-02T07:20",
        "note": stop.note,
        "seen": seen[1],
        "why": "as I saw it",
    }


def send(client: Client, stop: Stop, form: dict[str, str], **other: str) -> Any:
    return client.post(reverse("stop", args=[stop.pk]), {**form, **other})


def test_of_two_who_correct_different_fields_neither_is_lost(
    stop: Stop, leader: Client, manager: Client
) -> None:
    mine, yours = form_of(leader, stop), form_of(manager, stop)

    assert send(leader, stop, mine, note="cold").status_code == 302
    answer = send(manager, stop, yours, ended_at="2026-03-02T07:25")

    assert answer.status_code == 302
    stop.refresh_from_db()
    assert (stop.note, stop.ended_at) == ("cold", at("07:25"))


def test_of_two_who_correct_the_same_field_the_second_is_told_both_versions(
    stop: Stop, leader: Client, manager: Client
) -> None:
    mine, yours = form_of(leader, stop), form_of(manager, stop)

    assert send(leader, stop, mine, ended_at="2026-03-02T07:30").status_code == 302
    answer = send(manager, stop, yours, ended_at="2026-03-02T07:25", note="cold")

    assert answer.status_code == 422
    assert (
        "leader changed this to “Mon 2 March 07:30” at Mon 2 March 12:00, while "
        "your page was open, and you entered “Mon 2 March 07:25”."
    ) in answer.content.decode()
    stop.refresh_from_db()
    assert (stop.note, stop.ended_at) == ("hot", at("07:30"))


def test_who_was_told_and_sends_it_again_means_it(
    stop: Stop, leader: Client, manager: Client
) -> None:
    mine, yours = form_of(leader, stop), form_of(manager, stop)
    send(leader, stop, mine, note="cold")
    refused = send(manager, stop, yours, note="burnt").content.decode()
    seen = re.search(r'name="seen" value="(\d+)"', refused)
    assert seen

    answer = send(manager, stop, yours, note="burnt", seen=seen[1])

    assert answer.status_code == 302
    notes = [(old, new) for field, old, new, _ in trail_of(stop) if field == "note"]
    assert notes == [("hot", "cold"), ("cold", "burnt")]


def test_two_who_correct_it_alike_agree(
    stop: Stop, leader: Client, manager: Client
) -> None:
    mine, yours = form_of(leader, stop), form_of(manager, stop)
    send(leader, stop, mine, note="cold")

    assert send(manager, stop, yours, note="cold").status_code == 302
    assert len(trail_of(stop)) == 2


@pytest.mark.parametrize(
    ("url", "words"),
    [
        ("stop_withdraw", "This stop is withdrawn: reinstate it first"),
        ("stop_reinstate", "This stop is not withdrawn."),
    ],
)
def test_who_sends_the_same_again_reads_that_it_was_kept(
    stop: Stop, leader: Client, url: str, words: str
) -> None:
    why = {"why": "a slip"}
    if url == "stop_reinstate":
        leader.post(reverse("stop_withdraw", args=[stop.pk]), why)
    address = reverse(url, args=[stop.pk])

    assert leader.post(address, why).status_code == 302
    again = leader.post(address, why)

    assert again.status_code == 422
    assert words in again.content.decode()


def seen_in(page: Any) -> str:
    found = re.search(r'name="seen" value="(\d+)"', page.content.decode())
    assert found
    return found[1]


def test_a_tally_that_another_has_corrected_is_not_overwritten(
    cast: Cast, reasons: Reasons, leader: Client
) -> None:
    tally = log_tally(
        cell=cast.cells[0],
        shift=cast.early,
        reason=reasons.jam,
        times=7,
        seconds=540,
        by=cast.people.leader,
    )
    url = f"{SHIFT}?cell=L1-10&log=tally&tally={tally.pk}"
    form = {"do": "correct_tally", "reason": reasons.jam.pk, "why": "as I saw it"}
    seen = seen_in(leader.get(url))
    first = {**form, "times": 8, "seconds": "9", "seen": seen}
    second = {**form, "times": 7, "seconds": "10", "seen": seen}
    third = {**form, "times": 9, "seconds": "9", "seen": seen}

    assert leader.post(url, first).status_code == 302
    assert leader.post(url, second).status_code == 302
    assert leader.post(url, third).status_code == 422

    tally.refresh_from_db()
    assert (tally.times, tally.seconds) == (8, 600)


def test_a_count_that_another_has_corrected_is_not_overwritten(
    cast: Cast, leader: Client
) -> None:
    count = enter_count(
        at=cast.line,
        variant=Variant.objects.create(code="S4", name="Sedan"),
        shift=cast.early,
        total=200,
        good=190,
        by=cast.people.leader,
    )
    url = f"{SHIFT}?count={count.pk}"
    form = {
        "do": "correct_count",
        "why": "as I saw it",
        "seen": seen_in(leader.get(url)),
    }

    assert leader.post(url, {**form, "total": 201, "good": 190}).status_code == 302
    assert leader.post(url, {**form, "total": 200, "good": 191}).status_code == 302
    answer = leader.post(url, {**form, "total": 202, "good": 190})

    assert answer.status_code == 422
    assert "leader changed this to “201”" in answer.content.decode()
    count.refresh_from_db()
    assert (count.total, count.good) == (201, 191)


def test_a_planned_stop_that_another_has_moved_stays_where_they_put_it(
    cast: Cast, reasons: Reasons, manager: Client
) -> None:
    planned = declare_planned_stop(
        place=cast.line,
        reason=reasons.meeting,
        starts_at=at("10:00", TUESDAY),
        ends_at=at("10:15", TUESDAY),
        by=cast.people.area_manager,
    )
    url = reverse("planned_stop", args=[planned.pk])
    form = {
        "place": "L1",
        "reason": reasons.meeting.pk,
        "starts_at": "2026-03-03T10:00",
        "ends_at": "2026-03-03T10:15",
        "why": "as I saw it",
        "seen": seen_in(manager.get(url)),
    }

    assert manager.post(url, {**form, "place": "L1-10"}).status_code == 302
    assert manager.post(url, {**form, "ends_at": "2026-03-03T10:10"}).status_code == 302
    answer = manager.post(url, {**form, "place": "L1-20"})

    assert answer.status_code == 422
    assert "area-manager changed this to “L1-10”" in answer.content.decode()
    planned.refresh_from_db()
    assert (planned.place, planned.ends_at) == (cast.cells[0], at("10:10", TUESDAY))

    withdraw = reverse("planned_stop_withdraw", args=[planned.pk])
    assert manager.post(withdraw, {"why": "a slip"}).status_code == 302
    again = manager.post(withdraw, {"why": "a slip"}).content.decode()
    assert "This planned stop is withdrawn: declare another one." in again
