"""The order of steps from results of readings to a folder of frames to mark."""

import re
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from pose.clip import Clip, Frame, open_clip
from pose.coco import Marks
from pose.errors import ClipError, PoseError
from pose.find import Reader
from pose.landmarks import CROUP, WITHERS
from pose.tracks import BoolArray, IntArray
from training.marks.doubts import REASONS, Doubts, DoubtSettings, doubts_of, main_reason, why
from training.marks.features import FeatureSettings, alike, describe, pose_vector
from training.marks.looks import LookSettings, second_looks
from training.marks.picked import PickedFrame, add_picked, read_picked, source_seen_from
from training.marks.picking import Clips, Frames, PickingSettings, choose, usual_first, with_taken
from training.marks.results import Result, find_results, read_result

Progress = Callable[[str, int, int], None]

#: The reason of a frame that was not taken for its doubt.
USUAL = "usual posture"

#: Finds a clip: folder of its result, name, sha256 of its content -> where it lies, None = not found.
Locate = Callable[[Path, str, str], Path | None]


@dataclass(frozen=True, slots=True)
class PickSettings:
    """How frames are picked: ``count`` of them, with ``seed`` for the groupings by looks and by posture; usual postures
    are looked for in ``most_postures`` frames, which is quick and more than a person will ever mark."""

    count: int = 40
    seed: int = 0
    doubts: DoubtSettings = field(default_factory=DoubtSettings)
    picking: PickingSettings = field(default_factory=PickingSettings)
    features: FeatureSettings = field(default_factory=FeatureSettings)
    looks: LookSettings = field(default_factory=LookSettings)
    most_postures: int = 20_000


@dataclass(frozen=True, slots=True)
class Picked:
    """What came of it.

    frames, clips, dogs  how many were added, of how many clips and dogs
    reasons   (reason, frames of which it is the main one), the most frequent first
    left_out  sentences about what could not be used
    short     a sentence when fewer than asked for were found, else ""
    """

    frames: int
    clips: int
    dogs: int
    reasons: tuple[tuple[str, int], ...]
    left_out: tuple[str, ...] = ()
    short: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Material:
    """R results that can be used, with the doubts in their frames and where their clips lie."""

    results: tuple[Result, ...]
    doubts: tuple[Doubts, ...]
    sources: tuple[Path, ...]
    left_out: tuple[str, ...]

    def places(self) -> tuple[IntArray, IntArray]:
        """(N,) result and (N,) row in its tracks of every frame, in order."""
        lengths = [len(result.tracks) for result in self.results]
        rows = [np.arange(length) for length in lengths]
        return np.repeat(np.arange(len(lengths)), lengths), np.concatenate([np.empty(0, np.int64), *rows])


def pick_frames(
    roots: Sequence[Path],
    folder: Path,
    locate: Locate,
    network: Reader,
    progress: Progress,
    settings: PickSettings = PickSettings(),
) -> Picked:
    """Choose frames from the results at or below ``roots`` and add them to the marks in ``folder``.

    Raises PoseError when the folder or none of the results can be used.
    """
    earlier = read_picked(folder)
    material = gather(roots, locate, settings)
    source, row = material.places()
    of, clips = known_clips(material.results, earlier)
    open_rows = _not_taken(material, source, row, earlier)
    source, row = source[open_rows], row[open_rows]
    frames = _frames(material, source, row, of)
    doubtful = max(1, settings.count - round(settings.picking.usual * settings.count))
    wanted = doubtful * settings.picking.looks
    apart_s = settings.picking.gap_s / settings.picking.looks_in_gap
    first = choose(frames, clips, wanted, apart_s, settings.picking)
    first = first[np.lexsort((row[first], source[first]))]
    source, row = source[first], row[first]
    material, features, seen = _look_at(material, source, row, network, settings, progress)
    source, row = source[seen], row[seen]
    kinds = alike(features, doubtful, settings.seed, settings.features)
    frames = replace(_frames(material, source, row, of), kind=kinds)
    chosen = choose(frames, clips, doubtful, settings.picking.gap_s, settings.picking)
    found = Chosen(source[chosen], row[chosen], np.zeros(len(chosen), bool))
    if len(chosen):
        taken = with_taken(clips, frames.clip[chosen], frames.t_s[chosen])
        found = found.then(*usual_frames(material, of, taken, earlier, settings.count - doubtful, settings))
    names = clip_names(material.results, of, earlier)
    written = _written(material, found, [names[clip] for clip in of], folder, progress)
    added = add_picked(folder, written) if len(found) else 0
    return _told(material, found, added, settings)


@dataclass(frozen=True, slots=True, eq=False)
class Chosen:
    """C chosen frames: (C,) result, (C,) row in its tracks, (C,) whether taken as a usual posture."""

    source: IntArray
    row: IntArray
    usual: BoolArray

    def __len__(self) -> int:
        return len(self.source)

    def then(self, source: IntArray, row: IntArray) -> "Chosen":
        """These frames, then usual ones at ``row`` of the results ``source``."""
        usual = np.append(self.usual, np.ones(len(source), bool))
        return Chosen(np.append(self.source, source), np.append(self.row, row), usual)


def usual_frames(
    material: Material, of: IntArray, clips: Clips, earlier: Marks | None, count: int, settings: PickSettings
) -> tuple[IntArray, IntArray]:
    """Result and row of up to ``count`` frames, one of each kind of posture that the clips show, doubtful or not."""
    source, row = material.places()
    known = [np.isfinite(result.tracks.xy_px[:, [WITHERS, CROUP]]).all(axis=(1, 2)) for result in material.results]
    open_rows = _not_taken(material, source, row, earlier) & np.concatenate(known)
    source, row = source[open_rows], row[open_rows]
    few = np.random.default_rng(settings.seed).permutation(len(source))[: settings.most_postures]
    source, row = source[np.sort(few)], row[np.sort(few)]
    if not count or not len(source):
        return source[:0], row[:0]
    xy = [material.results[which].tracks.xy_px[at] for which, at in zip(source, row, strict=True)]
    postures = np.stack([pose_vector(one) for one in xy])
    frames = usual_first(_frames(material, source, row, of), postures, count, settings.seed)
    picked = choose(frames, clips, count, settings.picking.gap_s, settings.picking)
    return source[picked], row[picked]


def gather(roots: Sequence[Path], locate: Locate, settings: PickSettings) -> Material:
    """Every result at or below ``roots`` whose clip can be found; the others are told."""
    results, doubts, sources, left_out = [], [], [], []
    for folder in find_results(roots):
        try:
            result = read_result(folder)
            path = locate(folder, result.source, result.sha256)
            if path is None:
                raise ClipError(
                    f"{result.source} of {folder} is not found, or not what was read. Name its folder with --sources."
                )
        except PoseError as error:
            left_out.append(str(error))
            continue
        results.append(result)
        doubts.append(doubts_of(result, settings.doubts))
        sources.append(path)
    if not results:
        raise ClipError(f"Nothing can be picked: {left_out[0]}" + _more(len(left_out) - 1))
    return Material(tuple(results), tuple(doubts), tuple(sources), tuple(left_out))


def _more(count: int) -> str:
    return f" (The same or worse with {count} more.)" if count else ""


def known_clips(results: Sequence[Result], earlier: Marks | None) -> tuple[IntArray, Clips]:
    """(R,) the clip of each result, and the clips: one content is one clip, however often and whenever it was read."""
    notes = earlier.image_notes if earlier else ()
    own = [(result.sha256, result.dog, result.condition) for result in results]
    had = [tuple(str(note.get(key) or "") for key in ("source_sha256", "dog", "condition")) for note in notes]
    _, first, clip = np.unique([entry[0] for entry in own + had], return_index=True, return_inverse=True)
    told = [(own + had)[row] for row in first]
    dogs = np.unique([dog for _, dog, _ in told], return_inverse=True)[1]
    conditions = np.unique([f"{dog}\0{condition}" for _, dog, condition in told], return_inverse=True)[1]
    times = [float(note.get("time_s") or 0.0) for note in notes]
    return clip[: len(own)], Clips(dogs, conditions, clip[len(own) :], np.array(times, np.float64))


def _not_taken(material: Material, source: IntArray, row: IntArray, earlier: Marks | None) -> BoolArray:
    """(N,) frames that were not picked before; of a clip that was read twice, those of the first reading."""
    notes = earlier.image_notes if earlier else ()
    taken = {(note.get("source_sha256"), note.get("frame")) for note in notes}
    free = np.zeros(len(source), bool)
    for place, (which, at) in enumerate(zip(source, row, strict=True)):
        result = material.results[which]
        key = result.sha256, int(result.tracks.frame[at])
        free[place] = key not in taken
        taken.add(key)
    return free


def _frames(material: Material, source: IntArray, row: IntArray, of: IntArray) -> Frames:
    """The frames at ``row`` of the results ``source`` (N,), whose clips are ``of`` (R,)."""
    doubts = [one.together for one in material.doubts]
    empty = [~np.isfinite(result.tracks.xy_px).any(axis=(1, 2)) for result in material.results]
    places = list(zip(source, row, strict=True))
    return Frames(
        clip=of[source],
        t_s=np.array([material.results[which].tracks.t_s[at] for which, at in places]),
        doubt=np.array([doubts[which][at] for which, at in places]),
        empty=np.array([empty[which][at] for which, at in places], bool),
    )


def _look_at(
    material: Material, source: IntArray, row: IntArray, network: Reader, settings: PickSettings, progress: Progress
) -> tuple[Material, np.ndarray, IntArray]:
    """Read the pictures of the candidates: doubts with the second looks in them, features, and those (K,) of the
    candidates whose pictures could be read. Pictures are not kept."""
    doubts, left_out = list(material.doubts), list(material.left_out)
    features, seen = [], []
    for which in np.unique(source):
        places = np.flatnonzero(source == which)
        result = material.results[which]
        try:
            for place, frame in _pictures(material, which, row[places]):
                at = int(row[places[place]])
                xy_px = result.tracks.xy_px[at]
                features.append(describe(frame.rgb, xy_px, settings.features))
                doubts[which] = doubts[which].with_looks(at, *second_looks(frame.rgb, xy_px, network, settings.looks))
                seen.append(int(places[place]))
                progress("looking", len(seen), len(source))
        except ClipError as error:
            left_out.append(str(error))
    made = Material(material.results, tuple(doubts), material.sources, tuple(left_out))
    return made, np.array(features), np.array(seen, np.int64)


def _pictures(material: Material, which: int, rows: IntArray) -> Iterator[tuple[int, Frame]]:
    """(place in ``rows``, frame) for rising rows of one result; frames that the clip no longer gives are left out."""
    tracks = material.results[which].tracks
    clip = _open(material, which)
    numbers = {int(tracks.frame[at]): place for place, at in enumerate(rows)}
    for frame in clip.at_times(tracks.t_s[rows]):
        if frame.index in numbers:
            yield numbers[frame.index], frame


def _open(material: Material, which: int) -> Clip:
    return open_clip(material.sources[which], **material.results[which].opening)


def clip_names(results: Sequence[Result], of: IntArray, earlier: Marks | None) -> dict[int, str]:
    """A name for each clip of ``of`` (R,), after its file; the one that it had before, and never that of another."""
    notes = earlier.image_notes if earlier else ()
    known = {str(note.get("source_sha256")): str(note.get("clip")) for note in notes}
    names: dict[int, str] = {}
    for result, clip in zip(results, of, strict=True):
        taken = {name.casefold() for name in (*known.values(), *names.values())}
        stem = re.sub(r"[^\w.-]+", "_", Path(result.source).stem)
        tries = (stem if number == 1 else f"{stem}-{number}" for number in range(1, len(taken) + 2))
        new = next(name for name in tries if name.casefold() not in taken)
        names.setdefault(int(clip), known.get(result.sha256, new))
    return names


def _written(
    material: Material, chosen: Chosen, names: list[str], folder: Path, progress: Progress
) -> Iterator[PickedFrame]:
    """The chosen frames with their pictures, clip by clip."""
    done = 0
    for which in np.unique(chosen.source):
        here = np.flatnonzero(chosen.source == which)
        here = here[np.argsort(chosen.row[here])]
        for place, frame in _pictures(material, int(which), chosen.row[here]):
            of, at = material.results[which], int(chosen.row[here[place]])
            reason, name = reason_of(material, chosen, int(here[place])), names[which]
            yield picked_frame(of, material.sources[which], at, frame, reason=reason, name=name, folder=folder)
            done += 1
            progress("writing", done, len(chosen))


def reason_of(material: Material, chosen: Chosen, place: int) -> str:
    """Why the frame at ``place`` was chosen, in plain words."""
    return USUAL if chosen.usual[place] else why(material.doubts[chosen.source[place]], int(chosen.row[place]))


def picked_frame(
    result: Result, source: Path, at: int, frame: Frame, *, reason: str, name: str, folder: Path
) -> PickedFrame:
    """The picture ``frame`` at row ``at`` of a result, as it goes into ``folder``: of the clip ``source``, called
    ``name`` there."""
    tracks = result.tracks
    notes: Mapping[str, Any] = {
        "clip": name,
        "source": source_seen_from(folder, source),
        "source_sha256": result.sha256,
        "opening": dict(result.opening),
        "frame": frame.index,
        "time_s": round(float(tracks.t_s[at]), 6),
        "dog": result.dog,
        "date": result.date,
        "condition": result.condition,
        "why": reason,
    }
    return PickedFrame(
        stem=f"{name}-{frame.index:06}",
        rgb=frame.rgb,
        notes=notes,
        xy_px=tracks.xy_px[at],
        hidden=tracks.hidden[at],
        score=tracks.score[at],
        facing=result.facing,
    )


def _told(material: Material, chosen: Chosen, added: int, settings: PickSettings) -> Picked:
    places = zip(chosen.source, chosen.row, chosen.usual, strict=True)
    reasons = Counter(USUAL if usual else REASONS[main_reason(material.doubts[w], at)] for w, at, usual in places)
    results = [material.results[which] for which in np.unique(chosen.source)]
    short = ""
    if added < settings.count:
        short = (
            f"{settings.count} were asked for; no other frame is in doubt, or shows a posture of its own, and lies "
            f"{settings.picking.gap_s:g} s from all that were picked. A smaller --gap takes frames closer together."
        )
    return Picked(
        frames=added,
        clips=len({result.sha256 for result in results}),
        dogs=len({result.dog for result in results}),
        reasons=tuple(reasons.most_common()),
        left_out=material.left_out,
        short=short,
    )
