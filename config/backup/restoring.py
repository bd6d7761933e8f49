"""Bring a backup back, into an empty database and no other."""

import tempfile
from pathlib import Path
from typing import Any

from django.core.cache import cache
from django.core.management import call_command
from django.db import connection
from django.db.migrations.loader import MigrationLoader

from config.backup import archive, kinds
from config.backup.archive import BackupError, Manifest

PROGRAMS = {"sqlite": "SQLite", "postgresql": "PostgreSQL"}


def restore(path: Path) -> Manifest:
    manifest = archive.read(path)
    _insist_on_its_kind(path, manifest)
    _insist_on_known_migrations(path, manifest)
    _insist_on_an_empty_database()
    with tempfile.TemporaryDirectory(prefix="account-restore-") as folder:
        database = Path(folder) / "database"
        archive.extract(path, manifest, database)
        kinds.fill(database)
    _compare(manifest)
    call_command("migrate", interactive=False, verbosity=0)
    # Whoever was signed in before is not signed in to this one.
    cache.clear()
    return manifest


def _insist_on_its_kind(path: Path, manifest: Manifest) -> None:
    kind = manifest.contents.kind
    if kind != connection.vendor:
        raise BackupError(
            f"{path} is of a {PROGRAMS[kind]} database, and DATABASE_URL names one of "
            f"{PROGRAMS[connection.vendor]}. Name an empty {PROGRAMS[kind]} database."
        )


def _insist_on_known_migrations(path: Path, manifest: Manifest) -> None:
    known = MigrationLoader(None).disk_migrations
    newer = [one for one in manifest.contents.migrations if one not in known]
    if newer:
        app, name = newer[0]
        raise BackupError(
            f"{path} was taken by a newer program: its database has the migration "
            f"{app}.{name}, which this one does not know. Update the program first."
        )


def _insist_on_an_empty_database() -> None:
    tables = connection.introspection.table_names()
    if not tables:
        return
    name = connection.settings_dict["NAME"]
    way = (
        "Make a new one (createdb) and name it in DATABASE_URL."
        if connection.vendor == "postgresql"
        else "Name a file that is not there yet in DATABASE_URL "
        "(sqlite:////folder/new.sqlite3)."
    )
    raise BackupError(
        f"The database “{name}” is not empty: it has {len(tables)} tables. A backup is "
        f"only restored into an empty one, so that nothing is lost. {way}"
    )


def _compare(manifest: Manifest) -> None:
    """What the programs of the database brought back is what was there."""
    with connection.cursor() as cursor:

        def ask(question: str) -> list[tuple[Any, ...]]:
            cursor.execute(question)
            return cursor.fetchall()

        rows = kinds.rows_of(ask, sorted(manifest.contents.rows))
    wrong = [
        f"{table} has {rows[table]:,} rows and had {had:,}"
        for table, had in manifest.contents.rows.items()
        if rows[table] != had
    ]
    if wrong:
        raise BackupError(
            f"The restored database is not whole, do not use it: {'; '.join(wrong)}."
        )
