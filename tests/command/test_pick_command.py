"""`pawfall pick` from the words on the command line to the folder of marks, on a dog of coloured discs."""

import json
import shutil
from itertools import pairwise
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from command_line import call, put_table
from fake_network import GREY, DiscClip, disc_clip, write_fake_network

from pose.beside import write_picture
from pose.coco import read_marks
from pose.landmarks import LANDMARKS, NEAR_FORE
from pose.pictures import load_picture

FPS = 30
FRAMES = 60
DOGS = {"walk": "Tansy", "trot": "Brock"}
#: Frames in which the near fore paw is painted over.
COVERED = range(40, 46)
#: A disc in full view gets a score of 0.9.
SEEN = "{mass = [0.0, 0.6], probability = [0.0, 0.9]}"
#: px, between a landmark that was read and the disc that was drawn: half the radius of a disc.
OFF_PX = 3.0


def put_clip(folder: Path, clip: DiscClip) -> Path:
    """The clip as numbered pictures in ``folder``, one paw covered for a while."""
    folder.mkdir(parents=True)
    for frame in clip.frames():
        rgb = frame.rgb.copy()
        if frame.index in COVERED:
            x, y = (round(value) for value in clip.truth_px[frame.index, NEAR_FORE])
            cv2.circle(rgb, (x, y), 9, (round(255 * GREY),) * 3, -1)
        write_picture(rgb, folder / f"{frame.index:04}.png")
    return folder


@pytest.fixture(scope="module")
def material(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with clips/, net/ and results/ of two dogs; tests copy what they change."""
    root = tmp_path_factory.mktemp("material")
    network = write_fake_network(_made(root / "net"), score=SEEN)
    for name, facing in (("walk", "right"), ("trot", "left")):
        clip = put_clip(root / "clips" / name, disc_clip(frames=FRAMES, fps=FPS, facing=facing))
        sheet = clip.with_suffix(".toml")
        sheet.write_text(
            f'dog = "{"Tansy" if facing == "right" else "Brock"}"\ncondition = "bare"\nfacing = "{facing}"'
        )
        done = call("read", clip, "-o", root / "results", "--fps", FPS, "--network", network, "--no-film")
        assert done.exit_code == 0, done.output
    return root


def _made(folder: Path) -> Path:
    folder.mkdir()
    return folder


def pick(material: Path, out: Path, *words: object) -> Any:
    network = material / "net" / "discs.onnx"
    return call("pick", material / "results", "-o", out, "--sources", material / "clips", "--network", network, *words)


def notes_of(out: Path) -> list[dict[str, Any]]:
    return json.loads((out / "picked.json").read_text())["images"]


def test_frames_are_put_into_a_folder_of_marks(tmp_path: Path, material: Path) -> None:
    out = tmp_path / "marks"
    done = pick(material, out, "--count", 6)
    assert done.exit_code == 0, done.output
    assert done.stdout.startswith("6 frames of 2 clips, 2 dogs: ")
    assert sum(int(part.split()[0]) for part in done.stdout.split(": ")[1].splitlines()[0].split(", ")) == 6
    marks = read_marks(out / "picked.json")
    assert sorted(item.name for item in out.iterdir()) == ["picked.json", "pictures"]
    assert sorted(f"pictures/{item.name}" for item in (out / "pictures").iterdir()) == sorted(marks.files)
    for row, note in enumerate(marks.image_notes):
        assert marks.files[row] == f"pictures/{note['clip']}-{note['frame']:06}.png"
        assert note["time_s"] == pytest.approx(note["frame"] / FPS, abs=1e-5)
        assert (note["dog"], note["condition"]) == (DOGS[note["clip"]], "bare")
        assert note["why"]
        assert (out / note["source"]).resolve() == (material / "clips" / note["clip"]).resolve()
        own = load_picture(material / "clips" / note["clip"] / f"{note['frame']:04}.png")
        assert np.array_equal(load_picture(out / marks.files[row]), own)


def test_the_answers_of_the_network_come_along(tmp_path: Path, material: Path) -> None:
    out = tmp_path / "marks"
    assert pick(material, out, "--count", 6).exit_code == 0
    marks = read_marks(out / "picked.json")
    assert marks.picture.tolist() == list(range(6))
    for row, note in enumerate(marks.image_notes):
        facing = "right" if note["clip"] == "walk" else "left"
        attributes = marks.mark_notes[row]["attributes"]
        assert attributes["facing"] == facing
        assert len(attributes["score"]) == len(LANDMARKS)
        truth = disc_clip(frames=FRAMES, fps=FPS, facing=facing).truth_px[note["frame"]]
        off = np.linalg.norm(marks.xy_px[row] - truth, axis=-1)
        assert np.nanmedian(off) < OFF_PX


def test_the_covered_paw_is_found_and_said(tmp_path: Path, material: Path) -> None:
    done = pick(material, tmp_path / "marks", "--count", 8)
    assert done.exit_code == 0
    assert "usual posture" in done.stdout
    # beside the gap the path is worked out from little, which is as bad
    around = range(COVERED.start - 1, COVERED.stop + 1)
    found = [note for note in notes_of(tmp_path / "marks") if note["frame"] in around]
    assert {note["clip"] for note in found} == {"walk", "trot"}
    doubtful = [note for note in notes_of(tmp_path / "marks") if note["why"] != "usual posture"]
    assert len(doubtful) == 2
    assert all("near fore" in note["why"] for note in doubtful)


def test_picking_again_adds_and_changes_nothing(tmp_path: Path, material: Path) -> None:
    out = tmp_path / "marks"
    assert pick(material, out, "--count", 3).exit_code == 0
    (out / "marks-ada.json").write_text("hers")
    before = notes_of(out), {item: item.read_bytes() for item in (out / "pictures").iterdir()}
    assert pick(material, out, "--count", 3).exit_code == 0
    after = notes_of(out)
    assert after[:3] == before[0]
    assert len({(note["clip"], note["frame"]) for note in after}) == 6
    assert all(item.read_bytes() == held for item, held in before[1].items())
    assert (out / "marks-ada.json").read_text() == "hers"
    times = sorted((note["clip"], note["time_s"]) for note in after)
    apart = [two[1] - one[1] for one, two in pairwise(times) if one[0] == two[0]]
    assert min(apart) >= 0.5 - 1e-5


def test_the_same_call_gives_the_same_frames(tmp_path: Path, material: Path) -> None:
    for out in ("one", "two"):
        assert pick(material, tmp_path / out, "--count", 5, "--seed", 3).exit_code == 0
    assert (tmp_path / "one" / "picked.json").read_bytes() == (tmp_path / "two" / "picked.json").read_bytes()


def test_when_there_are_fewer_frames_than_asked_for(tmp_path: Path, material: Path) -> None:
    out = tmp_path / "marks"
    done = pick(material, out, "--count", 500)
    assert done.exit_code == 0, done.output
    assert "500 were asked for" in done.stdout
    assert len(notes_of(out)) <= 12
    again = pick(material, out, "--count", 5)
    assert again.exit_code in (0, 3)
    while again.exit_code == 0:
        again = pick(material, out, "--count", 5)
    assert again.stderr.startswith("pawfall: no frame was picked. 5 were asked for")
    assert len(again.stderr.strip().splitlines()) == 1


def test_a_clip_read_twice_gives_no_frame_twice(tmp_path: Path, material: Path) -> None:
    shutil.copytree(material / "results" / "walk", tmp_path / "more" / "walk-again")
    done = call("pick", material / "results" / "walk", tmp_path / "more", "-o", tmp_path / "marks", "--sources",
                material / "clips", "--network", material / "net" / "discs.onnx")  # fmt: skip
    assert done.exit_code == 0, done.output
    assert "of 1 clip, 1 dog" in done.stdout
    frames = [note["frame"] for note in notes_of(tmp_path / "marks")]
    assert len(frames) == len(set(frames))


def test_clips_are_found_beside_their_results(tmp_path: Path, material: Path) -> None:
    shutil.copytree(material / "clips" / "walk", tmp_path / "walk")
    shutil.copytree(material / "results" / "walk", tmp_path / "results" / "walk")
    network = material / "net" / "discs.onnx"
    done = call("pick", tmp_path / "results", "-o", tmp_path / "marks", "--count", 2, "--network", network)
    assert done.exit_code == 0, done.output
    assert {note["source"] for note in notes_of(tmp_path / "marks")} == {"../walk"}


def test_a_clip_that_cannot_be_reached_is_told_and_left_out(tmp_path: Path, material: Path) -> None:
    """A folder of the same name beside it holds something else, and the right one is nowhere."""
    shutil.copytree(material / "clips", tmp_path / "clips")
    (tmp_path / "clips" / "trot" / "0003.png").unlink()
    shutil.copytree(material / "results", tmp_path / "results")
    network = material / "net" / "discs.onnx"
    done = call("pick", tmp_path / "results", "-o", tmp_path / "marks", "--count", 3, "--sources", tmp_path / "clips",
                "--network", network)  # fmt: skip
    assert done.exit_code == 0, done.output
    assert "left out: trot of " in done.stderr and "--sources" in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    assert {note["clip"] for note in notes_of(tmp_path / "marks")} == {"walk"}


def old_record(folder: Path, **changes: Any) -> Path:
    """A copy of nothing but a record and tables, with changes to what was told of the reading."""
    told = json.loads((folder / "record.json").read_text())
    told["settings"]["reading"] |= changes
    (folder / "record.json").write_text(json.dumps(told))
    return folder


@pytest.mark.parametrize(
    ("kind", "code", "words"),
    [
        ("no such folder", 2, "holds no result of a reading"),
        ("no clip", 2, "Name its folder with --sources"),
        ("a table", 2, "which has no pictures"),
        ("an old record", 2, "Read the clip again with this version"),
        ("a broken record", 2, "cannot be read"),
        ("a broken stride", 2, "row 1"),
        ("a clip elsewhere on the disk", 2, "is no plain name"),
        ("no network", 2, "There is no network"),
        ("no folder of clips", 2, "is no folder"),
        ("out is a file", 2, "Give a folder for the marks"),
        ("out is something else", 2, "holds no picked.json"),
        ("a count of nothing", 2, "count"),
    ],
)
def test_what_cannot_be_used_is_said_in_one_line(
    tmp_path: Path, material: Path, kind: str, code: int, words: str
) -> None:
    results, out, network = tmp_path / "r" / "walk", tmp_path / "marks", material / "net" / "discs.onnx"
    shutil.copytree(material / "results" / "walk", results)
    options: list[object] = ["--sources", material / "clips"]
    if kind == "no such folder":
        results = tmp_path / "none"
    elif kind == "no clip":
        options = []
    elif kind == "a table":
        results = tmp_path / "t"
        assert call("read", put_table(tmp_path), "-o", results).exit_code == 0
    elif kind == "an old record":
        old_record(results, source_sha256="")
    elif kind == "a broken record":
        (results / "record.json").write_text("{")
    elif kind == "a broken stride":
        (results / "strides.csv").write_text("paw,side,start_s,end_s,stride_length_bl,dropped\nfore,near,soon,1,1,\n")
    elif kind == "a clip elsewhere on the disk":
        old_record(results, input="../walk")
    elif kind == "no folder of clips":
        options = ["--sources", tmp_path / "none"]
    elif kind == "no network":
        network = tmp_path / "none.onnx"
    elif kind == "out is a file":
        out.write_text("mine")
    elif kind == "out is something else":
        out.mkdir()
        (out / "notes.txt").write_text("mine")
    elif kind == "a count of nothing":
        options += ["--count", 0]
    done = call("pick", results, "-o", out, "--network", network, *options)
    assert done.exit_code == code, done.output
    assert words in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    assert "fault of pawfall" not in done.stderr


def test_a_smaller_gap_takes_more_of_a_short_clip(tmp_path: Path, material: Path) -> None:
    """Two seconds of each clip give at most five frames half a second apart, and many more a tenth apart."""
    close = tmp_path / "close"
    assert pick(material, close, "--count", 20, "--gap", 0.1).exit_code == 0
    times = sorted((note["clip"], note["time_s"]) for note in notes_of(close))
    assert len(times) == 20
    apart = [two[1] - one[1] for one, two in pairwise(times) if one[0] == two[0]]
    assert 0.1 - 1e-5 <= min(apart) < 0.5
    few = pick(material, tmp_path / "few", "--count", 20)
    assert "A smaller --gap takes frames closer together." in few.stdout
    assert pick(material, tmp_path / "none", "--gap", 0).exit_code == 2
