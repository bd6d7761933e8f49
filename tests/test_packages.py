"""The locks are whole, and the check of their packages tells known faults."""

import re
import tomllib
from datetime import date
from pathlib import Path

import pytest

from tests.packages import LOCKS, advisories, read, support

ROOT = Path(__file__).parents[1]
_PINNED = re.compile(r"^([a-z0-9.-]+)(?:\[[a-z,]+\])?==(\S+)(?: ; .*)? \\$")


def pinned(lock: str) -> dict[str, str]:
    lines = (ROOT / lock).read_text().splitlines()
    named = [line for line in lines if not line.startswith((" ", "#"))]
    found = [_PINNED.match(line) for line in named]
    assert all(found), [line for line, ok in zip(named, found, strict=True) if not ok]
    return {match[1]: match[2] for match in found if match}


@pytest.mark.parametrize("lock", LOCKS)
def test_every_package_is_pinned_with_its_hashes_and_from_no_place_of_its_own(
    lock: str,
) -> None:
    text = (ROOT / lock).read_text()
    entries = re.split(r"\n(?=\S)", text.strip())

    assert len(pinned(lock)) == len(entries) > 20
    assert all("--hash=sha256:" in entry for entry in entries)
    assert not re.search(r"://|--index|--find-links|--trusted", text)


def test_what_runs_a_plant_is_what_was_tested() -> None:
    assert pinned("requirements.lock").items() <= (
        pinned("requirements-dev.lock").items()
    )


def test_every_dependency_is_locked() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    named = {
        re.split(r"[\[<>=~! ]", one)[0].lower(): one for one in project["dependencies"]
    }

    assert named.keys() <= pinned("requirements.lock").keys()
    assert pinned("requirements.lock")["django"].startswith("5.2.")


def test_a_known_fault_is_told_and_what_was_not_asked_is_too() -> None:
    answer = {
        "dependencies": [
            {"name": "one", "version": "1.0", "vulns": []},
            {
                "name": "two",
                "version": "2.0",
                "vulns": [{"id": "PYSEC-1", "fix_versions": ["2.1"]}],
            },
            {"name": "three", "skip_reason": "not found"},
        ]
    }
    faults, said = read("a.lock", answer)

    assert faults == ["two 2.0: PYSEC-1, mended in 2.1."]
    assert said == "a.lock: 2 of 3 packages were asked about, 1 known faults."


def test_without_the_tool_nothing_fails_and_it_is_said(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("PATH", "")
    faults, said = read("a.lock", advisories("a.lock"))

    assert faults == []
    assert "no advisories were asked" in said


def test_what_is_out_of_support_is_told() -> None:
    assert list(support(date(2026, 3, 2))) == []
    [python] = support(date(2027, 11, 1))
    assert python.startswith("Python 3.11")
