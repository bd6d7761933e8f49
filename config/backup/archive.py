"""The file of a backup: the database as its own programs wrote it, and a manifest.

A ZIP file with two members. The manifest says what the other one is, so that what is
broken, of another kind or of a newer program is told before anything is restored.
"""

import hashlib
import json
import os
import shutil
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

FORMAT = 1
MANIFEST, DATABASE = "manifest.json", "database"


class BackupError(Exception):
    """A whole sentence for whoever takes or restores a backup."""


@dataclass(frozen=True, kw_only=True)
class Contents:
    """What was in the database at the moment of the backup."""

    kind: str  # sqlite or postgresql
    plant: str
    migrations: list[tuple[str, str]]  # applied: app and name
    rows: dict[str, int]  # of every table


@dataclass(frozen=True, kw_only=True)
class Manifest:
    contents: Contents
    taken_at: datetime
    code: str  # the version of the program that took it
    size: int  # bytes of the member
    sha256: str  # of the member


def write(path: Path, database: Path, manifest: Manifest) -> None:
    """Write and force to the disk; whoever finds the file finds all of it."""
    about = {"format": FORMAT, **asdict(manifest)}
    about["taken_at"] = manifest.taken_at.isoformat()
    # PostgreSQL's is compressed already.
    packed = manifest.contents.kind == "sqlite"
    method = zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED
    with path.open("xb") as file:
        path.chmod(0o600)  # names of people and their passwords' hashes are in it
        with zipfile.ZipFile(file, "w", method, compresslevel=1) as archive:
            archive.writestr(MANIFEST, json.dumps(about, indent=1))
            archive.write(database, DATABASE)
        file.flush()
        os.fsync(file.fileno())


def digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def read(path: Path) -> Manifest:
    with _opened(path) as archive:
        try:
            about = json.loads(archive.read(MANIFEST))
            if about.pop("format") != FORMAT:
                raise BackupError(
                    f"{path} was written by a newer program. Restore it with that one."
                )
            contents = about.pop("contents")
            migrations = [(app, name) for app, name in contents.pop("migrations")]
            return Manifest(
                contents=Contents(**contents, migrations=migrations),
                taken_at=datetime.fromisoformat(about.pop("taken_at")),
                **about,
            )
        except (KeyError, TypeError, ValueError, AttributeError):
            raise _no_backup(path) from None


def extract(path: Path, manifest: Manifest, database: Path) -> None:
    """The database's file out of it, once every byte of it is known to be there."""
    with _opened(path) as archive:
        try:
            if archive.getinfo(DATABASE).file_size != manifest.size:
                raise _broken(path)
            with archive.open(DATABASE) as packed, database.open("xb") as file:
                shutil.copyfileobj(packed, file)
        except (KeyError, zipfile.BadZipFile, zlib.error, EOFError):
            raise _broken(path) from None
    if digest(database) != manifest.sha256:
        raise _broken(path)


@contextmanager
def _opened(path: Path) -> Iterator[zipfile.ZipFile]:
    try:
        archive = zipfile.ZipFile(path)
    except OSError as error:
        raise BackupError(f"{path} cannot be read: {error.strerror}.") from None
    except zipfile.BadZipFile:
        raise _no_backup(path) from None
    with archive:
        yield archive


def _no_backup(path: Path) -> BackupError:
    return BackupError(
        f"{path} is no backup of this tool, or its end is missing. Nothing was "
        "restored: take another backup file."
    )


def _broken(path: Path) -> BackupError:
    return BackupError(
        f"{path} is damaged: it is not what was written. Nothing was restored: take "
        "another backup file."
    )
