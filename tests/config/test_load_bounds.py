"""How large a plant's files may be, and that texts come back as they went out."""

import io
from collections.abc import Iterator
from pathlib import Path

import pytest
import time_machine

from cells.csv_files import write_rows
from config import loading
from maintenance.models import Stop
from tests.config.tables import everything
from tests.plant_files import NOW, SMALL, fault_texts, load_files

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _frozen() -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def loaded(tmp_path: Path) -> Path:
    assert load_files(tmp_path, SMALL).faults == []
    return tmp_path


@pytest.mark.parametrize(
    ("bound", "most", "words"),
    [
        ("MOST_BYTES", 30, "areas.csv: The file has 67 bytes and may have 30."),
        ("MOST_ROWS", 1, "areas.csv: The file has 2 lines and may have 1."),
    ],
)
def test_a_file_that_is_too_large_is_refused_in_a_sentence_and_nothing_is_loaded(
    loaded: Path, monkeypatch: pytest.MonkeyPatch, bound: str, most: int, words: str
) -> None:
    before = everything()
    monkeypatch.setattr(loading, bound, most)
    changed = SMALL["areas.csv"].replace("Body shop", "Another name")
    faults = fault_texts(loaded, {"areas.csv": changed})

    assert faults == [f"{words} Load it in several parts."]
    assert everything() == before


@pytest.mark.parametrize("note", ["=HYPERLINK(0)", "-5", "'=1", " +1", "''@x", "\tx"])
def test_a_text_comes_back_from_a_file_as_it_went_out(loaded: Path, note: str) -> None:
    header = SMALL["stops.csv"].splitlines()[0].split(",")
    stop = dict.fromkeys(header, "") | {
        "ref": "S9",
        "cell": "L1-20",
        "reason": "gun",
        "started_at": "2026-03-02T12:30",
        "ended_at": "2026-03-02T12:40",
        "note": note,
        "withdrawn": "no",
    }
    out = io.StringIO(newline="")
    write_rows(out, header, [list(stop.values())])

    assert fault_texts(loaded, {"stops.csv": out.getvalue()}) == []
    assert Stop.objects.get(ref="S9").note == note
