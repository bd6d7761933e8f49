"""Every address of the site: who gets in, what it costs, who may write."""

import re
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import fields
from datetime import date
from typing import Any

import pytest
import time_machine
from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from maintenance.models import Reason, Stop
from tests.builders import NOW, People
from tests.config.tables import amounts, everything
from tests.config.who_writes import ROOMS, writes
from tests.config.whole_site import BUTTONS, Site, make_site, pages

pytestmark = pytest.mark.django_db

ROLES = {role.name for role in fields(People)}
SIGN_IN = "/sign-in/"
#: Nobody has to be signed in for these. Static files are served before Django.
OPEN = {"login", "admin_sign_in", "admin:login"}
MOST_QUERIES = 20
#: What the accounts of running shifts need beyond that, however many lines there are.
RUNNING_QUERIES = 9
WITH_PERIOD = ("plant", "ranking", "area", "line", "cell_account")
#: What no argument of an example is, by its type.
UNKNOWN = {str: "nowhere", int: 999_999, date: date(2031, 5, 5)}
#: Pages that ask for one thing and do it: who may not do it has no use for them. And
#: the running state, which is for those who can act on it.
FORMS = frozenset(
    {
        "area_add",
        "area_edit",
        "target_set",
        "line_add",
        "line_edit",
        "counting_cell",
        "cell_add",
        "cell_edit",
        "cell_lockout",
        "cell_retire",
        "bank_set",
        "machine_add",
        "machine_edit",
        "machine_place",
        "machine_remove",
        "machine_swap",
        "meter_add",
        "meter_edit",
        "pattern_add",
        "pattern_change",
        "pattern_end",
        "pattern_remove",
        "day_off_add",
        "day_off_remove",
        "one_off_set",
        "one_off_remove",
        "complete_many",
        "task_correct",
        "task_withdraw",
        "alert_accept",
        "routine_add",
        "routine_edit",
        "routine_retire",
        "routine_steps",
        "routine_spread",
        "routine_first_due",
        "running",
    }
)


@pytest.fixture(autouse=True)
def _monday_noon() -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def site(db: None) -> Site:
    return make_site()


def routes_of(
    resolver: URLResolver, route: str = "/", namespace: str = ""
) -> Iterator[tuple[str, str]]:
    """(name with its namespace, route) of everything that answers an address."""
    for one in resolver.url_patterns:
        here = route + str(one.pattern)
        if isinstance(one, URLPattern):
            yield f"{namespace}{one.name or one.pattern}", here
        else:
            inner = f"{one.namespace}:" if one.namespace else ""
            yield from routes_of(one, here, namespace + inner)


ALL = dict(routes_of(get_resolver()))
OWN = {name for name in ALL if not name.startswith("admin:")}
#: Those of the admin site that are written as regular expressions.
BY_HAND = {
    "admin:app_list": "/admin/cells/",
    "admin:(?P<url>.*)$": "/admin/no-such-page/",
}


def example(name: str, site: Site) -> str:
    if name in OWN:
        return reverse(name, args=pages(site)[name])
    return BY_HAND.get(name) or re.sub("<.*?>", "1", ALL[name])


def page(name: str, site: Site) -> str:
    """An example that has something to show."""
    chosen = f"?task={site.tasks['wipe'].pk}" if name == "complete_many" else ""
    return example(name, site) + chosen


def says_who_may(answer: Any) -> bool:
    lead = re.search(r"<h1[^>]*>(.*?)</h1>", answer.content.decode(), re.DOTALL)
    return (
        lead is not None
        and "Your role may not do this" not in lead[1]
        and lead[1].strip().endswith(".")
    )


def refusals(answer: Any) -> Any:
    form = (answer.context or {}).get("form") or (answer.context or {}).get("refused")
    return answer.status_code, form.errors if form is not None else ""


def costs(name: str, queries: CaptureQueriesContext) -> str:
    """How many questions an answer took, and which ones differ in their values only."""
    shapes = Counter(
        re.sub(r"'[^']*'|\b\d+(\.\d+)?\b", "?", query["sql"])
        for query in queries.captured_queries
    )
    repeated = [f"{times} × {sql}" for sql, times in shapes.items() if times > 1]
    return "\n".join([f"{name}: {len(queries)} questions.", *repeated])


def people(site: Site) -> dict[str, Any]:
    return {role: getattr(site.cast.people, role) for role in ROLES}


def test_every_address_has_an_example(site: Site) -> None:
    assert set(pages(site)) == OWN


@pytest.mark.parametrize("method", ["get", "post"])
def test_a_stranger_is_sent_to_sign_in_everywhere(
    method: str, site: Site, client: Client
) -> None:
    before = everything()
    for name in ALL.keys() - OPEN:
        answer = getattr(client, method)(example(name, site))
        assert answer.status_code == 302, name
        assert answer["Location"].startswith((SIGN_IN, "/admin/login/")), name
    assert everything() == before


@pytest.mark.parametrize("role", sorted(ROLES))
def test_every_page_opens_for_everyone_signed_in_and_changes_nothing(
    role: str, site: Site, client_of: Callable[[Any], Client]
) -> None:
    client = client_of(people(site)[role])
    before = everything()
    for name in OWN - BUTTONS:
        with CaptureQueriesContext(connection) as queries:
            answer = client.get(page(name, site))
        if name in FORMS and role != "admin":
            assert answer.status_code in (200, 403), (name, answer.status_code)
        else:
            assert answer.status_code in (200, 302), (name, answer.status_code)
        assert len(queries) <= MOST_QUERIES, costs(name, queries)
        assert answer["Content-Security-Policy"], name
    assert everything() == before


@pytest.mark.parametrize("period", ["today", "yesterday", "week", "28"])
def test_no_period_costs_more_questions(
    period: str, site: Site, client_of: Callable[[Any], Client]
) -> None:
    """Whoever comes first in a minute computes the running shifts for everybody."""
    client = client_of(site.cast.people.plant_manager)
    running = RUNNING_QUERIES if period in ("today", "week") else 0
    for name in WITH_PERIOD:
        address = f"{example(name, site)}?period={period}"
        for most in (MOST_QUERIES + running, MOST_QUERIES):
            with CaptureQueriesContext(connection) as queries:
                assert client.get(address).status_code == 200, address
            assert len(queries) <= most, costs(address, queries)


def test_a_question_asked_twice_is_named() -> None:
    with CaptureQueriesContext(connection) as queries:
        for pk in (1, 22):
            Stop.objects.filter(pk=pk).exists()
        Reason.objects.exists()
    first, *repeated = costs("a page", queries).splitlines()

    assert first == "a page: 3 questions."
    assert len(repeated) == 1
    assert repeated[0].startswith("2 × SELECT")
    assert "maintenance_stop" in repeated[0]


def test_a_form_that_one_may_not_use_is_refused_with_a_sentence(
    site: Site, client_of: Callable[[Any], Client]
) -> None:
    client = client_of(site.cast.people.reader)
    for name in FORMS:
        answer = client.get(page(name, site))
        assert answer.status_code == 403, name
        assert says_who_may(answer), name


def test_an_unknown_code_is_not_found(
    site: Site, client_of: Callable[[Any], Client]
) -> None:
    client = client_of(site.cast.people.admin)
    before = everything()
    for name, given in pages(site).items():
        if not given:
            continue
        unknown = [UNKNOWN[type(one)] for one in given]
        address = reverse(name, args=unknown)
        method = client.post if name in BUTTONS else client.get
        assert method(address).status_code == 404, address
    assert everything() == before


@pytest.mark.parametrize("room", ROOMS)
def test_only_who_may_write_it_does(
    room: str, site: Site, client_of: Callable[[Any], Client]
) -> None:
    clients = {role: client_of(user) for role, user in people(site).items()}
    forms = ROOMS[room](site)
    before = everything()
    for deed, write in forms.items():
        for role in ROLES - write.may - {"admin"}:
            answer = clients[role].post(write.url, write.data)
            assert answer.status_code == 403, (deed, role, refusals(answer))
            assert says_who_may(answer), (deed, role)
    assert everything() == before
    unchanged = amounts()
    for deed, write in forms.items():
        for role in write.may | {"admin"}:
            with transaction.atomic():
                answer = clients[role].post(write.url, write.data)
                assert answer.status_code == 302, (deed, role, refusals(answer))
                assert amounts() != unchanged, (deed, role)
                transaction.set_rollback(True)


def test_every_form_of_the_site_is_asked_who_may_write(
    site: Site, client_of: Callable[[Any], Client]
) -> None:
    client = client_of(site.cast.people.admin)
    written = {one.name for one in writes(site).values()}
    before = everything()

    assert written >= (FORMS | BUTTONS) - {"logout"}
    for name in OWN - written - {"login", "logout"}:
        answer = client.post(page(name, site))
        assert answer.status_code < 500, name
    assert everything() == before
