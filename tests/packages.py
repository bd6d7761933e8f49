"""Are the locked packages known to be at fault? bash tests/run asks; so may you:

    python tests/packages.py

Advisories are asked with pip-audit, where that is installed (it is no part of the
lock, as it brings twenty packages of its own: put it in an environment of its own and
on the PATH). What could not be asked is said, and fails nothing: the network may be
away. A known fault does fail.
"""

import json
import shutil
import subprocess
import sys
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

LOCKS = ("requirements.lock", "requirements-dev.lock")
SECONDS = 60

#: Until when faults are mended: the release schedules of Django (5.2 is a long-term
#: release, "until at least April 2028") and of Python (PEP 664: October 2027).
SUPPORTED = {"Django 5.2": date(2028, 4, 30), "Python 3.11": date(2027, 10, 31)}


def support(today: date) -> Iterator[str]:
    for name, until in SUPPORTED.items():
        if today > until:
            yield f"{name} has had no mended faults since {until}: move to a newer one."


def advisories(lock: str) -> dict[str, Any] | None:
    """What pip-audit answers; None where it is not there or cannot ask."""
    program = shutil.which("pip-audit")
    if program is None:
        return None
    asked = [program, "--disable-pip", "--require-hashes", "-r", lock, "-f", "json"]
    try:
        answer = subprocess.run(
            [*asked, "--progress-spinner", "off"],
            capture_output=True,
            text=True,
            timeout=SECONDS,
        )
        found: dict[str, Any] = json.loads(answer.stdout)
    except (subprocess.TimeoutExpired, ValueError):
        return None
    return found


def read(lock: str, answer: dict[str, Any] | None) -> tuple[list[str], str]:
    """The known faults of a lock's packages, and a sentence on how many were asked."""
    if answer is None:
        return [], f"{lock}: no advisories were asked (no pip-audit, or no network)."
    packages = answer["dependencies"]
    asked = [one for one in packages if "skip_reason" not in one]
    faults = [
        f"{one['name']} {one['version']}: {fault['id']}, mended in "
        f"{', '.join(fault['fix_versions']) or 'no version yet'}."
        for one in asked
        for fault in one["vulns"]
    ]
    known = f"{len(asked)} of {len(packages)} packages were asked about"
    return faults, f"{lock}: {known}, {len(faults)} known faults."


def main() -> int:
    faults = list(support(date.today()))  # noqa: DTZ011  a day more or less is no matter
    for lock in LOCKS:
        found, said = read(lock, advisories(lock))
        faults += found
        print(said)
    for fault in dict.fromkeys(faults):
        print(f"FAULT  {fault}")
    return 1 if faults else 0


if __name__ == "__main__":
    assert Path(LOCKS[0]).exists(), "Run it in the checkout’s own folder."
    sys.exit(main())
