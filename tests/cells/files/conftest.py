import pytest
import time_machine


@pytest.fixture
def _frozen():
    # A conftest is read before the models can be.
    from tests.plant_files import NOW

    with time_machine.travel(NOW, tick=False):
        yield
