"""Where in the files each new or changed reading stands."""

from array import array
from collections.abc import Iterator

from cells.models import Reading
from cells.moments import to_seconds


class Noted:
    """Four numbers a reading, as a file may bring a million of them."""

    def __init__(self) -> None:
        self.files: list[tuple[str, str]] = []  # file, column
        self._numbers = {
            name: array("q") for name in ("meter", "read_at", "file", "line")
        }

    def add(self, reading: Reading, line: int, file: str, column: str) -> None:
        if (file, column) not in self.files:
            self.files.append((file, column))
        place = self.files.index((file, column))
        row = (reading.meter_id, to_seconds(reading.read_at), place, line)
        for numbers, number in zip(self._numbers.values(), row, strict=True):
            numbers.append(number)

    def rows(self) -> Iterator[tuple[int, ...]]:
        """Meter id, moment in seconds, index of the file, line."""
        return zip(*self._numbers.values(), strict=True)

    def has(self, reading: Reading) -> bool:
        wanted = (reading.meter_id, to_seconds(reading.read_at))
        return any(row[:2] == wanted for row in self.rows())
