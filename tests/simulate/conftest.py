"""One simulated week, shared by the tests that only look at it."""

import pytest

from cellmon.simulate.harrowmere import SEED, harrowmere_week
from cellmon.simulate.line import run


@pytest.fixture(scope="session")
def week():
    return run(harrowmere_week(), seed=SEED)
