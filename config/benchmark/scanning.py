"""DuckDB's side of the reference, for a process that knows no Django."""

import importlib
from pathlib import Path
from typing import Any

import duckdb

from config.benchmark.timing import Took, timed


def scan(extension: str, attach: str, query: str) -> tuple[Took, dict[str, Any]]:
    """The query's columns. Starting and attaching are not timed."""
    module = importlib.import_module(f"duckdb_extension_{extension}")
    folder = Path(str(module.__file__)).parent / "extensions"
    (file,) = folder.glob(f"*/{extension}.duckdb_extension")
    with duckdb.connect() as reader:
        reader.execute(f"LOAD '{file}'")
        reader.execute(attach)
        return timed(lambda: reader.execute(query).fetchnumpy())
