"""Films that are written can be read back with the same pictures at the same times."""

from pathlib import Path

import av
import numpy as np
import pytest
from film_maker import number_in, numbered_picture

from pose.clip import open_clip
from pose.errors import PoseError
from pose.film import FilmSettings, write_film

TICK_S = 1 / 90_000
TIMES_S = [0.5, 0.52, 0.6, 0.61, 0.7, 0.8, 0.9, 1.3]


def test_pictures_keep_their_times_and_order(tmp_path: Path) -> None:
    count = write_film([(t_s, numbered_picture(number)) for number, t_s in enumerate(TIMES_S)], tmp_path / "film.mp4")
    clip = open_clip(tmp_path / "film.mp4")
    assert count == clip.frame_count == len(TIMES_S)
    np.testing.assert_allclose(np.diff(clip.stamps_s), np.diff(TIMES_S), atol=TICK_S)
    assert [number_in(frame.rgb) for frame in clip.frames()] == list(range(len(TIMES_S)))


def test_every_player_can_show_it(tmp_path: Path) -> None:
    write_film([(t_s, numbered_picture(1)) for t_s in TIMES_S], tmp_path / "film.mp4")
    with av.open(str(tmp_path / "film.mp4")) as film:
        stream = film.streams.video[0]
        assert (stream.codec_context.name, stream.pix_fmt) == ("h264", "yuv420p")


@pytest.mark.parametrize(
    ("size", "expected"),
    [((101, 67), (100, 68)), ((1920, 1080), (1280, 720)), ((1080, 1920), (1080, 1920)), ((64, 64), (64, 64))],
    ids=["odd", "wide", "portrait", "small"],
)  # fmt: skip
def test_sizes(tmp_path: Path, size: tuple[int, int], expected: tuple[int, int]) -> None:
    write_film([(t_s, numbered_picture(1, *size)) for t_s in (0.0, 0.1)], tmp_path / "film.mp4")
    clip = open_clip(tmp_path / "film.mp4")
    assert (clip.width, clip.height) == expected


@pytest.mark.parametrize(
    "pictures",
    [[], [(0.0, numbered_picture(0)), (0.1, numbered_picture(1, 48, 48))]],
    ids=["no picture", "two sizes"],
)
def test_what_cannot_be_written_leaves_nothing(tmp_path: Path, pictures: list) -> None:
    with pytest.raises(PoseError):
        write_film(pictures, tmp_path / "film.mp4")
    assert list(tmp_path.iterdir()) == []


def test_a_failure_midway_leaves_the_older_film(tmp_path: Path) -> None:
    def failing():
        yield 0.0, numbered_picture(0)
        raise RuntimeError("the reader broke")

    path = tmp_path / "film.mp4"
    write_film([(0.0, numbered_picture(0))], path, settings=FilmSettings(quality=30))
    before = path.read_bytes()
    with pytest.raises(RuntimeError, match="reader broke"):
        write_film(failing(), path)
    assert path.read_bytes() == before
    assert [item.name for item in tmp_path.iterdir()] == ["film.mp4"]
