"""Real servers and processes that die at work: nothing is lost, all is computed."""

import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.db import connection, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from cells.attempts import TRIES, set_aside
from cells.models import Cell, Change, Line, Shift, StaleMark
from config.drill.browser import Browser, NoAnswer
from config.drill.judge import of_the_account
from config.processes import Child, free_port
from maintenance.models import ShiftConfirmation, Stop
from maintenance.stops import log_stop
from oee.jobs import sweep
from oee.models import CellShift
from oee.recompute import mark_all, waiting
from tests.builders import at, make_area, make_cell, make_line, make_plant, make_user
from tests.live import WORKER, child_environment, start_worker, wait_until
from tests.oee.worked import plan_shift, reason_of
from tests.services import Services

pytestmark = [pytest.mark.live, pytest.mark.django_db(transaction=True)]

#: Long over, whatever the clock of the machine and of its worker says.
FIRST, SECOND = date(2024, 3, 4), date(2024, 3, 5)


@pytest.fixture
def lines(transactional_db: None) -> list[Line]:
    """Two lines of two cells, on two days: eight cell-shifts."""
    make_plant()
    area = make_area()
    lines = [make_line(code, area=area) for code in ("L1", "L2")]
    for line in lines:
        for order in (10, 20):
            make_cell(f"{line.code}-{order}", line=line, order=order)
        for day in (FIRST, SECOND):
            plan_shift(line, at("06:00", day), at("14:00", day))
    return lines


def stop_at(clock: str, day: date = FIRST, cell: str = "L1-10") -> Stop:
    start = at(clock, day)
    return log_stop(
        cell=Cell.objects.get(code=cell),
        reason=reason_of("breakdown"),
        started_at=start,
        ended_at=start + timedelta(minutes=10),
        by=None,
    )


def insist_that_nothing_is_lost(stops: int) -> None:
    assert Stop.objects.count() == stops
    found = of_the_account(timezone.now().replace(microsecond=0))
    assert found == {"cell-shifts": 8, "wrong cell-shifts": 0}


def computed(cell: str = "L1-10", day: date = FIRST) -> int | None:
    row = CellShift.objects.filter(cell__code=cell, production_date=day).first()
    return row and row.breakdown_s


def test_a_worker_that_is_killed_amid_a_recompute_leaves_it_to_the_next(
    lines: list[Line],
    services: Services,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("HELD_LEDGER", str(tmp_path))
    (tmp_path / "hold").touch()
    include = ("--include", "tests.config.held_ledger")
    worker = start_worker(services, *include)
    try:
        stop_at("07:00")
        wait_until((tmp_path / "held").exists)
    finally:
        worker.kill()
    assert not CellShift.objects.exists()
    stop_at("08:00")
    (tmp_path / "hold").unlink()

    worker = start_worker(services, *include)
    try:
        wait_until(lambda: waiting() == 0)
    finally:
        worker.stop()

    insist_that_nothing_is_lost(stops=2)


def test_a_worker_finds_a_broker_that_came_back_empty(
    lines: list[Line], services: Services
) -> None:
    if connection.vendor == "sqlite":
        pytest.skip("The broker is the same on PostgreSQL.")
    worker = start_worker(services)
    try:
        services.empty_broker()
        try:
            stop_at("07:00")  # its message has nowhere to go
        finally:
            services.start_broker()
        sweep.apply_async()  # as beat does, every minute
        wait_until(lambda: waiting() == 0)
        stop_at("08:00")
        wait_until(lambda: computed() == 1200)
        assert worker.runs
    finally:
        worker.stop()

    insist_that_nothing_is_lost(stops=2)


def test_a_worker_finds_a_database_that_was_away(
    lines: list[Line], services: Services
) -> None:
    if connection.vendor == "sqlite":
        pytest.skip("SQLite has no server that could be away.")
    worker = start_worker(services)
    try:
        stop_at("07:00")
        wait_until(lambda: waiting() == 0)
        connection.close()
        services.stop_database()
        try:
            sweep.apply_async()
            wait_until(lambda: "OperationalError" in worker.last_words(200))
        finally:
            services.start_database()
        stop_at("08:00")
        wait_until(lambda: computed() == 1200)
        assert worker.runs
    finally:
        worker.stop()

    insist_that_nothing_is_lost(stops=2)


def test_a_cell_shift_that_kills_its_worker_is_set_aside_and_the_rest_computed(
    lines: list[Line],
    services: Services,
    client_of: Callable[[Any], Client],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    admin = client_of(make_user("admin", superuser=True))
    monkeypatch.setenv("VAR_DIR", str(tmp_path))
    poison = tmp_path / "drill" / "poison"
    poison.parent.mkdir()
    shift = Shift.objects.get(line=lines[0], production_date=FIRST)
    poison.write_text(f"{Cell.objects.get(code='L1-10').pk} {shift.pk}")
    stop_at("07:00")
    worker = start_worker(services, "--include", "config.drill.poison")
    try:
        mark_all()
        for _ in range(TRIES + 2):
            sweep.apply_async()
        wait_until(lambda: set_aside().exists())
        wait_until(lambda: waiting() == 2)

        assert str(set_aside().get()) == f"The account of line L1 on {FIRST}"
        assert CellShift.objects.count() == 6
        page = admin.get(reverse("running")).content.decode()
        assert f"The account of line L1 on {FIRST}" in page

        poison.unlink()
        admin.post(reverse("running"), {"attempt": set_aside().get().pk})
        wait_until(lambda: waiting() == 0)
    finally:
        worker.stop()

    insist_that_nothing_is_lost(stops=1)


def test_a_worker_whose_clock_is_ahead_closes_no_shift_that_runs(
    lines: list[Line], services: Services, client_of: Callable[[Any], Client]
) -> None:
    if connection.vendor == "sqlite":
        pytest.skip("On SQLite all processes go by the clock of one machine.")
    admin = client_of(make_user("admin", superuser=True))
    now = timezone.now().replace(second=0, microsecond=0)
    half_an_hour = timedelta(minutes=30)
    running = plan_shift(lines[0], now - half_an_hour, now + half_an_hour)
    marks = StaleMark.objects.filter(shift=running).count()
    wrong = [sys.executable, "-m", "config.drill.wrong_clock", "3600", *WORKER[3:]]
    log = services.directory / "wrong-worker.log"
    worker = Child("worker", wrong, log=log, environment=child_environment())
    try:
        stop_at("07:00")
        wait_until(lambda: computed() == 600)
        wait_until(lambda: "60 min ahead of the" in said_of_running(admin))
    finally:
        worker.stop()

    assert not CellShift.objects.filter(shift=running).exists()
    assert StaleMark.objects.filter(shift=running).count() == marks > 0


def said_of_running(admin: Client) -> str:
    return admin.get(reverse("running")).content.decode()


def test_a_web_server_killed_amid_a_confirmation_keeps_all_of_it_or_nothing(
    lines: list[Line], services: Services, client_of: Callable[[Any], Client]
) -> None:
    admin = make_user("admin", superuser=True)
    client = client_of(admin)
    cookies = {key: morsel.value for key, morsel in client.cookies.items()}
    shift = Shift.objects.get(line=lines[0], production_date=FIRST)
    path = reverse("shift", args=["L1", FIRST, shift.name])
    answers: list[Any] = []

    def confirm(port: int) -> None:
        browser = Browser(port, cookies=cookies)
        try:
            browser.get(path)
            answers.append(browser.post(path, {"do": "confirm"}).status)
        except NoAnswer as error:
            answers.append(error)

    marks = StaleMark.objects.count()
    with web_server(services) as (web, port), nobody_may_add_marks():
        request = threading.Thread(target=confirm, args=[port])
        request.start()
        wait_until(somebody_waits)
        web.kill()
        request.join()
    assert isinstance(answers.pop(), NoAnswer)
    assert not ShiftConfirmation.objects.exists()
    assert not Change.objects.filter(kind="shiftconfirmation").exists()
    assert StaleMark.objects.count() == marks

    with web_server(services) as (_, port):
        confirm(port)
        confirm(port)
    assert answers == [302, 422]
    assert ShiftConfirmation.objects.get().shift == shift
    assert StaleMark.objects.count() == marks + 2


@contextmanager
def web_server(services: Services) -> Iterator[tuple[Child, int]]:
    port = free_port()
    command = [
        *(sys.executable, "-m", "gunicorn", "config.wsgi"),
        *("--bind", f"127.0.0.1:{port}", "--no-control-socket"),
    ]
    log = services.directory / f"web-{port}.log"
    child = Child("web", command, log=log, environment=child_environment())
    try:
        wait_until(lambda: answers_at(port) or not child.runs)
        assert child.runs, child.last_words()
        yield child, port
    finally:
        child.stop()


def answers_at(port: int) -> bool:
    try:
        return Browser(port).get("/sign-in/").status == 200
    except NoAnswer:
        return False


@contextmanager
def nobody_may_add_marks() -> Iterator[None]:
    """The last thing that a confirmation writes has to wait. On SQLite, the first."""
    with transaction.atomic():
        if connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute("LOCK TABLE cells_stalemark IN EXCLUSIVE MODE")
        yield


def somebody_waits() -> bool:
    if connection.vendor == "sqlite":
        return True
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM pg_locks WHERE NOT granted")
        return bool(cursor.fetchone()[0])
