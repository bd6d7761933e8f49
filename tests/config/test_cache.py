"""Pages go on without their cache, and forms without their queue."""

import socket
import time
from collections.abc import Iterator
from typing import Any

import pytest
from celery import Celery
from django.conf import settings
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse
from kombu.exceptions import OperationalError

from config.cache import ForgivingRedisCache
from config.processes import free_port


@pytest.fixture(params=["refuses", "is silent"])
def gone(request: pytest.FixtureRequest) -> Iterator[str]:
    """The address of a Redis that refuses, or takes the call and never answers."""
    if request.param == "refuses":
        yield f"redis://127.0.0.1:{free_port()}/0"
        return
    with socket.socket() as silent:
        silent.bind(("127.0.0.1", 0))
        silent.listen()
        yield f"redis://127.0.0.1:{silent.getsockname()[1]}/0"


def test_a_cache_that_is_gone_holds_nothing(gone: str) -> None:
    cache = ForgivingRedisCache(gone, settings.CACHES["default"])

    cache.set("key", 1)
    cache.set_many({"key": 1})

    assert cache.get("key", "nothing") == "nothing"
    assert cache.get_many(["key"]) == {}
    assert cache.get_or_set("key", lambda: 7) == 7
    assert cache.add("key", 1) is True
    assert "key" not in cache
    assert cache.delete("key") is False
    assert cache.touch("key") is False
    cache.delete_many(["key"])
    assert cache.clear() is False


def test_a_cache_that_answers_again_is_used_again(
    gone: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("config.cache.REST_SECONDS", 0.0)
    cache = ForgivingRedisCache(gone, settings.CACHES["default"])
    cache.set("key", 1)
    client = cache._cache
    client._servers[0] = settings.CACHES["default"]["LOCATION"]
    client._pools.clear()

    cache.set("key", 2)

    assert cache.get("key") == 2


@pytest.mark.django_db
def test_people_sign_in_and_out_without_the_cache(
    gone: str, settings: Any, client: Client
) -> None:
    settings.CACHES = {"default": {**settings.CACHES["default"], "LOCATION": gone}}
    client.force_login(User.objects.create(username="petra"))

    assert client.get("/definitions/").status_code == 200

    client.post(reverse("logout"))
    assert client.get("/definitions/").status_code == 302


def test_publishing_to_a_queue_that_is_gone_fails_at_once(gone: str) -> None:
    app = Celery("test", set_as_current=False)
    app.config_from_object("django.conf:settings", namespace="CELERY")
    app.conf.broker_url = gone
    began = time.monotonic()

    with pytest.raises(OperationalError):
        app.send_task("oee.jobs.sweep")

    # Kombu's own settings would try for minutes; half a second each is what we ask.
    assert time.monotonic() - began < 10
