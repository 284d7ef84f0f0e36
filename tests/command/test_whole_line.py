"""From a film file to the folder of results through a real ONNX file: a dog of coloured discs that trots."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from command_line import call
from fake_network import disc_clip, write_fake_network

from gait.reading import RESULT_FILES
from pose.film import FilmSettings, write_film
from pose.table import read_table

#: px; the discs' places after compression, against where they were drawn (the dog is 90 px long).
CLOSE_PX = 4.0
STRIDE_S = 0.5


@pytest.fixture(scope="module")
def network(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_fake_network(tmp_path_factory.mktemp("network"))


def film(path: Path, **options: object) -> Path:
    clip = disc_clip(**options)
    write_film(((frame.t_s, frame.rgb) for frame in clip.frames()), path, settings=FilmSettings(quality=8))
    return path


@pytest.mark.slow
@pytest.mark.parametrize("facing", ["left", "right"])
def test_a_film_is_read_to_the_end(tmp_path: Path, network: Path, facing: str) -> None:
    path = film(tmp_path / "disc.mp4", frames=180, fps=60.0, facing=facing)
    result = call("read", path, "-o", tmp_path / "out", "--network", network)
    assert result.exit_code == 0, result.output
    folder = tmp_path / "out" / "disc"
    assert {item.name for item in folder.iterdir()} == set(RESULT_FILES)
    truth = disc_clip(frames=180, fps=60.0, facing=facing).truth_px
    tracks = read_table(folder / "landmarks.csv")
    off = np.hypot(*np.moveaxis(tracks.xy_px - truth, -1, 0))
    assert np.nanmedian(off) < CLOSE_PX
    with (folder / "strides.csv").open() as file:
        rows = [row for row in csv.DictReader(file) if not row["dropped"]]
    assert {row["gait"] for row in rows} == {"trot"}
    times = [float(row["end_s"]) - float(row["start_s"]) for row in rows]
    assert np.median(times) == pytest.approx(STRIDE_S, abs=0.01)
    record = json.loads((folder / "record.json").read_text())
    assert record["facing"] == facing
    assert len(record["network_hash"]) == 64


@pytest.mark.slow
def test_landmarks_of_a_film_read_back_give_the_same_gait(tmp_path: Path, network: Path) -> None:
    path = film(tmp_path / "disc.mp4", frames=120, fps=60.0)
    assert call("read", path, "-o", tmp_path / "one", "--network", network, "--no-film").exit_code == 0
    assert call("read", tmp_path / "one/disc/landmarks.csv", "-o", tmp_path / "two").exit_code == 0
    for name in ("landmarks.csv", "contacts.csv", "strides.csv"):
        one, two = tmp_path / "one" / "disc" / name, tmp_path / "two" / "landmarks" / name
        assert one.read_text() == two.read_text(), name


@pytest.mark.slow
def test_a_film_without_a_dog_ends_in_one_line(tmp_path: Path, network: Path) -> None:
    path = film(tmp_path / "empty.mp4", frames=30, empty=frozenset(range(30)))
    result = call("read", path, "-o", tmp_path / "out", "--network", network)
    assert result.exit_code == 3
    assert "empty" in result.stderr
    assert "dog" in result.stderr
    assert len(result.stderr.strip().splitlines()) == 1
    assert list((tmp_path / "out").iterdir()) == []


@pytest.mark.parametrize("damage", ["missing", "text", "without a card"])
def test_a_network_that_cannot_be_used_ends_in_one_line(tmp_path: Path, damage: str) -> None:
    path = film(tmp_path / "disc.mp4", frames=12)
    other = tmp_path / "other.onnx"
    if damage == "text":
        other.write_text("no network")
        other.with_suffix(".toml").write_text("name = 'other'")
    elif damage == "without a card":
        write_fake_network(tmp_path).rename(other)
    result = call("read", path, "-o", tmp_path / "out", "--network", other)
    assert result.exit_code == 2
    assert "other" in result.stderr
    assert len(result.stderr.strip().splitlines()) == 1
