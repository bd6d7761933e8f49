# The cast is imported by the fixtures: pytest may read this file before Django is up.
from collections.abc import Iterator
from typing import Any

import pytest
import time_machine


@pytest.fixture
def noon() -> Iterator[None]:
    """It is Monday noon in the plant, and stays so."""
    from tests import builders

    with time_machine.travel(builders.NOW, tick=False):
        yield


@pytest.fixture
def cast(db: None, noon: None) -> Any:
    from tests import builders

    return builders.the_cast()
