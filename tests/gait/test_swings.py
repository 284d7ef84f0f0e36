"""How paws leave and land, learned from many swings at once."""

from dataclasses import replace

import numpy as np
import pytest
from generator import LIFTS, PACE, SWINGS, TROT, WALK, Pattern, Scene, Truth, dog, replaced

from gait.meanpath import Course, MeanSettings, averaged, known_path, pace, path
from gait.record import build_record
from gait.swings import Swings, unevenness
from gait.trial import Trial
from pose.tracks import FloatArray, Tracks

S = MeanSettings()
#: Share of a swing, how far lift-off and touchdown may lie from the true ones; 0.02 of it are 5 ms.
END = 0.02


def course_of(
    swing: str, noise: float = 0.003, bend: float = 0.0, frames: int = 900, seed: int = 5
) -> tuple[Course, FloatArray]:
    """Frames of swings of closed form, and the true ends (2,) in fast halves; bend: what a camera off square adds."""
    rng = np.random.default_rng(seed)
    share = np.linspace(-0.5, 1.5, frames)
    way = SWINGS[swing](np.clip(share, 0.0, 1.0))
    quarter, most = np.interp([0.25, 0.75], way[(share > 0) & (share < 1)], share[(share > 0) & (share < 1)])
    ahead = way - 0.6 * (share - 0.5) - 0.5
    seen = way + bend * ahead**2 + noise * rng.standard_normal(frames)
    ends = (np.array([0.0, 1.0]) - quarter) / (most - quarter)
    high = LIFTS[swing](np.clip(share, 0.0, 1.0)) + 10 * noise * rng.standard_normal(frames)
    return Course((share - quarter) / (most - quarter), seen, ahead, high), ends


@pytest.mark.parametrize("bend", [0.0, 0.05, -0.05])
@pytest.mark.parametrize("swing", ["hard", "even"])
def test_ends_of_a_mean_path(swing: str, bend: float) -> None:
    course, ends = course_of(swing, bend=bend)
    found = known_path(averaged(course, S), 0.1, S, heights=False)
    assert (found.ends - ends) / np.ptp(ends) == pytest.approx([0.0, 0.0], abs=END)
    share = np.array([0.1, 0.2, 0.4])
    for coefficients in found.path:  # alike at both ends: these swings are
        assert share[:, None] ** [1, 2, 3] @ coefficients[:3] == pytest.approx(SWINGS[swing](share), abs=0.02)


def test_a_paw_at_rest_is_found_by_the_path_that_may_be() -> None:
    course, ends = course_of("soft")
    moving, resting = (known_path(averaged(course, S), softest, S, heights=softest > 0.5) for softest in (0.1, 1.0))
    assert (resting.ends - ends) / np.ptp(ends) == pytest.approx([0.0, 0.0], abs=2 * END)
    assert moving.ends[0] > resting.ends[0] + 0.1 and moving.ends[1] < resting.ends[1] - 0.1


@pytest.mark.parametrize("swing", ["hard", "even"])
def test_heights_help_to_tell_when_a_paw_lands(swing: str) -> None:
    off: dict[bool, list[float]] = {False: [], True: []}
    for seed in range(40):
        course, ends = course_of(swing, noise=0.015, seed=seed)
        for heights, errors in off.items():
            errors.append(known_path(averaged(course, S), 1.0, S, heights=heights).ends[1] - ends[1])
    assert np.sqrt(np.mean(np.square(off[True]))) < np.sqrt(np.mean(np.square(off[False])))


@pytest.mark.parametrize("lag", [0.0, 0.25, 0.5, 0.75])
@pytest.mark.parametrize("swing", ["hard", "even"])
def test_heights_that_no_way_down_explains_move_no_touchdown_further_off(swing: str, lag: float) -> None:
    """A foot that is pressed in and comes up again while it stands, under a trunk that goes ahead and back: both alike
    in every stride, so that many strides say no more than one. Taken at their word such heights land it 70 ms late."""
    off: dict[bool, list[float]] = {False: [], True: []}
    for seed in range(6):
        course, ends = course_of(swing, seed=seed)
        share = (course.time - ends[0]) / np.ptp(ends)
        pressed = 0.2 * np.interp(share, [0.9, 1.1, 1.5], [0.0, 1.0, 0.0])
        surge = 0.01 * np.sin(2 * np.pi * (share + lag))
        course = replace(course, high=course.high - pressed, way=course.way + surge)
        for heights, errors in off.items():
            found = known_path(averaged(course, S), 1.0, S, heights=heights)
            errors.append((found.ends[1] - ends[1]) / np.ptp(ends))
    assert np.abs(off[True]).mean() <= np.abs(off[False]).mean() + END


@pytest.mark.parametrize("swing", ["hard", "even"])
def test_how_high_paws_go_is_learned_with_their_way(swing: str) -> None:
    found = known_path(averaged(course_of(swing)[0], S), 0.1, S, heights=False)
    share = np.array([0.1, 0.2, 0.4])
    for coefficients in found.path:
        assert share[:, None] ** [1, 2, 3] @ coefficients[3:] == pytest.approx(LIFTS[swing](share), abs=0.08)


def test_noise_widens_what_is_not_known_of_the_path() -> None:
    means = [averaged(course_of("even", noise)[0], S) for noise in (0.003, 0.03)]
    doubts = [np.abs(known_path(mean, 1.0, S, heights=True).root).max() for mean in means]
    assert doubts[1] > 2 * doubts[0]


def test_wild_frames_do_not_matter() -> None:
    course, ends = course_of("even")
    wild = course.way.copy()
    wild[::17] += 0.6
    found = known_path(averaged(replace(course, way=wild), S), 0.1, S, heights=False)
    assert (found.ends - ends) / np.ptp(ends) == pytest.approx([0.0, 0.0], abs=END)


@pytest.mark.parametrize("manner", [(-0.35, -0.35), (0.0, 0.0), (1.0, 0.3), (-0.6, 1.0)])
def test_the_pace_is_the_slope_of_the_path(manner: tuple[float, float]) -> None:
    share, leave, land = np.linspace(0.01, 0.99, 197), np.array(manner[0]), np.array(manner[1])
    slope = (path(share + 1e-6, leave, land) - path(share - 1e-6, leave, land)) / 2e-6
    assert pace(share, leave, land) == pytest.approx(slope, rel=1e-5, abs=1e-7)
    assert path(np.array([-0.2, 0.0, 1.0, 1.3]), leave, land) == pytest.approx([0.0, 0.0, 1.0, 1.0])
    assert pace(np.array([-0.2, 1.3]), leave, land) == pytest.approx([0.0, 0.0])


def test_a_swing_backwards_is_one_with_its_ends_exchanged() -> None:
    share, leave, land = np.linspace(0.0, 1.0, 21), np.array(-0.4), np.array(0.7)
    assert 1 - path(1 - share, leave, land) == pytest.approx(path(share, land, leave))


def test_few_swings_teach_nothing_and_leave_wider_doubt() -> None:
    sds = []
    for seconds in (2.2, 8.0):
        tracks, _ = dog(WALK, Scene(seconds=seconds, noise_bl=0.01, swing="hard"))
        sds.append(np.nanmedian(build_record(tracks, Trial()).contacts.touchdown_sd_ms))
    assert sds[0] > sds[1]


@pytest.mark.parametrize("pattern", [WALK, TROT, PACE], ids=["walk", "trot", "pace"])
def test_how_paws_land_is_learned_for_fore_and_hind_apart(pattern: Pattern) -> None:
    """Fore paws that leave and land at rest, hind paws that do it on the move: each clip says so of its own."""
    scene = Scene(noise_bl=0.01, spread=0.01)
    made = {swing: dog(pattern, replace(scene, swing=swing)) for swing in ("soft", "hard")}
    xy = made["hard"][0].xy_px.copy()
    xy[:, :2] = made["soft"][0].xy_px[:, :2]
    record = build_record(replaced(made["hard"][0], xy_px=xy), Trial())
    contacts, fore = record.contacts, record.contacts.paw < 2
    for sd_ms in (contacts.touchdown_sd_ms, contacts.liftoff_sd_ms):
        assert np.nanmedian(sd_ms[fore]) > 1.5 * np.nanmedian(sd_ms[~fore])
    late = _late_s(contacts.liftoff_s[~fore], contacts.paw[~fore], made["hard"][1])
    assert abs(np.nanmean(late)) <= 0.005


def _late_s(times_s: FloatArray, paw: np.ndarray, truth: Truth) -> FloatArray:
    """(N,) s, each time against the nearest true lift-off of its paw."""
    true = [truth.liftoff_s[p] for p in paw]
    return np.array([t - near[np.argmin(np.abs(near - t))] for t, near in zip(times_s, true, strict=True)])


def rolled(tracks: Tracks, truth: Truth, scene: Scene, creep: float, rise: float) -> Tracks:
    """Paws that roll over their toes in the last third of each stance: until they leave they creep forward by a share
    of the stride and rise by a share of the swing's height, and both go on smoothly into the swing."""
    xy, t = tracks.xy_px.copy(), tracks.t_s
    for paw in range(4):
        touch, lift = truth.touchdown_s[paw], truth.liftoff_s[paw]
        k = np.clip(np.searchsorted(touch, t, side="right") - 1, 0, len(touch) - 2)
        roll = np.clip((t - lift[k]) / (0.3 * (lift[k] - touch[k])) + 1, 0.0, 1.0)
        swing = np.clip((t - lift[k]) / (touch[k + 1] - lift[k]), 0.0, 1.0)
        share = roll**2 * (1 - swing) ** 3 * (1 + 3 * swing)
        size_px = scene.length_px * (scene.far_scale if paw % 2 else 1.0)
        xy[:, paw, 0] += creep * share * (touch[k + 1] - touch[k]) * truth.speed_px_s[paw % 2]
        xy[:, paw, 1] -= rise * share * scene.lift_bl * size_px
    return replaced(tracks, xy_px=xy)


@pytest.mark.parametrize("pattern", [WALK, TROT, PACE], ids=["walk", "trot", "pace"])
@pytest.mark.parametrize(("creep", "rise"), [(0.015, 0.15), (0.03, 0.3)], ids=["a little", "as much as hind paws do"])
def test_a_paw_that_rolls_over_its_toes_is_still_on_the_belt(pattern: Pattern, creep: float, rise: float) -> None:
    """Timed as a paw that leaves at rest it would leave 30 to 100 ms early, when it begins to roll."""
    scene = Scene(noise_bl=0.01, spread=0.01)
    tracks, truth = dog(pattern, scene)
    contacts = build_record(rolled(tracks, truth, scene, creep, rise), Trial()).contacts
    known = np.isfinite(contacts.liftoff_s)
    late_s = _late_s(contacts.liftoff_s[known], contacts.paw[known], truth)
    assert np.median(np.abs(late_s)) <= 0.008
    assert np.mean(np.abs(late_s) <= 1.96e-3 * contacts.liftoff_sd_ms[known]) >= 0.9


def _swings(count: int) -> tuple[Swings, np.ndarray]:
    """``count`` swings of each of the four paws, the fast half 0.1 s long and 0.05 s away from both events."""
    paw = np.repeat(np.arange(4), count + 1)
    before = np.flatnonzero(paw[1:] == paw[:-1])
    begin = np.arange(len(before)) + 0.0
    nothing = Course(*np.empty((4, 0)))
    all_alike = np.ones(len(before), dtype=bool)
    fast = np.full(len(before), 0.1)
    return Swings(before, before + 1, begin, fast, all_alike, nothing, np.empty(0, dtype=np.int64)), paw


@pytest.mark.parametrize("scatter_s", [0.0, 0.004, 0.02])
def test_uneven_swings_show_as_more_scatter_than_noise_explains(scatter_s: float) -> None:
    swings, paw = _swings(40)
    rng = np.random.default_rng(3)
    event_s = np.full(len(paw), np.nan)
    event_s[swings.before] = swings.begin_s - 0.05 + scatter_s * rng.standard_normal(len(swings.before))
    found = unevenness(swings, paw, event_s, np.full(len(paw), 0.004), leaving=True)
    assert found == pytest.approx([0.0, 0.0] if scatter_s <= 0.004 else [0.02, 0.02], abs=0.004)


def test_a_shift_that_is_always_the_same_is_no_scatter() -> None:
    swings, paw = _swings(10)
    event_s = np.full(len(paw), np.nan)
    event_s[swings.after] = swings.begin_s + 0.15 + 0.02 * (paw[swings.after] % 2)  # far paws later than near ones
    assert unevenness(swings, paw, event_s, np.full(len(paw), 0.001), leaving=False) == pytest.approx([0.0, 0.0])
