"""The file of what people said: it only grows, takes back and brings back without end, and survives crashes."""

import json
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import pytest

from gait.errors import OverrulingError
from gait.overruling import Overruling
from gait.overrulings_file import overrule, path_of, read_said, redo, said_near, undo

SHA = "ab" * 32
WORDS = {"a": "walk", "b": "trot", "c": ""}


def word(name: str) -> Overruling:
    gait = WORDS.get(name, "pace")
    return Overruling(name, "near_hind", 1.0, 1.5, gait, f"why {name}, “ü”", "Ada", "2026-11-26T20:00:00+00:00")


#: steps, one letter each (an undo as "-", of one word as "-a", a redo as "+"), and what counts, latest, undone then.
STORIES = {
    "nothing": ("", "", "", ""),
    "two words": ("a b", "ab", "ab", ""),
    "the last is taken back first": ("a b -", "a", "a", "b"),
    "all the way back": ("a b - -", "", "", "ba"),
    "and forth again": ("a b - - + +", "ab", "ab", ""),
    "to and fro without end": ("a - + - + - + -", "", "", "a"),
    "one of several, brought back to its place": ("a b c -a +", "abc", "bca", ""),
    "one of several": ("a b c -b", "ac", "ac", "b"),
    "a new word ends bringing back": ("a b - c", "ac", "ac", ""),
}


@pytest.mark.parametrize("story", STORIES)
def test_what_counts_after_these_steps(story: str, tmp_path: Path) -> None:
    steps, *expected = STORIES[story]
    for step in steps.split():
        if step[0] == "-":
            undo(tmp_path, SHA, "Ben", only=step[1:])
        elif step == "+":
            redo(tmp_path, SHA, "Ben")
        else:
            overrule(tmp_path, SHA, word(step))
    said = read_said(tmp_path, SHA)
    assert ["".join(one.id for one in part) for part in (said.in_force, said.latest, said.undone)] == expected
    assert all(one == word(one.id) for one in said.in_force)
    lines = path_of(tmp_path, SHA).read_text().splitlines() if steps else []
    assert len(lines) == len(steps.split())  # nothing is ever taken out
    assert all(json.loads(line)["by"] in ("Ada", "Ben") for line in lines)


@pytest.mark.parametrize("step", [undo, redo])
def test_nothing_to_take_or_bring_back(step: object, tmp_path: Path) -> None:
    with pytest.raises(OverrulingError, match="nothing to"):
        step(tmp_path, SHA)  # type: ignore[operator]
    assert not path_of(tmp_path, SHA).exists()


def test_a_word_that_is_not_there_cannot_be_taken_back(tmp_path: Path) -> None:
    overrule(tmp_path, SHA, word("a"))
    with pytest.raises(OverrulingError, match="nothing to undo"):
        undo(tmp_path, SHA, only="b")


@pytest.mark.parametrize("cut", [1, 40, 150])
def test_a_line_that_was_cut_off_counts_for_nothing_and_harms_no_other(cut: int, tmp_path: Path) -> None:
    overrule(tmp_path, SHA, word("a"))
    overrule(tmp_path, SHA, word("b"))
    path = path_of(tmp_path, SHA)
    whole = path.read_bytes()
    path.write_bytes(whole[: whole.index(b"\n") + 1 + cut])
    assert [one.id for one in read_said(tmp_path, SHA).in_force] == ["a"]
    overrule(tmp_path, SHA, word("c"))
    assert [one.id for one in read_said(tmp_path, SHA).in_force] == ["a", "c"]


@pytest.mark.parametrize("line", ['{"op": "burn", "id": "a"}', '{"op": "overrule", "id": "a"}', '{"op": "undo"}'])
def test_a_whole_line_that_nobody_knows_is_told(line: str, tmp_path: Path) -> None:
    overrule(tmp_path, SHA, word("b"))
    with path_of(tmp_path, SHA).open("a") as file:
        file.write(f"{line}\n")
    with pytest.raises(OverrulingError, match="line 2, cannot be used"):
        read_said(tmp_path, SHA)


def test_the_same_word_sent_or_taken_back_twice_counts_once(tmp_path: Path) -> None:
    """As two workstations do that saw the same page."""
    overrule(tmp_path, SHA, word("a"))
    overrule(tmp_path, SHA, word("b"))
    overrule(tmp_path, SHA, word("b"))
    undo(tmp_path, SHA)
    path = path_of(tmp_path, SHA)
    path.write_bytes(path.read_bytes() + path.read_bytes().splitlines(True)[-1])
    said = read_said(tmp_path, SHA)
    assert [one.id for one in said.in_force] == ["a"] and [one.id for one in said.undone] == ["b"]


def write_many(home: str, name: str, count: int) -> None:
    """What one workstation says."""
    for number in range(count):
        overrule(Path(home), SHA, word(f"{name}{number}"))


def test_two_workstations_write_at_once(tmp_path: Path) -> None:
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        for done in [pool.submit(write_many, str(tmp_path), name, 60) for name in ("left", "right")]:
            done.result()
    assert {one.id for one in read_said(tmp_path, SHA).in_force} == {
        f"{name}{number}" for name in ("left", "right") for number in range(60)
    }


@pytest.mark.parametrize("below", ["", "clips", "clips/abab", "clips/abab/12"])
def test_the_caseload_is_found_from_its_results(below: str, tmp_path: Path) -> None:
    overrule(tmp_path / "caseload", SHA, word("a"))
    assert [one.id for one in said_near([tmp_path / "other", tmp_path / "caseload" / below], SHA)] == ["a"]
    assert said_near([tmp_path / "other"], SHA) == ()
