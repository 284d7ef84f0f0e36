"""A dog held in place: same size, same facing, level belt, and nothing of it cut off."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from generator import TROT, Scene, dog, replaced

from gait.framing import Box, BoxSettings, Framing, box_of, frame_box, held_middle, matrix_of
from gait.nouns import GaitRecord, Strides
from gait.record import build_record
from gait.trial import Trial
from pose.landmarks import CROUP, NEAR_FORE, NEAR_HIND, WITHERS

SIZE_PX = (640, 480)
SIDEWAYS_DRIFT = {"drift_bl": 0.3}
#: body lengths; what a slow drift leaves after a mean over one stride: a sixth of the squared share that a stride is of
#: the drift's period (3.1 s), derived, and the edges of the clip.
LEFT_BL = 0.02


@cache
def record(**scene: object) -> GaitRecord:
    return build_record(dog(TROT, Scene(**scene))[0], Trial())


def framing_of(record: GaitRecord, facing: str = "right") -> Framing:
    return frame_box(box_of([(record, np.arange(len(record.tracks)))]), SIZE_PX, facing)


def through(framing: Framing, record: GaitRecord) -> np.ndarray:
    """Places of all landmarks (T, 6, 2) px in the framed picture."""
    held = held_middle(record)
    made = []
    for xy, middle in zip(record.tracks.xy_px, held, strict=True):
        matrix = matrix_of(framing, record, middle)
        made.append(xy @ matrix[:, :2].T + matrix[:, 2])
    return np.array(made)


SCENES = {
    "plain": {},
    "facing left": {"facing": "left"},
    "camera rolled": {"slope_deg": 4.0},
    "camera rolled, facing left": {"slope_deg": -4.0, "facing": "left"},
    "swaying": SIDEWAYS_DRIFT,
    "small": {"length_px": 61.0},
}


@pytest.mark.parametrize("scene", SCENES.values(), ids=SCENES)
@pytest.mark.parametrize("facing", ["left", "right"])
def test_size_facing_place_and_level_are_alike(scene: dict, facing: str) -> None:
    shown = record(**scene)
    framing = framing_of(shown, facing)
    places = through(framing, shown)
    trunk = places[:, WITHERS] - places[:, CROUP]
    assert np.median(np.hypot(*trunk.T)) == pytest.approx(framing.px_per_bl, rel=1e-3)
    assert (np.sign(trunk[:, 0]) == (1 if facing == "right" else -1)).all()
    middle = (places[:, WITHERS] + places[:, CROUP]) / 2
    away = (middle.mean(axis=0) - framing.middle_px) / framing.px_per_bl
    assert np.abs(away).max() < LEFT_BL
    feet = places[:, [NEAR_FORE, NEAR_HIND]].reshape(-1, 2)
    feet = feet[feet[:, 1] > np.quantile(feet[:, 1], 0.6)]
    assert np.degrees(np.arctan(np.polyfit(*feet.T, 1)[0])) == pytest.approx(0.0, abs=0.3)


def test_slow_drift_is_followed_and_bounce_is_not() -> None:
    shown = record(**SIDEWAYS_DRIFT)
    framing = framing_of(shown)
    places = through(framing, shown)
    away = ((places[:, WITHERS] + places[:, CROUP]) / 2 - framing.middle_px) / framing.px_per_bl
    assert np.abs(away[:, 0]).max() < 0.1 * np.ptp(shown.tracks.xy_px[:, WITHERS, 0]) / shown.body_length_px
    assert np.ptp(away[:, 1]) == pytest.approx(2 * Scene().bounce_bl, rel=0.1)


@pytest.mark.parametrize("scene", SCENES.values(), ids=SCENES)
def test_nothing_of_the_dog_is_cut_off(scene: dict) -> None:
    shown = record(**scene)
    framing = framing_of(shown)
    places = through(framing, shown)
    # the share of landmarks that asks for no room may take some of the spare, never more than half
    edge = 0.5 * BoxSettings().spare * framing.px_per_bl
    assert (places > edge).all()
    assert (places < np.array(SIZE_PX) - edge).all()


def test_one_box_holds_the_larger_of_both() -> None:
    small, reaching = record(), replace(record(), body_length_px=record().body_length_px / 2)
    rows = np.arange(len(small.tracks))
    one, two, both = (box_of([(shown, rows) for shown in group]) for group in ([small], [reaching], [small, reaching]))
    assert (one.below, two.below) == (pytest.approx(two.below / 2, abs=0.2), pytest.approx(both.below, abs=0.02))
    assert both.ahead == pytest.approx(two.ahead, abs=0.05)
    assert one.ahead == BoxSettings().ahead


@pytest.mark.parametrize("facing", ["left", "right"])
@pytest.mark.parametrize("size", [(640, 464), (1280, 200), (300, 900)], ids=["usual", "wide", "tall"])
def test_a_box_lies_in_the_middle_as_large_as_can_be(size: tuple[int, int], facing: str) -> None:
    box = Box(ahead=2.0, behind=1.0, above=1.0, below=1.4, ground=1.2)
    framing = frame_box(box, size, facing)
    ahead = 1 if facing == "right" else -1
    ends = np.array([[ahead * box.ahead, box.below], [-ahead * box.behind, -box.above]]) * framing.px_per_bl
    corners = ends + framing.middle_px
    np.testing.assert_allclose(corners.mean(axis=0), (np.array(size) - 1) / 2)
    spans = np.ptp(corners, axis=0)
    assert (spans <= np.array(size) + 1e-9).all()
    assert np.isclose(spans, size).any()


def test_gaps_of_the_trunk_are_bridged_and_no_stride_means_no_smoothing() -> None:
    tracks = record().tracks
    xy = tracks.xy_px.copy()
    xy[100:104, WITHERS] = np.nan
    gappy = replace(record(), tracks=replaced(tracks, xy_px=xy))
    np.testing.assert_allclose(held_middle(gappy), held_middle(record()), atol=0.5)
    none, words = np.empty(0), np.empty(0, dtype="U1")
    still = replace(record(), strides=Strides(none.astype(int), none, none, words, none, words, words))
    np.testing.assert_allclose(held_middle(still), (tracks.xy_px[:, WITHERS] + tracks.xy_px[:, CROUP]) / 2)
