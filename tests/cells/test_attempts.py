"""Work that kills its worker, or fails, is tried three times and then set aside."""

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from celery import current_app
from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.db import OperationalError, connection

from cells import attempts
from cells.attempts import begin, carry_out, left_over, set_aside, try_again
from cells.claims import claimed, claimed_of
from cells.models import Attempt, Change
from tests.builders import make_user
from tests.live import child_environment

PIECE, WORDS = "tests.piece", "A piece of the tests"

pytestmark = pytest.mark.django_db


def refuse() -> None:
    raise ValueError("no such thing")


def test_what_is_done_leaves_no_note() -> None:
    done: list[str] = []

    carry_out(PIECE, WORDS, lambda: done.append("once"))

    assert done == ["once"]
    assert not Attempt.objects.exists()


def test_what_fails_three_times_is_set_aside_with_what_it_said(
    caplog: pytest.LogCaptureFixture,
) -> None:
    for _ in range(attempts.TRIES):
        assert not set_aside().exists()
        carry_out(PIECE, WORDS, refuse)

    done: list[str] = []
    carry_out(PIECE, WORDS, lambda: done.append("a fourth time"))

    attempt = set_aside().get()
    assert done == []
    assert (str(attempt), attempt.tries) == (WORDS, 3)
    assert attempt.fault == "ValueError: no such thing"
    assert "A piece of the tests failed, try 3 of 3." in caplog.text
    assert "A piece of the tests is set aside after 3 tries." in caplog.text


def test_a_success_forgets_the_failures_before_it() -> None:
    for _ in range(2):
        carry_out(PIECE, WORDS, refuse)
    carry_out(PIECE, WORDS, lambda: None)

    for _ in range(2):
        carry_out(PIECE, WORDS, refuse)

    assert not set_aside().exists()


def test_an_administrator_has_it_tried_again_and_the_trail_says_so() -> None:
    for _ in range(attempts.TRIES):
        carry_out(PIECE, WORDS, refuse)
    admin, other = make_user("admin", superuser=True), make_user("other")

    with pytest.raises(PermissionDenied, match="Only an administrator"):
        try_again(set_aside().get(), by=other)
    try_again(set_aside().get(), by=admin)
    done: list[str] = []
    carry_out(PIECE, WORDS, lambda: done.append("again"))

    assert done == ["again"]
    assert Change.objects.get(by=admin).record == WORDS


@pytest.mark.django_db(transaction=True)
def test_a_job_that_is_tried_again_is_sent_to_the_queue_at_once() -> None:
    for _ in range(attempts.TRIES):
        carry_out("cells.jobs.extend_shifts", WORDS, refuse)
    current_app.control.purge()

    try_again(set_aside().get(), by=make_user("admin", superuser=True))

    assert current_app.control.purge() == 1


class Unreachable(Exception):
    sqlstate = None


def test_a_database_that_is_away_is_no_fault_of_the_piece() -> None:
    def find_it_away() -> None:
        raise OperationalError("server closed the connection") from Unreachable()

    for _ in range(attempts.TRIES + 1):
        with pytest.raises(OperationalError):
            carry_out(PIECE, WORDS, find_it_away)

    assert not set_aside().exists()
    assert left_over([PIECE]) == set()


def test_a_try_that_the_servers_restart_broke_off_does_not_count() -> None:
    if connection.vendor == "sqlite":
        pytest.skip("SQLite has no server that restarts.")
    begin({PIECE: WORDS})
    Attempt.objects.update(tries=3, server="an earlier start")

    assert begin({PIECE: WORDS}) == [PIECE]
    assert Attempt.objects.get().tries == 3


KILLED = """
import django
django.setup()
import os, signal
from cells.attempts import carry_out
carry_out("tests.piece", "A piece of the tests", lambda: os.kill(os.getpid(), 9))
"""


@pytest.mark.live
@pytest.mark.django_db(transaction=True)
def test_what_kills_its_process_is_set_aside_after_three_tries() -> None:
    kill_three_processes()
    done: list[str] = []

    carry_out(PIECE, WORDS, lambda: done.append("a fourth time"))

    assert done == []
    assert set_aside().get().fault == ""


def kill_three_processes() -> None:
    for _ in range(attempts.TRIES):
        child = subprocess.run(
            [sys.executable, "-c", KILLED],
            cwd=settings.BASE_DIR,
            env=child_environment(),
            capture_output=True,
            check=False,
        )
        assert child.returncode == -signal.SIGKILL, child.stderr


@pytest.mark.django_db(transaction=True)
def test_a_piece_that_somebody_is_at_is_neither_tried_nor_counted() -> None:
    begun, finish = threading.Event(), threading.Event()

    def take_long() -> None:
        begun.set()
        assert finish.wait(30)

    with ThreadPoolExecutor(1) as pool:
        first = pool.submit(in_a_thread, lambda: carry_out(PIECE, WORDS, take_long))
        assert begun.wait(30)
        done: list[str] = []
        for _ in range(attempts.TRIES + 1):
            carry_out(PIECE, WORDS, lambda: done.append("too"))
        tries = Attempt.objects.get().tries
        finish.set()
        first.result()

    assert (done, tries) == ([], 1)
    assert not Attempt.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_of_many_names_those_are_claimed_that_are_free() -> None:
    def what_another_gets() -> list[str]:
        with claimed_of(["a", "b", "c", "d"], most=2) as mine:
            return mine

    with ThreadPoolExecutor(1) as pool, claimed("b") as mine:
        assert mine
        assert pool.submit(in_a_thread, what_another_gets).result() == ["a", "c"]


def in_a_thread(do: Callable[[], Any]) -> Any:
    try:
        return do()
    finally:
        connection.close()


def test_the_process_is_named() -> None:
    begin({PIECE: WORDS})

    assert Attempt.objects.get().process.endswith(f" {os.getpid()}")
