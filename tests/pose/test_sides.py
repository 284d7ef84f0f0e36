"""Near and far over a whole clip: paws in closed form, seen through channels that mix them up."""

import tracemalloc
from dataclasses import dataclass, replace

import numpy as np
import pytest
from fake_network import paw_path

from pose.motion import SideSettings, measure_gait
from pose.sides import SidePath, decide_sides

LENGTH_PX = 100.0

#: Body lengths: paws further apart than this can be told apart at all; a place nearer than this to a paw is that paw's.
APART_BL = 0.12
AT_PAW_BL = 0.08

#: What both channels say of the place where one paw covers the other.
COVERED_MASS = 0.85


@dataclass(frozen=True)
class Scene:
    """Two paws and what the channels say of them."""

    t_s: np.ndarray
    near: np.ndarray
    far: np.ndarray
    xy_px: np.ndarray
    mass: np.ndarray

    def decided(self) -> SidePath:
        return decide_sides(self.t_s, self.xy_px, self.mass, length_px=LENGTH_PX)

    def exchanged(self, path: SidePath) -> np.ndarray:
        """(T,) 1 = the paw called near is the far one, 0 = right, NaN = they cannot be told apart, or neither."""
        apart = np.hypot(*(self.near - self.far).T) > APART_BL
        right = np.hypot(*(path.xy_px[:, 0] / LENGTH_PX - self.near).T) < AT_PAW_BL
        wrong = np.hypot(*(path.xy_px[:, 0] / LENGTH_PX - self.far).T) < AT_PAW_BL
        return np.where(apart & (right | wrong), wrong.astype(float), np.nan)


def scene(
    fps: float, *, stride_s: float = 0.5, duty: float = 0.45, lag: float = 0.5, strides: int = 8, seed: int = 0,
    told: float | None = 2.0, told_until: float = np.inf, noise_bl: float = 0.015,
) -> Scene:  # fmt: skip
    """``told``: mean log odds of each frame's channels for the right order, with an SD of 1.5 and lasting a fifth of a
    stride; from ``told_until`` (strides) on they say nothing at all."""
    rng = np.random.default_rng(seed)
    t_s = np.arange(int(fps * stride_s * strides)) / fps
    near = paw_path(t_s, 0.0, duty=duty, stride_s=stride_s)
    far = paw_path(t_s, lag, duty=duty, stride_s=stride_s) + np.array([0.0, -0.06])
    odds = told + 1.5 * _lasting(rng, len(t_s), 0.2 * fps * stride_s) if told is not None else np.zeros(len(t_s))
    share = 1 / (1 + np.exp(-np.where(t_s < told_until * stride_s, odds, 0.0)))
    xy = np.full((len(t_s), 4, 2), np.nan)
    xy[:, 0], xy[:, 1] = near + rng.normal(0, noise_bl, near.shape), far + rng.normal(0, noise_bl, far.shape)
    xy[:, 2] = paw_path(t_s, 0.3, duty=duty, stride_s=stride_s) - [0.9, 0]  # a paw of the other pair, faintly
    mass = np.full((len(t_s), 4, 2), np.nan)
    mass[:, 0], mass[:, 1] = 0.9 * np.stack([share, 1 - share], 1), 0.9 * np.stack([1 - share, share], 1)
    mass[:, 2] = 0.03
    covered = np.hypot(*(xy[:, 0] - xy[:, 1]).T) < 0.08
    lost = rng.random(len(t_s)) < 0.03
    xy[covered | lost, 1], mass[covered | lost, 1], mass[covered, 0] = np.nan, np.nan, COVERED_MASS
    return Scene(t_s, near, far, xy * LENGTH_PX, mass)


def _lasting(rng: np.random.Generator, count: int, frames: float) -> np.ndarray:
    """(T,) normal, with a memory of ``frames``."""
    keep = np.exp(-1 / frames)
    steps = rng.normal(0, np.sqrt(1 - keep**2), count)
    steps[0] = rng.normal()
    for i in range(1, count):
        steps[i] += keep * steps[i - 1]
    return steps


GAITS = {
    "walk": {"stride_s": 0.8, "duty": 0.62},
    "trot": {"stride_s": 0.45, "duty": 0.42},
    "slow motion": {"stride_s": 4.0, "duty": 0.6, "strides": 4},
}
RATES = [24.0, 60.0, 240.0]


@pytest.mark.parametrize("fps", RATES, ids=str)
@pytest.mark.parametrize("gait", GAITS)
def test_a_fair_network_is_never_exchanged(gait: str, fps: float) -> None:
    for seed in range(3):
        seen = scene(fps, seed=seed, **GAITS[gait])
        path = seen.decided()
        assert np.nanmean(seen.exchanged(path)) < 0.01
        assert np.median(path.score) > 0.95


@pytest.mark.parametrize("fps", RATES, ids=str)
@pytest.mark.parametrize("gait", GAITS)
def test_movement_alone_carries_the_order_through_crossings(gait: str, fps: float) -> None:
    seen = scene(fps, told=5.0, told_until=0.4, **GAITS[gait])
    assert np.nanmax(seen.exchanged(seen.decided())) == 0


@pytest.mark.parametrize("gait", ["walk", "trot"])
def test_a_poor_network_is_outvoted_over_the_clip(gait: str) -> None:
    """A third of all frames say the wrong order, in stretches; singly they would be exchanged as often."""
    exchanged, singly = [], []
    for seed in range(8):
        seen = scene(60.0, told=0.8, strides=12, seed=seed, **GAITS[gait])
        exchanged.append(np.nanmean(seen.exchanged(seen.decided())))
        singly.append(np.nanmean(seen.mass[:, 0, 0] < seen.mass[:, 0, 1]))
    assert np.mean(singly) > 0.25
    assert np.mean(exchanged) < 0.5 * np.mean(singly)


def test_a_network_that_says_nothing_leaves_the_sides_open() -> None:
    path = scene(60.0, told=None).decided()
    assert np.all(np.abs(path.score - 0.5) < 0.35)


def test_confidence_is_earned() -> None:
    """Over many poor clips, frames called sure are right more often than those called unsure."""
    wrong, score = [], []
    for seed in range(30):
        seen = scene(30.0, told=0.5, strides=6, seed=100 + seed)
        path = seen.decided()
        wrong.append(seen.exchanged(path))
        score.append(path.score)
    wrong_all, score_all = np.concatenate(wrong), np.concatenate(score)
    sure, unsure = np.nanmean(wrong_all[score_all > 0.9]), np.nanmean(wrong_all[score_all < 0.8])
    assert sure < 0.15 < unsure


def test_exchanging_the_channels_exchanges_the_paws() -> None:
    seen = scene(60.0)
    turned = decide_sides(seen.t_s, seen.xy_px, seen.mass[..., ::-1], length_px=LENGTH_PX)
    path = seen.decided()
    same = np.isfinite(path.xy_px).all(axis=(1, 2)) & np.isfinite(turned.xy_px).all(axis=(1, 2)) & ~path.shared
    assert np.allclose(turned.xy_px[same], path.xy_px[same, ::-1])


@pytest.mark.parametrize("change", ["scale", "shift", "clock"])
def test_scale_shift_and_clock_make_no_difference(change: str) -> None:
    seen = scene(60.0, told=0.8)
    path = seen.decided()
    if change == "clock":
        other = decide_sides(8 * seen.t_s + 3, seen.xy_px, seen.mass, length_px=LENGTH_PX)
    else:
        scale, shift = (2.5, 0.0) if change == "scale" else (1.0, 321.0)
        other = decide_sides(seen.t_s, scale * seen.xy_px + shift, seen.mass, length_px=scale * LENGTH_PX)
    assert np.allclose(other.score, path.score, atol=1e-4)


def test_a_covered_paw_shares_its_place_and_frames_without_a_dog_stay_empty() -> None:
    seen = scene(60.0)
    covered = seen.mass[:, 0, 0] == COVERED_MASS
    assert covered.sum() > 3 and seen.decided().shared[covered].all()
    assert not seen.decided().shared[np.hypot(*(seen.near - seen.far).T) > APART_BL].any()
    xy, mass = np.array(seen.xy_px), np.array(seen.mass)
    xy[30:50], mass[30:50] = np.nan, np.nan
    path = decide_sides(seen.t_s, xy, mass, length_px=LENGTH_PX)
    assert np.isnan(path.xy_px[30:50]).all() and not path.shared[30:50].any()
    assert (path.mass[30:50] == 0).all()


def test_nothing_at_all_is_no_error() -> None:
    nothing = np.full((10, 4, 2), np.nan)
    path = decide_sides(np.arange(10) / 60, nothing, nothing, length_px=LENGTH_PX)
    assert np.isnan(path.xy_px).all() and (path.score == 0.5).all()


def test_the_speeds_are_those_of_the_paws() -> None:
    seen = scene(120.0, noise_bl=0.003)
    gait = measure_gait(seen.t_s, seen.xy_px / LENGTH_PX, seen.mass, SideSettings())
    stance = -0.7 / (0.45 * 0.5)  # body lengths per second
    swing = 2 * 0.7 / (0.55 * 0.5)
    assert gait.speeds_bl_s[0] == pytest.approx(stance, rel=0.25)
    assert gait.speeds_bl_s[-1] == pytest.approx(swing, rel=0.25)
    assert gait.every > 1


def test_places_under_the_ground_are_not_followed() -> None:
    """Grass and reflections below the paws look like paws, now here, now there, and for a while more than the paws."""
    seen = scene(60.0, **GAITS["walk"])
    xy, mass = seen.xy_px.copy(), seen.mass.copy()
    lured = (np.arange(len(xy)) % 40) < 12
    xy[lured, 3] = xy[lured, 0] + np.array([0.0, 0.45 * LENGTH_PX])
    mass[lured, 3] = mass[lured, 0]
    mass[lured, 0] *= 0.3
    path = decide_sides(seen.t_s, xy, mass, length_px=LENGTH_PX)
    under = path.xy_px[..., 1] / LENGTH_PX > max(seen.near[:, 1].max(), seen.far[:, 1].max()) + 0.2
    assert under.mean() < 0.01
    careless = replace(SideSettings(), under_bl=np.inf)
    path = decide_sides(seen.t_s, xy, mass, length_px=LENGTH_PX, settings=careless)
    assert (path.xy_px[..., 1] / LENGTH_PX > seen.near[:, 1].max() + 0.2).mean() > 0.05


def flickering(seed: int) -> Scene:
    """Slow motion in which each paw's place jumps away in three frames out of ten, and each frame for itself."""
    seen = scene(240.0, seed=seed, **GAITS["slow motion"])
    rng = np.random.default_rng(seed + 2)
    xy = seen.xy_px.copy()
    for paw in (0, 1):
        away = rng.random(len(xy)) < 0.3
        xy[away, paw] += rng.normal(0, 0.3 * LENGTH_PX, (int(away.sum()), 2))
    return replace(seen, xy_px=xy)


def test_places_that_flicker_in_slow_motion_are_outvoted_by_the_frames_around() -> None:
    """Decided on single frames, 0.18 of them come out exchanged (measured)."""
    exchanged = [np.nanmean(seen.exchanged(seen.decided())) for seen in map(flickering, range(3))]
    assert np.mean(exchanged) < 0.1


def test_speeds_are_found_among_places_that_flicker() -> None:
    """The fastest of the paws swings at 0.88 body lengths a second; over a few frames, flicker alone makes 15."""
    seen = flickering(0)
    speeds = measure_gait(seen.t_s, seen.xy_px / LENGTH_PX, seen.mass, SideSettings()).speeds_bl_s
    assert np.abs(speeds).max() < 3


def hopping(fps: float, seed: int, **gait: float) -> Scene:
    """Paws hardly seen: in two frames of five a place is off by a fifth of a body length, for a tenth of a stride."""
    seen = scene(fps, seed=seed, **gait)
    rng, frames = np.random.default_rng(seed + 100), 0.1 * fps * gait["stride_s"]
    xy = seen.xy_px.copy()
    for paw in (0, 1):
        off = _lasting(rng, len(xy), frames) > np.quantile(_lasting(rng, 20000, frames), 0.6)
        away = np.stack([_lasting(rng, len(xy), frames) for _ in range(2)], axis=1)
        xy[off, paw] += 0.2 * LENGTH_PX * away[off]
    return replace(seen, xy_px=xy)


HOPPING = {"walk": (60.0, GAITS["walk"]), "trot": (60.0, GAITS["trot"]), "slow motion": (24.0, GAITS["slow motion"])}


def exchanged_hopping(gait: str, seeds: int, settings: SideSettings) -> float:
    """Share of frames with near and far exchanged, over ``seeds`` scenes."""
    fps, pattern = HOPPING[gait]
    shares = []
    for seed in range(seeds):
        seen = hopping(fps, seed, **pattern)
        path = decide_sides(seen.t_s, seen.xy_px, seen.mass, length_px=LENGTH_PX, settings=settings)
        shares.append(np.nanmean(seen.exchanged(path)))
    return float(np.mean(shares))


@pytest.mark.parametrize("gait", HOPPING)
def test_places_that_hop_do_not_pass_for_movement(gait: str) -> None:
    wrong, strict = exchanged_hopping(gait, 4, SideSettings()), exchanged_hopping(gait, 4, SideSettings(hops=0.0))
    assert wrong < 0.05 and wrong < strict


def test_paws_turn_round_at_the_ends_of_their_path() -> None:
    """Where places hop, that is what tells a paw that goes on from one that would have to turn in the middle."""
    bound, free = (exchanged_hopping("trot", 12, each) for each in (SideSettings(), SideSettings(bounds=0.0)))
    assert bound < 0.75 * free


def after_standing(seen: Scene, count: int) -> Scene:
    """``seen`` after ``count`` frames in which the dog stands as in its first one."""
    still = np.random.default_rng(1).normal(0, 0.003 * LENGTH_PX, (count, *seen.xy_px.shape[1:]))
    t_s = np.arange(count + len(seen.t_s)) * (seen.t_s[1] - seen.t_s[0])
    held = {name: np.repeat(getattr(seen, name)[:1], count, axis=0) for name in ("near", "far", "xy_px", "mass")}
    held["xy_px"] = held["xy_px"] + still
    return Scene(t_s, *(np.concatenate([held[name], getattr(seen, name)]) for name in held))


@pytest.mark.parametrize("frames", [200, 900])
@pytest.mark.parametrize("gait", ["walk", "trot"])
def test_a_dog_that_stands_first_is_followed_as_well_when_it_goes(gait: str, frames: int) -> None:
    """With speeds measured over all frames, standing ones among them, half of the trot came out exchanged."""
    scenes = [after_standing(hopping(60.0, seed, **GAITS[gait]), frames) for seed in range(4)]
    exchanged = [np.nanmean(seen.exchanged(seen.decided())[frames:]) for seen in scenes]
    assert np.mean(exchanged) < 0.08


def test_a_dog_that_stands_takes_little_memory() -> None:
    """Half a minute: places are held against each other over a second at most, however little they move."""
    count, rng = 1800, np.random.default_rng(0)
    xy, mass = np.full((count, 8, 2), np.nan), np.full((count, 8, 2), np.nan)
    xy[:, :2] = np.array([[400, 300], [430, 295]]) + rng.normal(0, 0.3, (count, 2, 2))
    mass[:, 0], mass[:, 1] = [0.9, 0.05], [0.05, 0.9]
    tracemalloc.start()
    path = decide_sides(np.arange(count) / 60, xy, mass, length_px=200.0)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 30e6
    assert np.nanmax(np.abs(path.xy_px - xy[:, :2])) < 1.0
