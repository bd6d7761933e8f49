"""What every test may ask for, beside pytest-django's own.

client_of(user)    a test client, signed in
worker             a real Celery worker on the test database (tests/live.py)
page_of(user)      a browser's page, signed in, on a live server (tests/browser.py)
axe_faults(page)   its serious and critical accessibility faults
"""

import os
from collections.abc import Callable, Iterator
from typing import Any

import hypothesis
import pytest

from tests.services import Services

pytest_plugins = ["tests.browser", "tests.live"]

# A law is true on a busy machine too: no example is judged by its time.
hypothesis.settings.register_profile(
    "untimed", deadline=None, suppress_health_check=[hypothesis.HealthCheck.too_slow]
)
hypothesis.settings.load_profile("untimed")

services_key = pytest.StashKey[Services]()


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--only-database",
        action="store_true",
        help="leave out what asks no database: for the second run, on another one",
    )
    parser.addoption(
        "--fuzz-tries",
        type=int,
        metavar="N",
        help="how much nonsense is sent to the forms, pages and files, other than last "
        "time; with --hypothesis-seed the same again (tests/config/test_fuzz.py)",
    )


@pytest.hookimpl(tryfirst=True)
def pytest_configure(config: pytest.Config) -> None:
    """The servers are up before Django reads the settings that name them."""
    services = config.stash[services_key] = Services(
        os.environ.get("TEST_DATABASE", "sqlite")
    )
    config.add_cleanup(services.stop)
    services.start()
    for name in (
        "ALLOWED_HOSTS",
        "BASE_ADDRESS",
        "BEHIND_PROXY",
        "CLOCK_OFFSET",
        "CLOCK_SINCE",
        "CLOCK_SPEED",
        "DEBUG",
        "DEMO",
        "DATABASE_URL_FILE",
        "REDIS_URL_FILE",
        "SECRET_KEY_FILE",
    ):
        os.environ.pop(name, None)
    os.environ["SECRET_KEY"] = "for-the-tests-only-and-as-long-as-a-real-one-has-to-be"
    os.environ["DJANGO_SETTINGS_MODULE"] = "config.settings"

    import django
    from django.conf import settings

    # Safe hashing costs a third of a second for each person that a test makes.
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    django.setup()


def pytest_collection_modifyitems(
    config: pytest.Config, items: list[pytest.Item]
) -> None:
    if config.getoption("--only-database"):
        asking = [item for item in items if _asks_database(item)]
        config.hook.pytest_deselected(
            items=[item for item in items if item not in set(asking)]
        )
        items[:] = asking


def _asks_database(item: pytest.Item) -> bool:
    fixtures = {"db", "transactional_db", "django_db_setup", "services"}
    asked = set(getattr(item, "fixturenames", ()))
    return bool(item.get_closest_marker("django_db") or fixtures & asked)


@pytest.fixture(scope="session")
def services(pytestconfig: pytest.Config) -> Services:
    return pytestconfig.stash[services_key]


@pytest.fixture(scope="session")
def django_db_modify_db_settings(services: Services) -> None:
    """SQLite in a file: a worker cannot see a database in this process's memory."""
    from django.db import connection

    if connection.vendor == "sqlite":
        connection.settings_dict["TEST"]["NAME"] = str(services.sqlite_file)


@pytest.fixture(autouse=True)
def _an_empty_cache() -> Iterator[None]:
    yield
    from django.core.cache import cache

    cache.clear()


@pytest.fixture
def client_of(db: None) -> Callable[[Any], Any]:
    from django.test import Client

    def sign_in(user: Any) -> Client:
        client = Client()
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        return client

    return sign_in
