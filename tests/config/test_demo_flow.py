"""The demo plant's engine, held against one body after the other."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.demo.plant.flow import Chain, Column, Trouble, Waits, Walked, walk
from tests.config.plant_walked import Day

LENGTH, BODIES, VARIANTS = 400, 150, 2


@st.composite
def chains(draw: Any) -> list[Column]:
    """Up to six columns, of one or two cells, that flow together into the first."""
    columns: list[Column] = []
    cell = 0
    for index in range(draw(st.integers(1, 6))):
        lag = draw(st.sampled_from([1, 1, 1, 2]))
        capacity = draw(st.integers(0, 4)) if index else 0
        columns.append(
            Column(
                cells=tuple(range(cell, cell + lag)),
                into=draw(st.integers(0, index - 1)) if index else None,
                capacity=capacity,
                content=draw(st.integers(0, capacity)),
            )
        )
        cell += lag
    return columns


@st.composite
def plants(draw: Any) -> tuple[list[Column], Any, Any, list[list[Any]]]:
    columns = draw(chains())
    cells = sum(len(column.cells) for column in columns)
    days = draw(st.integers(1, 3))
    rng = np.random.default_rng(draw(st.integers(0, 2**32)))
    pace = rng.integers(4, 30, (VARIANTS, cells, days)).astype(float)
    variants = rng.integers(0, VARIANTS, (BODIES, days))
    many = draw(st.integers(0, 12))
    rows = sorted(
        zip(
            rng.integers(0, cells, many).tolist(),
            rng.integers(0, days, many).tolist(),
            rng.integers(0, LENGTH, many).tolist(),
            rng.integers(1, 90, many).tolist(),
            strict=True,
        )
    )
    return columns, pace, variants, [list(row) for row in rows]


def walked(columns: list[Column], pace: Any, variants: Any, rows: Any) -> Walked:
    table = np.array(rows, dtype=np.int64).reshape(-1, 4)
    return walk(
        Chain(columns),
        pace=pace,
        variants=variants,
        trouble=Trouble(
            cell=table[:, 0],
            day=table[:, 1],
            at=table[:, 2].astype(float),
            seconds=table[:, 3].astype(float),
        ),
        length=np.full(pace.shape[2], float(LENGTH)),
        notable=np.zeros(pace.shape[1]),
    )


def of_day(waits: Waits, day: int) -> list[tuple[int, float, float]]:
    """That were over before the day was."""
    mine = (waits.day == day) & (waits.at + waits.seconds < LENGTH)
    columns = (waits.cell, waits.at, waits.seconds)
    return sorted(zip(*(column[mine].tolist() for column in columns), strict=True))


@given(plants())
def test_all_days_at_once_are_what_each_is_body_by_body(plant: Any) -> None:
    columns, pace, variants, rows = plant
    found = walked(columns, pace, variants, rows)

    for day in range(pace.shape[2]):
        holds: dict[int, list[tuple[float, float]]] = {}
        for cell, of, at, seconds in rows:
            if of == day:
                holds.setdefault(cell, []).append((at, seconds))
        slow = Day(
            columns=columns,
            pace=pace[:, :, day].tolist(),
            variants=variants[:, day].tolist(),
            holds=holds,
            length=LENGTH,
        ).walk()

        left = {
            (column, body): float(found.left[body, column, day])
            for body in range(len(found.left))
            for column in range(len(columns))
            if 0 < found.left[body, column, day] < LENGTH
        }
        assert left == slow.left
        for waits, expected in (
            (found.starved, slow.starved),
            (found.blocked, slow.blocked),
        ):
            assert of_day(waits, day) == sorted(expected)
        held = [
            (cell, at, seconds)
            for (cell, of, _, seconds), at in zip(rows, found.held_at, strict=True)
            if of == day and at + seconds < LENGTH
        ]
        assert sorted(held) == sorted(
            row for row in slow.held if row[1] + row[2] < LENGTH
        )


def test_a_cell_behind_a_stopped_one_waits_and_one_before_it_is_full() -> None:
    """By hand: three cells of 10 s without banks; the second stands from 25 to 65."""
    columns = [
        Column(cells=(0,)),
        Column(cells=(1,), into=0),
        Column(cells=(2,), into=1),
    ]
    pace, variants = np.full((1, 3, 1), 10.0), np.zeros((60, 1), dtype=np.int64)

    found = walked(columns, pace, variants, [[1, 0, 25, 40]])

    # Its third body, begun at 20, is done at 30 + 40.
    assert found.left[:4, 1, 0].tolist() == [10, 20, 70, 80]
    assert of_day(found.starved, 0) == [(0, 30.0, 40.0)]
    assert of_day(found.blocked, 0) == [(2, 30.0, 40.0)]


def test_a_bank_lets_the_cells_around_it_work_on() -> None:
    """The same with room for two, one of them taken: 10 s of each wait are left."""
    columns = [
        Column(cells=(0,)),
        Column(cells=(1,), into=0, capacity=2, content=1),
        Column(cells=(2,), into=1, capacity=4, content=1),
    ]
    pace, variants = np.full((1, 3, 1), 10.0), np.zeros((60, 1), dtype=np.int64)

    found = walked(columns, pace, variants, [[1, 0, 25, 40]])

    assert of_day(found.starved, 0) == [(0, 40.0, 30.0)]
    assert of_day(found.blocked, 0) == [(2, 60.0, 10.0)]


def test_too_few_bodies_for_the_day_are_refused() -> None:
    with pytest.raises(ValueError, match="too few bodies"):
        walk(
            Chain([Column(cells=(0,))]),
            pace=np.full((1, 1, 1), 10.0),
            variants=np.zeros((5, 1), dtype=np.int64),
            trouble=_no_trouble(),
            length=np.array([1000.0]),
            notable=np.zeros(1),
        )


def _no_trouble() -> Trouble:
    none = np.zeros(0, dtype=np.int64)
    return Trouble(cell=none, day=none, at=np.zeros(0), seconds=np.zeros(0))
