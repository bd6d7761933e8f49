"""The demo's plant for tests that do a day's work in it: built once, then restored.

demo_plant            the plant in the database, its clock and its people
demo_page(username)   a browser's page, signed in as one of the demo's people
"""

import math
import sqlite3
import sys
import time
from collections.abc import Callable
from contextlib import closing
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest


@pytest.fixture(scope="session")
def demo_copy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the built plant is kept between the tests that change it."""
    return tmp_path_factory.mktemp("demo") / "plant.sqlite3"


@pytest.fixture
def demo_plant(
    transactional_db: None,
    demo_copy: Path,
    settings: Any,
    monkeypatch: pytest.MonkeyPatch,
) -> Callable[[datetime], None]:
    """The plant at 13:40. Call it with a moment, and its clock stands there."""
    from config.demo.plant.small import NOW

    def turn_clock(to: datetime) -> None:
        # Up: files that end at this moment must not lie in the future.
        settings.CLOCK_OFFSET = math.ceil(to.timestamp() - time.time())

    settings.DEMO = True
    turn_clock(NOW)
    if demo_copy.exists():
        _copy(demo_copy, into_database=True)
    else:
        # The password that the demo prints is not asked for here.
        monkeypatch.setattr("config.demo.people.insist_on_own_database", lambda: None)
        _build()
        _copy(demo_copy, into_database=False)
    return turn_clock


def _build() -> None:
    from django.core.management.base import OutputWrapper

    from config.demo.bar import Bar
    from config.demo.building import SHARES, SMALL_FILES, compute_account, load_plant
    from config.demo.people import create_people

    bar = Bar(OutputWrapper(sys.stderr), SHARES)
    load_plant(SMALL_FILES, bar)
    compute_account(bar)
    create_people()


def _copy(file: Path, *, into_database: bool) -> None:
    """Browsers are driven on SQLite only, whose database is a file."""
    from django.db import connection

    assert connection.vendor == "sqlite"
    connection.ensure_connection()
    with closing(sqlite3.connect(file)) as kept:
        ends = (kept, connection.connection)
        source, target = ends if into_database else reversed(ends)
        source.backup(target)


@pytest.fixture
def demo_page(demo_plant: Any, page_of: Any) -> Callable[..., Any]:
    """demo_page(username, **options of the device): signed in, on the first page."""
    from django.contrib.auth.models import User

    def open_page(username: str, **device: Any) -> Any:
        page = page_of(User.objects.get(username=username), **device)
        page.goto("/")
        return page

    return open_page
