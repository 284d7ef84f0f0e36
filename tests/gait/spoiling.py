"""What spoils footage, done to drawn landmark tables: every function takes tracks and their truth and gives tracks."""

from collections.abc import Callable

import numpy as np
from generator import Truth, replaced

from pose.tracks import BoolArray, Tracks

Spoil = Callable[[Tracks, Truth], Tracks]


def untouched(tracks: Tracks, truth: Truth) -> Tracks:
    """The footage as it is: what is bad lies in how it was filmed."""
    return tracks


def kept_frames(tracks: Tracks, kept: BoolArray) -> Tracks:
    """Only the frames ``kept`` (T,)."""
    names = ("frame", "t_s", "xy_px", "score", "hidden", "side_score")
    return replaced(tracks, **{name: getattr(tracks, name)[kept] for name in names})


def post(left_px: float, width_px: float) -> Spoil:
    """Paws are hidden behind a post that stands in the picture."""

    def hide(tracks: Tracks, truth: Truth) -> Tracks:
        behind = (tracks.xy_px[..., 0] > left_px) & (tracks.xy_px[..., 0] < left_px + width_px)
        behind[:, 4:] = False
        return replaced(tracks, xy_px=np.where(behind[..., None], np.nan, tracks.xy_px))

    return hide


def missing_stretches(longest_s: float, per_s: float) -> Spoil:
    """Every landmark is lost now and then, for up to ``longest_s``."""

    def lose(tracks: Tracks, truth: Truth) -> Tracks:
        rng = np.random.default_rng(11)
        xy, t = tracks.xy_px.copy(), tracks.t_s
        for landmark in range(6):
            for start in rng.uniform(t[0], t[-1], int(per_s * (t[-1] - t[0]))):
                xy[(t >= start) & (t < start + rng.uniform(0.03, longest_s)), landmark] = np.nan
        return replaced(tracks, xy_px=xy)

    return lose


def exchanged(start_s: float, stop_s: float, *pairs: tuple[int, int]) -> Spoil:
    """Near and far of some pairs are taken for each other for a while."""

    def swap(tracks: Tracks, truth: Truth) -> Tracks:
        xy, when = tracks.xy_px.copy(), (tracks.t_s >= start_s) & (tracks.t_s < stop_s)
        for near, far in pairs:
            xy[np.ix_(when, [near, far])] = xy[np.ix_(when, [far, near])]
        return replaced(tracks, xy_px=xy)

    return swap


def every_nth_repeated(n: int) -> Spoil:
    """Every nth frame shows the picture before it once more, at its own time."""

    def repeat(tracks: Tracks, truth: Truth) -> Tracks:
        source = np.arange(len(tracks))
        source[n - 1 :: n] -= 1
        return replaced(tracks, xy_px=tracks.xy_px[source])

    return repeat


def frozen_now_and_then(tracks: Tracks, truth: Truth) -> Tracks:
    """Two or three frames on end repeat a picture, twice a second."""
    source, rng = np.arange(len(tracks)), np.random.default_rng(12)
    for start in rng.integers(1, len(tracks) - 4, int(2 * (tracks.t_s[-1] - tracks.t_s[0]))):
        source[start : start + rng.integers(2, 4)] = start - 1
    return replaced(tracks, xy_px=tracks.xy_px[np.minimum.accumulate(source[::-1])[::-1]])


def variable_rate(tracks: Tracks, truth: Truth) -> Tracks:
    """A phone in changing light: whole, then half the rate, then with one frame in five lost, at their true times."""
    t, number = tracks.t_s - tracks.t_s[0], np.arange(len(tracks))
    third = t[-1] / 3
    half = (t > third) & (t <= 2 * third) & (number % 2 == 1)
    lost = (t > 2 * third) & (np.random.default_rng(13).random(len(t)) < 0.2)
    return kept_frames(tracks, ~(half | lost))


def dropped(start_s: float, stop_s: float) -> Spoil:
    """The recorder lost a stretch; the clock goes on."""
    return lambda tracks, truth: kept_frames(tracks, (tracks.t_s < start_s) | (tracks.t_s >= stop_s))


def walks_on(on_s: float, off_s: float = 99.0) -> Spoil:
    """The dog comes in over the floor, steps onto the running belt at ``on_s`` and off its front at ``off_s``."""

    def move(tracks: Tracks, truth: Truth) -> Tracks:
        t = tracks.t_s
        ahead = truth.speed_px_s[0] * (np.maximum(t - off_s, 0.0) - np.maximum(on_s - t, 0.0))
        return replaced(tracks, xy_px=tracks.xy_px + np.stack([ahead, 0 * ahead], axis=1)[:, None])

    return move


def stands(until_s: float, from_s: float = 99.0, noise_px: float = 1.6) -> Spoil:
    """The dog stands still before ``until_s`` and after ``from_s``, as it was just then, the belt stopped."""

    def halt(tracks: Tracks, truth: Truth) -> Tracks:
        xy, t, rng = tracks.xy_px.copy(), tracks.t_s, np.random.default_rng(14)
        first, last = np.searchsorted(t, [until_s, from_s]) - 1
        if first > 0:
            xy[:first] = xy[first] + noise_px * rng.standard_normal((first, 6, 2))
        xy[last + 1 :] = xy[last] + noise_px * rng.standard_normal((len(xy) - last - 1, 6, 2))
        return replaced(tracks, xy_px=xy)

    return halt
