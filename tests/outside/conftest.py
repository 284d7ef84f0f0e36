"""Numerical slips are errors in every check against published figures."""

from collections.abc import Iterator

import numpy as np
import pytest


@pytest.fixture(autouse=True)
def _strict_numbers() -> Iterator[None]:
    with np.errstate(all="raise"):
        yield
