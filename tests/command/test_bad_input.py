"""Whatever cannot be read ends in one line, the right exit code, and nothing left behind."""

import csv
from fractions import Fraction
from pathlib import Path

import pytest
from command_line import call, put_table, sheet
from film_maker import write_numbered, write_sound
from walker import trotting

from gait.command import read as read_module
from pose.table import write_table


def nan_table(folder: Path) -> Path:
    tracks = trotting(1.0)
    path = folder / "nan.csv"
    write_table(tracks, path)
    with path.open() as file:
        rows = list(csv.DictReader(file))
    with path.open("w", newline="") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(row | {"x_px": "nan", "y_px": "nan"} for row in rows)
    return path


def odd_landmark(folder: Path) -> Path:
    path = put_table(folder)
    path.write_text(path.read_text().replace("withers", "wither", 1))
    return path


def one_frame(folder: Path) -> Path:
    return put_table(folder, seconds=1 / 60)


def text_film(folder: Path) -> Path:
    path = folder / "words.mp4"
    path.write_text("not a film")
    return path


def empty_film(folder: Path) -> Path:
    path = folder / "empty.mp4"
    path.touch()
    return path


def cut_film(folder: Path) -> Path:
    path = write_numbered(folder / "cut.mp4", [Fraction(number, 30) for number in range(30)])
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    return path


def two_frames(folder: Path) -> Path:
    return write_numbered(folder / "two.mp4", [0, Fraction(1, 30)])


def sparse_film(folder: Path) -> Path:
    return write_numbered(folder / "sparse.mp4", [Fraction(number, 10) for number in range(20)])


def fast_forward(folder: Path) -> Path:
    return write_numbered(folder / "fast.mp4", [Fraction(number, 30) for number in range(20)])


BAD_INPUTS = [
    ("a missing film", lambda folder: folder / "none.mp4", [], 2, "does not exist"),
    ("a missing table", lambda folder: folder / "none.csv", [], 2, "does not exist"),
    ("an empty film", empty_film, [], 2, "is empty"),
    ("text named mp4", text_film, [], 2, "it holds text"),
    ("a cut film", cut_film, [], 2, "cannot be opened"),
    ("sound only", lambda folder: write_sound(folder / "sound.mp4"), [], 2, "sound only"),
    ("a table without a place", nan_table, [], 2, "holds no place at all"),
    ("an unknown landmark", odd_landmark, [], 2, "did you mean withers?"),
    ("a negative belt speed", put_table, ["--belt-speed", "-1"], 2, "belt speed is -1 m/s"),
    ("a belt at rest", put_table, ["--belt-kmh", "0"], 2, "belt speed is 0 km/h"),
    ("belt speed twice", put_table, ["--belt-speed", "1", "--belt-kmh", "4"], 2, "give one of them"),
    ("no filmed rate", put_table, ["--filmed-fps", "0"], 2, "filmed_fps is 0"),
    ("fps for a table", put_table, ["--fps", "30"], 2, "Leave them out"),
    ("a turned table", put_table, ["--rotate", "90"], 2, "Leave them out"),
    ("start after the end", put_table, ["--start", "60"], 3, "holds 0 frames between start and stop"),
    ("a missing sheet", put_table, ["--trial", "none.toml"], 2, "cannot be read"),
    ("one frame", one_frame, [], 3, "holds 1 frames"),
    ("a film of two frames", two_frames, [], 3, "holds 2 frames"),
    ("a film of few frames a second", sparse_film, [], 3, "10.0 frames per second"),
    ("real time below the file's rate", fast_forward, ["--filmed-fps", "12"], 3, "12.0 frames per second"),
    ("too few frames a second", lambda folder: put_table(folder, fps=15.0), [], 3, "15.0 frames per second"),
    ("no whole stride", lambda folder: put_table(folder, seconds=0.3), [], 3, "strides"),
    ("a word for a number", put_table, ["--fps", "many"], 2, "many"),
    ("an odd side", put_table, ["--facing", "up"], 2, "up"),
    ("an odd turn", put_table, ["--rotate", "45"], 2, "45"),
    ("an unknown flag", put_table, ["--fast"], 2, "--fast"),
]


@pytest.mark.parametrize(
    ("make", "flags", "code", "words"), [case[1:] for case in BAD_INPUTS], ids=[case[0] for case in BAD_INPUTS]
)
def test_bad_input_ends_in_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, make, flags: list[str], code: int, words: str
) -> None:
    monkeypatch.setattr(read_module, "_network", lambda *_: None)
    source = make(tmp_path)
    result = call("read", source, "-o", tmp_path / "out", *flags)
    assert result.exit_code == code, result.output
    assert words in result.stderr
    assert len(result.stderr.strip().splitlines()) == 1
    assert result.stdout == ""
    out = tmp_path / "out"
    assert not out.exists() or list(out.iterdir()) == []


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ('dogg = "Tansy"', "unknown key 'dogg'; did you mean dog?"),
        ("belt_kph = 5", "did you mean belt_kmh?"),
        ("belt_m_s = 1\nbelt_kmh = 5", "give one of them"),
        ("belt_m_s = -1", "belt speed is -1 m/s"),
        ('belt_m_s = "fast"', "it has to be a number"),
        ("dog = 5", "it has to be text in quotes"),
        ('baseline = "yes"', "it has to be true or false"),
        ("mass_kg = true", "it has to be a number"),
        ('facing = "up"', "it can be left or right"),
        ("mass_kg = -3", "mass_kg is -3"),
        ("dog = ", "cannot be read"),
        ("[dog]\nname = 'Tansy'", "it has to be text in quotes"),
    ],
)
def test_a_fault_in_a_sheet_is_named(tmp_path: Path, words: str, expected: str) -> None:
    result = call("read", put_table(tmp_path), "-o", tmp_path / "out", "--trial", sheet(tmp_path, words))
    assert result.exit_code == 2
    assert expected in result.stderr
    assert len(result.stderr.strip().splitlines()) == 1
