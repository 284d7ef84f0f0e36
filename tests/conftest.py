"""Loaded before every test: triton (part of torch) and Mesa's software renderer each bring LLVM, and triton crashes the
process when it comes second, so it comes first. No test sees the networks that the person at this machine adopted."""

import importlib.util
from collections.abc import Iterator
from pathlib import Path

import pytest

if importlib.util.find_spec("triton"):
    importlib.import_module("triton")


@pytest.fixture(autouse=True, scope="session")
def no_adopted_network(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """An empty folder of adopted networks, for called commands too."""
    with pytest.MonkeyPatch.context() as patch:
        folder = tmp_path_factory.mktemp("data")
        patch.setenv("XDG_DATA_HOME", str(folder))
        yield folder
