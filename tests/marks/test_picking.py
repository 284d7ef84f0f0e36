"""Which frames are taken, from made-up tables of doubts."""

import numpy as np
import pytest

from training.marks.picking import Clips, Frames, PickingSettings, choose, usual_first, with_taken

FPS = 50.0
GAP_S = 0.5
SETTINGS = PickingSettings(gap_s=GAP_S)


def frames(clips: int = 1, seconds: float = 10.0, seed: int = 0, **columns: object) -> Frames:
    """``clips`` clips of one length with random doubts."""
    count = round(seconds * FPS)
    table = {
        "clip": np.repeat(np.arange(clips), count),
        "t_s": np.tile(np.arange(count) / FPS, clips),
        "doubt": np.random.default_rng(seed).uniform(0.15, 1, clips * count),
        "empty": np.zeros(clips * count, bool),
    }
    return Frames(**(table | columns))


def clips(dog: list[int], condition: list[int] | None = None, taken: list[tuple[int, float]] = ()) -> Clips:
    """Clips of the dogs and conditions with these numbers; ``taken`` (clip, s) before."""
    where = np.array([clip for clip, _ in taken], np.int64), np.array([at_s for _, at_s in taken], float)
    return Clips(np.array(dog), np.array(condition or dog), *where)


def counts(table: Frames, chosen: np.ndarray, numbers: list[int]) -> list[int]:
    """How often each number (of the clips' dogs, conditions, ...) was chosen."""
    return np.bincount(np.array(numbers)[table.clip[chosen]], minlength=max(numbers) + 1).tolist()


def test_the_most_doubtful_frame_comes_first() -> None:
    table = frames()
    assert choose(table, clips([0]), 5, GAP_S, SETTINGS)[0] == table.doubt.argmax()


def test_no_two_frames_of_one_bad_second() -> None:
    """One second far worse than all else gives at most three frames, and never neighbours."""
    doubt = np.full(500, 0.15)
    doubt[200:250] = np.linspace(0.9, 1, 50)
    table = frames(doubt=doubt)
    chosen = choose(table, clips([0]), 12, GAP_S, SETTINGS)
    assert len(chosen) == 12
    assert np.diff(np.sort(table.t_s[chosen])).min() >= GAP_S - 1e-9
    assert 1 <= np.isin(chosen, np.arange(200, 250)).sum() <= 3


def test_two_clips_may_give_the_same_moment() -> None:
    table = frames(2, seconds=0.3)
    assert sorted(table.clip[choose(table, clips([0, 0]), 9, GAP_S, SETTINGS)]) == [0, 1]


@pytest.mark.parametrize(
    ("dog", "condition", "count", "of_dogs", "of_conditions"),
    [
        ([0, 0, 0, 1], [0, 0, 0, 1], 10, [5, 5], [5, 5]),
        ([0, 0, 0, 1], [0, 1, 1, 2], 12, [6, 6], [3, 3, 6]),
        ([0, 1, 2], [0, 1, 2], 7, [3, 2, 2], [3, 2, 2]),
    ],
    ids=["two dogs share alike, however many clips", "so do the conditions of a dog", "a rest goes to some"],
)
def test_dogs_and_conditions_share_alike(
    dog: list[int], condition: list[int], count: int, of_dogs: list[int], of_conditions: list[int]
) -> None:
    table = frames(len(dog))
    chosen = choose(table, clips(dog, condition), count, GAP_S, SETTINGS)
    assert sorted(counts(table, chosen, dog)) == sorted(of_dogs)
    assert sorted(counts(table, chosen, condition)) == sorted(of_conditions)


def test_one_bad_clip_does_not_crowd_out_the_others_of_its_dog() -> None:
    doubt = np.concatenate([np.full(500, 0.9), np.full(1000, 0.2)])
    table = frames(3, doubt=doubt)
    assert counts(table, choose(table, clips([0, 0, 0]), 9, GAP_S, SETTINGS), [0, 1, 2]) == [3, 3, 3]


def test_what_a_short_clip_cannot_give_comes_from_the_others() -> None:
    long, short = frames(1, seconds=10.0), frames(1, seconds=0.6)
    both = [np.concatenate([getattr(long, name), getattr(short, name)]) for name in ("t_s", "doubt", "empty")]
    table = Frames(np.repeat([0, 1], [len(long), len(short)]), *both)
    chosen = choose(table, clips([0, 1]), 10, GAP_S, SETTINGS)
    assert len(chosen) == 10
    assert counts(table, chosen, [0, 1])[1] in (1, 2)


@pytest.mark.parametrize(
    ("worst", "kinds"),
    [(0.35, [0, 1, 2, 3, 4]), (0.5, [0, 0, 1, 2, 3]), (0.9, [0, 0, 0, 0, 1])],
    ids=["a little worse", "more than twice as bad", "more than four times as bad"],
)
def test_pictures_that_look_alike_share_their_doubt(worst: float, kinds: list[int]) -> None:
    kind = np.repeat(np.arange(5), 100)
    table = frames(doubt=np.where(kind == 0, worst, 0.2), kind=kind)
    chosen = choose(table, clips([0]), 5, 0.02, SETTINGS)
    assert sorted(kind[chosen]) == kinds


def test_what_was_taken_before_counts() -> None:
    table = frames(2)
    before = [(0, at_s) for at_s in (1.0, 3.0, 5.0)]
    chosen = choose(table, clips([0, 1], taken=before), 5, GAP_S, SETTINGS)
    assert counts(table, chosen, [0, 1]) == [1, 4]
    first = table.t_s[chosen[table.clip[chosen] == 0]]
    assert min(abs(at_s - old) for at_s in first for _, old in before) >= GAP_S - 1e-9


def test_frames_without_anything_are_few() -> None:
    empty = np.zeros(500, bool)
    empty[:450] = True
    table = frames(doubt=np.where(empty, 1.0, 0.2), empty=empty)
    assert empty[choose(table, clips([0]), 10, 0.02, SETTINGS)].sum() == 1


def test_frames_beyond_doubt_are_left_alone() -> None:
    doubt = np.zeros(500)
    doubt[250] = 0.5
    assert choose(frames(doubt=doubt), clips([0]), 10, GAP_S, SETTINGS).tolist() == [250]


def test_the_same_table_gives_the_same_frames() -> None:
    one, two = (choose(frames(3), clips([0, 1, 1]), 20, GAP_S, SETTINGS) for _ in range(2))
    assert one.tolist() == two.tolist()
    assert len(set(one.tolist())) == 20


@pytest.mark.parametrize(
    ("count", "seconds"), [(10, 0.0), (0, 10.0), (1, 0.02)], ids=["no frame", "none wanted", "one"]
)
def test_nothing_and_next_to_nothing(count: int, seconds: float) -> None:
    table = frames(1, seconds=seconds)
    assert len(choose(table, clips([0]), count, GAP_S, SETTINGS)) == min(count, len(table))


def test_usual_frames_show_every_kind_of_posture_once_before_any_twice() -> None:
    """A dog that stands for eight of ten seconds: at random, four of five frames would show it standing."""
    table = frames()
    kind = np.where(np.arange(len(table)) < 400, 0, np.arange(len(table)) // 25 % 4 + 1)
    places = np.random.default_rng(1).normal(0, 0.02, (len(table), 12)) + np.eye(12)[kind]
    usual = usual_first(table, places, 5, seed=0)
    chosen = choose(usual, clips([0]), 5, GAP_S, SETTINGS)
    assert sorted(kind[chosen].tolist()) == [0, 1, 2, 3, 4]
    for row in chosen:
        own = places[kind == kind[row]]
        apart = np.linalg.norm(own - own.mean(axis=0), axis=1)
        assert np.linalg.norm(places[row] - own.mean(axis=0)) < np.median(apart)


def test_usual_frames_keep_away_from_doubtful_ones_that_are_taken() -> None:
    table = frames()
    taken = with_taken(clips([0]), np.zeros(1, np.int64), np.array([5.0]))
    usual = usual_first(table, np.zeros((len(table), 12)), 4, seed=0)
    chosen = choose(usual, taken, 19, GAP_S, SETTINGS)
    assert np.abs(table.t_s[chosen] - 5.0).min() >= GAP_S - 1e-6
    assert len(chosen) >= 8
