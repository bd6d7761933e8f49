"""Nonsense, in every form, every address and every file: refused, or taken whole.

More of it, and the same again: pytest tests/config/test_fuzz.py --fuzz-tries 10000
--hypothesis-seed 1
"""

from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlsplit

import pytest
import time_machine
from django.conf import settings
from django.db import connection, transaction
from django.test import Client
from django.urls import reverse
from hypothesis import HealthCheck, Phase, assume, given
from hypothesis import settings as trying
from hypothesis import strategies as st

from config.loading import load
from tests.builders import NOW
from tests.config.deeds import Write
from tests.config.every_address import OWN
from tests.config.how_it_opens import BUTTONS, addresses
from tests.config.live_forms import LiveForm, forms_on, questions_on
from tests.config.mutations import (
    FOREIGN,
    MARKUP,
    NASTY,
    bodies,
    encoded,
    mutated,
    tables,
)
from tests.config.tables import everything
from tests.config.who_writes import writes
from tests.config.whole_site import Site, make_site, pages
from tests.plant_files import NOW as FILES_NOW
from tests.plant_files import SMALL, load_files, write_files

pytestmark = [pytest.mark.django_db, pytest.mark.once]

#: What a page may answer to nonsense, and with which of them nothing is written.
TAKEN = {302}
REFUSED = {200, 400, 403, 404, 405, 413, 415, 422}
#: How many tries there are when nobody asks for more.
ALWAYS = 300
#: Which share of the tries goes where.
SHARES = {"forms": 0.55, "questions": 0.2, "paths": 0.05, "files": 0.2}
#: Of the administrator's pages.
PEOPLE = [
    "/admin/auth/user/",
    "/admin/auth/user/add/",
    "/admin/auth/user/1/change/",
    "/admin/auth/user/1/password/",
    "/admin/cells/change/",
    "/admin/cells/cell/1/change/",
    "/admin/password_change/",
]
TOKEN = "t" * 32
#: Bytes of an address; longer ones the web server refuses itself.
LONGEST_ADDRESS = 8190
WRITING = ("INSERT", "UPDATE", "DELETE", "COPY", "REPLACE")
#: Who is signed in, and who guessed wrong, is written without being asked.
ASIDE = ("django_session", "axes_")


@pytest.fixture
def tries(pytestconfig: pytest.Config) -> Callable[[str], trying]:
    """How a part of the tries is run."""

    asked_for = pytestconfig.getoption("fuzz_tries")

    def settings_of(part: str) -> trying:
        return trying(
            max_examples=round((asked_for or ALWAYS) * SHARES[part]),
            # Among all the tests the same every time: a change breaks what it breaks.
            derandomize=asked_for is None,
            database=None,
            phases=[Phase.generate, Phase.shrink],
            suppress_health_check=list(HealthCheck),
        )

    return settings_of


@pytest.fixture
def site(db: None) -> Iterator[Site]:
    with time_machine.travel(NOW, tick=False):
        yield make_site()


@pytest.fixture
def cookies(site: Site, client_of: Callable[[Any], Client]) -> dict[str, str]:
    """The signed-in sessions of those who send nonsense."""
    people = site.cast.people
    return {
        user.username: client_of(user).cookies[settings.SESSION_COOKIE_NAME].value
        for user in (people.admin, people.leader, people.planner, people.stranger)
    }


def of(session: str) -> Client:
    """A browser without the messages of the try before; it sends the form's token."""
    client = Client(enforce_csrf_checks=True, headers={"X-CSRFToken": TOKEN})
    client.cookies[settings.CSRF_COOKIE_NAME] = TOKEN
    client.cookies[settings.SESSION_COOKIE_NAME] = session
    return client


@contextmanager
def undone() -> Iterator[list[str]]:
    """What is written within, by its tables; all of it is taken back."""
    written: list[str] = []

    def note(execute: Any, sql: str, *args: Any) -> Any:
        first = sql.lstrip().upper()
        if first.startswith(WRITING) and not any(name in sql for name in ASIDE):
            written.append(sql)
        return execute(sql, *args)

    with connection.execute_wrapper(note), transaction.atomic():
        yield written
        transaction.set_rollback(True)


def shown_pages(site: Site, client: Client) -> Iterator[tuple[str, str]]:
    names = sorted(OWN - BUTTONS)
    for address in [*addresses(site, names), *PEOPLE, *asked_of_tasks(site)]:
        answer = client.get(address)
        if answer.status_code == 200 and b"<html" in answer.content:
            yield address, answer.content.decode()


def asked_of_tasks(site: Site) -> list[str]:
    return [f"/tasks/complete/?task={task.pk}" for task in site.tasks.values()]


def live_forms(site: Site, client: Client) -> list[LiveForm]:
    """Of every page; those that somebody may save are filled in."""
    found = {
        form
        for address, content in shown_pages(site, client)
        for form in forms_on(content, address)
        if form.method == "post" and form.address != "/sign-out/"
    }
    empty = {(form.address, form.question): form for form in found}
    filled = {as_form(write, empty) for write in writes(site).values()}
    assert len(found) > 70
    return sorted(found | filled, key=str)


def as_form(write: Write, empty: dict[tuple[str, str], LiveForm]) -> LiveForm:
    where = urlsplit(write.url)
    shown = empty.get((where.path, where.query))
    data = {**dict(shown.pairs if shown else ()), **write.data}
    pairs = tuple((name, str(value)) for name, value in data.items())
    return LiveForm("post", where.path, pairs, where.query)


def questions(site: Site, client: Client) -> list[LiveForm]:
    """What is asked of each page, by its links and by its forms; of some, nothing."""
    found = set()
    for address, content in shown_pages(site, client):
        found.add(LiveForm("get", urlsplit(address).path, ()))
        found |= set(questions_on(content, address))
        found |= {one for one in forms_on(content, address) if one.method == "get"}
    assert len(found) > 100
    return sorted(found, key=str)


def test_no_form_breaks_and_none_is_saved_by_half(
    site: Site, cookies: dict[str, str], tries: Callable[[str], trying]
) -> None:
    forms = live_forms(site, of(cookies["admin"]))
    before, answers = everything(), Counter[int]()

    @tries("forms")
    @given(st.data(), st.sampled_from(forms), st.sampled_from([*cookies, "admin"]))
    def send(data: Any, form: LiveForm, who: str) -> None:
        body, kind = data.draw(bodies(list(form.pairs)))
        with undone() as written:
            answer = of(cookies[who]).post(
                form.address, body, content_type=kind, QUERY_STRING=form.question
            )
            answers[answer.status_code] += 1
            assert answer.status_code in TAKEN | REFUSED
            assert MARKUP.encode() not in answer.content
            if written and answer.status_code not in TAKEN:
                assert everything() == before

    send()
    print("Forms answered:", dict(answers))
    assert everything() == before
    assert answers[302] > 0 < answers[422]


def test_no_question_breaks_a_page_or_changes_anything(
    site: Site, cookies: dict[str, str], tries: Callable[[str], trying]
) -> None:
    asked, answers = questions(site, of(cookies["admin"])), Counter[int]()

    @tries("questions")
    @given(st.data(), st.sampled_from(asked), st.sampled_from([*cookies, "admin"]))
    def ask(data: Any, page: LiveForm, who: str) -> None:
        question = encoded(data.draw(mutated(list(page.pairs)))).decode()
        assume(len(page.address) + len(question) < LONGEST_ADDRESS)
        with undone() as written:
            answer = of(cookies[who]).get(page.address, QUERY_STRING=question)
            answers[answer.status_code] += 1
            assert answer.status_code in TAKEN | REFUSED
            assert is_file(answer) or MARKUP.encode() not in content_of(answer)
            assert not written

    ask()
    print("Questions answered:", dict(answers))
    assert answers[200] > 0 < answers[400]


def is_file(answer: Any) -> bool:
    return bool(answer.get("Content-Type", "").startswith("text/csv"))


def content_of(answer: Any) -> bytes:
    content: bytes = answer.content
    return content


def test_no_address_breaks_or_changes_anything(
    site: Site, cookies: dict[str, str], tries: Callable[[str], trying]
) -> None:
    examples = {name: given for name, given in pages(site).items() if given}
    parts = st.one_of(st.sampled_from([*NASTY, *FOREIGN, "..", ".", "a/b", "%2e%2e"]))

    @tries("paths")
    @given(
        st.data(), st.sampled_from(sorted(examples)), st.sampled_from(["get", "post"])
    )
    def open_it(data: Any, name: str, method: str) -> None:
        path = urlsplit(reverse(name, args=examples[name])).path
        words = path.split("/")
        at = data.draw(st.integers(1, len(words) - 1))
        words[at] = quote(data.draw(parts), safe="", errors="surrogatepass")
        with undone() as written:
            client = of(cookies["admin"])
            answer = getattr(client, method)("/".join(words))
            assert answer.status_code in TAKEN | REFUSED | {301}
            assert MARKUP.encode() not in answer.content
            if method == "get":
                assert not written

    open_it()


def test_no_file_breaks_the_load_and_none_is_loaded_by_half(
    db: None, tmp_path: Path, tries: Callable[[str], trying]
) -> None:
    with time_machine.travel(FILES_NOW, tick=False):
        assert load_files(tmp_path, SMALL).faults == []
        before, loads = everything(), Counter[bool]()

        @tries("files")
        @given(st.data(), st.sampled_from(sorted(SMALL)))
        def load_it(data: Any, name: str) -> None:
            broken: dict[str, str | bytes] = {name: data.draw(tables(SMALL[name]))}
            write_files(tmp_path, broken)
            with undone() as written:
                report = load(tmp_path)
                loads[not report.faults] += 1
                for fault in report.faults:
                    assert str(fault).isprintable()
                    assert fault.reason.rstrip(")").endswith(".")
                if report.faults and written:
                    assert everything() == before

        load_it()
        print("Files loaded:", dict(loads))
        assert loads[True] > 0 < loads[False]
        assert everything() == before
