"""Checks against published figures use the closed-form dogs of tests/gait."""

import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "gait"))


@pytest.fixture(autouse=True)
def _strict_numbers() -> Iterator[None]:
    with np.errstate(all="raise"):
        yield
