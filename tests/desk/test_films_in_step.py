"""Two clips in step, as the script of the page gets them: right frames, right places, one axis of strides."""

import json
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from compare_maker import CLIPS, SIZE, tracks_of

from gait.desk.films_in_step import Shown, films_in_step, nearest_rows
from gait.instep import StepSettings, step_map
from gait.nouns import GaitRecord
from gait.record import build_record
from gait.trial import Trial
from pose.landmarks import CROUP, NEAR_HIND, WITHERS

#: px, rounding of places and shifts together.
ROUNDED_PX = 0.1
#: px, how far the held middle of the trunk may stand from its place within a stride: its own movement.
MOVES_PX = 6.0


@cache
def record(name: str) -> GaitRecord:
    return build_record(tracks_of(name), Trial(name, "Tansy", "2026-03-02", name.split(".")[0]))


@cache
def told(one: str = "bare.mp4", two: str = "boots.mp4") -> dict:
    found = films_in_step(Shown(1, "bare", record(one)), Shown(2, "boots", record(two)))
    return json.loads(json.dumps(found, allow_nan=False))  # what a browser would get


def test_moments_rise_and_every_frame_is_one_of_its_clip() -> None:
    found = told()
    moments = len(found["place"])
    assert (np.diff(found["place"]) > 0).all() and found["place"][0] == 0
    assert found["place"][-1] == pytest.approx(found["strides"], abs=0.05)
    for side, name in zip(found["sides"], ("bare.mp4", "boots.mp4"), strict=True):
        assert len(side["rows"]) == moments and (np.diff(side["rows"]) >= 0).all()
        assert 0 <= min(side["rows"]) and max(side["rows"]) < len(side["frames"])
        assert len(side["frames"]) == len(side["shift"]) == len(side["marks"]) == len(side["hidden"])
        assert set(side["frames"]) <= set(record(name).tracks.frame.tolist())


def test_each_moment_shows_the_frames_nearest_to_its_times() -> None:
    found, records = told(), (record("bare.mp4"), record("boots.mp4"))
    steps = step_map(*records, StepSettings(slower=1.0, film_fps=1 / found["step_s"]))
    assert not isinstance(steps, str)
    for which, side in enumerate(found["sides"]):
        t_s = records[which].tracks.t_s
        for moment in range(0, len(found["place"]), 7):
            nearest = np.abs(t_s - steps.source_s[moment, which]).argmin()
            assert side["frames"][side["rows"][moment]] == records[which].tracks.frame[nearest]


def test_the_near_hind_paw_lands_at_every_whole_stride_in_both() -> None:
    found = told()
    for side in found["sides"]:
        (bars,) = (lane for lane in side["bars"] if lane["paw"] == "near hind")
        starts = [start for start, _ in bars["spans"] if start < found["strides"]]
        np.testing.assert_allclose(starts, np.arange(found["strides"]), atol=1e-4)


def test_both_dogs_are_the_same_size_face_one_way_and_stay_in_place() -> None:
    found = told()
    assert [side["mirrored"] for side in found["sides"]] == [False, True]
    lengths, middles = [], []
    for side in found["sides"]:
        marks = np.array(side["marks"])
        trunk = marks[:, WITHERS] - marks[:, CROUP]
        assert (trunk[:, 0] > 0).all()
        lengths.append(np.median(np.linalg.norm(trunk, axis=1)))
        middles.append((marks[:, WITHERS] + marks[:, CROUP]).mean(axis=0) / 2)
        assert ((marks >= 0) & (marks < found["size"])).all()
    assert lengths[0] == pytest.approx(lengths[1], rel=0.01)
    np.testing.assert_allclose(middles[0], middles[1], atol=MOVES_PX)


def test_turn_and_shift_carry_a_landmark_to_its_mark() -> None:
    for side, name in zip(told()["sides"], ("bare.mp4", "boots.mp4"), strict=True):
        tracks = record(name).tracks
        rows = np.searchsorted(tracks.frame, side["frames"])
        placed = tracks.xy_px[rows][:, NEAR_HIND] @ np.array(side["turn"]).T + np.array(side["shift"])
        np.testing.assert_allclose(placed, np.array(side["marks"])[:, NEAR_HIND], atol=ROUNDED_PX)


def test_what_was_not_seen_is_left_out_and_what_is_hidden_is_marked() -> None:
    first = record("bare.mp4")
    xy, hidden = first.tracks.xy_px.copy(), first.tracks.hidden.copy()
    xy[:, 0], hidden[:, 3] = np.nan, True
    blind = replace(first, tracks=replace(first.tracks, xy_px=xy, hidden=hidden))
    side = films_in_step(Shown(1, "", blind), Shown(2, "", record("boots.mp4")))["sides"][0]
    assert all(row[0] == [] and row[1] for row in side["marks"]) and set(side["hidden"]) == {"000100"}


def test_too_few_strides_in_a_row_give_the_reason_of_the_comparison() -> None:
    found = told("bare.mp4", "short.csv")
    assert set(found) == {"reason"} and found["reason"].startswith("No film of both in step: it needs 2 used strides")
    assert "the second clip has" in found["reason"]


def test_nearest_rows_are_nearest() -> None:
    t_s, asked = np.array([0.0, 0.1, 0.3, 0.4]), np.linspace(-0.1, 0.6, 50)
    np.testing.assert_array_equal(nearest_rows(t_s, asked), np.abs(t_s[:, None] - asked).argmin(axis=0))


def test_the_clips_of_these_tests_fit_into_their_pictures() -> None:
    for name in CLIPS:
        xy = tracks_of(name).xy_px
        assert (xy >= 0).all() and (xy < SIZE[::-1]).all()
