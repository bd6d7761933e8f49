"""The running state, told by a page to people.

How long ago something was is asked of the database's own clock, which no test can
stop: so rows are written as if they were old.
"""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.conf import settings
from django.core.cache import cache
from django.db import connection
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from redis import Redis

from cells.models import Attempt
from cells.rights import Role
from cells.stale import mark_cell_shifts
from config import heartbeats
from config.models import Backup, Heartbeat
from config.processes import free_port
from config.running import processes, stores, work
from config.running.parts import Part, how_long
from tests.builders import MONDAY, Cast, at, make_user, the_cast
from tests.config.heard import BEAT, WORKER, everyone_is_there, heard

pytestmark = pytest.mark.django_db


def troubles(*parts: Part) -> list[str]:
    return [one for part in parts for one in part.troubles]


def test_nothing_heard_is_said_in_words_first(
    client_of: Callable[[Any], Client],
) -> None:
    page = client_of(make_user("petra", Role.PLANNER)).get(reverse("running"))

    lead = page.content.decode().partition("<h1>")[2].partition("</h1>")[0]
    assert lead.startswith("No worker runs: figures stay as they are until")


def test_who_is_there_has_a_row_of_its_own(client_of: Callable[[Any], Client]) -> None:
    everyone_is_there()
    a_backup()

    page = client_of(make_user("petra", Role.PLANNER)).get(reverse("running"))

    text = page.content.decode()
    assert "<h1>Everything runs.</h1>" in text
    assert f"Worker {WORKER}" in text
    assert f"Clock of the periodic jobs {BEAT}" in text
    assert "no-store" in page["Cache-Control"]


@pytest.mark.parametrize(
    ("role", "sees"),
    [
        (Role.PLANNER, True),
        (Role.AREA_MANAGER, True),
        (Role.PLANT_MANAGER, True),
        (Role.TEAM_LEADER, False),
        (Role.TECHNICIAN, False),
        (Role.SAFETY_OFFICER, False),
    ],
)
def test_those_who_decide_on_figures_find_the_page_under_every_page(
    role: Role, sees: bool, client_of: Callable[[Any], Client]
) -> None:
    client = client_of(make_user("petra", role))

    linked = 'href="/running/"' in client.get(reverse("definitions")).content.decode()
    assert linked is sees
    assert client.get(reverse("running")).status_code == (200 if sees else 403)


def test_a_worker_that_fell_silent_is_named() -> None:
    heard("worker", WORKER, 720)
    heard("beat", BEAT)

    [no_worker, silent] = troubles(*processes.processes())

    assert no_worker.startswith("No worker runs")
    assert silent == (
        f"{WORKER} was last heard 12 min ago: it was killed, it hangs, or its machine "
        "is away."
    )


def test_one_silent_worker_of_two_is_named_and_the_other_goes_on() -> None:
    everyone_is_there()
    heard("worker", "worker2@far-host", 720)

    [silent] = troubles(*processes.processes())

    assert silent.startswith("worker2@far-host was last heard")


def test_a_worker_that_was_taken_away_days_ago_is_forgotten() -> None:
    everyone_is_there()
    heard("worker", "worker2@far-host", 90_000)

    assert troubles(*processes.processes()) == []


@pytest.mark.parametrize(
    ("ahead_s", "words"),
    [
        (3600, "is 60 min ahead of the database’s"),
        (-3600, "is 60 min behind the database’s"),
        (2, None),
    ],
)
def test_a_worker_with_a_wrong_clock_is_shown(ahead_s: int, words: str | None) -> None:
    everyone_is_there()
    heard("worker", WORKER, clock_ahead_s=ahead_s)

    found = troubles(*processes.processes())

    assert [words in one for one in found] == ([True] if words else [])


def test_a_worker_says_what_its_own_clock_shows() -> None:
    in_an_hour = timezone.now() + timedelta(hours=1)
    with time_machine.travel(in_an_hour):
        heartbeats.say("worker", WORKER)

    assert 3590 < Heartbeat.objects.get().clock_error_s < 3610


def test_a_web_server_with_a_wrong_clock_is_shown() -> None:
    with time_machine.travel(timezone.now() - timedelta(hours=2)):
        [trouble] = stores.database().troubles

    assert trouble.startswith("The clock of this web server is 2 h behind")


def test_a_process_left_behind_by_an_update_is_named() -> None:
    everyone_is_there()
    Heartbeat.objects.filter(name=WORKER).update(version="0ld")

    [old] = troubles(*processes.processes())

    assert old.startswith(f"{WORKER} runs other program code (0ld) than this page")


def test_two_clocks_of_the_periodic_jobs_are_one_too_many() -> None:
    everyone_is_there()
    heard("beat", "beat@second-host")

    [trouble] = troubles(*processes.processes())

    assert trouble == (
        f"Of {BEAT} and beat@second-host only one may run: stop the others."
    )


def test_heartbeats_of_a_name_take_one_row_and_outlive_the_queues_data() -> None:
    everyone_is_there()
    heard("worker", WORKER)
    cache.clear()

    assert Heartbeat.objects.count() == 2


def test_a_database_behind_the_program_is_told_what_it_lacks() -> None:
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM django_migrations WHERE app = 'config'")

    [trouble] = stores.database().troubles

    assert trouble.startswith("The database lacks 1 migration: run manage.py migrate")


def test_the_database_says_what_it_is_and_how_large() -> None:
    assert stores.database().words.startswith(f"{connection.display_name} ")
    assert stores._size() > 100_000


def test_waiting_jobs_are_counted_where_the_queue_keeps_them() -> None:
    from config.celery import app

    with Redis.from_url(settings.REDIS_URL) as redis:
        redis.flushdb()
        app.send_task("no.such.job")
        words = stores.queue().words
        redis.flushdb()

    assert words.startswith("1 job waits, 0 are being done")


def test_a_queue_that_grows_or_forgets_needs_somebody(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(stores, "LONG_QUEUE", -1)
    with Redis.from_url(settings.REDIS_URL) as redis:
        redis.config_set("maxmemory-policy", "allkeys-lru")
        try:
            [long, forgets] = stores.queue().troubles
        finally:
            redis.config_set("maxmemory-policy", "noeviction")

    assert "jobs wait in the queue: more are sent than are done" in long
    assert "throws jobs away when its memory is full (allkeys-lru)" in forgets


def test_a_queue_that_is_gone_is_said_with_what_it_means(settings: Any) -> None:
    settings.REDIS_URL = f"redis://127.0.0.1:{free_port()}/0"

    [trouble] = stores.queue().troubles

    assert trouble.startswith("The queue (Redis) does not answer")
    assert not stores.queue_answers()


@pytest.fixture
def cast() -> Cast:
    return the_cast()


def mark(cast: Cast, when: datetime) -> None:
    with time_machine.travel(when, tick=False):
        mark_cell_shifts([(cast.cells[0].pk, cast.early.pk)])


def test_a_shift_just_ended_waits_and_is_no_trouble_yet(cast: Cast) -> None:
    mark(cast, at("06:00"))

    with time_machine.travel(at("14:02"), tick=False):
        part = work.account()

    assert part.words == (
        f"1 cell-shift waits, the oldest (L1-10, {MONDAY} Early) for 2 min"
    )
    assert part.troubles == ()


def test_a_shift_that_runs_does_not_wait(cast: Cast) -> None:
    mark(cast, at("06:00"))

    with time_machine.travel(at("13:00"), tick=False):
        assert work.account().words == "every shift that has ended is accounted for"


def test_figures_that_fall_behind_are_a_trouble_with_their_age(cast: Cast) -> None:
    mark(cast, at("06:00"))

    with time_machine.travel(at("17:00"), tick=False):
        [trouble] = work.account().troubles

    assert trouble.startswith("Figures are behind: 1 cell-shift waits, the oldest")
    assert "for 3 h." in trouble


def test_an_old_shift_that_was_corrected_waits_since_its_correction(
    cast: Cast,
) -> None:
    mark(cast, at("20:00"))

    with time_machine.travel(at("20:01"), tick=False):
        part = work.account()

    assert part.words.endswith("for 60 s")
    assert part.troubles == ()


def a_backup(**facts: Any) -> Backup:
    now = datetime.now(UTC).replace(microsecond=0)
    given = {"taken_at": now, "restored_at": now, "size": 5_000_000, **facts}
    return Backup.objects.create(host="a-host", path="/backups/a", **given)


def test_a_plant_without_a_backup_is_told_so() -> None:
    [trouble] = work.backup().troubles

    assert trouble.startswith("No backup was ever taken of this database")


def test_a_backup_that_is_old_or_was_never_restored_is_told_so() -> None:
    before = datetime.now(UTC).replace(microsecond=0) - timedelta(days=3)
    a_backup(taken_at=before, restored_at=None)

    [old, untried] = work.backup().troubles

    assert old.startswith("The last backup is 3 days old")
    assert untried.startswith("Nobody knows whether the last backup can be restored")


def test_the_last_backup_counts() -> None:
    a_backup(taken_at=datetime(2020, 1, 1, tzinfo=UTC), restored_at=None)
    a_backup()

    part = work.backup()

    assert part.troubles == ()
    assert "4.8\xa0MB, restored on trial" in part.words
    assert part.words.endswith("at a-host:/backups/a")


def an_attempt() -> Attempt:
    now = datetime.now(UTC).replace(microsecond=0)
    return Attempt.objects.create(
        piece="account L1 2026-03-02",
        words="The account of L1 on 2026-03-02",
        tries=3,
        began_at=now,
        process="line-host 4711",
        set_aside_at=now,
    )


def test_work_that_was_set_aside_stands_on_the_page(
    client_of: Callable[[Any], Client],
) -> None:
    everyone_is_there()
    a_backup()
    an_attempt()

    text = client_of(make_user("petra", Role.PLANNER)).get("/running/").content.decode()

    assert "<h1>Everything runs, but work was set aside.</h1>" in text
    assert "The account of L1 on 2026-03-02" in text
    assert "Nothing: it was killed." in text
    assert "Try again" not in text


def test_the_administrator_has_it_tried_again(
    client_of: Callable[[Any], Client],
) -> None:
    attempt = an_attempt()
    client = client_of(make_user("root", superuser=True))

    answer = client.post("/running/", {"attempt": attempt.pk}, follow=True)

    assert "The account of L1 on 2026-03-02 will be tried again" in (
        answer.content.decode()
    )
    assert not Attempt.objects.exists()
    assert client.post("/running/", {"attempt": attempt.pk}).status_code == 404
    assert client.post("/running/", {"attempt": "x"}).status_code == 404


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0.4, "0 s"),
        (119, "119 s"),
        (120, "2 min"),
        (7199, "120 min"),
        (7200, "2 h"),
        (172_800, "2 days"),
    ],
)
def test_ages_are_told_in_one_unit(seconds: float, words: str) -> None:
    assert how_long(seconds) == words
