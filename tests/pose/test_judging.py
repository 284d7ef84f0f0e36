"""Errors against marks, with places set by hand so that every figure is known beforehand."""

from typing import Any

import numpy as np
import pytest
from marked import DOG_PX

from pose.judging import LEFT, RIGHT, Answers, Judged, badness, best_overlap, box, judge, score_error, table
from pose.landmarks import CROUP, FAR_FORE, FAR_HIND, LANDMARKS, NEAR_FORE, NEAR_HIND, WITHERS
from pose.misses import misses, offsets

LENGTH_PX = 100.0
ALL = slice(None)


def moved(*moves: tuple[Any, tuple[float, float]]) -> np.ndarray:
    """The dog with some landmarks moved, px."""
    out = DOG_PX.copy()
    for mark, step in moves:
        out[mark] += step
    return out


def swapped(*marks: int) -> np.ndarray:
    out = DOG_PX.copy()
    out[list(marks)] = DOG_PX[list(marks[::-1])]
    return out


def lost(*marks: int, found: np.ndarray = DOG_PX) -> np.ndarray:
    out = found.copy()
    out[list(marks)] = np.nan
    return out


def judged(*found: np.ndarray, marked: np.ndarray = DOG_PX, visibility: object = 2, **more: Any) -> Judged:
    """Dogs all marked alike, found at ``found``."""
    count = len(found)
    seen = np.broadcast_to(visibility, (count, 6))
    fields: dict[str, Any] = {
        "marked_px": np.where(seen[..., None] > 0, np.broadcast_to(marked, (count, 6, 2)), np.nan),
        "visibility": seen,
        "sides_sure": np.ones((count, 2), bool),
        "marked_facing": np.full(count, RIGHT),
        "found_px": np.array(found).reshape(-1, 6, 2),
        "score": np.full((count, 6), 0.9),
        "found_facing": np.full(count, RIGHT),
    }
    return judge(Answers(**(fields | more)))


SHARES = [
    ("found where it was marked", [DOG_PX], "all", (1, 1, 1), 6),
    ("7 % off", [moved((ALL, (7, 0)))], "all", (0, 1, 1), 6),
    ("on the limit", [moved((ALL, (0, 10)))], "all", (0, 1, 1), 6),
    ("one paw 15 % off", [moved((FAR_HIND, (9, -12)))], "paws", (0.75, 0.75, 1), 4),
    ("the others are right", [moved((FAR_HIND, (9, -12)))], "withers", (1, 1, 1), 1),
    ("two dogs, one not found", [DOG_PX, lost(*range(6))], "all", (0.5, 0.5, 0.5), 12),
    ("fore paws exchanged", [swapped(NEAR_FORE, FAR_FORE)], "paws", (0.5, 0.5, 0.5), 4),
    ("free sides forgive it", [swapped(NEAR_FORE, FAR_FORE)], "paws_sides_free", (1, 1, 1), 4),
    ("but not a fore on a hind", [swapped(NEAR_FORE, NEAR_HIND)], "paws_sides_free", (0.5, 0.5, 0.5), 4),
]


@pytest.mark.parametrize(("found", "group", "shares", "count"), [row[1:] for row in SHARES], ids=[r[0] for r in SHARES])
def test_shares_within_limits(found: list, group: str, shares: tuple, count: int) -> None:
    row = table(judged(*found))["landmarks"][group]
    assert [row[f"within_{limit}_percent"] for limit in (5, 10, 20)] == list(shares)
    assert row["count"] == count


def test_groups_follow_the_visibility_and_leave_out_what_was_not_marked() -> None:
    found = moved((NEAR_FORE, (30, 0)), (FAR_FORE, (0, 30)))
    groups = table(judged(found, visibility=[2, 1, 0, 1, 2, 2]))["landmarks"]
    assert groups["all"]["count"] == 5
    assert (groups["visible"]["count"], groups["visible"]["within_20_percent"]) == (3, 0.6667)
    assert (groups["covered"]["count"], groups["covered"]["within_20_percent"]) == (2, 0.5)
    assert "near_hind" not in groups
    assert groups["far_fore"]["median_error_percent"] == 30


def test_a_dog_without_both_ends_of_its_topline_has_no_measure() -> None:
    one = judged(DOG_PX, visibility=[2, 2, 2, 2, 2, 0])
    assert np.isnan(one.length_px).all() and np.isnan(one.error).all()
    assert table(one)["landmarks"] == {}
    assert np.isnan(badness(one)).all()


def test_nothing_to_judge_gives_no_figures_but_no_fault() -> None:
    facts = table(judged())
    assert facts["landmarks"] == {}
    assert facts["exchanged_pairs"] == {"exchanged": 0, "of": 0, "exchanged_among_found": 0, "found": 0}
    assert facts["scores"]["expected_error"] is None


CLOSE_FORE = DOG_PX.copy()
CLOSE_FORE[FAR_FORE] = CLOSE_FORE[NEAR_FORE] + (6, 0)

PAIRS_TOLD = [
    ("right", {}, [DOG_PX], (0, 2, 0, 2)),
    ("fore exchanged", {}, [swapped(NEAR_FORE, FAR_FORE)], (1, 2, 1, 2)),
    ("both exchanged", {}, [swapped(NEAR_FORE, FAR_FORE)[[0, 1, 3, 2, 4, 5]]], (2, 2, 2, 2)),
    ("fore and hind exchanged with one another", {}, [swapped(NEAR_FORE, NEAR_HIND)], (0, 2, 0, 0)),
    ("sides of the fore not known", {"sides_sure": [[False, True]]}, [swapped(NEAR_FORE, FAR_FORE)], (0, 1, 0, 1)),
    ("one fore paw not marked", {"visibility": [2, 0, 2, 2, 2, 2]}, [swapped(NEAR_FORE, FAR_FORE)], (0, 1, 0, 1)),
    ("fore paws too close together", {"marked": CLOSE_FORE}, [CLOSE_FORE], (0, 1, 0, 1)),
    ("fore paws not found", {}, [lost(NEAR_FORE, FAR_FORE)], (0, 1, 0, 1)),
    ("near paw not found, far paw on the near one", {}, [lost(0, found=swapped(0, 1))], (1, 2, 0, 1)),
    ("near paw not found, far paw right", {}, [lost(NEAR_FORE)], (0, 2, 0, 1)),
    ("a wrong guess beside the other paw", {}, [moved((NEAR_FORE, (-38, 0)))], (0, 2, 0, 1)),
]


@pytest.mark.parametrize(("more", "found", "counts"), [row[1:] for row in PAIRS_TOLD], ids=[r[0] for r in PAIRS_TOLD])
def test_exchanged_pairs(more: dict, found: list, counts: tuple[int, int, int, int]) -> None:
    told = table(judged(*found, **more))["exchanged_pairs"]
    assert tuple(told[name] for name in ("exchanged", "of", "exchanged_among_found", "found")) == counts


def test_facing_counts_only_where_it_was_marked_and_found() -> None:
    facing = {"marked_facing": [RIGHT, LEFT, np.nan, LEFT], "found_facing": [RIGHT, RIGHT, LEFT, np.nan]}
    facts = table(judged(*[DOG_PX] * 4, **{name: np.array(value) for name, value in facing.items()}))
    assert facts["facing"] == {"right": 1, "wrong": 1}


@pytest.mark.parametrize(
    ("score", "right", "error"),
    [
        (np.full(6, 0.5), 3, 0.0),
        (np.full(6, 1.0), 3, 0.5),
        (np.array([1.0, 1, 1, 0, 0, 0]), 3, 0.0),
        (np.array([0.0, 0, 0, 1, 1, 1]), 3, 1.0),
        (np.full(6, 0.75), 6, 0.25),
    ],
    ids=["half sure, half right", "all sure, half right", "sure of the right ones", "sure of the wrong", "too modest"],
)
def test_error_of_the_scores(score: np.ndarray, right: int, error: float) -> None:
    found = moved((slice(right, 6), (30, 0)))
    facts = score_error(judged(found, score=score[None]))
    assert facts == {
        "count": 6, "mean_score": round(score.mean(), 4), "share_right": round(right / 6, 4), "expected_error": error,
    }  # fmt: skip


def test_the_worst_dog_is_the_one_with_the_largest_mean_error() -> None:
    bad = badness(judged(DOG_PX, moved((NEAR_FORE, (900, 0))), moved((ALL, (30, 0))), lost(*range(6))))
    assert bad.tolist() == pytest.approx([0, 1 / 6, 0.3, 1])


@pytest.mark.parametrize(
    ("found", "dog"),
    [
        (DOG_PX + 20, 1),
        (DOG_PX * 1.4, 2),
        (DOG_PX + np.array([900, 300]), 2),
        (np.full((6, 2), np.nan), 2),
    ],
    ids=["most in common", "the larger one", "nothing in common, nearest", "nothing found, largest"],
)
def test_which_of_several_dogs_was_found(found: np.ndarray, dog: int) -> None:
    nowhere = np.full((6, 2), np.nan)
    assert best_overlap(found, np.stack([nowhere, DOG_PX, DOG_PX * 1.5 + np.array([60, 0])])) == dog


def test_box_is_around_what_is_known() -> None:
    corners = box(np.array([[1.0, 5], [np.nan, 9], [3, 2]]))
    assert corners is not None and corners.tolist() == [[1, 2], [3, 5]]
    assert box(np.full((6, 2), np.nan)) is None


MISSES = [
    ("not found", lost(FAR_HIND), {"far_hind": {"not_found": 1}}),
    ("beside its place", moved((NEAR_FORE, (0, 15))), {"near_fore": {"close": 1}}),
    ("sides exchanged", swapped(2, 3), {"near_hind": {"exchanged": 1}, "far_hind": {"exchanged": 1}}),
    ("far on near", moved((FAR_FORE, (42, 2))), {"far_fore": {"on_partner": 1}}),
    ("near fore on near hind", moved((NEAR_FORE, (-98, 5))), {"near_fore": {"on_other_pair": 1}}),
    ("at the muzzle", moved((NEAR_FORE, (60, -20))), {"near_fore": {"elsewhere": 1}}),
    ("paw on the croup", moved((NEAR_FORE, (-120, -98))), {"near_fore": {"elsewhere": 1}}),
    ("along the back", moved((CROUP, (15, 4))), {"croup": {"along_back": 1}}),
    ("on the tail", moved((CROUP, (-4, -15))), {"croup": {"across_back": 1}}),
    ("withers not found", lost(WITHERS), {"withers": {"not_found": 1}}),
    ("within the limit", moved((ALL, (6, 6))), {}),
]


@pytest.mark.parametrize(("found", "kinds"), [row[1:] for row in MISSES], ids=[row[0] for row in MISSES])
def test_kinds_of_miss(found: np.ndarray, kinds: dict) -> None:
    told = misses(judged(found))
    assert {name: count for name, count in told.items() if count} == kinds
    assert tuple(told) == LANDMARKS


def test_along_the_back_follows_a_back_that_is_not_level() -> None:
    steep = moved((CROUP, (100, 80)))
    along = steep.copy()
    along[CROUP] += (0, 16)
    assert misses(judged(along, marked=steep))["croup"] == {"along_back": 1}


@pytest.mark.parametrize("facing", [RIGHT, LEFT], ids=["right", "left"])
def test_offsets_are_medians_towards_the_front_of_the_dog(facing: float) -> None:
    found = [moved((ALL, (facing * step, 3))) for step in (1, 2, 9)] + [moved((ALL, (50, 50)))]
    told = offsets(judged(*found, marked_facing=np.full(4, facing)))
    assert told["croup"] == {"forward": 2.0, "down": 3.0, "count": 3}


def test_offsets_need_a_marked_facing() -> None:
    told = offsets(judged(DOG_PX, marked_facing=np.array([np.nan])))
    assert told["withers"] == {"forward": None, "down": None, "count": 0}
