"""The page × role matrix: what each address answers to each role.

Who may do what stands in ``who_writes``, deed by deed; how a page opens, in
``whole_site``. The addresses are those of the site itself: one that is in no table
fails here.
"""

import re
from collections import defaultdict
from collections.abc import Callable, Iterator
from typing import Any

import pytest
import time_machine
from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext

from tests.builders import NOW
from tests.config.deeds import Write
from tests.config.every_address import ALL, OWN, example, page
from tests.config.how_it_opens import BUTTONS, FORMS, LED_ON, LOOKED_AT, OPEN, WAYS
from tests.config.tables import amounts, everything
from tests.config.test_every_page import MOST_QUERIES, costs
from tests.config.who_writes import writes
from tests.config.whole_site import ROLES, Site, make_site, pages, people

pytestmark = [pytest.mark.django_db, pytest.mark.once]

NOBODY = "nobody"
SIGN_IN = ("/sign-in/", "/admin/login/")
OPENED, WENT, REFUSED, UNKNOWN, NO_SUCH_WAY = 200, 302, 403, 404, 405
NOT_OFFERED = 422

#: What the administrator's own pages answer to an administrator, by the end of their
#: names: to who opens them and to who sends an empty form. All others are sent away.
ADMINISTRATORS = {
    "index": (OPENED, OPENED),
    "app_list": (OPENED, OPENED),
    "_changelist": (OPENED, OPENED),
    "_history": (OPENED, OPENED),
    "_add": (REFUSED, REFUSED),
    "_change": (OPENED, REFUSED),
    "_delete": (REFUSED, REFUSED),
    # People are added and changed there.
    "auth_user_add": (OPENED, OPENED),
    "auth_user_change": (OPENED, OPENED),
    "auth_user_password_change": (OPENED, OPENED),
    "admin:password_change": (OPENED, OPENED),
    "password_change_done": (OPENED, NO_SUCH_WAY),
    # What is there to be forgotten is a wrong guess, and there is none.
    "accessattempt_change": (WENT, REFUSED),
    "accessattempt_delete": (WENT, WENT),
    "accessattempt_history": (WENT, WENT),
    "<path:object_id>/": (WENT, WENT),
    "autocomplete": (REFUSED, NO_SUCH_WAY),
    "jsi18n": (OPENED, NO_SUCH_WAY),
    "view_on_site": (UNKNOWN, UNKNOWN),
    "(?P<url>.*)$": (UNKNOWN, UNKNOWN),
    "admin:login": (WENT, WENT),
}


@pytest.fixture(autouse=True)
def _monday_noon() -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def site(db: None) -> Site:
    return make_site()


@pytest.fixture
def client_as(
    site: Site, client_of: Callable[[Any], Client]
) -> Callable[[str], Client]:
    return lambda role: Client() if role == NOBODY else client_of(people(site)[role])


def by_name(site: Site) -> dict[str, list[Write]]:
    found: dict[str, list[Write]] = defaultdict(list)
    for write in writes(site).values():
        found[write.name].append(write)
    return found


def when_opened(name: str, role: str, deeds: list[Write]) -> int:
    if name in OPEN - WAYS:
        return OPENED
    if role == NOBODY or name in WAYS or role in LED_ON.get(name, ()):
        return WENT
    if name in BUTTONS:
        return NO_SUCH_WAY
    may_look = role in LOOKED_AT.get(name, ())
    if name in FORMS and not may_look and not any(one.allows(role) for one in deeds):
        return REFUSED
    return OPENED


def when_sent(write: Write, role: str) -> int:
    if role == NOBODY or write.allows(role):
        return WENT
    return NOT_OFFERED if role in write.not_offered else REFUSED


def administrators(name: str) -> tuple[int, int]:
    ends = [end for end in ADMINISTRATORS if name.endswith(end)]
    return ADMINISTRATORS[max(ends, key=len)]


def says_who_may(answer: Any) -> bool:
    """A refusal is a sentence of its own, not the page's usual one."""
    lead = re.search(r"<h1[^>]*>(.*?)</h1>", answer.content.decode(), re.DOTALL)
    return (
        lead is not None
        and "Your role may not do this" not in lead[1]
        and lead[1].strip().endswith(".")
    )


def is_to_sign_in(answer: Any) -> bool:
    return bool(answer["Location"].startswith(SIGN_IN))


class Answers:
    """Those that are not as the table says."""

    def __init__(self, role: str) -> None:
        self.role = role
        self.wrong: list[str] = []

    def check(self, what: str, answer: Any, expected: int) -> bool:
        form = (answer.context or {}).get("form") if answer.context else None
        found = answer.status_code
        if found != expected:
            said = dict(form.errors) if form is not None else ""
            self.wrong.append(f"{what}: {found} and not {expected} {said}")
        elif found == REFUSED and not says_who_may(answer):
            self.wrong.append(f"{what}: does not say who may")
        elif found == WENT and self.role == NOBODY and not is_to_sign_in(answer):
            self.wrong.append(f"{what}: leads to {answer['Location']}")
        return found == expected


def test_each_page_opens_for_whom_the_table_says_and_changes_nothing(
    site: Site, client_as: Callable[[str], Client]
) -> None:
    clients = {role: client_as(role) for role in (*ROLES, NOBODY)}
    deeds, before, wrong = by_name(site), everything(), {}
    for role, client in clients.items():
        answers = Answers(role)
        for name, arguments in pages(site).items():
            with CaptureQueriesContext(connection) as queries:
                answer = client.get(page(name, site))
            of_this = [one for one in deeds[name] if one.arguments == arguments]
            answers.check(
                name, answer, when_opened(name, role, of_this or deeds[name][:1])
            )
            if len(queries) > MOST_QUERIES:
                answers.wrong.append(costs(name, queries))
        wrong[role] = answers.wrong
    assert {role: found for role, found in wrong.items() if found} == {}
    assert everything() == before


def test_each_form_is_saved_by_whom_the_table_says(
    site: Site, client_as: Callable[[str], Client]
) -> None:
    clients = {role: client_as(role) for role in (*ROLES, NOBODY)}
    deeds, before, unchanged, wrong = writes(site), everything(), amounts(), {}
    for role, client in clients.items():
        answers = Answers(role)
        for deed, write in deeds.items():
            with transaction.atomic():
                answer = client.post(write.url, write.data)
                is_so = answers.check(deed, answer, when_sent(write, role))
                if is_so and write.allows(role) and amounts() == unchanged:
                    answers.wrong.append(f"{deed}: nothing was saved")
                if write.allows(role):
                    transaction.set_rollback(True)
        wrong[role] = answers.wrong
    assert {role: found for role, found in wrong.items() if found} == {}
    assert everything() == before


def test_what_has_no_form_takes_none(
    site: Site, client_as: Callable[[str], Client]
) -> None:
    clients = {role: client_as(role) for role in ("admin", NOBODY)}
    reads = OWN - by_name(site).keys() - OPEN - {"logout"}
    before = everything()
    for role, client in clients.items():
        answers = Answers(role)
        expected = WENT if role == NOBODY else NO_SUCH_WAY
        for name in sorted(reads):
            answers.check(name, client.post(page(name, site)), expected)
        assert answers.wrong == []
    assert everything() == before


@pytest.mark.parametrize("role", ["admin", "planner", NOBODY])
def test_the_administrators_pages_are_the_administrators(
    role: str, site: Site, client_as: Callable[[str], Client]
) -> None:
    wrong = []
    client = client_as(role)
    before = everything()
    for name in sorted(ALL.keys() - OWN - {"admin:logout"}):
        opened, sent = administrators(name) if role == "admin" else (WENT, WENT)
        for method, expected in (("get", opened), ("post", sent)):
            answer = getattr(client, method)(example(name, site))
            if answer.status_code != expected:
                wrong.append(f"{method} {name}: {answer.status_code}")
    assert wrong == []
    assert everything() == before


def test_every_form_and_button_is_in_the_table_of_who_may_send_it(site: Site) -> None:
    assert by_name(site).keys() >= (FORMS | BUTTONS) - {"logout"}
