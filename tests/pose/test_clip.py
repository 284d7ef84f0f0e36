"""Frames, time stamps, turns and errors of films and folders of pictures."""

from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
import pytest
from film_maker import HEIGHT, WIDTH, number_in, numbered_picture, red_corner, write_numbered, write_sound

from pose.clip import open_clip
from pose.errors import ClipError

STAMP_TOLERANCE_S = 1e-9
MILLISECOND_CLOCK_S = 0.00051  # Matroska stores milliseconds
VARIABLE_S = [0.0, 0.016, 0.05, 0.066, 0.15, 0.166, 0.2, 0.233, 0.3, 0.317]


def even_times(count: int, fps: float | Fraction) -> list[Fraction]:
    return [Fraction(number) / Fraction(fps) for number in range(count)]


@pytest.mark.parametrize("ending", [".mp4", ".mov", ".mkv", ".webm", ".avi"])
def test_every_kind_of_file_gives_its_frames_in_order(tmp_path: Path, ending: str) -> None:
    clip = open_clip(write_numbered(tmp_path / f"film{ending}", even_times(40, 30), rate=Fraction(30)))
    frames = list(clip.frames())
    assert [number_in(frame.rgb) for frame in frames] == list(range(40))
    assert [frame.index for frame in frames] == list(range(40))
    assert (clip.frame_count, clip.width, clip.height, clip.name) == (40, WIDTH, HEIGHT, "film")
    # an AVI's first tick can stand for the first or the second period; its spacing is what counts
    times = np.array([frame.t_s for frame in frames])
    np.testing.assert_allclose(np.diff(times), 1 / 30, atol=2 * MILLISECOND_CLOCK_S)
    assert clip.fps == pytest.approx(30, rel=1e-3)
    assert clip.duration_s == pytest.approx(40 / 30, rel=1e-3)


@pytest.mark.parametrize(
    "fps", [24, Fraction(24000, 1001), Fraction(30000, 1001), 50, 60, 120, 240],
    ids=["cinema", "cinema by 1.001", "television by 1.001", "50", "60", "120", "240"],
)  # fmt: skip
def test_stamps_are_the_containers_own(tmp_path: Path, fps: int | Fraction) -> None:
    times = even_times(20, fps)
    clip = open_clip(write_numbered(tmp_path / "film.mp4", times, time_base=1 / Fraction(fps) / 512))
    np.testing.assert_allclose(clip.stamps_s, [float(time) for time in times], atol=STAMP_TOLERANCE_S)
    np.testing.assert_allclose([frame.t_s for frame in clip.frames()], clip.stamps_s, atol=STAMP_TOLERANCE_S)


@pytest.mark.parametrize("ending", [".mp4", ".mkv", ".webm"])
def test_variable_rate_is_kept(tmp_path: Path, ending: str) -> None:
    clip = open_clip(write_numbered(tmp_path / f"film{ending}", VARIABLE_S))
    np.testing.assert_allclose([frame.t_s for frame in clip.frames()], VARIABLE_S, atol=MILLISECOND_CLOCK_S)


@pytest.mark.parametrize(
    ("noted", "asked", "corner", "portrait"),
    [
        (0, 0, "top left", False),
        (90, 0, "bottom left", True),
        (180, 0, "bottom right", False),
        (-90, 0, "top right", True),
        (0, 90, "top right", True),
        (0, 180, "bottom right", False),
        (0, 270, "bottom left", True),
        (-90, 270, "top left", False),
        (90, 180, "top right", True),
    ],
)
def test_turns(tmp_path: Path, noted: int, asked: int, corner: str, portrait: bool) -> None:
    """The camera's note is counter-clockwise (as FFmpeg counts), the turn asked for is clockwise."""
    clip = open_clip(write_numbered(tmp_path / "film.mp4", even_times(4, 30), turn_deg=noted), rotate_deg=asked)
    frame = next(clip.frames())
    assert (clip.width, clip.height) == ((HEIGHT, WIDTH) if portrait else (WIDTH, HEIGHT))
    assert frame.rgb.shape == (clip.height, clip.width, 3)
    assert red_corner(frame.rgb) == corner


def test_a_mirror_noted_by_the_camera_is_undone(tmp_path: Path) -> None:
    clip = open_clip(write_numbered(tmp_path / "film.mp4", even_times(4, 30), mirrored=True))
    assert red_corner(next(clip.frames()).rgb) == "top right"


def test_oblong_pixels_become_square(tmp_path: Path) -> None:
    clip = open_clip(write_numbered(tmp_path / "film.mp4", even_times(4, 30), aspect=Fraction(4, 3)))
    assert (clip.width, clip.height) == (128, HEIGHT)


@pytest.mark.parametrize(
    ("start_s", "stop_s", "first", "last"),
    [(None, None, 0, 39), (0.5, None, 15, 39), (None, 0.5, 0, 15), (0.49, 0.61, 15, 18), (1.0, 9.0, 30, 39)],
    ids=["whole", "from", "to", "between", "stop beyond the end"],
)
@pytest.mark.parametrize("ending", [".mp4", ".avi"])
def test_window(
    tmp_path: Path, ending: str, start_s: float | None, stop_s: float | None, first: int, last: int
) -> None:
    path = write_numbered(tmp_path / f"film{ending}", even_times(40, 30), rate=Fraction(30))
    clip = open_clip(path, start_s=start_s, stop_s=stop_s)
    assert [number_in(frame.rgb) for frame in clip.frames()] == list(range(first, last + 1))
    assert [frame.index for frame in clip.frames()] == list(range(first, last + 1))
    assert clip.frame_count == last + 1 - first


@pytest.mark.parametrize("ending", [".mp4", ".mkv", ".avi", ".webm"])
@pytest.mark.parametrize("count", [1, 2, 5, 40, 99])
def test_sample_gives_the_same_frames_as_going_through(tmp_path: Path, ending: str, count: int) -> None:
    clip = open_clip(write_numbered(tmp_path / f"film{ending}", even_times(40, 30), rate=Fraction(30)))
    sample = list(clip.sample(count))
    assert len(sample) == min(count, 40)
    assert [number_in(frame.rgb) for frame in sample] == [frame.index for frame in sample]
    assert all(frame.t_s == clip.stamps_s[frame.index] for frame in sample)
    assert count == 1 or (sample[0].index, sample[-1].index) == (0, 39)


def test_the_frame_at_a_time_is_the_nearest(tmp_path: Path) -> None:
    clip = open_clip(write_numbered(tmp_path / "film.mp4", even_times(40, 30)), start_s=0.3)
    assert [number_in(clip.at(t_s).rgb) for t_s in (0.0, 0.51, 1.0, 7.0)] == [9, 15, 30, 39]
    several = list(clip.at_times(np.array([0.51, 0.54, 1.0])))
    assert [(number_in(frame.rgb), frame.index) for frame in several] == [(15, 15), (16, 16), (30, 30)]
    assert list(clip.at_times(np.empty(0))) == []


def test_slow_motion_said_by_a_person_stretches_the_clock(tmp_path: Path) -> None:
    clip = open_clip(write_numbered(tmp_path / "film.mp4", even_times(40, 30)), filmed_fps=240, start_s=0.5)
    assert clip.fps == pytest.approx(240)
    assert clip.stamps_s[0] == pytest.approx(0.5 / 8)
    assert (clip.clock_source, clip.filmed_fps) == ("person", 240)
    assert clip.time_factor == pytest.approx(1 / 8)


@pytest.mark.parametrize(
    ("noted", "source", "fps", "slow"),
    [("240.000000", "camera", 240, True), ("30.0", "file", 30, False), ("29.97", "file", 30, False),
     ("nonsense", "file", 30, False), ("-4", "file", 30, False)],
    ids=["slow motion", "as played", "rounded", "not a number", "negative"],
)  # fmt: skip
def test_the_cameras_note_of_its_rate(tmp_path: Path, noted: str, source: str, fps: float, slow: bool) -> None:
    notes = {"com.android.capture.fps": noted}
    clip = open_clip(write_numbered(tmp_path / "film.mp4", even_times(40, 30), notes=notes))
    assert (clip.clock_source, clip.looks_slow_motion) == (source, slow)
    assert clip.fps == pytest.approx(fps)


def test_a_person_overrules_the_camera(tmp_path: Path) -> None:
    notes = {"com.android.capture.fps": "240"}
    clip = open_clip(write_numbered(tmp_path / "film.mp4", even_times(40, 30), notes=notes), filmed_fps=120)
    assert (clip.clock_source, clip.fps) == ("person", pytest.approx(120))


def test_a_stamp_that_does_not_rise_is_left_out_and_counted(tmp_path: Path) -> None:
    path = tmp_path / "film.mkv"
    whole = write_numbered(tmp_path / "whole.mkv", even_times(20, 25), key_every=1)
    with av.open(str(whole)) as given, av.open(str(path), "w") as film:
        stream = film.add_stream_from_template(given.streams.video[0])
        for number, packet in enumerate(packet for packet in given.demux(video=0) if packet.dts is not None):
            packet.pts = packet.dts = number * 40 - 40 * (number == 7)
            packet.stream = stream
            film.mux(packet)
    clip = open_clip(path)
    assert clip.repeated == 1
    assert clip.frame_count == 19
    assert np.all(np.diff([frame.t_s for frame in clip.frames()]) > 0)
    assert len(list(clip.frames())) == 19


def test_frames_cut_away_by_an_edit_list_do_not_count(tmp_path: Path) -> None:
    """A phone that trims a film keeps the pictures before the cut, for decoding, and notes that they are not shown."""
    whole = write_numbered(tmp_path / "whole.mp4", even_times(40, 30))
    with av.open(str(whole)) as given, av.open(str(tmp_path / "film.mp4"), "w") as film:
        stream = film.add_stream_from_template(given.streams.video[0])
        for packet in given.demux(video=0):
            if packet.dts is not None:
                early = round(Fraction(10, 30) / packet.time_base)
                packet.pts, packet.dts, packet.stream = packet.pts - early, packet.dts - early, stream
                film.mux(packet)
    clip = open_clip(tmp_path / "film.mp4")
    frames = list(clip.frames())
    assert [number_in(frame.rgb) for frame in frames] == list(range(10, 40))
    assert [frame.index for frame in frames] == list(range(30))
    assert clip.frame_count == 30


def write_pictures(folder: Path, numbers: list[int], ending: str = ".png") -> Path:
    folder.mkdir()
    for number in numbers:
        cv2.imwrite(str(folder / f"take2_{number:04d}{ending}"), numbered_picture(number)[..., ::-1])
    return folder


@pytest.mark.parametrize("ending", [".png", ".bmp", ".jpg"])
def test_pictures_are_ordered_by_number_and_a_missing_one_is_a_gap_in_time(tmp_path: Path, ending: str) -> None:
    clip = open_clip(write_pictures(tmp_path / "run", [9, 10, 11, 14], ending), fps=50)
    frames = list(clip.frames())
    assert [number_in(frame.rgb) for frame in frames] == [9, 10, 11, 14]
    assert [frame.index for frame in frames] == [0, 1, 2, 5]
    assert [frame.t_s for frame in frames] == pytest.approx([0, 0.02, 0.04, 0.1])
    assert clip.name == "run"


def test_pictures_may_be_turned_stretched_and_cut(tmp_path: Path) -> None:
    folder = write_pictures(tmp_path / "run", list(range(20)))
    clip = open_clip(folder, fps=30, filmed_fps=120, rotate_deg=90, start_s=0.1, stop_s=0.3)
    frames = list(clip.frames())
    assert [frame.index for frame in frames] == list(range(3, 10))
    assert frames[0].t_s == pytest.approx(0.025)
    assert red_corner(frames[0].rgb) == "top right"


def cut(path: Path, share: float) -> Path:
    """The first ``share`` of the bytes of ``path`` under another name."""
    short = path.with_name(f"cut{path.suffix}")
    short.write_bytes(path.read_bytes()[: round(share * path.stat().st_size)])
    return short


def index_first(path: Path, folder: Path) -> Path:
    """The same film with its index at the beginning, as a phone sends it over a network."""
    out = folder / f"streamed{path.suffix}"
    with av.open(str(path)) as given, av.open(str(out), "w", options={"movflags": "faststart"}) as film:
        stream = film.add_stream_from_template(given.streams.video[0])
        for packet in given.demux(video=0):
            if packet.dts is not None:
                packet.stream = stream
                film.mux(packet)
    return out


def text_file(folder: Path) -> Path:
    path = folder / "words.mp4"
    path.write_text("This is not a film.\n" * 9)
    return path


def play_list(folder: Path) -> Path:
    path = folder / "list.mp4"
    path.write_text("#EXTM3U\n#EXT-X-TARGETDURATION:9\n#EXTINF:9,\nhttp://127.0.0.1:9/x.ts\n#EXT-X-ENDLIST\n")
    return path


def empty_file(folder: Path) -> Path:
    path = folder / "empty.mp4"
    path.touch()
    return path


def mixed_sizes(folder: Path) -> Path:
    path = write_pictures(folder / "run", [1, 2])
    cv2.imwrite(str(path / "0003.png"), numbered_picture(3, 48, 48))
    return path


def twice_numbered(folder: Path) -> Path:
    path = write_pictures(folder / "run", [1, 2])
    cv2.imwrite(str(path / "0002.bmp"), numbered_picture(3))
    return path


def no_numbers(folder: Path) -> Path:
    path = write_pictures(folder / "run", [])
    cv2.imwrite(str(path / "still.png"), numbered_picture(3))
    return path


def broken_picture(folder: Path) -> Path:
    path = write_pictures(folder / "run", [1, 2])
    (path / "0003.png").write_bytes(b"no picture")
    return path


def film(folder: Path, ending: str = ".mp4") -> Path:
    return write_numbered(folder / f"film{ending}", even_times(60, 30), rate=Fraction(30))


@pytest.mark.parametrize(
    ("make", "options", "words"),
    [
        (lambda folder: folder / "none.mp4", {}, "does not exist"),
        (empty_file, {}, "is empty (0 bytes)"),
        (text_file, {}, "it holds text"),
        (play_list, {}, "cannot be opened as a film"),
        (lambda folder: cut(film(folder), 0.6), {}, "cannot be opened as a film"),
        (lambda folder: cut(index_first(film(folder), folder), 0.7), {}, "breaks off"),
        (lambda folder: cut(film(folder, ".mkv"), 0.6), {}, "breaks off"),
        (lambda folder: cut(film(folder, ".avi"), 0.6), {}, "breaks off"),
        (lambda folder: write_sound(folder / "sound.mp4"), {}, "sound only"),
        (film, {"fps": 0}, "fps is 0"),
        (film, {"fps": -5}, "fps is -5"),
        (film, {"filmed_fps": 0}, "filmed fps is 0"),
        (film, {"filmed_fps": float("nan")}, "filmed fps is nan"),
        (film, {"start_s": -1}, "start is -1"),
        (film, {"start_s": 1, "stop_s": 1}, "stop has to come after start"),
        (film, {"start_s": 30}, "holds no frame between start and stop"),
        (film, {"rotate_deg": 45}, "rotate is 45"),
        (lambda folder: write_pictures(folder / "run", [1, 2]), {}, "pictures without times"),
        (lambda folder: write_pictures(folder / "run", []), {"fps": 30}, "holds no numbered pictures"),
        (no_numbers, {"fps": 30}, "holds no numbered pictures"),
        (mixed_sizes, {"fps": 30}, "48x48"),
        (twice_numbered, {"fps": 30}, "carry one number"),
        (broken_picture, {"fps": 30}, "cannot be read as a picture"),
    ],
    ids=["missing", "empty", "text", "play list", "cut mp4, index at the end", "cut mp4, index first", "cut mkv",
         "cut avi", "sound only", "fps 0", "fps negative", "filmed fps 0", "filmed fps not a number", "start negative",
         "start at stop", "start beyond the end", "odd turn", "pictures without fps", "folder without pictures",
         "pictures without numbers", "pictures of two sizes", "one number twice", "broken picture"],
)  # fmt: skip
def test_what_cannot_be_used_says_why_in_one_line(tmp_path: Path, make, options: dict, words: str) -> None:
    path = make(tmp_path)
    with pytest.raises(ClipError) as caught:
        list(open_clip(path, **options).frames())
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("ending", [".mp4", ".mkv", ".avi"])
def test_the_intact_part_of_a_cut_film_can_be_read(tmp_path: Path, ending: str) -> None:
    whole = film(tmp_path, ending)
    short = cut(index_first(whole, tmp_path) if ending == ".mp4" else whole, 0.7)
    clip = open_clip(short, stop_s=0.5)
    assert len(list(clip.frames())) == clip.frame_count >= 15


def test_damage_in_the_middle_is_told_with_how_much_could_be_read(tmp_path: Path) -> None:
    path = film(tmp_path)
    data = bytearray(path.read_bytes())
    data[len(data) // 8 : len(data) // 2] = bytes(len(data) // 2 - len(data) // 8)
    path.write_bytes(data)
    with pytest.raises(ClipError, match=r"(is damaged|breaks off|No frame)"):
        list(open_clip(path).frames())


def test_sound_that_runs_on_is_no_fault(tmp_path: Path) -> None:
    clip = open_clip(write_numbered(tmp_path / "film.mkv", even_times(40, 30), sound_s=2.0))
    assert len(list(clip.frames())) == 40
