"""`pawfall adopt`: the gate, the networks that were in use, and the way back."""

import json
import tomllib
from pathlib import Path

import numpy as np
import pytest
from command_line import call
from fake_network import blind_network, disc_clip, write_fake_network
from marked import mark, put, words

from gait.command.adopt import failures
from gait.command.change import compare_errors
from pose.beside import write_picture
from pose.network import read_card, shipped_network
from pose.networks import CURRENT, adopt, current_network

CLIP = disc_clip(frames=1)


@pytest.fixture
def networks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of adopted networks of this test's own."""
    folder = tmp_path / "networks"
    monkeypatch.setattr("pose.networks.networks_folder", lambda: folder)
    monkeypatch.setattr("gait.command.adopt.networks_folder", lambda: folder)
    return folder


def network(folder: Path, name: str, *, blind: bool = False, card: str = "") -> Path:
    """A network that finds discs, or one that exchanges two landmarks."""
    if blind:
        return blind_network(folder, name, card)
    folder.mkdir(parents=True)
    path = write_fake_network(folder, name=f'"{name}"')
    path.with_suffix(".toml").write_text(path.with_suffix(".toml").read_text() + card)
    return path


def marks_of(folder: Path, dogs: tuple[str, ...] = ("Ash", "Birch", "Cedar")) -> Path:
    folder.mkdir(parents=True)
    images = []
    for number, dog in enumerate(dogs, start=1):
        write_picture(CLIP.frame(0).rgb, folder / f"{number}.png")
        images.append({"id": number, "file_name": f"{number}.png", "width": 480, "height": 360, "dog": dog})
    return put(folder, words(*(mark(n, n, CLIP.truth_px[0]) for n in range(1, len(dogs) + 1)), images=images))


def in_use(folder: Path, path: Path) -> None:
    """Make ``path`` the adopted network without a gate."""
    adopt(path, {}, folder)


def test_without_any_the_shipped_one_is_in_use(networks: Path) -> None:
    assert current_network() == shipped_network()
    done = call("adopt", "--back")
    assert done.exit_code == 2 and "No network was adopted" in done.stderr


def test_a_better_one_takes_over_and_back_goes_back(tmp_path: Path, networks: Path) -> None:
    in_use(networks, network(tmp_path / "old", "old", blind=True))
    old = current_network()
    marks, good = marks_of(tmp_path / "marks"), network(tmp_path / "good", "discs")
    (tmp_path / "good" / "weights.pt").write_bytes(b"weights")
    done = call("adopt", good, "--better", marks)
    assert done.exit_code == 0, done.output
    new = current_network()
    assert new.parent.name == "002-discs" and read_card(new.with_suffix(".toml")).name == "discs"
    assert new.with_suffix(".weights.pt").read_bytes() == b"weights"
    notes = json.loads((new.parent / "adopted.json").read_text())
    assert notes["instead_of"]["name"] == "old" and notes["before"] == 1
    assert notes["better"][0]["change_percent"]["high"] < 0
    assert set(notes["better"][0]["dogs"]) == {"Ash", "Birch", "Cedar"}
    assert call("adopt", "--back").exit_code == 0 and current_network() == old
    assert call("adopt", "--back").exit_code == 0 and current_network() == shipped_network()
    assert call("adopt", "--back").exit_code == 2
    assert sorted(item.name for item in networks.iterdir()) == ["001-discs", "002-discs", CURRENT]


def test_reading_goes_by_the_adopted_network(tmp_path: Path, networks: Path) -> None:
    in_use(networks, network(tmp_path / "one", "discs"))
    done = call("judge", marks_of(tmp_path / "marks"), "-o", tmp_path / "out")
    assert done.exit_code == 0 and "read by discs" in done.stdout


@pytest.mark.parametrize(
    ("blind_new", "dogs", "card", "said"),
    [
        (True, ("Ash", "Birch", "Cedar"), "", "not shown to be better in marks.json (change +"),
        (False, ("Ash", "Birch"), "", "marks.json shows 2 dogs that it was not trained on, too few"),
        (False, ("Ash", "Birch", "Cedar"), '\n[data]\nmarked_dogs = ["Ash"]\n', "shows 2 dogs that it was not"),
    ],
    ids=["worse", "too few dogs", "trained on one of them"],
)
def test_the_gate_says_which_part_failed(
    tmp_path: Path, networks: Path, blind_new: bool, dogs: tuple[str, ...], card: str, said: str
) -> None:
    in_use(networks, network(tmp_path / "old", "old", blind=not blind_new))
    before = current_network()
    done = call("adopt", network(tmp_path / "new", "new", blind=blind_new, card=card),
                "--better", marks_of(tmp_path / "marks", dogs))  # fmt: skip
    assert done.exit_code == 3 and said in done.stderr and "old stays in use" in done.stderr
    assert done.stderr.count("\n") == 1
    assert current_network() == before


@pytest.mark.parametrize(
    ("old", "new", "dogs", "worse", "better"),
    [
        ([0.3, 0.4, 0.5], [0.1, 0.2, 0.2], "abc", False, True),
        ([0.1, 0.2, 0.2], [0.3, 0.4, 0.5], "abc", True, False),
        ([0.3, 0.4, 0.5], [0.1, 0.4, 0.7], "abc", False, False),
        ([0.3, 0.4, 0.5], [0.1, 0.2, 0.3], "aab", False, False),
        ([0.3, 0.4, 0.5], [0.3, 0.4, 0.6], "aab", True, False),
    ],
    ids=["better", "worse", "undecided", "better, two dogs", "worse, two dogs"],
)
def test_a_domain(old: list[float], new: list[float], dogs: str, worse: bool, better: bool) -> None:
    domain = compare_errors("marks.json", dogs, np.array(old), np.array(new))
    assert (domain.worse, domain.better) == (worse, better)
    assert bool(failures([domain], [])) != better
    assert bool(failures([], [domain])) == worse


@pytest.mark.parametrize(
    ("arguments", "said"),
    [(["none.onnx", "--better", "m.json"], "no network at"), (["a.onnx"], "--better MARKS.json"), ([], "--better")],
    ids=["no file", "no marks", "nothing"],
)
def test_what_cannot_be_adopted_ends_in_one_line(networks: Path, arguments: list[str], said: str) -> None:
    done = call("adopt", *arguments)
    assert done.exit_code == 2 and said in done.stderr and done.stderr.count("\n") == 1


def test_a_file_that_was_changed_is_noticed(tmp_path: Path, networks: Path) -> None:
    in_use(networks, network(tmp_path / "one", "discs"))
    words = tomllib.loads((networks / CURRENT).read_text())
    (networks / CURRENT).write_text(f'number = {words["number"]}\nsha256 = "{"0" * 64}"\n')
    done = call("judge", marks_of(tmp_path / "marks"), "-o", tmp_path / "out")
    assert done.exit_code == 2 and "adopt --back" in done.stderr
    assert call("adopt", "--back").exit_code == 0 and current_network() == shipped_network()
