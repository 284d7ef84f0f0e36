"""Clips with their truth, read by a network as `pawfall read` does, from film to gait names."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from gait.command.outcome import CLIPS, JudgeSettings, Outcome, place_words
from gait.errors import TooFewStridesError, TruthError
from gait.reading import Progress, ReadingSettings, open_source, plain_name, record_of, watch
from gait.sheets.keys import PICTURE_KEY
from gait.sheets.trial_sheet import read_trial
from gait.trial import Trial
from gait.truth import Truth, clips_with_truth, read_truth
from gait.wholeline import Compared, compare, line_facts, nothing_found
from pose.errors import NoDogError
from pose.judging import Answers, Judged, badness, similarity
from pose.landmarks import LANDMARKS
from pose.network import Network
from pose.precision import Finds
from pose.tracks import FloatArray
from pose.window import Picture


@dataclass(frozen=True, slots=True, eq=False)
class Filmed:
    """A clip with its truth: where it lies, how the folder calls it, whose it is, what was filmed, how to read it."""

    source: Path
    name: str
    dog: str
    trial: Trial
    settings: ReadingSettings
    truth: Truth


def judge_clips(
    folder: Path,
    network: Network,
    *,
    settings: JudgeSettings,
    trained: frozenset[str] = frozenset(),
    progress: Progress | None = None,
) -> Outcome:
    """Read every clip in ``folder`` that has its truth beside it and hold what was found against that.

    Clips without a trial sheet that says whose they are count as one dog, called after the folder. Those of dogs that
    a network was ``trained`` on are left out; TruthError when there are no others.
    """
    every = [_filmed(clip, folder) for clip in clips_with_truth(folder)]
    filmed = [one for one in every if one.dog not in trained]
    if not filmed:
        raise TruthError(f"{folder} shows no dog that was not trained on; give clips of dogs that played no part.")
    compared = []
    for number, one in enumerate(filmed, start=1):
        compared.append(read_against_truth(one, network, settings))
        if progress:
            progress("reading", number, len(filmed))
    return _outcome(filmed, compared, settings, tuple(sorted(trained & {one.dog for one in every})))


def _filmed(clip: Path, folder: Path) -> Filmed:
    sheet = clip.with_suffix(".toml")
    told: dict[str, Any] = {"clip": plain_name(clip)} | (read_trial(sheet) if sheet.is_file() else {})
    fps = told.pop(PICTURE_KEY, None)
    name = clip.relative_to(folder)
    called = (name if clip.is_dir() else name.with_suffix("")).as_posix()
    trial, dog = Trial(**told), told.get("dog") or folder.resolve().name
    return Filmed(clip, called, dog, trial, ReadingSettings(fps=fps, film=False), read_truth(clip))


def read_against_truth(filmed: Filmed, network: Network, settings: JudgeSettings) -> Compared:
    """One clip as the network reads it; one in which nothing can be read counts as all missed, and says why."""
    clip = open_source(filmed.source, filmed.trial, filmed.settings)
    tracks, record, why = nothing_found(filmed.truth), None, ""
    try:
        followed = watch(clip, filmed.trial, network, filmed.settings)
        tracks = followed.tracks
        record = record_of(filmed.source, followed, filmed.trial, filmed.settings)
    except (NoDogError, TooFewStridesError) as error:
        why = str(error)
    told = {"clip": filmed.name, "dog": filmed.dog, "not_read": why}
    return compare(tracks, record, filmed.truth, settings=settings.judging, **told)


def _outcome(
    filmed: Sequence[Filmed], compared: Sequence[Compared], settings: JudgeSettings, left_out: tuple[str, ...]
) -> Outcome:
    """All clips as one domain: every frame is a marked picture of its dog."""
    judged = _joined([clip.judged for clip in compared])
    owner = [number for number, clip in enumerate(compared) for _ in range(len(clip.tracks))]
    dogs = [compared[clip].dog for clip in owner]
    times = np.concatenate([clip.tracks.t_s for clip in compared])
    names = [compared[clip].clip for clip in owner]
    there = np.asarray(np.isfinite(judged.answers.found_px).all(axis=2)).any(axis=1)
    score = np.where(there, np.nan_to_num(judged.answers.score).mean(axis=1), np.nan)
    near = similarity(judged.error, np.array(settings.judging.sigma))
    return Outcome(
        kind=CLIPS,
        judged=judged,
        dogs=dogs,
        titles=[f"{name} at {t_s:.2f} s" for name, t_s in zip(names, times, strict=True)],
        finds=Finds(score, np.nan_to_num(near), np.isfinite(judged.length_px)),
        find_dogs=dogs,
        whole=badness(judged),
        whole_dogs=dogs,
        facts={"clips": len(compared), "frames": len(times), "dog_not_told": sum(not one.trial.dog for one in filmed)},
        beside={"not_read": _not_read(compared), "whole_line": line_facts(compared)},
        left_out=left_out,
        rows=lambda: _prediction_rows(compared),
        moment=(names, times),
        picture=lambda row: _frame(filmed[owner[row]], float(times[row])),
    )


def _not_read(compared: Sequence[Compared]) -> dict[str, str]:
    return {clip.clip: clip.not_read for clip in compared if clip.not_read}


def _joined(each: Sequence[Judged]) -> Judged:
    """Several judgements as one, in their order."""
    answers = Answers(*(_rows([one.answers for one in each], name) for name in Answers.__dataclass_fields__))
    return Judged(answers, *(_rows(each, name) for name in Judged.__dataclass_fields__ if name != "answers"))


def _rows(each: Sequence[Any], name: str) -> Any:
    return np.concatenate([getattr(one, name) for one in each])


def _frame(filmed: Filmed, t_s: float) -> Picture:
    return open_source(filmed.source, filmed.trial, filmed.settings).at(t_s).rgb


def _prediction_rows(compared: Sequence[Compared]) -> list[list[str]]:
    return [
        [clip.clip, str(frame), mark, *place_words(place), _score_words(score)]
        for clip in compared
        for frame, places, scores in zip(clip.tracks.frame, clip.tracks.xy_px, clip.tracks.score, strict=True)
        for mark, place, score in zip(LANDMARKS, places, scores, strict=True)
    ]


def _score_words(score: FloatArray) -> str:
    return f"{float(score):.4f}" if np.isfinite(score) else ""
