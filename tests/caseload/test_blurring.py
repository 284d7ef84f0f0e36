"""Films that leave the caseload: outside the dog's boxes nothing can be recognised, inside it nothing is changed."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from caseload_maker import add_now, read_all
from command_line import call
from walker import BODY_PX, trotting

from gait.caseload.adding import add
from gait.caseload.blurring import BlurSettings, blurred, body_length_px, boxes_of
from gait.caseload.keys import wanted_of
from gait.caseload.planning import plan
from gait.caseload.store import Store
from pose.clip import open_clip
from pose.film import write_film
from pose.landmarks import CROUP, LANDMARKS, WITHERS
from pose.table import write_table
from pose.tracks import Tracks

WIDTH, HEIGHT, FRAMES = 1000, 600, 20
#: Grey levels of 255 between places 8 px apart that may be left where nothing shall be recognised; derived: the mean of
#: five stripes leaves a fifth, and that is spread over the 40 px of a patch
FAINT = 255 / 5 * 8 / 40
#: px, landmarks must lie within the box by at least this.
EDGE_PX = 20.0


def stripes(frame: int) -> np.ndarray:
    """A picture (H, W, 3) of stripes 8 px wide, which move: any detail that is left shows."""
    row = np.where((np.arange(WIDTH) + 4 * frame) // 8 % 2, 255, 0)
    return np.repeat(np.repeat(row[None, :, None], HEIGHT, axis=0), 3, axis=2).astype(np.uint8)


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A film of stripes."""
    path = tmp_path_factory.mktemp("film") / "stripes.mp4"
    write_film(((n / 60, stripes(n)) for n in range(FRAMES)), path)
    return path


def tracks(**changes: np.ndarray) -> Tracks:
    whole = trotting(FRAMES / 60)
    return dataclasses.replace(whole, **changes) if changes else whole


def contrast(picture: np.ndarray) -> float:
    """sd of what differs between neighbours along a row: of detail, not of slow changes."""
    grey = picture[..., 0].astype(float)
    return float(np.std(grey[:, 8:] - grey[:, :-8]))


def test_outside_the_box_no_detail_is_left_and_inside_it_is_as_it_was(film: Path) -> None:
    clip, dog = open_clip(film), tracks()
    for (_, picture), frame, boxes in zip(blurred(clip, dog), clip.frames(), boxes_of(dog), strict=True):
        kept = np.zeros((HEIGHT, WIDTH), bool)
        for left, top, right, bottom in np.clip(np.round(boxes), 0, [WIDTH, HEIGHT] * 2).astype(int):
            kept[top:bottom, left:right] = True
        assert np.array_equal(picture[kept], frame.rgb[kept])
        assert 0.2 < kept.mean() < 0.8
        both_outside = ~kept[:, 8:] & ~kept[:, :-8]
        grey = picture[..., 0].astype(float)
        assert np.abs(grey[:, 8:] - grey[:, :-8])[both_outside].max() <= 2 * FAINT
    assert contrast(stripes(0)) > 10 * FAINT  # the measure sees what it has to see


@pytest.mark.parametrize("way", [1, -1], ids=["to the right", "to the left"])
def test_the_boxes_hold_all_landmarks_and_room_for_head_and_tail(way: int) -> None:
    dog = tracks()
    dog = dataclasses.replace(dog, xy_px=dog.xy_px * [way, 1] + [0 if way == 1 else WIDTH, 0])
    trunk, neck = boxes_of(dog).transpose(1, 2, 0)
    x, y = dog.xy_px[..., 0], dog.xy_px[..., 1]
    side = BlurSettings().side_bl * BODY_PX - EDGE_PX
    assert (x.min(axis=1) - trunk[0] >= side).all() and (trunk[2] - x.max(axis=1) >= side).all()
    assert (y.min(axis=1) > trunk[1]).all() and (y.max(axis=1) < trunk[3]).all()
    nose, tip = x[:, WITHERS] + way * 1.3 * BODY_PX, x[:, CROUP] - way * 0.6 * BODY_PX
    assert ((neck[0] < nose) & (nose < neck[2])).all() and ((trunk[0] < tip) & (tip < trunk[2])).all()
    assert (neck[1] < y[:, WITHERS] - 0.6 * BODY_PX).all()
    assert body_length_px(dog) == pytest.approx(BODY_PX, rel=0.02)


def test_a_gap_is_bridged_and_a_frame_far_from_any_dog_is_blurred_altogether(film: Path) -> None:
    whole = trotting(FRAMES / 60)
    places = whole.xy_px.copy()
    places[5:8] = np.nan
    assert np.isfinite(boxes_of(tracks(xy_px=places))[5:8]).all()
    nowhere = tracks(xy_px=np.full((FRAMES, len(LANDMARKS), 2), np.nan))
    assert np.isnan(boxes_of(nowhere)).all()
    assert all(contrast(picture) < FAINT for _, picture in blurred(open_clip(film), nowhere))


@pytest.fixture
def read_store(file_store: Store, film: Path) -> Store:
    """A store with that film, read."""
    add(file_store, film.parent, settle_s=0.0)
    plan(file_store, wanted_of())
    for task in read_all(file_store, wanted_of()):
        write_table(tracks(), file_store.home / task.folder / "landmarks.csv")
    return file_store


@pytest.mark.parametrize(("films", "endings"), [("none", []), ("dog-only", [".mp4"]), ("whole", [".mp4"])])
def test_films_leave_only_as_they_were_asked_for(
    read_store: Store, film: Path, tmp_path: Path, films: str, endings: list[str]
) -> None:
    words = ["caseload", "export", tmp_path / "out" / "table.csv", "--films", films, "--home", read_store.home]
    result = call(*words)
    assert result.exit_code == 0, result.output
    found = list((tmp_path / "out" / "table-films").glob("*"))
    assert [path.suffix for path in found] == endings
    if films == "whole":
        assert found[0].read_bytes() == film.read_bytes()
    if films == "dog-only":
        clip = open_clip(found[0])
        assert clip.frame_count == FRAMES
        assert contrast(next(clip.frames()).rgb[:30]) < FAINT


def test_a_film_that_is_no_longer_what_was_read_is_left_out(read_store: Store, film: Path, tmp_path: Path) -> None:
    kept = film.read_bytes()
    film.write_bytes(kept + b"0")
    try:
        words = ["caseload", "export", tmp_path / "table.csv", "--films", "whole", "--home", read_store.home]
        result = call(*words)
    finally:
        film.write_bytes(kept)
    assert (result.exit_code, "it has changed since it was read" in result.stderr) == (2, True)
    assert list((tmp_path / "table-films").iterdir()) == []
    add_now(read_store, film.parent)
