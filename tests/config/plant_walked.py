"""The demo plant's days the slow and obvious way: one moment after the other.

A cell that is free begins its next body as soon as that has come from every column
that feeds it; a body that is done leaves as soon as the one that is as many places
ahead as the bank has room has left the next column.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from config.demo.plant.flow import Column

Hold = tuple[float, float]  # when it falls due, seconds


@dataclass
class Slot:
    """One cell, with the body that it has."""

    cell: int
    body: int
    holds: list[Hold]
    busy: bool = True
    done: float = 0.0
    free_since: float = 0.0
    held_until: float = 0.0


@dataclass
class Day:
    columns: Sequence[Column]
    pace: Sequence[Sequence[float]]  # by variant and cell
    variants: Sequence[int]
    holds: dict[int, list[Hold]]  # by cell, in order
    length: float
    left: dict[tuple[int, int], float] = field(default_factory=dict)
    #: (cell, since when, seconds)
    starved: list[tuple[int, float, float]] = field(default_factory=list)
    blocked: list[tuple[int, float, float]] = field(default_factory=list)
    held: list[tuple[int, float, float]] = field(default_factory=list)

    def walk(self) -> "Day":
        self.slots = [
            [
                Slot(cell=cell, body=turn, holds=list(self.holds.get(cell, [])))
                for turn, cell in enumerate(column.cells)
            ]
            for column in self.columns
        ]
        for index, slots in enumerate(self.slots):
            for slot in slots:
                self._begin(index, slot, 0.0)
        now = 0.0
        while now < self.length:
            while self._move(now):
                pass
            later = [
                slot.done
                for slots in self.slots
                for slot in slots
                if slot.busy and slot.done > now
            ]
            now = min(later, default=math.inf)
        return self

    def _move(self, now: float) -> bool:
        moved = False
        for index, slots in enumerate(self.slots):
            for slot in slots:
                if slot.busy and slot.done <= now and self._has_room(index, slot.body):
                    self._leave(index, slot, now)
                    moved = True
                if not slot.busy and self._has_come(index, slot.body):
                    if now > slot.free_since:
                        wait = now - slot.free_since
                        self.starved.append((slot.cell, slot.free_since, wait))
                    self._begin(index, slot, now)
                    moved = True
        return moved

    def _has_room(self, index: int, body: int) -> bool:
        column = self.columns[index]
        if column.into is None:
            return True
        ahead = body + column.content - column.capacity
        return ahead < 0 or (column.into, ahead) in self.left

    def _has_come(self, index: int, body: int) -> bool:
        lag = len(self.columns[index].cells)
        return all(
            body - lag - feeder.content < 0
            or (number, body - lag - feeder.content) in self.left
            for number, feeder in enumerate(self.columns)
            if feeder.into == index
        )

    def _leave(self, index: int, slot: Slot, now: float) -> None:
        self.left[index, slot.body] = now
        if now > slot.done:
            self.blocked.append((slot.cell, slot.done, now - slot.done))
        slot.busy, slot.free_since = False, now
        slot.body += len(self.columns[index].cells)

    def _begin(self, index: int, slot: Slot, now: float) -> None:
        ahead = self._ahead(index)
        pace = self.pace[self.variants[slot.body + ahead]][slot.cell]
        slot.busy, slot.done = True, now + pace
        while slot.holds and slot.holds[0][0] < slot.done:
            due, seconds = slot.holds.pop(0)
            at = max(due, now, slot.held_until)
            self.held.append((slot.cell, at, seconds))
            slot.held_until = at + seconds
            slot.done += seconds

    def _ahead(self, index: int) -> int:
        """Bodies in the banks and cells between here and the last column."""
        column = self.columns[index]
        if column.into is None:
            return 0
        after = len(self.columns[column.into].cells)
        return column.content + after + self._ahead(column.into)
