"""The cast on Monday at noon, by the plant's clock.

Models are imported inside: this file is read before Django is set up.
"""

from collections.abc import Iterator
from typing import Any

import pytest
import time_machine
from django.utils import timezone


@pytest.fixture
def monday_noon() -> Iterator[time_machine.Traveller]:
    """Frozen; ``move_to`` goes elsewhere. Sentences are in plant time, as on pages."""
    from tests.builders import BERLIN, NOW

    with time_machine.travel(NOW, tick=False) as clock, timezone.override(BERLIN):
        yield clock


@pytest.fixture
def cast(db: None, monday_noon: time_machine.Traveller) -> Any:
    from tests.builders import the_cast

    return the_cast()


@pytest.fixture
def reasons(db: None) -> Any:
    from tests.maintenance.stop_cast import make_reasons

    return make_reasons()


@pytest.fixture
def by_patterns(cast: Any) -> None:
    """No shift is stored, so the patterns say which dates are worked: mon-fri."""
    from cells.models import Shift

    Shift.objects.all().delete()
