"""Records of many clips to one Comparison: the only place where a comparison is put together."""

from collections.abc import Sequence
from dataclasses import asdict
from typing import Final

import numpy as np

from gait.compare.groups import group_lines
from gait.compare.lines import NO_GAIT, Sides, compare_lines, gaits_of
from gait.compare.nouns import ClipSet, Comparison, Contrast
from gait.compare.sets import Pair, pairs_of, sets_of
from gait.compare.settings import CompareSettings
from gait.compare.trends import trends_of
from gait.errors import GaitError
from gait.nouns import GaitRecord
from gait.versions import versions

DEFAULTS = CompareSettings()
#: What a comparison needs, in words.
NEEDED: Final = "a dog needs a baseline and another condition on one day, or two visits in one condition."


def compare_records(
    records: Sequence[GaitRecord], settings: CompareSettings = DEFAULTS, *, seed: int = 0
) -> Comparison:
    """Hold each condition against the baseline of its dog and day, and each visit against the first and the last one.

    Every record's trial gives dog, date, condition and baseline. What is not alike is declined with the reason. The
    same records give the same comparison. Raises TrialError when a trial lacks what is needed, GaitError when there is
    nothing to compare.
    """
    sets = sets_of(records)
    pairs = pairs_of(sets)
    if not pairs:
        raise GaitError(f"{len(records)} clips give nothing to compare: {NEEDED}")
    contrasts = tuple(contrast_of(pair, settings, seed) for pair in pairs)
    return Comparison(
        contrasts,
        group_lines(contrasts, settings),
        trends_of(sets, contrasts, settings, seed),
        asdict(settings) | {"seed": seed},
        versions(),
    )


def contrast_of(pair: Pair, settings: CompareSettings, seed: int) -> Contrast:
    """One set held against another; declined with the reason where they are not alike."""
    old, new = pair.baseline, pair.condition
    if old is None:
        return Contrast(pair.kind, new.dog, None, new, False, (), declined=pair.missing)
    declined = _without_clock(old, new)
    if declined:
        return Contrast(pair.kind, new.dog, old, new, _same_gait(old, new), (), declined=declined)
    sides, left_out = _alike(pair.kind, old, new)
    lines = compare_lines(sides, gaits_of(old, new), settings, seed)
    if not lines:
        declined = f"{old.dog} has no stride with a gait that has a name."
    notes = (*left_out, *_notes(old, new, settings))
    return Contrast(pair.kind, new.dog, old, new, _same_gait(old, new), lines, notes, declined)


def _same_gait(old: ClipSet, new: ClipSet) -> bool:
    return _main_gait(old) == _main_gait(new) != ""


def _main_gait(clips: ClipSet) -> str:
    return next((name for name in clips.gaits if name not in NO_GAIT), "")


def _without_clock(old: ClipSet, new: ClipSet) -> str:
    unknown = [r.trial.clip for r in (*old.records, *new.records) if not r.trial.clock_known]
    if not unknown:
        return ""
    return f"The clock of slow motion is not known in {', '.join(unknown)}; say filmed_fps in the sheet."


def _alike(kind: str, old: ClipSet, new: ClipSet) -> tuple[Sides, tuple[str, ...]]:
    """The clips that face one way, the way of which both sides have most strides; all clips when they share none."""
    names = (old.date, new.date) if kind == "visit" else (old.condition, new.condition)
    common = {r.facing for r in old.records} & {r.facing for r in new.records}
    if not common:
        note = "The dog was filmed from different sides: only what concerns the whole dog is compared."
        return Sides(old.records, new.records, False, names), (note,)
    way = max(sorted(common), key=lambda facing: min(_strides(old, facing), _strides(new, facing)))
    chosen = [tuple(r for r in clips.records if r.facing == way) for clips in (old, new)]
    left = len(old.records) + len(new.records) - len(chosen[0]) - len(chosen[1])
    note = f"{left} {'clip that faces' if left == 1 else 'clips that face'} the other way left out."
    return Sides(chosen[0], chosen[1], True, names), (note,) if left else ()


def _strides(clips: ClipSet, facing: str) -> int:
    return sum(int((r.strides_of("near_hind") & r.strides.used).sum()) for r in clips.records if r.facing == facing)


def _notes(old: ClipSet, new: ClipSet, settings: CompareSettings) -> tuple[str, ...]:
    notes = []
    inclines = [{r.trial.incline_deg for r in s.records} - {None} for s in (old, new)]
    both = [float(np.mean([value for value in found if value is not None])) for found in inclines if found]
    if len(both) == 2 and abs(both[1] - both[0]) > settings.most_incline_gap_deg:
        notes.append(f"The incline of the belt differs: {both[0]:g} and {both[1]:g} degrees.")
    if len(old.records) == len(new.records) == 1:
        notes.append(
            "One clip on each side: the interval holds for these two clips; how much two clips of the same condition "
            "differ is not in it. Film each condition twice."
        )
    poor = [r.trial.clip for s in (old, new) for r in s.records if r.grade == "film again"]
    if poor:
        notes.append(f"Footage graded 'film again': {', '.join(poor)}.")
    return tuple(notes)
