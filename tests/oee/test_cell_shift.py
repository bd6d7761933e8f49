from datetime import timedelta
from decimal import Decimal

import pytest
import time_machine

from cells.models import WorkedBreak
from maintenance.models import LossClass, PlannedStop, Reason, Tally
from maintenance.stops import correct_stop, log_stop, withdraw_stop
from oee.models import Count, IdealCycle, Variant
from oee.recompute import bring_up_to_date
from tests.builders import MONDAY, NOW, Cast, at, make_shift, the_cast

pytestmark = pytest.mark.django_db

URL = "/cells/L1-10/shifts/2026-03-02/Early/"
AFTER = at("14:05")


@pytest.fixture(autouse=True)
def _frozen():
    with time_machine.travel(AFTER, tick=False):
        yield


@pytest.fixture
def cast() -> Cast:
    """A gun fault within a starved stop, a tally, a meeting, a line count."""
    cast = the_cast()
    cell, by = cast.cells[0], cast.people.leader
    gun, empty, meeting, tip = (
        Reason.objects.create(code=code, name=name, loss_class=loss_class)
        for code, name, loss_class in (
            ("gun", "Gun force fault", LossClass.BREAKDOWN),
            ("empty", "Nothing from upstream", LossClass.STARVED),
            ("meeting", "Meeting", LossClass.PLANNED),
            ("tip", "Tip stuck", LossClass.MINOR),
        )
    )
    log_stop(cell=cell, reason=gun, started_at=at("07:00"), ended_at=at("07:20"), by=by)
    log_stop(
        cell=cell, reason=empty, started_at=at("06:50"), ended_at=at("07:30"), by=by
    )
    Tally.objects.create(
        cell=cell, shift=cast.early, reason=tip, times=7, seconds=540, logged_at=NOW
    )
    PlannedStop.objects.create(
        ref="p1",
        line=cast.line,
        reason=meeting,
        starts_at=at("10:00"),
        ends_at=at("10:15"),
        declared_at=at("06:30"),
    )
    sedan = Variant.objects.create(code="S4", name="Sedan")
    IdealCycle.objects.create(
        cell=cell, variant=sedan, seconds=Decimal("58.5"), valid_from=MONDAY
    )
    Count.objects.create(
        line=cast.line,
        shift=cast.early,
        variant=sedan,
        total=360,
        good=351,
        entered_at=NOW,
    )
    return cast


@pytest.fixture
def reader(cast, client):
    client.force_login(cast.people.reader)
    return client


def text(response) -> str:
    return " ".join(response.content.decode().split())


def test_every_row_behind_the_figures_is_there(reader):
    page = text(reader.get(URL))
    # Own arithmetic: 480 less 40 of breaks and 15 of meeting; 351 × 58.5 s good.
    assert f"OEE {351 * 58.5 / (425 * 60):.1%}".replace("%", " %") in page
    assert "58.5 s" in page
    assert '<td class="num">20 min</td> <td>by leader, Mon 2 March 14:05' in page
    assert "7 times, entered as 9 min" in page
    assert "Meeting for L1, Mon 2 March 10:00 to 10:15" in page
    assert "after the shift began" in page
    assert "planned time declared after the shift began" in page
    assert "holds for cells without their own" in page


def test_the_figures_of_the_account_add_up_to_the_planned_time(cast, reader):
    rows = reader.get(URL).context["rows"].account
    exact = {row.name: seconds_of(row.value) for row in rows}
    names = list(exact)
    parts = names[names.index("Breakdown") :]
    assert parts[-1] == "Good making"
    assert sum(exact[name] for name in parts) == exact["Planned busy time"] == 25_500


def seconds_of(words: str) -> int:
    minutes, _, rest = words.partition(" min")
    return int(minutes) * 60 + int(rest.removesuffix(" s") or 0)


def test_the_trail_names_who_changed_what_and_why(cast, reader):
    stop = cast.cells[0].stops.get(reason__code="gun")
    by = cast.people.leader
    correct_stop(
        stop=stop, changes={"ended_at": at("07:25")}, why="looked again", by=by
    )
    page = text(reader.get(URL))
    assert "looked again" in page
    withdraw_stop(stop=stop, why="not us", by=by)
    page = text(reader.get(URL))
    assert "Withdrawn, so they own nothing:" in page
    assert "not us" in page


def test_a_change_that_waits_to_be_stored_is_said(cast, reader):
    assert "Stored" not in text(reader.get(URL))
    bring_up_to_date()
    assert "Stored Mon 2 March 14:05." in text(reader.get(URL))
    stop = cast.cells[0].stops.get(reason__code="gun")
    withdraw_stop(stop=stop, why="not us", by=cast.people.leader)
    assert "a change waits to be stored" in text(reader.get(URL))


def test_a_break_worked_through_is_planned_time(cast, reader):
    rest = cast.early.breaks.first()
    WorkedBreak.objects.create(
        cell=cast.cells[0], shift=cast.early, break_start=rest.starts_at
    )
    page = text(reader.get(URL))
    assert "Break 09:00 to 09:10, worked through: planned time" in page
    assert "of 435 min planned" in page


def test_without_a_count_the_oee_is_not_known(cast, reader):
    Count.objects.all().delete()
    page = text(reader.get(URL))
    assert "OEE not known without a count" in page
    assert "Nothing is counted, neither here nor for the line." in page


def test_a_variant_without_a_cycle_is_said(cast, reader):
    IdealCycle.objects.all().delete()
    assert "none valid" in text(reader.get(URL))


def test_the_rows_come_as_csv(reader):
    response = reader.get(URL, {"csv": "1"})
    lines = response.content.decode().splitlines()
    assert lines[0] == "row,reason,loss_class,start,end,times,seconds,owned_s"
    assert [line.split(",")[0] for line in lines[1:]] == [
        "stop",
        "stop",
        "tally",
        "planned stop",
    ]
    assert lines[2].endswith(",1200")


def test_the_page_needs_few_queries(cast, reader, django_assert_max_num_queries):
    make_shift(cast.line, "Night", start="00:00", end="05:00", breaks="")
    with django_assert_max_num_queries(20):
        reader.get(URL)


@pytest.mark.parametrize(
    "url",
    [
        "/cells/L9-10/shifts/2026-03-02/Early/",
        "/cells/L1-10/shifts/2026-03-03/Early/",
    ],
)
def test_what_is_not_there_is_not_found(reader, url):
    assert reader.get(url).status_code == 404


def test_a_cell_retired_before_the_shift_has_none(cast, reader):
    cast.cells[0].retired_on = MONDAY - timedelta(days=1)
    cast.cells[0].save()
    assert reader.get(URL).status_code == 404


def test_who_is_not_signed_in_is_asked_to(client):
    response = client.get(URL)
    assert response.status_code == 302
    assert response.url.startswith("/sign-in/")
