"""A backup holds one moment of the plant, and comes back row by row."""

import os
import random
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import timedelta
from pathlib import Path
from typing import Any
from urllib.parse import quote

import psycopg
import pytest
import time_machine
from django.conf import settings
from django.contrib.sessions.models import Session
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client

from cells.models import Cell
from config import heartbeats, postgresql
from config.backup import archive, taking
from config.backup.archive import BackupError
from config.backup.kinds import LEFT_OUT
from config.models import Backup
from maintenance.stops import log_stop
from oee.models import CellShift
from tests.builders import MONDAY, NOW, at
from tests.config.whole_site import make_site
from tests.live import child_environment, database_url
from tests.maintenance.stop_cast import make_reason
from tests.oee.stored import make_stored_plant
from tests.services import Services

pytestmark = pytest.mark.django_db(transaction=True)

MANAGE = [sys.executable, str(settings.BASE_DIR / "manage.py")]


@pytest.fixture
def empty(services: Services, tmp_path: Path) -> Iterator[str]:
    """The DATABASE_URL of an empty database of the same kind."""
    if connection.vendor == "sqlite":
        yield f"sqlite:///{tmp_path / 'restored.sqlite3'}"
        return
    with connection.cursor() as cursor:
        cursor.execute("CREATE DATABASE restored")
        where = connection.settings_dict
        host = quote(where["HOST"], safe="")
        yield f"postgresql://{where['USER']}@{host}/restored"
        cursor.execute("DROP DATABASE restored WITH (FORCE)")


def restore(file: Path, url: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*MANAGE, "restore", str(file)],
        env={**child_environment(), "DATABASE_URL": url},
        capture_output=True,
        text=True,
        check=False,
    )


Ask = Callable[[str], list[tuple[Any, ...]]]


@contextmanager
def asked(url: str) -> Iterator[Ask]:
    """Any database, without Django."""
    if url.startswith("sqlite"):
        there: Any = sqlite3.connect(url.removeprefix("sqlite:///"))
    else:
        there = psycopg.connect(url)
    with closing(there):
        yield lambda question: there.execute(question).fetchall()


def tables(ask: Ask) -> list[str]:
    if connection.vendor == "sqlite":
        own = "type = 'table' AND name NOT LIKE 'sqlite_%'"
        rows = ask(f"SELECT name FROM sqlite_master WHERE {own} ORDER BY 1")
    else:
        own = "schemaname = 'public'"
        rows = ask(f"SELECT tablename FROM pg_tables WHERE {own} ORDER BY 1")
    return [name for (name,) in rows]


#: A backup's own record is written after it.
NOT_COMPARED = {*LEFT_OUT, "config_backup"}


def every_row(ask: Ask) -> dict[str, list[tuple[Any, ...]]]:
    return {
        table: sorted(ask(f'SELECT * FROM "{table}"'), key=repr)
        for table in tables(ask)
        if table not in NOT_COMPARED
    }


def test_every_row_comes_back_but_for_who_was_signed_in(
    empty: str,
    tmp_path: Path,
    client_of: Callable[[Any], Client],
) -> None:
    with time_machine.travel(NOW):
        site = make_site()
    client_of(site.cast.people.admin).get("/definitions/")
    heartbeats.say("worker", "worker1@line-host")
    assert Session.objects.exists()
    file = tmp_path / "plant.backup"
    with asked(database_url()) as ask:
        before = every_row(ask)

    call_command("backup", file)
    done = restore(file, empty)

    assert done.returncode == 0, done.stderr
    assert "Restored “Testwerk” as of " in done.stderr
    assert f"{CellShift.objects.count()} cell shifts, 3 stops" in done.stderr
    with asked(empty) as ask:
        assert every_row(ask) == before
        assert len(before["oee_cellshift"]) == 3
        assert ask("SELECT COUNT(*) FROM django_session") == [(0,)]
        assert ask("SELECT COUNT(*) FROM config_heartbeat") == [(0,)]
        # The next record made there gets a number of its own.
        [(last,)] = ask("SELECT MAX(id) FROM auth_group")
        [(new,)] = ask("INSERT INTO auth_group (name) VALUES ('new') RETURNING id")
        assert new > last


class Writer(threading.Thread):
    """Logs stops, one after the other, and notes each that was acknowledged."""

    def __init__(self) -> None:
        super().__init__()
        self.acknowledged: list[int] = []
        self.fault: Exception | None = None
        self.ends = threading.Event()
        self._cell = Cell.objects.get(code="B1-0")
        self._reason = make_reason()

    def run(self) -> None:
        try:
            while not self.ends.is_set():
                start = at("06:00", MONDAY) + timedelta(seconds=len(self.acknowledged))
                stop = log_stop(
                    cell=self._cell,
                    reason=self._reason,
                    started_at=start,
                    ended_at=start + timedelta(seconds=1),
                    by=None,
                    door="import",
                )
                self.acknowledged.append(stop.pk)
                # People, not a loop: SQLite has no queue for its one writer's place.
                time.sleep(0.02)
        except Exception as fault:
            self.fault = fault
        finally:
            connection.close()


ORPHANS = (
    "SELECT id FROM oee_cellshift WHERE shift_id NOT IN (SELECT id FROM cells_shift)",
    "SELECT id FROM cells_stalemark WHERE cell_id NOT IN (SELECT id FROM cells_cell)",
)


def test_a_backup_taken_while_people_work_is_one_moment_of_it(
    empty: str, tmp_path: Path
) -> None:
    make_stored_plant(random.Random(7))
    file = tmp_path / "plant.backup"
    writer = Writer()
    writer.start()
    try:
        while len(writer.acknowledged) < 20:
            assert writer.fault is None
        acknowledged_before = len(writer.acknowledged)
        taking.take(file)
        acknowledged_after = len(writer.acknowledged)
    finally:
        writer.ends.set()
        writer.join()
    assert writer.fault is None
    assert acknowledged_after > acknowledged_before  # nobody waited for the backup

    assert restore(file, empty).returncode == 0

    with asked(empty) as ask:
        stops = [pk for (pk,) in ask("SELECT id FROM maintenance_stop ORDER BY id")]
        assert stops == writer.acknowledged[: len(stops)]
        assert acknowledged_before <= len(stops) <= acknowledged_after + 1
        assert archive.read(file).contents.rows["maintenance_stop"] == len(stops)
        # Each with its entry in the trail, and nothing without what it hangs on.
        trail = "SELECT record_id FROM cells_change WHERE kind = 'stop' ORDER BY 1"
        assert [pk for (pk,) in ask(trail)] == stops
        assert [len(ask(orphans)) for orphans in ORPHANS] == [0, 0]
        theirs = every_row(ask)["oee_cellshift"]
    with asked(database_url()) as ask:
        assert theirs == every_row(ask)["oee_cellshift"]
    assert len(theirs) == 120


def test_a_backup_is_tried_and_the_trial_is_kept_on_record(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    make_stored_plant(random.Random(7))

    call_command("backup", tmp_path, "--try-restore")

    assert "Restored on trial: every row is there." in capsys.readouterr().err
    [backup] = Backup.objects.all()
    assert backup.restored_at is not None
    assert Path(backup.path).parent == tmp_path
    assert Path(backup.path).stat().st_size == backup.size
    assert Path(backup.path).stat().st_mode & 0o077 == 0
    assert [file.name for file in tmp_path.iterdir()] == [Path(backup.path).name]


def test_a_trial_that_fails_says_so_and_records_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    backup = taking.take(tmp_path / "plant.backup")
    # A database that has something in it already.
    monkeypatch.setattr(taking, "_trial_environment", lambda *_: child_environment())

    with pytest.raises(BackupError, match=r"not be restored on trial: .*is not empty"):
        taking.try_restore(backup)

    assert Backup.objects.get().restored_at is None


def test_only_the_newest_of_a_folder_are_kept(tmp_path: Path) -> None:
    (tmp_path / "account-of-something-else.txt").touch()
    for day in (1, 2, 3):
        (tmp_path / f"account-2026030{day}T030000Z.backup").touch()

    call_command("backup", tmp_path, "--keep", "2")

    kept = sorted(file.name for file in tmp_path.iterdir())
    assert kept[0] == "account-20260303T030000Z.backup"
    assert kept[2:] == ["account-of-something-else.txt"]


def test_a_backup_is_never_overwritten(tmp_path: Path) -> None:
    file = tmp_path / "plant.backup"
    file.write_text("of last year")

    with pytest.raises(CommandError, match="is there already, and a backup is never"):
        call_command("backup", file)

    assert file.read_text() == "of last year"
    assert not Backup.objects.exists()


def test_a_backup_that_fails_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_space(*args: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", no_space)

    with pytest.raises(CommandError, match=r"not written: .*No space left on device"):
        call_command("backup", tmp_path / "plant.backup")

    assert list(tmp_path.iterdir()) == []
    assert not Backup.objects.exists()


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        (["/nowhere/plant.backup"], "There is no folder /nowhere"),
        (["/nowhere/plant.backup", "--keep", "3"], "--keep is 3. Give a number"),
        (["/", "--keep", "0"], "--keep is 0. Give a number from 1"),
    ],
)
def test_what_cannot_be_meant_is_said(options: list[str], sentence: str) -> None:
    with pytest.raises(CommandError, match=sentence):
        call_command("backup", *options)


def test_nothing_is_restored_over_a_plant(tmp_path: Path) -> None:
    file = Path(taking.take(tmp_path / "plant.backup").path)
    with asked(database_url()) as ask:
        before = every_row(ask)

    with pytest.raises(CommandError, match=r"is not empty: it has .* (Name|Make) a"):
        call_command("restore", file)

    with asked(database_url()) as ask:
        assert every_row(ask) == before


def test_an_older_backup_is_brought_up_to_this_program(
    empty: str, tmp_path: Path
) -> None:
    call_command("migrate", "config", "zero", verbosity=0)
    try:
        written, _ = taking._write(tmp_path, NOW)
    finally:
        call_command("migrate", "config", verbosity=0)

    done = restore(written, empty)

    assert done.returncode == 0, done.stderr
    with asked(empty) as ask:
        assert ask("SELECT COUNT(*) FROM config_backup") == [(0,)]


def test_a_machine_without_postgresqls_programs_is_told_what_to_install(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(postgresql.shutil, "which", lambda name: None)
    monkeypatch.setattr(postgresql, "INSTALLED", tmp_path)

    with pytest.raises(
        RuntimeError, match=r"There is no pg_dump on this machine\. Inst"
    ):
        postgresql.program("pg_dump")
