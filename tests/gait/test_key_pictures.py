"""Key pictures show the right moment of a typical stride, cropped alike."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from generator import PACE, TROT, Pattern, Scene, dog

from gait.key_pictures import SIZE_PX, common_box, key_pictures, typical_contact
from gait.nouns import GaitRecord
from gait.record import build_record
from gait.trial import Trial
from pose.clip import Clip, open_clip
from pose.draw import COLOURS
from pose.film import write_film
from pose.landmarks import PAWS

#: of 255, how far a colour may be off after it went through a film; px, how far a mark may be off.
NEAR_COLOUR, NEAR_PX = 40, 2.0


@cache
def record(pattern: Pattern | tuple = TROT, **scene: object) -> GaitRecord:
    given = list(pattern) if isinstance(pattern, tuple) else pattern
    return build_record(dog(given, Scene(**{"seconds": 4.0} | scene))[0], Trial())


def grey_clip(path: Path, record: GaitRecord) -> Clip:
    """A film with the times of ``record``, in which frame n has the grey n."""
    shades = (np.full((120, 160, 3), number % 256, dtype=np.uint8) for number in range(len(record.tracks)))
    write_film(zip(record.tracks.t_s, shades, strict=True), path)
    return open_clip(path)


def renamed(record: GaitRecord, names: np.ndarray) -> GaitRecord:
    return replace(record, strides=replace(record.strides, gait=names))


@pytest.mark.parametrize("paw", PAWS)
def test_the_moments_are_those_of_one_stance(tmp_path: Path, paw: str) -> None:
    shown = record()
    clip = grey_clip(tmp_path / "grey.mp4", shown)
    down, up = key_pictures(clip, shown, paw=paw)
    contact = typical_contact(shown, paw)
    assert contact is not None
    assert (down.event, up.event, down.paw) == ("touchdown", "lift-off", paw)
    assert (down.t_s, up.t_s) == (shown.contacts.touchdown_s[contact], shown.contacts.liftoff_s[contact])
    for picture in (down, up):
        assert picture.rgb.shape == (SIZE_PX[1], SIZE_PX[0], 3)
        assert picture.frame == np.abs(shown.tracks.t_s - picture.t_s).argmin()
        assert (
            picture.caption == f"{paw.replace('_', ' ')} {picture.event} at {picture.t_s:.3f} s, frame {picture.frame}"
        )


def test_clips_are_cropped_alike_and_turned_the_same_way(tmp_path: Path) -> None:
    right, left = record(), record(facing="left", length_px=97.0)
    box = common_box([right, left])
    places = []
    for shown in (right, left):
        down, _ = key_pictures(grey_clip(tmp_path / "grey.mp4", shown), shown, box=box, facing="right")
        assert ("mirrored" in down.caption) == (shown is left)
        places.append([np.argwhere(np.abs(down.rgb.astype(int) - COLOURS[mark]).max(axis=2) < NEAR_COLOUR).mean(axis=0)
                       for mark in (4, 5)])  # fmt: skip
    np.testing.assert_allclose(places[0], places[1], atol=NEAR_PX)


def test_a_clock_that_is_not_known_is_the_files(tmp_path: Path) -> None:
    shown = replace(record(), trial=Trial(clock_known=False))
    down, _ = key_pictures(grey_clip(tmp_path / "grey.mp4", shown), shown)
    assert " s of the file, frame" in down.caption


def test_the_stride_is_the_most_typical_of_its_gait() -> None:
    shown = record(((TROT, 8), (replace(PACE, stride_s=0.7), 5)))
    strides = shown.strides
    for gait, asked in (("trot", ""), ("pace", "pace")):
        contact = typical_contact(shown, "near_hind", asked)
        mine = shown.strides_of("near_hind") & (strides.gait == gait) & strides.used
        times = strides.end_s - strides.start_s
        row = np.flatnonzero(mine & (strides.start_s == shown.contacts.touchdown_s[contact]))
        assert len(row) == 1
        assert np.abs(times[row] - np.median(times[mine])) == np.abs(times[mine] - np.median(times[mine])).min()


def test_without_such_a_stride_there_is_no_picture(tmp_path: Path) -> None:
    clip = grey_clip(tmp_path / "grey.mp4", record())
    assert key_pictures(clip, record(), gait="canter") == ()
    dropped = np.full(len(record().strides), "gap")
    nothing = replace(record(), strides=replace(record().strides, dropped=dropped))
    assert key_pictures(clip, nothing) == ()


def test_unclear_strides_serve_where_no_other_is() -> None:
    unclear = renamed(record(), np.full(len(record().strides), "unclear"))
    assert typical_contact(unclear, "near_hind") == typical_contact(record(), "near_hind")
