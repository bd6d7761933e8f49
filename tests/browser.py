"""A headless Chromium for the tests that do a person's job in the pages."""

import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest

CHROMIUM = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@contextmanager
def a_chromium() -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    program = shutil.which("chromium")
    assert program, "There is no chromium. Install it, as tests/run does."
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=program, args=CHROMIUM)
        yield chromium
        chromium.close()


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    # Playwright keeps a loop in this thread, in which Django would refuse to ask the
    # database; no code of ours runs in that loop.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    with a_chromium() as chromium:
        yield chromium
    del os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"]


@pytest.fixture
def page_of(browser: Any, live_server: Any) -> Iterator[Callable[..., Any]]:
    """page_of(user): a page with base address, signed in. page_of(None): a stranger's.

    Whatever the browser complains of (a script's error, something that the content
    security policy blocked) fails the test at its end.
    """
    contexts: list[Any] = []
    complaints: list[str] = []

    def open_page(user: Any, **options: Any) -> Any:
        context = browser.new_context(
            base_url=live_server.url, locale="en-GB", **options
        )
        contexts.append(context)
        if user is not None:
            context.add_cookies([_session_cookie(user, live_server.url)])
        page = context.new_page()
        page.set_default_timeout(10_000)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("console", lambda said: complaints.extend(_complaint(said)))
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert not complaints


def _complaint(said: Any) -> list[str]:
    """A page that answers with a refusal is none; a style or script that misses is."""
    refusal = said.text.startswith("Failed to load resource: the server responded")
    is_page = "/static/" not in said.location["url"]
    if said.type != "error" or (refusal and is_page and "status of 4" in said.text):
        return []
    return [said.text]


def _session_cookie(user: Any, address: str) -> dict[str, str]:
    from django.conf import settings
    from django.test import Client

    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    value = client.cookies[settings.SESSION_COOKIE_NAME].value
    return {"name": settings.SESSION_COOKIE_NAME, "value": value, "url": address}


@pytest.fixture(scope="session")
def axe_faults() -> Callable[..., list[str]]:
    """axe_faults(page): one line per serious or critical fault, with its places.

    axe_faults(page, "color-contrast") asks for these rules only.
    """
    from axe_playwright_python.sync_playwright import Axe

    script = Axe().axe_script

    def faults_of(page: Any, *rules: str) -> list[str]:
        options = {"resultTypes": ["violations"], "iframes": False}
        if rules:
            options["runOnly"] = list(rules)
        if not page.evaluate("'axe' in window"):
            page.evaluate(script)
        found = page.evaluate("options => axe.run(options)", options)
        return [
            f"{fault['impact']} {fault['id']}: {fault['help']} at "
            + ", ".join(str(node["target"]) for node in fault["nodes"])
            for fault in found["violations"]
            if fault["impact"] in ("serious", "critical")
        ]

    return faults_of
