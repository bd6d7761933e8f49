"""Take a backup, and find out whether it can be restored."""

import os
import socket
import subprocess
import sys
import tempfile
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path

from django.conf import settings
from django.db import connection
from django.utils import timezone

from config import broker, postgresql
from config.backup import archive, kinds
from config.backup.archive import BackupError, Manifest
from config.models import Backup
from config.version import CODE

#: Of a backup that is given a folder; the moment in it sorts by itself.
NAME = "account-{:%Y%m%dT%H%M%SZ}.backup"
PATTERN = "account-*.backup"


def take(target: Path) -> Backup:
    """Into a new file, or a folder that is there. Nothing is ever overwritten."""
    moment = datetime.now(UTC).replace(microsecond=0)
    path = (target / NAME.format(moment) if target.is_dir() else target).absolute()
    _insist_on_a_new_file(path)
    try:
        # Beside its place, so that it is put there in one step.
        with tempfile.TemporaryDirectory(dir=path.parent, prefix=".backup-") as folder:
            written, manifest = _write(Path(folder), moment)
            size = written.stat().st_size
            _insist_on_a_new_file(path)
            written.rename(path)
        _force_to_disk(path.parent)
    except OSError as error:
        raise BackupError(f"The backup was not written: {error}.") from None
    return Backup.objects.create(
        host=socket.gethostname(),
        path=str(path),
        taken_at=moment,
        size=size,
        sha256=manifest.sha256,
    )


def try_restore(backup: Backup) -> None:
    """Into a database of its own, by the command that a real one would need."""
    with ExitStack() as stack:
        folder = Path(
            stack.enter_context(tempfile.TemporaryDirectory(prefix="account-trial-"))
        )
        environment = _trial_environment(folder, stack)
        done = subprocess.run(
            [
                *(sys.executable, str(settings.BASE_DIR / "manage.py")),
                *("restore", backup.path),
            ],
            env=environment,
            capture_output=True,
            text=True,
            check=False,
        )
    if done.returncode:
        raise BackupError(
            f"{backup.path} was written, but could not be restored on trial: "
            f"{done.stderr.strip()}"
        )
    backup.restored_at = timezone.now().replace(microsecond=0)
    backup.save(update_fields=["restored_at"])


def remove_older(folder: Path, *, keep: int) -> list[Path]:
    """All but the newest ones. Only files that a backup into a folder named so."""
    found = sorted(folder.glob(PATTERN), reverse=True)
    for path in found[keep:]:
        path.unlink()
    return found[keep:]


def _write(folder: Path, moment: datetime) -> tuple[Path, Manifest]:
    database, written = folder / "database", folder / "archive"
    contents = kinds.copy(database)
    manifest = Manifest(
        contents=contents,
        taken_at=moment,
        code=CODE,
        size=database.stat().st_size,
        sha256=archive.digest(database),
    )
    archive.write(written, database, manifest)
    return written, manifest


def _insist_on_a_new_file(path: Path) -> None:
    if not path.parent.is_dir():
        raise BackupError(
            f"There is no folder {path.parent}. Make it, or give another place."
        )
    if path.exists():
        raise BackupError(
            f"{path} is there already, and a backup is never overwritten. Give another "
            "name, or a folder: then it is named by its moment."
        )


def _force_to_disk(folder: Path) -> None:
    """Of a folder: the names in it."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _trial_environment(folder: Path, stack: ExitStack) -> dict[str, str]:
    """A database and a queue that nobody else knows, so that nothing gets mixed up."""
    redis_url = broker.new_address()
    redis = broker.start_broker(folder / "broker", redis_url)
    stack.callback(redis.stop)
    database_url = f"sqlite:///{folder / 'plant.sqlite3'}"
    if connection.vendor == "postgresql":
        try:
            server, database_url = postgresql.start_postgresql(folder, hasty=True)
        except (RuntimeError, subprocess.CalledProcessError) as error:
            raise BackupError(
                f"The backup was written, but there is no PostgreSQL to try it in. "
                f"{error}"
            ) from None
        stack.callback(server.stop)
    files = ("DATABASE_URL_FILE", "REDIS_URL_FILE")
    return {
        **{name: value for name, value in os.environ.items() if name not in files},
        "DATABASE_URL": database_url,
        "REDIS_URL": redis_url,
    }
