"""Two people send the same form at the same moment."""

import threading
from collections import Counter
from collections.abc import Callable, Iterator
from typing import Any

import pytest
import time_machine
from django.db import connection, transaction
from django.test import Client

from cells.models import Change
from tests.builders import NOW
from tests.config.deeds import Write
from tests.config.tables import amounts
from tests.config.who_writes import writes
from tests.config.whole_site import make_site

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def _monday_noon() -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        yield


def rows() -> Counter[str]:
    """Of every table but the trail, which is asked for itself."""
    found = amounts()
    del found["cells_change"]
    return found


def added_by_one(client: Client, write: Write) -> Counter[str]:
    with transaction.atomic():
        before = rows()
        client.post(write.url, write.data)
        added = rows() - before
        transaction.set_rollback(True)
    return added


def send_at_once(clients: list[Client], write: Write) -> list[int]:
    together = threading.Barrier(len(clients), timeout=20)
    statuses = []

    def send(client: Client) -> None:
        client.raise_request_exception = False
        together.wait()
        statuses.append(client.post(write.url, write.data).status_code)
        connection.close()

    threads = [threading.Thread(target=send, args=[client]) for client in clients]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return statuses


def test_two_who_send_the_same_form_at_once_save_it_once(
    client_of: Callable[[Any], Client],
) -> None:
    site = make_site()
    admin = site.cast.people.admin
    clients = [client_of(admin), client_of(admin)]
    wrong = {}
    for deed, write in writes(site).items():
        wanted = added_by_one(clients[0], write)
        before = rows()
        statuses = send_at_once(clients, write)
        if max(statuses) >= 500 or rows() - before != wanted:
            wrong[deed] = (statuses, wanted, rows() - before)
    assert wrong == {}
    assert said_twice() == []


def said_twice() -> list[Any]:
    """What the trail says of one field from the same old to the same new again."""
    facts = Change.objects.values_list("kind", "record_id", "field", "old", "new")
    return [fact for fact, times in Counter(facts).items() if times > 1]
