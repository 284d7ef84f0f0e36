"""Training on the CPU with one thread: several would only wait for each other on the small batches of the tests."""

from collections.abc import Iterator

import pytest
import torch


@pytest.fixture(autouse=True)
def one_thread() -> Iterator[None]:
    before = torch.get_num_threads()
    torch.set_num_threads(1)
    yield
    torch.set_num_threads(before)
