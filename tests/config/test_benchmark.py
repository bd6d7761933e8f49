"""The benchmark works on very little data, and touches no database but its own."""

import os
import subprocess
import sys
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from config.benchmark import home

OF_THE_LEDGER = ("year", "larger", "workers", "latency")


@pytest.mark.live
def test_the_ledgers_benchmarks_run_on_very_little(tmp_path: Path) -> None:
    database = os.environ.get("TEST_DATABASE", "sqlite")
    without = {"DATABASE_URL", "REDIS_URL"}
    environment = {k: v for k, v in os.environ.items() if k not in without}
    said = subprocess.run(
        [
            *(sys.executable, "manage.py", "benchmark", *OF_THE_LEDGER),
            *("--small", "--database", database),
        ],
        env={**environment, "VAR_DIR": str(tmp_path)},
        capture_output=True,
        text=True,
        check=True,
        timeout=300,
    ).stdout
    for name in OF_THE_LEDGER:
        assert f"\n{name}\n" in said
    # The reference found the stored seconds in each of them, or it would have ended.
    assert "the same seconds in all 300 rows" in said


def test_the_benchmark_refuses_a_database_that_somebody_keeps() -> None:
    with pytest.raises(CommandError, match="DATABASE_URL is set"):
        call_command("benchmark", "year")
    with pytest.raises(CommandError, match="not the benchmark's own"):
        home.insist_on_own_database()


def test_an_unknown_benchmark_is_named() -> None:
    with pytest.raises(CommandError, match="no benchmark “yeer”"):
        call_command("benchmark", "yeer", stdout=StringIO())
