"""What every answer tells the browser, whoever gives it and however it turned out."""

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import time_machine
from django.conf import settings as site_settings
from django.db import OperationalError
from django.template.loader import get_template
from django.test import Client
from django.urls import reverse

from tests.builders import NOW
from tests.config.every_address import OWN, page
from tests.config.how_it_opens import BUTTONS
from tests.config.whole_site import Site, make_site

ROOT = Path(__file__).parents[2]


@pytest.fixture(autouse=True)
def _monday_noon() -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def site(db: None) -> Site:
    return make_site()


@pytest.fixture
def admin(site: Site, client_of: Callable[[Any], Client]) -> Client:
    client = client_of(site.cast.people.admin)
    client.raise_request_exception = False
    return client


def faults_of(answer: Any) -> list[str]:
    policy = answer.get("Content-Security-Policy", "")
    told = {
        "default-src 'self'": "default-src 'self'" in policy,
        "base-uri 'none'": "base-uri 'none'" in policy,
        "form-action 'self'": "form-action 'self'" in policy,
        "frame-ancestors 'none'": "frame-ancestors 'none'" in policy,
        "object-src 'none'": "object-src 'none'" in policy,
        "nothing unsafe": not re.search(r"unsafe|\*|data:|https?:|report", policy),
        "no frame": answer.get("X-Frame-Options") == "DENY",
        "no guess at types": answer.get("X-Content-Type-Options") == "nosniff",
        "referrer": answer.get("Referrer-Policy") == "same-origin",
        "opener": answer.get("Cross-Origin-Opener-Policy") == "same-origin",
    }
    return [what for what, is_so in told.items() if not is_so]


def breaks(error: type[Exception]) -> Callable[..., None]:
    def raise_it(*args: Any, **kwargs: Any) -> None:
        raise error("broken on purpose")

    return raise_it


def test_every_page_and_every_download_tells_it(site: Site, admin: Client) -> None:
    files = 0
    for name in OWN - BUTTONS:
        for question in ({}, {"csv": "1"}):
            answer = admin.get(page(name, site), question)
            assert faults_of(answer) == [], (name, question)
            files += answer.get("Content-Type", "").startswith("text/csv")
    assert files > 15


def other_answers(
    admin: Client, client: Client, monkeypatch: pytest.MonkeyPatch
) -> Iterator[tuple[int, Any]]:
    """(status, answer) of what no page answers when all is well."""
    sign_in = reverse("login")
    yield 302, client.get("/plant/")
    yield 302, admin.get("/admin/login/")
    yield 301, admin.get("/plant")
    yield 400, admin.get("/registry/?q=%00")
    yield 400, client.get(sign_in, headers={"host": "elsewhere.example"})
    yield 400, client.post(sign_in, b"x", content_type="multipart/form-data")
    yield 404, admin.get("/nowhere/")
    yield 404, client.get("/static/nowhere.css")
    yield 405, admin.post("/plant/")
    yield 413, client.post(sign_in, {"username": "x" * 3_000_000})
    yield 200, client.get(sign_in)
    yield 200, client.get("/static/css/base.css")
    yield 200, client.get("/static/js/confirm.js")
    yield 200, client.get("/static/icon.svg")
    yield 200, admin.get("/admin/")
    yield 200, admin.get("/admin/auth/user/add/")
    yield 403, Client(enforce_csrf_checks=True).post(sign_in)
    client.post(sign_in, {"username": "nobody", "password": "a wrong guess"})
    yield 429, client.post(sign_in, {"username": "nobody", "password": "another"})
    yield 503, client.get("/alive")
    monkeypatch.setattr("cells.views.registry.render", breaks(RuntimeError))
    yield 500, admin.get("/registry/")
    monkeypatch.setattr("cells.views.registry.render", breaks(OperationalError))
    yield 503, admin.get("/registry/")


def test_whatever_else_is_answered_tells_it_too(
    admin: Client,
    client: Client,
    site: Site,
    client_of: Callable[[Any], Client],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    client.raise_request_exception = False
    reader = client_of(site.cast.people.reader)
    wrong = []
    answers = [*other_answers(admin, client, monkeypatch)]
    answers.append((403, reader.get("/registry/areas/add/")))
    for status, answer in answers:
        address = answer.request["PATH_INFO"]
        answer.close()  # the open file of a static one
        if answer.status_code != status or faults_of(answer):
            wrong.append((address, status, answer.status_code, faults_of(answer)))
    assert wrong == []


def test_a_redirect_to_https_tells_it_too(client: Client, settings: Any) -> None:
    settings.SECURE_SSL_REDIRECT = True
    answer = client.get("/plant/")

    assert answer["Location"].startswith("https://")
    assert faults_of(answer) == []


# What the policy would block must not stand in a template


def templates() -> list[Path]:
    rooms = ("cells", "maintenance", "oee", "config")
    return [
        path for room in rooms for path in (ROOT / room).rglob("templates/**/*.html")
    ]


INLINE = {
    "a script within the page": r"<script(?![^>]*\bsrc=)",
    "a style within the page": r"<style\b",
    "a style of one element": r"\sstyle\s*=",
    "a handler": r"\son(?:[a-z]*(?:click|change|submit|load|error|input|down|up|over)"
    r"|focus|blur|toggle)\s*=",
    "an address that is a script": r"javascript:",
    "another site's": r"""(?:src|href|action)\s*=\s*["']?(?:https?:)?//""",
    "a script in a template of htmx": r"\bhx-on\b|\bhx-vals\s*=\s*[\"']js:",
}


@pytest.mark.parametrize("what", INLINE)
def test_no_template_holds(what: str) -> None:
    found = [
        str(path.relative_to(ROOT))
        for path in templates()
        if re.search(INLINE[what], path.read_text(), re.IGNORECASE)
    ]
    assert len(templates()) > 50
    assert found == []


@pytest.mark.parametrize(
    ("what", "text"),
    [
        ("a script within the page", "<script>alert(1)</script>"),
        ("a style within the page", "<style>p {}</style>"),
        ("a style of one element", '<p class="a" style="color: red">'),
        ("a handler", '<button type="submit" onclick="go()">'),
        ("an address that is a script", '<a href="javascript:go()">'),
        ("another site's", '<script src="https://elsewhere.example/a.js">'),
        ("a script in a template of htmx", '<p hx-on:click="go()">'),
    ],
)
def test_such_a_template_would_be_found(what: str, text: str) -> None:
    assert re.search(INLINE[what], text, re.IGNORECASE)


def test_the_shell_keeps_htmx_from_writing_styles_and_running_texts() -> None:
    shell = Path(str(get_template("base.html").origin)).read_text()

    assert '"includeIndicatorStyles": false' in shell
    assert '"allowEval": false' in shell


# Cookies and sessions


def test_cookies_are_kept_from_scripts_and_from_other_sites() -> None:
    assert site_settings.SESSION_COOKIE_HTTPONLY
    assert site_settings.SESSION_COOKIE_SAMESITE == "Lax"
    assert site_settings.CSRF_COOKIE_SAMESITE == "Lax"
