"""Doubts in frames of made-up tracks whose faults are known."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from walker import BODY_PX, trotting

from pose.landmarks import CROUP, LANDMARKS, NEAR_FORE, WITHERS
from pose.tracks import Tracks
from training.marks.doubts import (
    ALONE,
    GAIT,
    JUMPS,
    MIRRORED,
    REASONS,
    SCORES,
    SIDES,
    Doubts,
    DoubtSettings,
    doubts_of,
    gait_doubts,
    main_reason,
    why,
)
from training.marks.results import Result, Stride

ROW = 100


def result(tracks: Tracks, *strides: Stride) -> Result:
    return Result(Path("r"), "c.mp4", "ab", "Tansy", "", "bare", "right", BODY_PX, {}, tracks, strides)


def changed(**columns: object) -> Tracks:
    """A trotting dog; in ROW, ``columns`` hold landmark -> value."""
    tracks = trotting()
    made = {}
    for name, (places, value) in columns.items():
        made[name] = getattr(tracks, name).copy()
        made[name][ROW, places] = value
    return replace(tracks, **made)


def test_a_well_read_dog_is_hardly_in_doubt() -> None:
    doubts = doubts_of(result(trotting()))
    assert doubts.together.max() < 0.1
    assert doubts.shares.shape == (240, len(REASONS))


@pytest.mark.parametrize(
    ("tracks", "reason", "words"),
    [
        (changed(side_score=(1, 0.6)), SIDES, "near or far unsure: hind paws"),
        (changed(side_score=((0, 1), 0.55)), SIDES, "near or far unsure: fore and hind paws"),
        (changed(score=(NEAR_FORE, 0.1)), SCORES, "low score: near fore"),
        (changed(xy_px=(slice(None), np.nan)), SCORES, "no dog found"),
        (changed(xy_px=(CROUP, (300.0, 260.0))), JUMPS, "off its path: croup"),
    ],
    ids=["hind sides", "both sides", "a low score", "no dog", "a jump"],
)
def test_each_fault_is_found_and_named(tracks: Tracks, reason: int, words: str) -> None:
    doubts = doubts_of(result(tracks))
    assert main_reason(doubts, ROW) == reason
    assert why(doubts, ROW).split("; ")[0] == words
    assert doubts.together[ROW] > 3 * doubts.together[ROW - 10]


def test_unsure_sides_are_not_counted_as_low_scores_too() -> None:
    sure = trotting()
    side = sure.side_score.copy()
    side[ROW] = 0.5
    score = sure.score.copy()
    score[ROW, :4] *= 0.5 / 0.99  # as reading does: the score of a paw speaks of its side as well
    doubts = doubts_of(result(replace(sure, side_score=side, score=score)))
    assert doubts.shares[ROW, SCORES] == pytest.approx(doubts.shares[ROW - 1, SCORES], abs=0.02)
    assert doubts.shares[ROW, SIDES] == 1.0


def test_a_fast_paw_is_no_jump() -> None:
    """At 20 frames per second a paw of a trot moves a third of a body length from frame to frame."""
    assert doubts_of(result(trotting(fps=20.0))).shares[:, JUMPS].max() < 0.5
    assert np.quantile(doubts_of(result(trotting(fps=30.0))).shares[:, JUMPS], 0.9) < 0.2


def test_tables_without_scores_are_not_in_doubt_for_that() -> None:
    tracks = trotting()
    bare = replace(tracks, score=np.full_like(tracks.score, np.nan), side_score=np.full((len(tracks), 2), np.nan))
    assert doubts_of(result(bare)).shares[:, [SIDES, SCORES]].max() == 0.0


@pytest.mark.parametrize("frames", [0, 1, 2])
def test_very_short_tracks(frames: int) -> None:
    tracks = trotting()
    short = Tracks(*(getattr(tracks, name)[:frames] for name in Tracks.__dataclass_fields__))
    assert doubts_of(result(short)).together.shape == (frames,)


def fore_and_hind(hind_bl: float, sd_bl: float = 0.0, side: int = 0) -> tuple[Stride, Stride]:
    return Stride(side, 1.0, 1.5, "", 1.0, sd_bl), Stride(side + 2, 1.2, 1.7, "", hind_bl, sd_bl)


@pytest.mark.parametrize(
    ("strides", "inside", "words"),
    [
        ([Stride(2, 1.0, 1.5, "outlier", np.nan)], 1.0, "a stride that no other is like"),
        ([Stride(0, np.nan, 1.5, "gap", np.nan)], 1.0, "a stride with a paw unseen"),
        ([Stride(3, 1.0, np.nan, "sides_unsure", np.nan)], 1.0, "a stride whose sides are unsure"),
        ([Stride(2, 1.0, 1.5, "truncated", np.nan)], 0.0, ""),
        (fore_and_hind(1.02), 0.0, ""),
        (fore_and_hind(1.30), 1.0, "near fore and hind strides of different lengths"),
        (fore_and_hind(1.30, side=1), 1.0, "far fore and hind strides of different lengths"),
        (fore_and_hind(1.30, sd_bl=0.2), 0.0, ""),
    ],
    ids=["outlier", "gap from the start on", "sides unsure to the end", "cut off by the clip", "lengths within 3 %",
         "near lengths", "far lengths", "lengths within their doubt"],
)  # fmt: skip
def test_broken_gait(strides: list[Stride], inside: float, words: str) -> None:
    t_s = np.arange(0, 3, 0.1)
    doubt = gait_doubts(t_s, tuple(strides), DoubtSettings()).max(axis=1)
    assert doubt[13] == pytest.approx(inside)
    assert doubt[25] == (1.0 if any(np.isnan(stride.end_s) for stride in strides) else 0.0)
    if words:
        doubts = doubts_of(result(trotting(), *strides))
        assert words in why(doubts, 78)
        assert doubts.shares[78, GAIT] == 1.0


def test_lengths_between_the_limits_count_in_part() -> None:
    settings = DoubtSettings(length_share=0.0, length_full=0.2)
    doubt = gait_doubts(np.array([1.3]), fore_and_hind(1.1), settings)
    assert doubt.max() == pytest.approx((0.1 / 1.05) / 0.2)


def test_second_looks_raise_doubt_where_they_differ() -> None:
    before = doubts_of(result(trotting()))
    apart = np.zeros(len(LANDMARKS))
    apart[WITHERS] = 0.3
    alone = before.with_looks(ROW, apart, np.zeros(6))
    turned = before.with_looks(ROW, np.full(6, np.nan), apart)
    assert (main_reason(alone, ROW), why(alone, ROW)) == (ALONE, "elsewhere in this frame by itself: withers")
    assert turned.shares[ROW, MIRRORED] == 1.0
    assert alone.together[ROW] > turned.together[ROW] > before.together[ROW]
    assert np.array_equal(np.delete(alone.together, ROW), np.delete(before.together, ROW))


def test_reasons_add_up_and_stay_below_one() -> None:
    full = Doubts(np.ones((1, 2)), *(np.ones((1, 6)) for _ in range(4)), np.ones((1, 5)))
    assert full.shares.tolist() == [[1.0] * len(REASONS)]
    settings = DoubtSettings(score_full=1.0)
    rest = (np.zeros((1, columns)) for columns in (6, 6, 6, 5))
    half = Doubts(np.full((1, 2), 0.5), np.full((1, 6), 0.5), *rest, settings)
    weights = settings.weights
    expected = 1 - (1 - 0.5 * weights[SIDES]) * (1 - 0.5 * weights[SCORES])
    assert half.together[0] == pytest.approx(expected)
    assert half.together[0] < full.together[0] < 1.0
