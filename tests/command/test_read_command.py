"""`pawfall read` from the words on the command line to the folder of results."""

import csv
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from command_line import call, put_table, record_of, sheet
from walker import trotting

from gait.command import read as read_module
from gait.reading import RESULT_FILES
from pose.table import write_table
from pose.tracks import Tracks

TABLE_FILES = {"landmarks.csv", "contacts.csv", "strides.csv", "record.json", "report.html"}


@pytest.fixture(scope="module")
def dog_table(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("table") / "dog.csv"
    write_table(trotting(), path)
    return path


def test_a_landmark_table_becomes_a_folder_of_results(tmp_path: Path, dog_table: Path) -> None:
    result = call("read", dog_table, "-o", tmp_path / "out")
    assert result.exit_code == 0, result.output
    assert {item.name for item in (tmp_path / "out" / "dog").iterdir()} == TABLE_FILES
    assert "trot" in result.stdout
    assert str(tmp_path / "out" / "dog" / "report.html") in result.stdout
    assert [item.name for item in (tmp_path / "out").iterdir()] == ["dog"]


def test_landmarks_read_back_give_the_same_contacts_and_strides(tmp_path: Path, dog_table: Path) -> None:
    assert call("read", dog_table, "-o", tmp_path / "one").exit_code == 0
    assert call("read", tmp_path / "one" / "dog" / "landmarks.csv", "-o", tmp_path / "two").exit_code == 0
    for name in ("landmarks.csv", "contacts.csv", "strides.csv"):
        one, two = tmp_path / "one" / "dog" / name, tmp_path / "two" / "landmarks" / name
        assert one.read_bytes() == two.read_bytes(), name


def test_the_same_call_gives_the_same_bytes(tmp_path: Path, dog_table: Path) -> None:
    for out in ("one", "two"):
        assert call("read", dog_table, "-o", tmp_path / out, "--seed", 7).exit_code == 0
    for name in ("landmarks.csv", "contacts.csv", "strides.csv", "record.json"):
        assert (tmp_path / "one/dog" / name).read_bytes() == (tmp_path / "two/dog" / name).read_bytes(), name


def test_the_record_says_how_it_was_read(tmp_path: Path, dog_table: Path) -> None:
    assert call("read", dog_table, "-o", tmp_path, "--seed", 7, "--stop", 3.5).exit_code == 0
    told = record_of(tmp_path / "dog")["settings"]["reading"]
    assert (told["input"], told["seed"], told["stop_s"], "start_s" in told) == ("dog.csv", 7, 3.5, False)


def test_start_and_stop_cut_a_table(tmp_path: Path, dog_table: Path) -> None:
    assert call("read", dog_table, "-o", tmp_path, "--start", 0.5, "--stop", 2.5).exit_code == 0
    with (tmp_path / "dog" / "landmarks.csv").open() as file:
        times = [float(row["time_s"]) for row in csv.DictReader(file)]
    assert (min(times), max(times)) == (0.5, 2.5)


def test_filmed_fps_stretches_the_clock_of_a_table(tmp_path: Path) -> None:
    slow = put_table(tmp_path, seconds=16, fps=30, period_s=2.0)
    assert call("read", slow, "-o", tmp_path / "out", "--filmed-fps", 120).exit_code == 0
    with (tmp_path / "out" / "dog" / "strides.csv").open() as file:
        times = [float(row["end_s"]) - float(row["start_s"]) for row in csv.DictReader(file) if not row["dropped"]]
    assert np.median(times) == pytest.approx(0.5, abs=0.01)


def test_a_slow_motion_table_is_said_to_have_no_known_clock(tmp_path: Path) -> None:
    slow = put_table(tmp_path, seconds=16, fps=30, period_s=2.0)
    result = call("read", slow, "-o", tmp_path / "out")
    assert result.exit_code == 0, result.output
    assert record_of(tmp_path / "out" / "dog")["trial"]["clock_known"] is False
    assert "slow-motion" in result.stdout
    assert "slow-motion" in (tmp_path / "out" / "dog" / "report.html").read_text()


@pytest.mark.parametrize(
    ("words", "flags", "expected"),
    [
        ('dog = "Tansy"\nbelt_m_s = 1.5', [], {"dog": "Tansy", "belt_m_s": 1.5}),
        ("belt_kmh = 5.4", [], {"belt_m_s": 1.5}),
        ("belt_kmh = 5.4", ["--belt-speed", "2"], {"belt_m_s": 2.0}),
        ("belt_m_s = 1.0", ["--belt-kmh", "9"], {"belt_m_s": 2.5}),
        ("date = 2026-03-02\nmass_kg = 28", [], {"date": "2026-03-02", "mass_kg": 28.0}),
        ('facing = "left"', ["--facing", "right"], {"facing": "right"}),
        ('facing = "left"', ["--facing", "auto"], {"facing": None}),
        ("baseline = true", [], {"baseline": True}),
    ],
    ids=["sheet alone", "km/h in the sheet", "flag over sheet", "km/h flag over m/s sheet", "a date and a whole number",
         "facing flag", "facing auto clears", "truth value"],
)  # fmt: skip
def test_flags_come_before_the_sheet(
    tmp_path: Path, dog_table: Path, words: str, flags: list[str], expected: dict
) -> None:
    result = call("read", dog_table, "-o", tmp_path / "out", "--trial", sheet(tmp_path, words), *flags)
    assert result.exit_code == 0, result.output
    trial = record_of(tmp_path / "out" / "dog")["trial"]
    assert {key: trial[key] for key in expected} == pytest.approx(expected)


def test_a_sheet_beside_the_input_is_used_and_said(tmp_path: Path) -> None:
    table = put_table(tmp_path)
    table.with_suffix(".toml").write_text('dog = "Brock"')
    result = call("read", table, "-o", tmp_path / "out")
    assert record_of(tmp_path / "out" / "dog")["trial"]["dog"] == "Brock"
    assert "trial sheet dog.toml found beside it" in result.stdout


def still_dog(folder: Path) -> Path:
    tracks = trotting(2.0)
    xy = np.repeat(tracks.xy_px[:1], len(tracks), axis=0)
    write_table(Tracks(tracks.frame, tracks.t_s, xy, tracks.score, tracks.hidden), folder / "still.csv")
    return folder / "still.csv"


def test_a_dog_that_stands_is_said_to_stand(tmp_path: Path) -> None:
    result = call("read", still_dog(tmp_path), "-o", tmp_path / "out")
    assert result.exit_code == 0, result.output
    assert "stand" in result.stdout


def test_an_output_that_cannot_be_written_is_told_before_anything_is_read(
    tmp_path: Path, dog_table: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(read_module, "read_to_folder", lambda *_, **__: pytest.fail("the input was read"))
    (tmp_path / "file").write_text("in the way")
    for out in (tmp_path / "file", tmp_path / "file" / "below"):
        result = call("read", dog_table, "-o", out)
        assert result.exit_code == 2
        assert len(result.stderr.strip().splitlines()) == 1
        assert str(tmp_path / "file") in result.stderr


@pytest.mark.parametrize("kind", ["a file", "a folder of something else", "the input itself"])
def test_what_is_no_earlier_result_is_never_replaced(
    tmp_path: Path, dog_table: Path, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    monkeypatch.setattr(read_module, "_network", lambda *_: None)
    place = tmp_path / "dog"
    if kind == "a file":
        place.write_text("precious")
    else:
        place.mkdir()
        (place / "0001.png").write_text("precious")
    words = [place, "--fps", 30] if kind == "the input itself" else [dog_table]
    result = call("read", *words, "-o", tmp_path)
    assert result.exit_code == 2
    assert "is there already and is no earlier result" in result.stderr
    assert len(result.stderr.strip().splitlines()) == 1
    assert (place if kind == "a file" else place / "0001.png").read_text() == "precious"
    assert [item.name for item in tmp_path.iterdir()] == ["dog"]


def test_one_bad_input_does_not_stop_the_others(tmp_path: Path, dog_table: Path) -> None:
    slow = put_table(tmp_path, "slow.csv", fps=15.0)
    result = call("read", slow, tmp_path / "none.csv", dog_table, "-o", tmp_path / "out")
    assert result.exit_code == 3
    assert len(result.stderr.strip().splitlines()) == 2
    assert [item.name for item in (tmp_path / "out").iterdir()] == ["dog"]


def test_a_fault_of_ours_is_owned_and_does_not_stop_the_others(
    tmp_path: Path, dog_table: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = read_module.read_to_folder

    def fail_once(source: Path, *rest: object, **more: object) -> object:
        return [][1] if source.name == "odd.csv" else real(source, *rest, **more)

    monkeypatch.setattr(read_module, "read_to_folder", fail_once)
    odd = put_table(tmp_path, "odd.csv")
    result = call("read", odd, dog_table, "-o", tmp_path / "out")
    assert result.exit_code == 1
    assert "a fault of pawfall itself (IndexError in test_read_command.py, line" in result.stderr
    assert len(result.stderr.strip().splitlines()) == 1
    assert (tmp_path / "out" / "dog" / "report.html").exists()


def test_stopping_leaves_nothing_unfinished(tmp_path: Path, dog_table: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("gait.reading.write_page", stop)
    result = call("read", dog_table, "-o", tmp_path / "out")
    assert result.exit_code == 130
    assert "stopped" in result.stderr
    assert list((tmp_path / "out").iterdir()) == []


def test_the_folder_one_stands_in_has_a_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "run").mkdir()
    monkeypatch.chdir(tmp_path / "run")
    monkeypatch.setattr(read_module, "_network", lambda *_: None)
    assert read_module.plain_name(Path(".")) == "run"
    result = call("read", ".", "-o", tmp_path / "out", "--fps", "30")
    assert (result.exit_code, "holds no numbered pictures" in result.stderr) == (2, True)


def test_endings_in_capitals(tmp_path: Path) -> None:
    loud = put_table(tmp_path).rename(tmp_path / "DOG.CSV")
    assert call("read", loud, "-o", tmp_path / "out").exit_code == 0


def test_two_inputs_of_one_name_get_two_folders(tmp_path: Path) -> None:
    one, two = put_table(tmp_path / "a"), put_table(tmp_path / "b", seconds=3.0)
    result = call("read", one, two, "-o", tmp_path / "out")
    assert result.exit_code == 0, result.output
    assert sorted(item.name for item in (tmp_path / "out").iterdir()) == ["dog", "dog-2"]
    assert f"its name is taken by {one}" in result.stdout


def test_an_older_result_gives_way_only_to_a_whole_one(
    tmp_path: Path, dog_table: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "dog"
    assert call("read", dog_table, "-o", tmp_path).exit_code == 0
    (folder / "film.mp4").write_text("an older film")
    (folder / "my notes.txt").write_text("limps on Mondays")
    before = {item.name: item.read_bytes() for item in folder.iterdir()}

    def fail(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as broken:
        broken.setattr("gait.reading.write_page", fail)
        result = call("read", dog_table, "-o", tmp_path, "--stop", 3)
        assert (result.exit_code, "No space left" in result.stderr) == (2, True)
    assert {item.name: item.read_bytes() for item in folder.iterdir()} == before
    assert [item.name for item in tmp_path.iterdir()] == ["dog"]

    assert call("read", dog_table, "-o", tmp_path, "--stop", 3).exit_code == 0
    assert (folder / "landmarks.csv").read_bytes() != before["landmarks.csv"]
    assert {item.name for item in folder.iterdir()} == TABLE_FILES | {"my notes.txt"}
    assert set(RESULT_FILES) >= TABLE_FILES


@pytest.mark.parametrize(
    ("words", "code", "stream", "expected"),
    [
        (["--version"], 0, "stdout", "pawfall"),
        (["--help"], 0, "stdout", "read"),
        (["read", "--help"], 0, "stdout", "--belt-kmh"),
        (["read"], 2, "stderr", "INPUT"),
        (["walk"], 2, "stderr", "walk"),
        (["read", "none.csv", "-o", "{out}"], 2, "stderr", "none.csv does not exist"),
        (["read", "none.csv"], 2, "stderr", "--out"),
    ],
    ids=["version", "help", "help of read", "no input", "unknown command", "missing file", "no output"],
)
def test_the_process_itself(tmp_path: Path, words: list[str], code: int, stream: str, expected: str) -> None:
    filled = [word.format(out=tmp_path / "out") for word in words]
    root = Path(__file__).parents[2]
    command = [sys.executable, "-m", "gait.cli", *filled]
    done = subprocess.run(command, cwd=root, capture_output=True, text=True, check=False)
    assert done.returncode == code, done.stderr
    assert expected in getattr(done, stream)
    assert code == 0 or len(done.stderr.strip().splitlines()) == 1
    assert "Traceback" not in done.stderr
