"""A person's word against the reading: what it changes, what it leaves alone, and that nothing said is lost."""

from dataclasses import fields, replace
from functools import cache

import numpy as np
import pytest
from generator import BOUND, CANTER, PACE, TROT, WALK, Pattern, Scene, dog, replaced

from gait.errors import OverrulingError
from gait.nouns import GaitRecord
from gait.overruling import LATER, LEFT_OUT, NAMES, NO_STRIDE, Overruling, names_said, overruled
from gait.record import build_record, with_strides
from gait.trial import Trial
from gait.trust import TrustSettings
from pose.landmarks import NEAR_FORE, NEAR_HIND, PAWS

#: s, another network sees paws land earlier or later by a frame or two at 60 frames per second.
SHIFT_S = 0.03
PATTERNS = {"walk": WALK, "trot": TROT, "pace": PACE, "canter": CANTER, "bound": BOUND}


@cache
def record_of(gait: str, seed: int = 0) -> GaitRecord:
    """A clip of that gait."""
    pattern: Pattern = PATTERNS[gait]
    scene = Scene(noise_bl=0.012, spread=0.02, seconds=6, seed=seed)
    return build_record(dog(pattern, scene)[0], Trial(clip="tansy.mp4"))


def used_rows(record: GaitRecord, paw: str = "near_hind") -> list[int]:
    """Rows of the used strides of ``paw``."""
    return [int(row) for row in np.flatnonzero(record.strides_of(paw) & record.strides.used)]


def said_of(record: GaitRecord, row: int, gait: str = "", **more: str) -> Overruling:
    """What a person says of the stride in ``row``."""
    s = record.strides
    told = {"id": f"of {row}", "reason": "the paw slips", "by": "Ada", "at": "2026-11-26T20:00:00+00:00"} | more
    return Overruling(paw=PAWS[s.paw[row]], start_s=float(s.start_s[row]), end_s=float(s.end_s[row]), gait=gait, **told)


def same(one: object, other: object) -> bool:
    """Whether two nouns hold the same, NaN being NaN."""
    if isinstance(one, np.ndarray):
        return bool(np.array_equal(one, other, equal_nan=one.dtype.kind == "f"))
    if hasattr(one, "__dataclass_fields__"):
        return all(same(getattr(one, item.name), getattr(other, item.name)) for item in fields(one))
    if isinstance(one, dict):
        return one.keys() == other.keys() and all(same(one[name], other[name]) for name in one)
    if isinstance(one, tuple):
        return len(one) == len(other) and all(map(same, one, other))
    return one == other or (one != one and other != other)


@pytest.mark.parametrize("gait", PATTERNS)
def test_nothing_said_is_the_reading_itself(gait: str) -> None:
    record = record_of(gait)
    assert same(overruled(record, ()), record)
    assert same(with_strides(record, record.strides), record)  # the steps are the ones that made it


@pytest.mark.parametrize("gait", PATTERNS)
def test_what_matches_no_stride_changes_nothing_and_is_told(gait: str) -> None:
    record = record_of(gait)
    found = overruled(record, [Overruling("a", "far_hind", 900.0, 900.5, "walk", "seen so")])
    assert found.notices == ("1 overruling no longer matches any stride.", *record.notices)
    assert [(one.matches, one.idle, one.strides) for one in found.overruled] == [(False, NO_STRIDE, ())]
    assert same(replace(found, notices=record.notices, overruled=()), record)


@pytest.mark.parametrize("gait", PATTERNS)
def test_saying_what_the_reading_says_changes_no_number(gait: str) -> None:
    record = record_of(gait)
    row = next(row for row in used_rows(record) if record.strides.gait[row] == gait)
    found = overruled(record, [said_of(record, row, gait)])
    assert same(found.summaries, record.summaries) and same(found.runs, record.runs)
    assert same(found.strides.measures, record.strides.measures)
    assert f"1 named {gait}, as in the reading" in found.notices[0]


@pytest.mark.parametrize("paw", PAWS)
def test_a_stride_that_is_left_out_is_out_of_the_means(paw: str) -> None:
    record = record_of("trot")
    out = used_rows(record, paw)[2]
    found = overruled(record, [said_of(record, out)])
    assert found.strides.dropped[out] == LEFT_OUT and found.strides.gait[out] == ""
    assert np.isnan(found.strides.gait_probability[out])
    others = [row for row in used_rows(record, paw) if row != out]
    for summary in found.summaries:
        before = next(old for old in record.summaries if (old.measure, old.paw) == (summary.measure, summary.paw))
        if summary.paw != paw:
            assert same(summary, before)
        elif summary.measure == "stride_time_s":
            assert summary.n == before.n - 1
            assert summary.mean == pytest.approx(record.strides.measures["stride_time_s"][others].mean())
            assert summary.mean != before.mean
    assert same(found.contacts, record.contacts) and found.belt is record.belt
    assert record.strides.dropped[out] == ""  # the reading keeps its own answer


def test_the_words_and_the_table_tell_both_answers() -> None:
    record = record_of("trot")
    one, two = used_rows(record)[2:4]
    found = overruled(record, [said_of(record, one, "pace"), said_of(record, two, "", reason="a stumble", by="")])
    total = len(record.strides)
    words = f"A person overruled 2 of {total} strides: 1 named pace instead of trot, 1 left out. 1 fore stride goes "
    assert found.notices[0].startswith(words)
    first, second = found.overruled
    assert (first.machine, first.gait, first.strides) == (("trot",), "pace", (one,))
    assert (first.reason, first.by) == ("the paw slips", "Ada")
    assert (second.machine, second.gait, second.reason, second.by) == (("trot",), "", "a stumble", "")
    assert names_said(found.overruled) == "2 (1 pace, 1 left out)"
    assert found.strides.gait[one] == "pace" and np.isnan(found.strides.gait_probability[one])
    assert found.strides.candidates[one] == ""


def test_a_new_name_reaches_runs_and_the_fore_paws_beside() -> None:
    record = record_of("trot")
    s = record.strides
    hind = used_rows(record)
    span = Overruling("a", "near_hind", float(s.start_s[hind[2]]), float(s.end_s[hind[5]]), "pace", "it paces here")
    found = overruled(record, [span])
    assert [run.gait for run in record.runs] == ["trot"]
    assert [(run.gait, run.strides) for run in found.runs] == [
        ("trot", 2), ("pace", 4), ("trot", len(hind) - 6)]  # fmt: skip
    fore = found.strides.gait[(s.paw == NEAR_FORE) & s.used]
    assert np.count_nonzero(fore == "pace") == found.overruled[0].fore == 4
    assert set(found.strides.gait[s.paw % 2 == 1]) == set(s.gait[s.paw % 2 == 1])  # the far side was not spoken of


def test_a_fore_stride_may_be_spoken_of_by_itself() -> None:
    record = record_of("trot")
    hind = said_of(record, used_rows(record)[3], "pace")
    followed = np.flatnonzero(overruled(record, [hind]).strides.gait != record.strides.gait)
    [fore] = [row for row in followed if record.strides.paw[row] == NEAR_FORE]
    found = overruled(record, [hind, said_of(record, fore, "walk")])
    assert found.strides.gait[fore] == "walk" and [one.fore for one in found.overruled] == [0, 0]


def test_the_later_word_counts_and_the_earlier_says_so() -> None:
    record = record_of("trot")
    row = used_rows(record)[1]
    found = overruled(record, [said_of(record, row, "pace"), said_of(record, row, "walk")])
    assert found.strides.gait[row] == "walk"
    assert [one.idle for one in found.overruled] == [LATER, ""]
    assert found.notices[0].startswith("A person overruled 1 of ")


def test_a_stride_that_the_reading_does_not_use_stays_unused() -> None:
    record = record_of("trot")
    row = used_rows(record)[1]
    dropped = record.strides.dropped.astype("U20")
    dropped[row] = "low_score"
    record = with_strides(record, replace(record.strides, dropped=dropped))
    found = overruled(record, [said_of(record, row, "pace")])
    assert found.overruled[0].matches and found.overruled[0].idle == "the reading does not use this stride: low score"
    assert found.strides.dropped[row] == "low_score" and "does not use" in found.notices[0]


@pytest.mark.parametrize("shift_s", [-SHIFT_S, SHIFT_S], ids=["earlier", "later"])
@pytest.mark.parametrize("gait", PATTERNS)
def test_a_later_reading_with_other_times_still_has_the_stride(gait: str, shift_s: float) -> None:
    record = record_of(gait)
    said = [said_of(record, row) for row in used_rows(record)[1:4]]
    tracks = replaced(record.tracks, t_s=record.tracks.t_s + shift_s)
    found = overruled(build_record(tracks, Trial()), said)
    assert [one.matches for one in found.overruled] == [True] * 3
    assert np.count_nonzero(found.strides.dropped == LEFT_OUT) == 3


def test_another_noise_still_has_the_stride() -> None:
    """As another network would see the same dog."""
    record, other = record_of("trot"), record_of("trot", seed=7)
    said = [said_of(record, row) for row in used_rows(record)[1:5]]
    assert [one.matches for one in overruled(other, said).overruled] == [True] * 4


def test_where_enough_is_left_out_the_footage_is_no_longer_good() -> None:
    record = record_of("trot")
    assert record.grade != "film again"
    found = overruled(record, [said_of(record, row) for row in used_rows(record)])
    assert found.grade == "film again"
    used = next(check for check in found.checks if check.name == "strides used")
    assert used.value == 0 and used.limit == TrustSettings().strides and not used.passed


def test_a_lead_goes_by_the_name_that_a_person_gives() -> None:
    """Pairs of a bound land together: no lead. What is called a canter has the lead that its lags say."""
    record = record_of("canter")
    row = next(row for row in used_rows(record) if np.isfinite(record.strides.measures["hind_lead_near"][row]))
    before = record.strides.measures["hind_lead_near"][row]
    bound = overruled(record, [said_of(record, row, "bound")])
    assert np.isnan(bound.strides.measures["hind_lead_near"][row])
    back = overruled(with_strides(record, bound.strides), [said_of(record, row, "canter")])
    assert back.strides.measures["hind_lead_near"][row] == before


GOOD = {"id": "a", "paw": "near_hind", "start_s": 1.0, "end_s": 1.5, "gait": "trot", "reason": "seen so"}
BAD = {
    "no reason": ({"reason": " "}, "Say why"),
    "a paw that is none": ({"paw": "left_hind"}, "no paw"),
    "a gait that is none": ({"gait": "prance"}, "no gait"),
    "uneven steps, which is no name": ({"gait": "uneven steps"}, "no gait"),
    "unclear": ({"gait": "unclear"}, "no gait"),
    "a time that is not known": ({"end_s": float("nan")}, "no stride"),
    "for ever": ({"end_s": float("inf")}, "no stride"),
    "backward": ({"end_s": 0.5}, "no stride"),
    "a novel": ({"reason": "x" * 1001}, "shorten"),
}


@pytest.mark.parametrize("case", BAD)
def test_what_cannot_be_is_refused(case: str) -> None:
    change, words = BAD[case]
    with pytest.raises(OverrulingError, match=words):
        Overruling(**{**GOOD, **change})  # type: ignore[arg-type]


@pytest.mark.parametrize("gait", ["", *NAMES])
def test_every_name_that_is_known_may_be_given(gait: str) -> None:
    assert Overruling(**{**GOOD, "gait": gait}).gait == gait  # type: ignore[arg-type]


def test_standing_dogs_can_be_spoken_of() -> None:
    tracks = record_of("trot").tracks
    still = replaced(tracks, xy_px=np.repeat(tracks.xy_px[:1], len(tracks), axis=0))
    record = build_record(still, Trial())
    found = overruled(record, [Overruling(**GOOD)])  # type: ignore[arg-type]
    assert found.runs == record.runs and not found.overruled[0].matches
    assert found.strides.paw.tolist() == [] and NEAR_HIND not in found.strides.paw
