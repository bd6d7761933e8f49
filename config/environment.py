"""Reading the environment: every setting that differs between two installations.

A value that cannot be meant stops the start with a sentence, instead of running a
plant on a guess.
"""

import os
import re
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit

import dj_database_url
from django.core.exceptions import ImproperlyConfigured

# Without WAL a reader blocks the writer; without IMMEDIATE two writers that both
# began as readers fail at once with "database is locked" instead of waiting.
SQLITE_OPTIONS = {
    "transaction_mode": "IMMEDIATE",
    "timeout": 20,  # seconds a writer waits for its turn
    "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL;",
}

#: Times real time: beyond it the demo's own life could not keep up.
FASTEST = 600

_ORIGIN = re.compile(r"https?://(\[[0-9a-f:.]+\]|[0-9a-z._-]+)(:[0-9]{1,5})?")


def flag(name: str) -> bool:
    """yes/no, as in the files; unset is no."""
    value = os.environ.get(name, "no").strip().lower()
    if value not in ("yes", "no"):
        raise ImproperlyConfigured(
            f"{name} is “{value}”. Set it to yes or no, or leave it unset (no)."
        )
    return value == "yes"


def require_secret_key() -> None:
    """For whatever serves pages to people."""
    if not os.environ.get("SECRET_KEY") and not flag("DEBUG"):
        raise ImproperlyConfigured(
            "SECRET_KEY is not set. Set it to a long random text that stays the same "
            "and that nobody else knows, or set DEBUG=yes on your own machine."
        )


def whole_number(name: str, *, unset: int = 0) -> int:
    value = os.environ.get(name, str(unset)).strip()
    try:
        return int(value)
    except ValueError:
        raise ImproperlyConfigured(
            f"{name} is “{value}”. Set it to a whole number, like 3600 or -60."
        ) from None


def check_clock(*, offset: int, speed: int, since: int, demo: bool) -> None:
    """A plant that people work in runs on the machine's clock and on no other."""
    if offset and not demo:
        raise ImproperlyConfigured(
            f"CLOCK_OFFSET is {offset} s, but only the demo may run on a shifted "
            "clock. Unset CLOCK_OFFSET."
        )
    if speed != 1 and not demo:
        raise ImproperlyConfigured(
            f"CLOCK_SPEED is {speed}, but only the demo may run faster than the "
            "clock. Unset CLOCK_SPEED."
        )
    if not 1 <= speed <= FASTEST:
        raise ImproperlyConfigured(
            f"CLOCK_SPEED is {speed}. Set it to a whole number from 1 (as fast as the "
            f"clock) to {FASTEST}."
        )
    if speed > 1 and since <= 0:
        raise ImproperlyConfigured(
            f"CLOCK_SPEED is {speed}, but CLOCK_SINCE is {since}. Set it to the real "
            "second, counted from 1970 UTC, from which the speed counts."
        )


def words(name: str) -> list[str]:
    """A comma-separated list; unset is empty."""
    return [
        word.strip() for word in os.environ.get(name, "").split(",") if word.strip()
    ]


def address(name: str, default: str) -> str:
    """An http(s) address of this site: scheme, name and port, in small letters."""
    value = os.environ.get(name, default).strip().rstrip("/")
    origin = value.lower()
    if not _ORIGIN.fullmatch(origin):
        raise ImproperlyConfigured(
            f"{name} is “{value}”. Set it to the address people open, like "
            "https://account.plant.example, without a path or a sign-in."
        )
    return origin


def database(default_file: Path) -> dict[str, object]:
    """DATABASE_URL, or the SQLite file."""
    if os.environ.get("DATABASE_URL"):
        parsed = dict(dj_database_url.parse(os.environ["DATABASE_URL"]))
    else:
        default_file.parent.mkdir(parents=True, exist_ok=True)
        parsed = {"ENGINE": "django.db.backends.sqlite3", "NAME": default_file}
    if parsed["ENGINE"] == "django.db.backends.sqlite3":
        return {**parsed, "OPTIONS": SQLITE_OPTIONS}
    return {**parsed, "CONN_MAX_AGE": 60, "CONN_HEALTH_CHECKS": True}


def redis_database(url: str, number: int) -> str:
    """The same Redis server, another of its numbered databases."""
    return urlunsplit(urlsplit(url)._replace(path=f"/{number}"))
