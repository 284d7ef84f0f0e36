"""Loaded before every test: triton (part of torch) and Mesa's software renderer each bring LLVM, and triton crashes the
process when it comes second, so it comes first. No test sees the networks that the person at this machine adopted."""

import importlib.util
import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Browser

#: What takes longest, begun first, so that no process waits at the end for another that has just begun one of these.
LONGEST = (
    "tests/caseload/test_morning_proof.py",
    "tests/gait/test_drawn_contacts.py",
    "tests/gait/test_live_against_whole.py",
    "tests/plugin/test_element_in_hosts.py",
    "tests/plugin/test_breaks_in_hosts.py",
    "tests/gait/test_drawn_pairs.py",
    "tests/training/test_fit_marks.py",
    "tests/samples/test_demo_truth.py",
    "tests/plugin/test_meta_on_frames.py",
    "tests/outside/test_anatomical_dog.py",
    "tests/caseload/test_cluster.py",
    "tests/command/test_caseload_run.py",
    "tests/desk/test_a_day_at_the_desk.py",
    "tests/caseload/test_false_alarms.py",
    "tests/training/test_footage_drawing.py",
    "tests/plugin/test_network_streams.py",
    "tests/desk/test_look_time.py",
)

if importlib.util.find_spec("triton"):
    importlib.import_module("triton")


def pytest_addoption(parser: pytest.Parser) -> None:
    """How long a live picture is played in tests/plugin, to hold its memory."""
    parser.addoption("--live-s", type=float, default=30.0, help="s of live picture whose memory is held (30)")


def pytest_configure(config: pytest.Config) -> None:
    """Files are handed to the processes in the order of ``pytest_collection_modifyitems``."""
    if hasattr(config.option, "loadscopereorder"):  # else those with most tests come first, and the longest last
        config.option.loadscopereorder = False


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest files first."""
    rank = {name: place for place, name in enumerate(LONGEST)}
    items.sort(key=lambda item: rank.get(item.nodeid.partition("::")[0], len(rank)))


@pytest.fixture(autouse=True, scope="session")
def no_adopted_network(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """An empty folder of adopted networks, for called commands too."""
    with pytest.MonkeyPatch.context() as patch:
        folder = tmp_path_factory.mktemp("data")
        patch.setenv("XDG_DATA_HOME", str(folder))
        yield folder


@pytest.fixture(scope="module")
def browser() -> Iterator["Browser"]:
    """Debian's Chromium; where there is none the tests are left out, but never in CI."""
    from playwright.sync_api import sync_playwright

    path = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if path is None and os.environ.get("CI") != "true":
        pytest.skip("no Chromium on this machine; .ci/run installs it")
    with sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield opened
        opened.close()
