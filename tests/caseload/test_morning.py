"""What needs a person, from records made of tracks in closed form."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from walker import trotting

from gait.caseload.morning import (
    NOT_KNOWN,
    Finding,
    Kind,
    MorningSettings,
    Read,
    Unread,
    alike,
    clip_findings,
    own_repeatability,
    unread_finding,
    visit_findings,
)
from gait.compare.compared import compared
from gait.nouns import GaitRecord, TrustCheck
from gait.record import build_record
from gait.trial import Trial
from pose.landmarks import CROUP, FAR_FORE, NEAR_FORE
from pose.tracks import FloatArray, Tracks

DAYS = ("2026-03-02", "2026-03-30", "2026-04-27", "2026-05-25")
#: px by which the croup's height differs from clip to clip: 0.14 degrees of topline at 200 px.
STEADY_PX = 0.5
#: px by which the croup stands higher where a change is planted: 2.9 degrees.
CHANGE_PX = 10.0


def with_xy(tracks: Tracks, xy: FloatArray) -> Tracks:
    return replace(tracks, xy_px=xy)


@cache
def record(day: str, croup_px: float = 0.0, *, paces: bool = False, **trial: object) -> GaitRecord:
    """A clip of a dog that trots; croup_px: how much higher the croup stands."""
    tracks = trotting(6.0)
    xy = tracks.xy_px.copy()
    xy[:, CROUP, 1] -= croup_px
    if paces:
        xy[:, [NEAR_FORE, FAR_FORE], 0] = xy[:, [FAR_FORE, NEAR_FORE], 0]
        heights = xy[:, [FAR_FORE, NEAR_FORE], 1] + (8.0, -8.0)  # each side keeps its own line on the belt
        xy[:, [NEAR_FORE, FAR_FORE], 1] = heights
    said = {"clip": "a.mp4", "dog": "Tansy", "condition": "bare", "belt_m_s": 1.8, "facing": "right"} | trial
    return build_record(with_xy(tracks, xy), Trial(date=day, **said))  # type: ignore[arg-type]


def read(one: GaitRecord) -> Read:
    return Read(one, 3, 7, "clips/a/b/report.html", "clips/a/b")


def visits(*changes_px: float, clips: int = 3, **trial: object) -> list[Read]:
    """Clips of one dog on as many days as there are changes, each clip a little different."""
    found = []
    for day, change in zip(DAYS, changes_px, strict=False):
        found += [read(record(day, change + STEADY_PX * (n - (clips - 1) / 2), **trial)) for n in range(clips)]
    return found


def kinds(findings: Sequence[Finding]) -> set[Kind]:
    return {finding.kind for finding in findings}


def test_a_change_beyond_repeatability_is_told_with_direction_size_and_interval() -> None:
    found = visit_findings(visits(0.0, CHANGE_PX))
    topline = next(finding for finding in found if finding.measure == "topline_deg")
    true_deg = np.degrees(np.arctan2(CHANGE_PX, 200.0))
    assert topline.kind == "changed" and topline.date == DAYS[1] and topline.gait == "trot" and topline.unit == "deg"
    assert topline.low is not None and topline.high is not None and topline.repeatability is not None
    assert topline.low < true_deg < topline.high
    assert 0 < topline.repeatability < abs(topline.difference or 0.0)
    assert topline.words.startswith("Trot, bare, since 2026-03-02: the topline")


@pytest.mark.parametrize(
    "reads",
    [
        pytest.param(lambda: visits(0.0, 0.0), id="nothing changed"),
        pytest.param(lambda: visits(CHANGE_PX), id="one visit"),
        pytest.param(lambda: [*visits(0.0), *visits(0.0, CHANGE_PX, condition="boots")[3:]], id="another condition"),
        pytest.param(lambda: [*visits(0.0), *visits(0.0, CHANGE_PX, belt_m_s=2.2)[3:]], id="another speed of the belt"),
        pytest.param(lambda: visits(0.0, CHANGE_PX, 0.0, condition="bare")[:0], id="no clip"),
    ],
)
def test_nothing_is_told_where_nothing_changed_or_nothing_is_alike(reads: Callable[[], list[Read]]) -> None:
    assert visit_findings(reads()) == ()


def test_the_newest_visit_is_held_against_the_last_one_not_the_first() -> None:
    assert visit_findings(visits(CHANGE_PX, 0.0, 0.0)) == ()
    assert "topline_deg" in {finding.measure for finding in visit_findings(visits(0.0, 0.0, CHANGE_PX))}


def test_an_old_change_in_another_condition_is_no_news() -> None:
    reads = [*visits(0.0, CHANGE_PX, condition="boots"), *visits(0.0, 0.0, 0.0)[6:]]
    assert visit_findings(reads) == ()


def test_one_clip_a_visit_leaves_repeatability_unknown_and_ranks_lower() -> None:
    sure = visit_findings(visits(0.0, CHANGE_PX))
    unsure = visit_findings(visits(0.0, CHANGE_PX, clips=1))
    assert unsure and all(finding.repeatability is None and finding.advice == NOT_KNOWN for finding in unsure)
    assert max(finding.rank for finding in sure) < min(finding.rank for finding in unsure)


def test_a_change_within_what_the_dog_shows_from_day_to_day_is_not_told() -> None:
    restless = visits(0.0, 9.0, -6.0, 10.0)
    assert "topline_deg" not in {finding.measure for finding in visit_findings(restless)}
    days = alike([one.record for one in restless])[0]
    within = own_repeatability(days[-2:], "trot", compared("topline_deg"), 0.05)
    assert own_repeatability(days, "trot", compared("topline_deg"), 0.05) > 5 * within


def test_one_of_many_measures_has_to_change_by_more() -> None:
    row, days = compared("topline_deg"), alike([one.record for one in visits(0.0, 0.0, clips=2)])[0]
    assert own_repeatability(days, "trot", row, 0.05, of=17) > 2 * own_repeatability(days, "trot", row, 0.05)


def test_clips_that_must_be_filmed_again_are_not_held_against_others() -> None:
    reads = visits(0.0, CHANGE_PX)
    spoilt = [replace(one, record=replace(one.record, grade="film again")) for one in reads[3:]]
    assert visit_findings([*reads[:3], *spoilt]) == ()


def test_another_gait_at_the_same_speed_of_the_belt_comes_first() -> None:
    reads = [read(record(DAYS[0])), read(record(DAYS[1], paces=True))]
    found = sorted(visit_findings(reads), key=lambda finding: finding.rank)
    assert found[0].kind == "gait_changed" and found[0].gait == "pace"
    assert "Tansy paces" in found[0].words and "showed a trot on 2026-03-02" in found[0].words


def test_another_gait_is_not_told_when_the_speed_of_the_belt_is_not_known() -> None:
    reads = [read(record(DAYS[0], belt_m_s=None)), read(record(DAYS[1], paces=True, belt_m_s=None))]
    assert "gait_changed" not in kinds(visit_findings(reads))


def test_belts_that_are_alike_count_as_one() -> None:
    records = [record(day, belt_m_s=belt) for day, belt in zip(DAYS, (1.8, 1.85, 2.4), strict=False)]
    groups = {tuple(day.date for day in days) for days in alike(records)}
    assert groups == {DAYS[:2], DAYS[2:3]}


def test_only_the_newest_visits_are_looked_at() -> None:
    days = alike([one.record for one in visits(0.0, 0.0, 0.0, clips=1)], MorningSettings(visits=2))[0]
    assert [day.date for day in days] == [*DAYS[1:3]]


def test_a_clip_to_be_filmed_again_says_why_and_what_to_change() -> None:
    seen = TrustCheck("landmarks seen", 0.23, 0.8, "share of frames", False, "Keep rails out of the way.")
    sides = TrustCheck("near and far certain", float("nan"), 0.95, "share of frames", False, "More light.")
    fine = TrustCheck("camera level", 1.0, 5.0, "deg", True)
    spoilt = replace(record(DAYS[0]), grade="film again", checks=(seen, sides, fine))
    (found,) = clip_findings(read(spoilt))
    assert found.kind == "film_again" and (found.clip_id, found.record_id) == (3, 7)
    assert found.words == (
        "Landmarks seen: 23 % of frames (limit 80 % of frames). Near and far certain: not known (limit 95 % of frames)."
    )
    assert found.advice == "Keep rails out of the way. More light." and found.page == "clips/a/b/report.html"


def dropped(one: GaitRecord, every: int, why: str) -> GaitRecord:
    """``one`` with every so manyth stride dropped for that reason."""
    words = one.strides.dropped.astype("<U20").copy()
    words[(np.arange(len(words)) // 4) % every == 0] = why
    return replace(one, strides=replace(one.strides, dropped=words))


@pytest.mark.parametrize(
    ("every", "why", "told"),
    [
        pytest.param(2, "sides_unsure", True, id="sides unsure in half"),
        pytest.param(20, "sides_unsure", False, id="sides unsure in one"),
        pytest.param(2, "gap", False, id="gaps"),
    ],
)
def test_sides_that_are_unsure_in_too_many_strides_are_told_with_their_time(every: int, why: str, told: bool) -> None:
    found = clip_findings(read(dropped(record(DAYS[0]), every, why)))
    assert [finding.kind for finding in found] == (["unsure"] if told else [])
    if told:
        assert "near and far cannot be told apart in" in found[0].words.lower() and " s)" in found[0].words
        assert found[0].advice.endswith("pawfall pick clips/a/b")


def test_a_gait_without_a_name_is_told() -> None:
    one = record(DAYS[0])
    unclear = np.where(one.strides.gait == "trot", "unclear", one.strides.gait)
    (found,) = clip_findings(read(replace(one, strides=replace(one.strides, gait=unclear))))
    assert found.kind == "unsure" and found.words.startswith("The gait has no clear name in ")


def test_a_good_clip_is_not_told() -> None:
    assert clip_findings(read(record(DAYS[0]))) == ()


@pytest.mark.parametrize(
    ("unread", "kind", "advice"),
    [
        pytest.param(Unread("a.mp4", "No dog is seen. Film again", True), "film_again", False, id="says nothing"),
        pytest.param(Unread("a.mp4", "it is empty", False), "unreadable", True, id="cannot be used"),
        pytest.param(Unread("a.mp4", "copy it again", False), "unreadable", False, id="the reason says what to do"),
    ],
)
def test_what_gave_no_record_is_told_as_it_came(unread: Unread, kind: Kind, advice: bool) -> None:
    found = unread_finding(unread)
    assert found.kind == kind and bool(found.advice) is advice
    assert found.words == f"{unread.reason}."


def turned(one: GaitRecord, by: float) -> GaitRecord:
    """``one`` with every limb phase later by that share of a stride."""
    measures = one.strides.measures | {"limb_phase": (one.strides.measures["limb_phase"] + by) % 1}
    return replace(one, strides=replace(one.strides, measures=measures))


def test_a_limb_phase_about_nought_is_as_repeatable_as_it_is() -> None:
    records = [turned(one.record, by) for one, by in zip(visits(0.0, paces=True), (-0.02, 0.0, 0.02), strict=True)]
    phases = np.concatenate([one.strides.measures["limb_phase"][one.strides.used] for one in records])
    phases = phases[np.isfinite(phases)]
    assert phases.min() < 0.1 and phases.max() > 0.9  # both ends of the circle
    own = own_repeatability(alike(records)[0], "pace", compared("limb_phase"), 0.05)
    assert own == pytest.approx(4.303 * np.sqrt(2) * 0.02, rel=0.01)  # Student's t for three clips, sqrt 2, their SD
