"""`pawfall judge` from the words on the command line to the folder of results, with the network of discs."""

import csv
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from command_line import call
from fake_network import blind_network, disc_clip, write_fake_network
from marked import mark, put, words

from gait.command import judge as judge_module
from pose.beside import write_picture
from pose.landmarks import LANDMARKS
from pose.network import Network

CLIP = disc_clip(frames=1)
TRUTH = CLIP.truth_px[0]
EMPTY = disc_clip(frames=1, empty=frozenset({0}))
LEFT = disc_clip(frames=1, facing="left")
EXCHANGED = TRUTH[[1, 0, 2, 3, 4, 5]]


@pytest.fixture(scope="module")
def network(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_fake_network(tmp_path_factory.mktemp("network"))


def marked_set(folder: Path) -> Path:
    """Six pictures: right, fore paws exchanged, no dog, two dogs marked, a dog that nobody marked, no dog at all."""
    folder.mkdir(parents=True, exist_ok=True)
    for number, clip in enumerate((CLIP, CLIP, EMPTY, LEFT, CLIP, EMPTY), start=1):
        write_picture(clip.frame(0).rgb, folder / f"{number}.png")
    dogs = [
        mark(10, 1, TRUTH, [2, 2, 2, 1, 2, 2], attributes={"facing": "right"}),
        mark(20, 2, EXCHANGED, attributes={"facing": "left"}),
        mark(30, 3, TRUTH),
        mark(41, 4, LEFT.truth_px[0] - np.array([120.0, 40])),
        mark(42, 4, LEFT.truth_px[0]),
    ]
    return put(folder, words(*dogs, pictures=6))


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory, network: Path) -> tuple[Path, str]:
    folder = tmp_path_factory.mktemp("judge")
    done = call("judge", marked_set(folder / "marks"), "-o", folder / "out", "--network", network, "--worst", 2)
    assert done.exit_code == 0, done.output
    return folder / "out", done.stdout


@pytest.fixture(scope="module")
def facts(result: tuple[Path, str]) -> dict[str, Any]:
    [domain] = told(result[0])["domains"]
    return domain


def told(out: Path) -> dict[str, Any]:
    return json.loads((out / "judged.json").read_text())


def test_the_figures_are_those_of_the_marks(facts: dict[str, Any]) -> None:
    shares = facts["landmarks"]
    # four dogs of six landmarks: one is not found, one has its fore paws exchanged
    assert (shares["all"]["count"], shares["all"]["not_found"]) == (24, 6)
    assert shares["all"]["within_5_percent"] == round(16 / 24, 4)
    assert shares["all_sides_free"]["within_5_percent"] == shares["withers"]["within_5_percent"] == 0.75
    assert shares["covered"] == {**shares["covered"], "count": 1, "within_5_percent": 1.0}
    assert facts["exchanged_pairs"] == {"exchanged": 1, "of": 6, "exchanged_among_found": 1, "found": 6}
    assert facts["facing"] == {"right": 2, "wrong": 1}
    assert facts["misses"]["near_fore"] == {"exchanged": 1, "not_found": 1}


def test_every_picture_and_dog_is_accounted_for(facts: dict[str, Any]) -> None:
    assert (facts["pictures"], facts["dogs_marked"], facts["dogs_judged"], facts["dogs_not_read"]) == (6, 5, 4, 1)
    assert facts["no_dog_found"] == ["3.png"]
    assert facts["pictures_without_dog"] == {"pictures": 2, "dog_found": ["5.png"]}
    assert [(dog["file"], dog["annotation"]) for dog in facts["dogs"]] == [
        ("1.png", 10), ("2.png", 20), ("3.png", 30), ("4.png", 42),
    ]  # fmt: skip
    assert facts["dogs"][2]["error_bl"] == dict.fromkeys(LANDMARKS)


def test_precision_ranks_the_dogs_that_were_found(result: tuple[Path, str], facts: dict[str, Any]) -> None:
    """Five are marked, four found: 1 and 4 well, 2 with four landmarks of six, 5 where none is marked."""
    with (result[0] / "predictions.csv").open() as file:
        rows = list(csv.DictReader(file))
    sure = {name: np.mean([float(row["score"]) for row in rows if row["file"] == f"{name}.png"]) for name in "1245"}
    for limit, right in (("0.50", "124"), ("0.75", "14")):
        ranked = [name in right for name in sorted(sure, key=lambda name: -sure[name])]
        # precision where recall rises by a fifth, at the best of this place and all after it
        steps = [max(sum(ranked[:n]) / n for n in range(k, 5)) for k in range(1, 5) if ranked[k - 1]]
        widths = [21, 20, 20][: len(steps)]  # of 101 recalls; 0 counts to the first
        wanted = sum(width * step for width, step in zip(widths, steps, strict=True)) / 101
        assert facts["precision"]["at_similarity"][limit] == pytest.approx(wanted, abs=1e-4)
    assert facts["precision"]["average_precision"]["pictures"] == 6


def test_the_network_and_the_settings_are_named(result: tuple[Path, str], network: Path) -> None:
    facts = told(result[0])
    assert (facts["network"], facts["network_hash"]) == ("discs", Network.load(network).sha256)
    assert facts["settings"]["judging"]["limits"] == [0.05, 0.1, 0.2]
    assert (facts["domains"][0]["name"], facts["domains"][0]["kind"]) == ("marks.json", "pictures")


def test_predictions_are_six_rows_a_picture(result: tuple[Path, str]) -> None:
    with (result[0] / "predictions.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert list(rows[0]) == ["domain", "file", "frame", "landmark", "x_px", "y_px", "score"]
    assert [(row["file"], row["landmark"]) for row in rows] == [
        (f"{number}.png", name) for number in range(1, 7) for name in LANDMARKS
    ]
    first = np.array([[float(row["x_px"]), float(row["y_px"])] for row in rows[:6]])
    assert np.abs(first - TRUTH).max() < 4
    assert {(row["x_px"], row["y_px"], row["score"]) for row in rows if row["file"] == "3.png"} == {("", "", "0.0000")}


def test_the_worst_pictures_are_drawn_the_worst_first(result: tuple[Path, str]) -> None:
    assert [item.name for item in (result[0] / "worst").iterdir()] == ["marks.json"]
    assert sorted(item.name for item in (result[0] / "worst/marks.json").iterdir()) == ["01_3.png", "02_2.png"]
    assert sorted(item.name for item in result[0].iterdir()) == [
        "judged.html", "judged.json", "predictions.csv", "worst",
    ]  # fmt: skip
    assert [item.name for item in result[0].parent.iterdir() if item.name.startswith(".")] == []


@pytest.mark.parametrize(
    "line",
    [
        "marks.json: 4 of 5 marked dogs in 6 pictures, read by discs",
        "near and far exchanged in 1 of 6 pairs",
        "way it faces correct in 2 of 3; no dog found in 1",
        "a dog found in 1 of 2 pictures without a marked dog",
        "marked dogs not read: 1 (one is read in each picture)",
        "6 pictures do not say whose they are and count as one dog",
        "paws missed: 4 not found, 2 exchanged; withers and croup missed: 2 not found",
    ],
)
def test_the_table_says_it_shortly(result: tuple[Path, str], line: str) -> None:
    assert line in result[1]


def test_two_networks_side_by_side(tmp_path: Path, network: Path) -> None:
    """The second mistakes the near fore paw for the croup and the croup for it."""
    other = blind_network(tmp_path / "other")
    marks = marked_set(tmp_path / "marks")
    words = json.loads(marks.read_text())
    for image, dog in zip(words["images"], ("Ash", "Birch", "Cedar", "Dill", "Elm", "Fir"), strict=True):
        image["dog"] = dog
    marks.write_text(json.dumps(words))
    done = call("judge", marks, "-o", tmp_path / "out", "--network", network, "--against", other)
    assert done.exit_code == 0, done.output
    [facts] = told(tmp_path / "out")["domains"]
    assert facts["change"]["change_percent"]["high"] <= 0 > facts["change"]["change_percent"]["mean"]
    each = facts["over_dogs"]["dogs"]
    assert set(each) == {"Ash", "Birch", "Cedar", "Dill"} and each["Cedar"] == 100 and each["Ash"] < 5
    croup, others = (one["over_dogs"]["landmarks"]["croup"]["mean"] for one in (facts, facts["against"]))
    assert croup < others
    curve = facts["curve"]
    assert curve["all"][curve["limits_percent"].index(5.0)] == facts["landmarks"]["all"]["within_5_percent"]
    assert (np.diff(curve["all"]) >= 0).all() and len(curve["all"]) == 30
    assert sum(one["count"] for one in facts["calibration"]) == facts["scores"]["count"]
    page = (tmp_path / "out" / "judged.html").read_text()
    assert "discs and blind" in page and "worst/marks.json/01_" in page and "on marks.json, 4 dogs" in page
    assert "From blind to discs: error" in done.stdout
    assert "count as one dog" not in page + done.stdout


def test_one_dog_gets_no_interval(tmp_path: Path, network: Path) -> None:
    assert call("judge", one_picture(tmp_path), "-o", tmp_path / "out", "--network", network).exit_code == 0
    [facts] = told(tmp_path / "out")["domains"]
    assert "low" not in facts["over_dogs"]["error_percent"] and facts["over_dogs"]["error_percent"]["dogs"] == 1
    page = (tmp_path / "out" / "judged.html").read_text()
    assert "fewer than three dogs no interval" in page and "count as one dog" not in page


@pytest.mark.parametrize("which", ["the network", "the one beside it"])
def test_dogs_that_a_network_was_trained_on_are_not_judged(tmp_path: Path, network: Path, which: str) -> None:
    trained = blind_network(tmp_path / "trained", card='\n[data]\nmarked_dogs = ["Ash", "Zinnia"]\n')
    write_picture(CLIP.frame(0).rgb, tmp_path / "1.png")
    write_picture(CLIP.frame(0).rgb, tmp_path / "2.png")
    images = [{"id": n, "file_name": f"{n}.png", "width": 480, "height": 360, "dog": dog}
              for n, dog in ((1, "Ash"), (2, "Birch"))]  # fmt: skip
    marks = put(tmp_path, words(mark(1, 1, TRUTH), mark(2, 2, TRUTH), images=images))
    pair = (trained, network) if which == "the network" else (network, trained)
    done = call("judge", marks, "-o", tmp_path / "out", "--network", pair[0], "--against", pair[1])
    assert done.exit_code == 0, done.output
    [facts] = told(tmp_path / "out")["domains"]
    assert facts["dogs_left_out"] == facts["change"]["dogs_left_out"] == ["Ash"]
    assert facts["pictures"] == 1 and set(facts["over_dogs"]["dogs"]) == {"Birch"}
    assert "not judged, since trained on: Ash" in done.stdout
    marks = put(tmp_path, words(mark(1, 1, TRUTH), images=images[:1]))
    done = call("judge", marks, "-o", tmp_path / "out", "--network", pair[0], "--against", pair[1])
    assert done.exit_code == 2 and "no dog that was not trained on" in done.stderr


def one_picture(folder: Path, **changes: Any) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    write_picture(CLIP.frame(0).rgb, folder / "1.png")
    return put(folder, words(mark(1, 1, TRUTH), **changes))


def test_an_earlier_judgement_gives_way_and_foreign_files_stay(tmp_path: Path, network: Path) -> None:
    marks, out = one_picture(tmp_path), tmp_path / "out"
    for _ in range(2):
        assert call("judge", marks, "-o", out, "--network", network).exit_code == 0
        (out / "notes.txt").write_text("mine")
        (out / "worst" / "old.png").touch()
    assert call("judge", marks, "-o", out, "--network", network, "--worst", 0).exit_code == 0
    assert (out / "notes.txt").read_text() == "mine"
    assert [list(folder.iterdir()) for folder in (out / "worst").iterdir()] == [[]]


def text_picture(folder: Path) -> Path:
    path = one_picture(folder)
    (folder / "1.png").write_text("no picture")
    return path


def other_size(folder: Path) -> Path:
    images = [{"id": 1, "file_name": "1.png", "width": 360, "height": 480}]
    return one_picture(folder, images=images, annotations=[])


def gone_picture(folder: Path) -> Path:
    path = one_picture(folder)
    (folder / "1.png").unlink()
    return path


def bad_keypoint(folder: Path) -> Path:
    return one_picture(folder, annotations=[mark(77, 1, TRUTH, [2, 2, 5, 2, 2, 2])])


BAD = [
    ("no file", lambda folder: folder / "none.json", [], "none.json is not a file"),
    ("a keypoint's visibility", bad_keypoint, [], "marks.json: annotation 77, keypoint near_hind has the visibility 5"),
    ("a picture that is gone", gone_picture, [], "the first is 1.png (image 1)"),
    ("a picture that is text", text_picture, [], "1.png cannot be read as a picture"),
    ("a picture of another size", other_size, [], "1.png has 480x360 px, its entry (image 1) says 360x480"),
    ("no network", one_picture, ["--network", "none.onnx"], "There is no network at none.onnx"),
]


@pytest.mark.parametrize(("make", "more", "said"), [row[1:] for row in BAD], ids=[row[0] for row in BAD])
def test_bad_input_ends_in_one_line_and_leaves_nothing(
    tmp_path: Path, network: Path, make: Any, more: list, said: str
) -> None:
    done = call("judge", make(tmp_path), "-o", tmp_path / "out", *(more or ["--network", network]))
    assert (done.exit_code, done.stdout) == (2, "")
    assert said in done.stderr and done.stderr.count("\n") == 1
    assert not (tmp_path / "out").exists()
    assert [item.name for item in tmp_path.iterdir() if item.name.startswith(".")] == []


def test_a_folder_with_other_things_is_not_touched(tmp_path: Path, network: Path) -> None:
    marks, out = one_picture(tmp_path / "marks"), tmp_path / "marks"
    done = call("judge", marks, "-o", out, "--network", network)
    assert done.exit_code == 2 and "no earlier judgement" in done.stderr
    assert sorted(item.name for item in out.iterdir()) == ["1.png", "marks.json"]


def test_a_fault_of_ours_is_one_line_too_and_leaves_nothing(
    tmp_path: Path, network: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("broken")

    monkeypatch.setattr(judge_module, "draw_beside", broken)
    done = call("judge", one_picture(tmp_path), "-o", tmp_path / "out", "--network", network)
    assert done.exit_code == 1 and "a fault of pawfall itself (RuntimeError" in done.stderr
    assert not (tmp_path / "out").exists()


def test_judging_needs_no_torch(tmp_path: Path, network: Path) -> None:
    code = (
        "import sys; from pathlib import Path; from gait.command.judge import judge_command; "
        "done = judge_command(sys.argv[1:2], *map(Path, sys.argv[2:])); "
        "sys.exit(done or 10 * bool({'torch', 'training', 'albumentations'} & sys.modules.keys()))"
    )
    places = [str(place) for place in (one_picture(tmp_path), tmp_path / "out", network)]
    done = subprocess.run([sys.executable, "-c", code, *places], check=False, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
