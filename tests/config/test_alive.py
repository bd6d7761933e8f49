"""The running state, told to monitors by a word that gives nothing away."""

from typing import Any

import pytest
from django.db import OperationalError, connection
from django.test import Client

from config.processes import free_port
from tests.config.heard import BEAT, WORKER, everyone_is_there, heard

pytestmark = pytest.mark.django_db


def test_a_monitor_needs_no_sign_in_and_hears_one_word(
    client: Client, django_assert_num_queries: Any
) -> None:
    everyone_is_there()

    with django_assert_num_queries(1):
        answer = client.get("/alive", headers={"host": "10.0.0.7"})

    assert (answer.status_code, answer.content) == (200, b"Running.\n")
    assert "no-store" in answer["Cache-Control"]
    assert answer["Content-Security-Policy"]


@pytest.mark.parametrize("missing", ["worker", "beat"])
def test_a_monitor_hears_that_something_is_missing_but_not_what(
    missing: str, client: Client
) -> None:
    everyone_is_there()
    heard(missing, WORKER if missing == "worker" else BEAT, 61)

    answer = client.get("/alive")

    assert answer.status_code == 503
    assert b"The page" in answer.content
    assert missing.encode() not in answer.content


def test_a_monitor_gets_an_answer_when_the_queue_is_gone(
    client: Client, settings: Any
) -> None:
    everyone_is_there()
    settings.REDIS_URL = f"redis://127.0.0.1:{free_port()}/0"

    assert client.get("/alive").status_code == 503


def test_a_monitor_gets_an_answer_when_the_database_is_gone(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    def gone(*args: Any, **kwargs: Any) -> None:
        raise OperationalError("the connection is closed")

    everyone_is_there()
    monkeypatch.setattr(connection, "cursor", gone)

    assert client.get("/alive").status_code == 503
