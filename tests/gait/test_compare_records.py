"""Records held against each other: like with like or declined, in either unit, around the circle, over visits, dogs."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from strides_maker import Clip, make_clip

from gait.compare.clipwise import OFF, OFF_SHARE, off_by
from gait.compare.compare import compare_records
from gait.compare.compared import COMPARED, compared, rows_for
from gait.compare.nouns import LARGER, NO_DIFFERENCE, SMALLER, Comparison, Contrast, Line
from gait.compare.settings import CompareSettings
from gait.errors import GaitError, TrialError
from gait.nouns import GaitRecord

#: Draws enough for a test of what is compared with what; how sure a mean is has tests of its own.
QUICK = CompareSettings(draws=300)

BARE = Clip("bare", baseline=True)
BOOTS = Clip("boots", condition="boots", seed=1)


def records(*clips: Clip) -> list[GaitRecord]:
    return [make_clip(clip) for clip in clips]


def compare(clips: Sequence[Clip]) -> Comparison:
    return compare_records(records(*clips), QUICK)


def contrast(*clips: Clip) -> Contrast:
    """The only contrast of ``clips``."""
    (found,) = compare(clips).contrasts
    return found


def line(found: Contrast, measure: str, gait: str = "trot") -> Line:
    return next(row for row in found.lines if (row.measure, row.gait) == (measure, gait))


def spread_around(mean: float, sd: float, n: int = 12) -> np.ndarray:
    """(n,) values with exactly that mean, of a scatter without order."""
    steps = np.random.default_rng(n).permutation(np.linspace(-1.5, 1.5, n))
    return mean + sd * (steps - steps.mean())


def test_a_known_difference_is_found_with_its_size() -> None:
    shorter = Clip("boots", "boots", changes={"reach_m": spread_around(0.322, 0.004)})
    found = contrast(replace(BARE, changes={"reach_m": spread_around(0.35, 0.004)}), shorter)
    hind = line(found, "hind_reach_m")
    assert hind.difference == pytest.approx(-0.028)
    assert hind.percent == pytest.approx(-8)
    assert hind.low < -0.028 < hind.high < 0
    assert hind.percent_low < -8 < hind.percent_high < 0
    assert hind.verdict == SMALLER
    assert hind.resolution == pytest.approx((hind.high - hind.low) / 2)
    assert hind.n_baseline == hind.n_condition == 12


def test_the_same_clip_under_another_name_shows_no_difference() -> None:
    found = contrast(BARE, replace(BARE, condition="boots", baseline=False))
    assert {row.verdict for row in found.lines} == {NO_DIFFERENCE}
    assert all(row.difference == 0 and row.p == 1 for row in found.lines)


def test_exchanging_the_two_sides_turns_every_sign() -> None:
    there = contrast(BARE, BOOTS)
    back = contrast(replace(BOOTS, baseline=True), replace(BARE, baseline=False))
    for one, other in zip(there.lines, back.lines, strict=True):
        assert one.difference == pytest.approx(-other.difference)


def test_the_order_of_records_does_not_matter_and_the_same_gives_the_same() -> None:
    clips = records(BARE, BOOTS, Clip("vest", "vest", seed=2))
    first, second = compare_records(clips, QUICK), compare_records(clips[::-1], QUICK)
    assert [c.lines for c in first.contrasts] == [c.lines for c in second.contrasts]


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        (lambda c: replace(c, changes={"speed_m_s": 1.76}), "the forward speed differs by +10 % (1.60 and 1.76 m/s)"),
        (lambda c: replace(c, changes={"speed_m_s": 1.5}), "the forward speed differs by -6 %"),
        (lambda c: replace(c, gaits=("pace",) * 12), "boots: 0 strides of trot that can be used; 8 are needed"),
        (lambda c: replace(c, gaits=("trot",) * 7), "boots: 7 strides of trot that can be used; 8 are needed"),
        (lambda c: replace(c, dropped=(0, 1, 2, 3, 4)), "boots: 7 strides of trot that can be used; 8 are needed"),
        (
            lambda c: replace(c, changes={"speed_m_s": np.nan, "stride_length_m": np.nan, "speed_bl_s": np.nan}),
            "the forward speed is not known",
        ),
    ],
    ids=["10 % faster", "6 % slower", "another gait", "seven strides", "seven used strides", "no speed"],
)
def test_what_is_not_alike_is_declined_with_the_reason(change: Callable[[Clip], Clip], reason: str) -> None:
    found = contrast(replace(BARE, changes={"speed_m_s": 1.6}), change(BOOTS))
    trots = [row for row in found.lines if row.gait == "trot"]
    assert len(trots) == len(rows_for(True))
    for row in trots:
        assert row.declined.startswith(reason)
        assert row.verdict == ""
        assert np.isnan([row.difference, row.low, row.high, row.percent, row.resolution, row.p, row.p_holm]).all()
        assert np.isnan([row.baseline_mean, row.condition_mean]).all()


def test_speeds_within_five_percent_are_alike() -> None:
    found = contrast(replace(BARE, changes={"speed_m_s": 1.6}), replace(BOOTS, changes={"speed_m_s": 1.67}))
    assert not any(row.declined for row in found.lines)


def test_a_measure_known_in_too_few_strides_is_declined_alone() -> None:
    few = np.where(np.arange(12) < 7, 0.45, np.nan)
    found = contrast(BARE, replace(BOOTS, changes={"limb_phase": few}))
    assert line(found, "limb_phase").declined == "boots: known in 7 strides only; 8 are needed"
    assert line(found, "limb_phase").n_condition == 7
    assert not line(found, "topline_deg").declined


def test_different_gaits_are_told_and_each_gait_has_its_lines() -> None:
    found = contrast(BARE, replace(BOOTS, gaits=("pace",) * 3 + ("trot",) * 9))
    assert found.condition.gaits == {"trot": 9, "pace": 3}
    assert found.same_gait
    assert {row.gait for row in found.lines if row.declined} == {"pace"}
    assert not contrast(BARE, replace(BOOTS, gaits=("pace",) * 12)).same_gait


def test_unclear_strides_are_compared_with_nothing() -> None:
    found = contrast(BARE, replace(BOOTS, gaits=("unclear",) * 12))
    assert {row.gait for row in found.lines} == {"trot"}
    assert not found.same_gait


def test_limbs_filmed_from_different_sides_are_declined_and_the_whole_dog_is_not() -> None:
    found = contrast(BARE, replace(BOOTS, facing="left"))
    assert line(found, "hind_reach_m").declined.startswith("filmed from different sides")
    assert not line(found, "topline_deg").declined
    assert any("different sides" in note for note in found.notes)


def test_clips_that_face_the_way_of_both_sets_are_taken() -> None:
    left = replace(BARE, name="bare left", facing="left", changes={"topline_deg": 30.0})
    found = contrast(BARE, left, BOOTS)
    assert line(found, "topline_deg").baseline_mean == pytest.approx(1, abs=0.1)
    assert "1 clip that faces the other way left out." in found.notes


def test_body_lengths_serve_where_metres_are_not_known() -> None:
    without = {"stride_length_m": np.nan, "reach_m": np.nan, "speed_m_s": np.nan}
    found = contrast(BARE, replace(BOOTS, changes=without))
    names = {row.measure for row in found.lines}
    assert "hind_reach_bl" in names
    assert not any(name.endswith("_m") for name in names)
    assert not any(row.declined for row in found.lines)


def test_a_limb_phase_around_the_end_of_the_stride_is_averaged_on_its_circle() -> None:
    before = spread_around(0.99, 0.01) % 1
    after = spread_around(0.03, 0.01) % 1
    pace = ("pace",) * 12
    found = contrast(
        replace(BARE, gaits=pace, changes={"limb_phase": before}),
        replace(BOOTS, gaits=pace, changes={"limb_phase": after}),
    )
    phase = line(found, "limb_phase", "pace")
    assert phase.difference == pytest.approx(0.04)
    assert phase.baseline_mean == pytest.approx(0.99)
    assert phase.condition_mean == pytest.approx(0.03)
    assert phase.verdict == LARGER
    assert np.isnan([phase.percent, phase.percent_low, phase.percent_high]).all()


def test_measures_without_a_zero_have_no_percent() -> None:
    found = contrast(BARE, BOOTS)
    for row in found.lines:
        assert np.isfinite(row.percent) == compared(row.measure).measure.zero


def test_verdicts_follow_holm_not_the_single_probability() -> None:
    found = contrast(BARE, replace(BOOTS, changes={"topline_deg": spread_around(1.02, 0.02)}))
    for row in found.lines:
        assert row.p_holm >= row.p
        assert (row.verdict == NO_DIFFERENCE) == (row.p_holm > 0.05)


@pytest.mark.parametrize(
    ("clips", "words"),
    [
        ((replace(BARE, date=""), BOOTS), "does not say its date"),
        ((replace(BARE, dog=""), BOOTS), "does not say its dog"),
        ((replace(BARE, condition=""), BOOTS), "does not say its condition"),
        ((BARE, replace(BARE, name="other", condition="collar")), "both 'bare' and 'collar' are called baseline"),
        ((BARE, replace(BARE, name="other", baseline=False)), "is called baseline in one clip and not in another"),
        ((BARE,), "nothing to compare"),
        ((BARE, replace(BOOTS, dog="Brock", baseline=True)), "nothing to compare"),
    ],
    ids=["no date", "no dog", "no condition", "two baselines", "baseline and not", "one clip", "two dogs, no pair"],
)
def test_what_cannot_be_compared_at_all_says_why(clips: tuple[Clip, ...], words: str) -> None:
    with pytest.raises(GaitError, match=words):
        compare(clips)


def test_a_trial_without_a_date_is_a_trial_error() -> None:
    with pytest.raises(TrialError):
        compare([replace(BARE, date=""), BOOTS])


def test_a_condition_without_baseline_of_that_day_is_declined_as_a_whole() -> None:
    found = compare([BARE, BOOTS, replace(BOOTS, name="later", date="2026-04-20")]).contrasts
    alone = next(c for c in found if c.kind == "condition" and c.condition.date == "2026-04-20")
    assert alone.declined == "Tansy has no baseline on 2026-04-20; film it bare on the same day."
    assert alone.baseline is None
    assert alone.lines == ()


def test_an_unknown_clock_stops_a_contrast() -> None:
    found = contrast(BARE, replace(BOOTS, more={"clock_known": False}))
    assert "clock of slow motion is not known in boots" in found.declined
    assert found.lines == ()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"more": {"incline_deg": 5.0}}, "The incline of the belt differs: 0 and 5 degrees."),
        ({"grade": "film again"}, "Footage graded 'film again': boots."),
        ({}, "One clip on each side"),
    ],
    ids=["incline", "poor footage", "one clip each"],
)
def test_notes_tell_what_else_differs(change: dict[str, object], words: str) -> None:
    found = contrast(replace(BARE, more={"incline_deg": 0.0}), replace(BOOTS, **change))
    assert any(note.startswith(words) for note in found.notes)


def test_two_clips_of_a_condition_are_one_set() -> None:
    found = contrast(BARE, replace(BARE, name="bare 2", seed=8), BOOTS)
    assert line(found, "topline_deg").n_baseline == 24
    assert not any(note.startswith("One clip") for note in found.notes)


def visit(date: str, seed: int, clip: str = "", **changes: object) -> Clip:
    return Clip(f"ember {date} {clip}", "bare", True, "Ember", date, changes=changes, seed=seed)


def test_visits_are_held_against_the_first_and_the_one_before() -> None:
    clips = [visit(date, k) for k, date in enumerate(("2026-01-05", "2026-02-16", "2026-03-30"))]
    found = compare(clips)
    pairs = [(c.baseline.date, c.condition.date) for c in found.contrasts if c.baseline]
    assert pairs == [("2026-01-05", "2026-02-16"), ("2026-01-05", "2026-03-30"), ("2026-02-16", "2026-03-30")]
    assert {c.kind for c in found.contrasts} == {"visit"}


def test_trends_hold_every_visit_and_flag_what_is_beyond_repeatability() -> None:
    small, large = spread_around(1.0, 0.05), spread_around(1.4, 0.05)
    clips = [
        visit("2026-01-05", 0, "a", topline_deg=small),
        visit("2026-01-05", 1, "b", topline_deg=small + 0.06),
        visit("2026-02-16", 2, "a", topline_deg=small + 0.02),
        visit("2026-02-16", 3, "b", topline_deg=small - 0.04),
        visit("2026-03-30", 4, "a", topline_deg=large),
        visit("2026-03-30", 5, "b", topline_deg=large),
    ]
    trends = compare(clips).trends
    topline = next(t for t in trends if t.measure == "topline_deg")
    assert topline.dates == ("2026-01-05", "2026-02-16", "2026-03-30")
    assert topline.n == (24, 24, 24)
    assert topline.mean == pytest.approx((1.03, 0.99, 1.4))
    # clip means of a day lie 0.06, 0.06 and 0 apart: squares of half of that, twice, on three degrees of freedom
    sd = np.sqrt((2 * 0.03**2 + 2 * 0.03**2) / 3)
    assert topline.repeatability == pytest.approx(stats.t.ppf(0.975, 3) * np.sqrt(2) * sd)
    assert topline.flagged == (False, False, True)


def test_repeatability_is_not_made_up_from_single_clips() -> None:
    found = compare([visit("2026-01-05", 0), visit("2026-02-16", 1, topline_deg=spread_around(2, 0.05))])
    topline = next(t for t in found.trends if t.measure == "topline_deg")
    assert np.isnan(topline.repeatability)
    assert topline.flagged == (False, True)


def test_a_visit_with_too_few_strides_has_no_mean() -> None:
    few = replace(visit("2026-02-16", 1), gaits=("trot",) * 5)
    topline = next(t for t in compare([visit("2026-01-05", 0), few]).trends if t.measure == "topline_deg")
    assert topline.n == (12, 5)
    assert np.isnan(topline.mean[1])
    assert topline.declined[1].startswith("2026-02-16: 5 strides")


def dogs(count: int, differences: np.ndarray) -> list[GaitRecord]:
    """``count`` dogs bare and in boots, whose topline differs by so many degrees."""
    clips = []
    for k in range(count):
        name = f"dog {k}"
        clips.append(Clip(f"{name} bare", "bare", True, name, changes={"topline_deg": spread_around(1, 0.05)}))
        topline = {"topline_deg": spread_around(1 + differences[k], 0.05)}
        clips.append(Clip(f"{name} boots", "boots", False, name, changes=topline, seed=k))
    return records(*clips)


def test_several_dogs_are_paired_and_each_counts_once() -> None:
    differences = np.array([0.5, 0.8, 0.6, 0.9, 0.7, 0.4, 0.75])
    found = compare_records(dogs(7, differences), QUICK).groups
    topline = next(row for row in found if row.measure == "topline_deg")
    assert topline.dogs == tuple(f"dog {k}" for k in range(7))
    assert topline.differences == pytest.approx(tuple(differences))
    reference = stats.ttest_1samp(differences, 0)
    assert topline.p == pytest.approx(reference.pvalue)
    interval = reference.confidence_interval(0.95)
    assert (topline.low, topline.high) == pytest.approx((interval.low, interval.high))
    assert topline.verdict == LARGER
    assert topline.unit == "deg"


def test_lengths_over_dogs_are_told_in_percent_of_each_dogs_baseline() -> None:
    found = compare_records(dogs(3, np.zeros(3)), QUICK).groups
    assert next(row for row in found if row.measure == "hind_reach_m").unit == "%"


def test_two_days_of_one_dog_do_not_count_twice() -> None:
    clips = [*dogs(2, np.array([0.5, 0.7])), *records(
        Clip("again bare", "bare", True, "dog 0", "2026-05-01", changes={"topline_deg": spread_around(1, 0.05)}),
        Clip("again boots", "boots", False, "dog 0", "2026-05-01", changes={"topline_deg": spread_around(1.9, 0.05)}),
    )]  # fmt: skip
    topline = next(row for row in compare_records(clips, QUICK).groups if row.measure == "topline_deg")
    assert topline.differences == pytest.approx((0.7, 0.7))


def test_one_dog_is_no_group() -> None:
    assert compare([BARE, BOOTS]).groups == ()


def test_every_compared_measure_has_a_name_of_its_own_and_unknown_names_are_refused() -> None:
    assert len({row.name for row in COMPARED}) == len(COMPARED)
    with pytest.raises(KeyError, match="No compared measure is called 'nose'"):
        compared("nose")


def read_by_network(clip: Clip) -> GaitRecord:
    return replace(make_clip(clip), network_hash="0" * 64)


def test_what_a_network_is_off_in_a_whole_clip_widens_the_interval() -> None:
    topline = {"topline_deg": spread_around(1, 0.05)}
    steeper = {"topline_deg": spread_around(2, 0.05)}
    clips = replace(BARE, changes=topline), replace(BOOTS, changes=steeper)
    (table,) = compare_records([make_clip(clip) for clip in clips], QUICK).contrasts
    (read,) = compare_records([read_by_network(clip) for clip in clips], QUICK).contrasts
    narrow, wide = line(table, "topline_deg"), line(read, "topline_deg")
    assert wide.difference == narrow.difference == pytest.approx(1)
    # the stated scatter of one clip, twice, under an interval of 95 %
    assert wide.resolution == pytest.approx(1.96 * np.sqrt(2) * OFF["topline_deg"], rel=0.02)
    assert (narrow.verdict, wide.verdict) == (LARGER, NO_DIFFERENCE)


def test_two_clips_halve_the_variance_of_what_a_network_is_off() -> None:
    topline = {"topline_deg": spread_around(1, 0.05)}
    one = replace(BARE, changes=topline), replace(BOOTS, changes=topline)
    two = *one, replace(one[0], name="again"), replace(one[1], name="boots again")
    single, double = (
        line(compare_records([read_by_network(clip) for clip in clips], QUICK).contrasts[0], "topline_deg")
        for clips in (one, two)
    )
    assert double.resolution == pytest.approx(single.resolution / np.sqrt(2), rel=0.03)


def test_every_compared_measure_says_how_far_a_network_is_off() -> None:
    told = {row.name for row in COMPARED} - OFF.keys() - OFF_SHARE.keys()
    assert told == {"stride_length_m"}  # metres come from the belt's own speed, which every stride length shares
    assert off_by("hind_reach_m", 0.5) == pytest.approx(0.5 * OFF_SHARE["hind_reach_m"])
