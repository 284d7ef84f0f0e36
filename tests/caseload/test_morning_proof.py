"""A caseload of 300 files of 60 dogs in which cases were planted: the list finds them all and hardly anything else.

``pytest -s -m slow tests/caseload/test_morning_proof.py`` says what was found.
"""

import sys
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from command_line import call

from gait.caseload.listing import copies
from gait.caseload.short_list import Case, short_list
from gait.caseload.store import open_store
from training.footage.caseload import write_caseload

pytestmark = pytest.mark.slow
#: Of the dogs that came again without a change, this many may be called changed.
MOST_FALSE = 2
#: How a planted change is told, by the measure that shows it; "" = by the gait. Longer contacts are planted in every
#: paw; that one of the pairs is told has the dog looked at.
TOLD = {"topline_deg": "topline", "hind_duty_factor": "paw is on the belt", "stride_length_m": "strides are",
        "": "paces"}  # fmt: skip


@pytest.fixture(scope="module")
def truth(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """What was planted, and where the caseload is that was read."""
    root = tmp_path_factory.mktemp("proof")
    planted, home = write_caseload(root / "clips"), root / "caseload"
    assert call("caseload", "add", root / "clips", "--home", home).exit_code == 0
    told = call("caseload", "run", "--home", home)
    assert (told.exit_code, told.stdout.splitlines()[-2]) == (3, "282 clips read, 13 failed")
    with closing(open_store(home)) as store:
        return planted | {"home": home, "cases": short_list(store).cases, "twice": copies(store)}


def of_kind(truth: dict[str, Any], *kinds: str) -> list[Case]:
    return [case for case in truth["cases"] if case.kind in kinds]


def dogs(truth: dict[str, Any], part: str) -> dict[str, dict[str, str]]:
    return {dog["dog"]: dog for dog in truth["dogs"] if dog["part"] == part}


def test_the_planted_caseload_is_as_large_as_it_should_be(truth: dict[str, Any]) -> None:
    counts = [len(truth[part]) for part in ("dogs", "broken", "copies", "badly_filmed")]
    assert (truth["files"], *counts) == (300, 60, 10, 5, 4)
    assert len(dogs(truth, "changed")) == len(dogs(truth, "unchanged")) == 6


def test_every_file_that_cannot_be_read_is_listed(truth: dict[str, Any]) -> None:
    assert {case.clip for case in of_kind(truth, "unreadable")} == set(truth["broken"])


def test_every_badly_filmed_clip_is_listed_with_what_to_do(truth: dict[str, Any]) -> None:
    found = of_kind(truth, "film_again")
    assert {case.clip for case in found} == set(truth["badly_filmed"])
    assert all("ilm" in " ".join((*case.words, *case.advice)) for case in found)


def test_every_copy_is_listed(truth: dict[str, Any]) -> None:
    assert {copy.name: first.name for copy, first in truth["twice"]} == truth["copies"]


def test_every_dog_that_changed_is_listed_with_its_change(truth: dict[str, Any]) -> None:
    planted = dogs(truth, "changed")
    found = {case.dog: case for case in of_kind(truth, "changed", "gait_changed")}
    assert planted.keys() <= found.keys()
    for name, dog in planted.items():
        words = " ".join(found[name].words)
        sys.stdout.write(f"{name}: {dog['change']} -> {words}\n")
        assert TOLD[dog["measure"]] in words


def test_hardly_any_dog_that_did_not_change_is_listed(truth: dict[str, Any]) -> None:
    flagged = {case.dog for case in of_kind(truth, "changed", "gait_changed", "maybe")} - dogs(truth, "changed").keys()
    sys.stdout.write(f"called changed without a change: {sorted(flagged) or 'none'}\n")
    assert len(flagged & dogs(truth, "unchanged").keys()) <= MOST_FALSE
    assert len(flagged & dogs(truth, "two visits").keys()) <= MOST_FALSE


def test_the_command_says_the_same(truth: dict[str, Any]) -> None:
    home: Path = truth["home"]
    told = call("caseload", "list", "--home", home)
    assert told.exit_code == 0
    for words in ("295 clips of 60 dogs: 282 read, 13 could not be read", "To be filmed again (4)",
                  "Files that cannot be used (10)", "5 files hold the same as another"):  # fmt: skip
        assert words in told.output
    pages = [page for case in truth["cases"] for page in (case.page, case.dog_page) if page]
    assert all((home / page).is_file() for page in pages)
