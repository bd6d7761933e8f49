"""What a backup's file must be before anything of it is restored."""

import json
import zipfile
from pathlib import Path
from typing import Any

import pytest
from django.db import connection

from config.backup import archive, restoring, taking
from config.backup.archive import BackupError

pytestmark = pytest.mark.django_db(transaction=True)


def damage(file: Path) -> None:
    """One bit, in the middle of the database."""
    content = bytearray(file.read_bytes())
    content[len(content) // 2] ^= 1
    file.write_bytes(content)


def rewritten(file: Path, **changes: Any) -> Path:
    """With another manifest around the same database."""
    changed = file.with_suffix(".changed")
    with zipfile.ZipFile(file) as old, zipfile.ZipFile(changed, "w") as new:
        about = json.loads(old.read(archive.MANIFEST))
        contents = changes.pop("contents", {})
        about = {**about, **changes, "contents": {**about["contents"], **contents}}
        new.writestr(archive.MANIFEST, json.dumps(about))
        new.writestr(archive.DATABASE, old.read(archive.DATABASE))
    return changed


@pytest.fixture
def into_emptiness(monkeypatch: pytest.MonkeyPatch) -> None:
    """As if the database were empty; whatever would be written to it fails."""
    monkeypatch.setattr(restoring, "_insist_on_an_empty_database", lambda: None)
    monkeypatch.delattr(restoring.kinds, "fill")


@pytest.mark.usefixtures("into_emptiness")
@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        pytest.param({"sha256": "0" * 64}, "is damaged", id="another checksum"),
        pytest.param({"size": 5}, "is damaged", id="another size"),
        pytest.param({"format": 2}, "by a newer program", id="another format"),
        pytest.param(
            {"contents": {"migrations": [["oee", "9999_later"]]}},
            "has the migration oee.9999_later, which this one does not know. Update",
            id="a newer program's",
        ),
        pytest.param({"taken_at": "soon"}, "is no backup of this tool", id="nonsense"),
    ],
)
def test_a_file_that_does_not_fit_is_refused_before_anything_is_written(
    change: dict[str, Any], sentence: str, tmp_path: Path
) -> None:
    file = rewritten(Path(taking.take(tmp_path / "plant.backup").path), **change)

    with pytest.raises(BackupError, match=sentence):
        restoring.restore(file)


@pytest.mark.usefixtures("into_emptiness")
def test_a_backup_of_the_other_kind_is_refused(tmp_path: Path) -> None:
    other = "postgresql" if connection.vendor == "sqlite" else "sqlite"
    taken = Path(taking.take(tmp_path / "plant.backup").path)
    file = rewritten(taken, contents={"kind": other})

    with pytest.raises(BackupError, match="and DATABASE_URL names one of"):
        restoring.restore(file)


@pytest.mark.usefixtures("into_emptiness")
def test_a_torn_a_damaged_and_no_backup_at_all_are_refused(tmp_path: Path) -> None:
    file = Path(taking.take(tmp_path / "plant.backup").path)
    torn = tmp_path / "torn"
    torn.write_bytes(file.read_bytes()[:-100])
    damage(file)

    with pytest.raises(BackupError, match="is no backup of this tool, or its end is"):
        restoring.restore(torn)
    with pytest.raises(BackupError, match="is damaged"):
        restoring.restore(file)
    with pytest.raises(BackupError, match="cannot be read: No such file"):
        restoring.restore(tmp_path / "nothing")
