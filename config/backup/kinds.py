"""How either kind of database is copied at one moment, and filled again.

Nobody waits for a copy, and it holds what was committed before one moment and nothing
of later: SQLite and PostgreSQL both read on from where they began while others write.
"""

import os
import sqlite3
import subprocess
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any
from urllib.parse import quote

from django.db import connection, connections
from django.db.backends.postgresql.client import DatabaseClient

from config import postgresql
from config.backup.archive import BackupError, Contents

#: Sign-ins end with the database they were made in: a restored one asks everybody
#: again. And who is running there, is nothing to bring back.
LEFT_OUT = ("django_session", "config_heartbeat")

Ask = Callable[[str], list[tuple[Any, ...]]]


def copy(to: Path) -> Contents:
    if connection.vendor == "postgresql":
        return _copy_postgresql(to)
    return _copy_sqlite(to)


def fill(database: Path) -> None:
    """An empty database; it stays empty if anything fails."""
    if connection.vendor == "postgresql":
        _fill_postgresql(database)
    else:
        _fill_sqlite(database)


def rows_of(ask: Ask, tables: list[str]) -> dict[str, int]:
    return {table: ask(f'SELECT COUNT(*) FROM "{table}"')[0][0] for table in tables}


def _contents(ask: Ask, tables: str) -> Contents:
    names = sorted(name for (name,) in ask(tables))
    if "django_migrations" not in names:
        raise BackupError(
            "The database has no tables, so there is nothing to back up. See that "
            "DATABASE_URL names the plant’s."
        )
    rows = rows_of(ask, names)
    plant = ask("SELECT name FROM cells_plant") if "cells_plant" in names else []
    return Contents(
        kind=connection.vendor,
        plant=plant[0][0] if plant else "",
        migrations=ask("SELECT app, name FROM django_migrations ORDER BY id"),
        rows={**rows, **dict.fromkeys(set(LEFT_OUT) & set(names), 0)},
    )


def _copy_sqlite(to: Path) -> Contents:
    file = Path(connection.settings_dict["NAME"])
    with closing(sqlite3.connect(f"file:{quote(str(file))}?mode=rw", uri=True)) as here:
        here.execute("PRAGMA busy_timeout = 20000")
        here.execute("VACUUM INTO ?", [str(to)])
    with closing(sqlite3.connect(to, isolation_level=None)) as there:
        there.execute("PRAGMA secure_delete = ON")

        def ask(question: str) -> list[tuple[Any, ...]]:
            return there.execute(question).fetchall()

        tables = "SELECT name FROM sqlite_master WHERE type = 'table'"
        contents = _contents(ask, f"{tables} AND name NOT LIKE 'sqlite_%'")
        for table in set(LEFT_OUT) & set(contents.rows):
            there.execute(f'DELETE FROM "{table}"')
    return contents


def _fill_sqlite(database: Path) -> None:
    connection.ensure_connection()
    with closing(sqlite3.connect(database)) as there:
        there.backup(connection.connection)


def _copy_postgresql(to: Path) -> Contents:
    """One snapshot for the dump and for the counts that it is checked against."""
    here = connections.create_connection("default")
    try:
        with here.cursor() as cursor:

            def ask(question: str) -> list[tuple[Any, ...]]:
                cursor.execute(question)
                return cursor.fetchall()

            cursor.execute("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY")
            [(snapshot,)] = ask("SELECT pg_export_snapshot()")
            contents = _contents(
                ask, "SELECT tablename FROM pg_tables WHERE schemaname = current_schema"
            )
            _run(
                "pg_dump",
                "--format=custom",
                "--no-owner",
                "--no-privileges",
                f"--snapshot={snapshot}",
                "--lock-wait-timeout=60s",
                f"--file={to}",
                *(f"--exclude-table-data={table}" for table in LEFT_OUT),
            )
            cursor.execute("COMMIT")
    finally:
        here.close()
    return contents


def _fill_postgresql(database: Path) -> None:
    _run(
        "pg_restore",
        "--single-transaction",
        "--exit-on-error",
        "--no-owner",
        "--no-privileges",
        str(database),
        database_option="--dbname",
    )
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")  # a restored table has no statistics to plan by


def _run(name: str, *options: str, database_option: str = "") -> None:
    """A program of PostgreSQL's on the database of the settings; no password in it."""
    (_, *place), secrets = DatabaseClient.settings_to_cmd_args_env(
        connection.settings_dict, [database_option] if database_option else []
    )
    try:
        program = postgresql.program(name)
    except RuntimeError as error:
        raise BackupError(str(error)) from None
    done = subprocess.run(
        [program, "--no-password", *options, *place],
        env={**os.environ, **(secrets or {})},
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        raise BackupError(f"{name} failed and said: {done.stderr.strip()}")
