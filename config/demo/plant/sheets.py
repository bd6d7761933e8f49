"""Rows and moments as the demo plant's files hold them."""

import csv
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from pathlib import Path

from config.demo.plant.layout import ZONE

Row = dict[str, object]


def second(text: str) -> int:
    return int(datetime.fromisoformat(text).replace(tzinfo=ZONE).timestamp())


def moment(second: float) -> str:
    """UTC with its offset, so that no clock change makes it ambiguous."""
    return f"{datetime.fromtimestamp(second, UTC):%Y-%m-%dT%H:%M:%SZ}"


def write(
    folder: Path,
    name: str,
    rows: Iterable[Mapping[str, object]],
    columns: tuple[str, ...] = (),
) -> None:
    kept = list(rows)
    with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(
            file, columns or list(kept[0]), restval="", lineterminator="\n"
        )
        writer.writeheader()
        writer.writerows(kept)
