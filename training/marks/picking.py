"""Which frames to take: doubtful ones, and usual ones; far apart, spread over dogs, conditions, clips and kinds of
picture."""

from dataclasses import dataclass, field, replace

import numpy as np

from pose.tracks import BoolArray, FloatArray, IntArray, frozen_array


@dataclass(frozen=True, slots=True)
class PickingSettings:
    """How frames are taken.

    gap_s         s as filmed, two frames of one clip lie at least so far apart: half a second is about a stride, within
                  which neighbours teach the same
    looks         candidates per wanted frame whose pictures are read; ten leave a choice and keep it to minutes
    looks_in_gap  candidates of one clip in each such span of time, so that the best moment of it is seen
    least_doubt   0..1, frames below it teach nothing: a frame whose six scores are all 0.95 has 0.08 (derived)
    most_empty    share of the wanted frames in which nothing at all was found: the dog may be missed, or not there
    usual         share of the wanted frames that show usual postures, doubtful or not: doubtful frames alone teach
                  crossing legs and leave the rest less precise than frames at random do (models/LOG.md)
    """

    gap_s: float = 0.5
    looks: int = 10
    looks_in_gap: int = 5
    least_doubt: float = 0.1
    most_empty: float = 0.1
    usual: float = 0.8


@dataclass(frozen=True, slots=True, eq=False)
class Frames:
    """N frames to choose from.

    clip       (N,) int, number of the clip in ``Clips``
    t_s        (N,) s in its clip
    doubt      (N,) 0..1
    empty      (N,) bool, nothing at all was found
    kind       (N,) int, number of a group of pictures that look alike; none = all alike
    """

    clip: IntArray
    t_s: FloatArray
    doubt: FloatArray
    empty: BoolArray
    kind: IntArray = field(default_factory=lambda: np.empty(0, np.int64))

    def __post_init__(self) -> None:
        kind = self.kind if len(self.kind) else np.zeros(len(self.clip))
        types = {"clip": np.int64, "t_s": np.float64, "doubt": np.float64, "empty": np.bool_}
        for name, kept_as in types.items():
            object.__setattr__(self, name, frozen_array(getattr(self, name), kept_as))
        object.__setattr__(self, "kind", frozen_array(kind, np.int64))

    def __len__(self) -> int:
        return len(self.clip)


@dataclass(frozen=True, slots=True, eq=False)
class Clips:
    """C clips and what was taken from them before: numbers of dog and of dog with condition (C,), and (M,) the clips
    and times in s of frames that are taken already."""

    dog: IntArray
    condition: IntArray
    taken_clip: IntArray
    taken_s: FloatArray


def choose(frames: Frames, clips: Clips, count: int, gap_s: float, settings: PickingSettings) -> IntArray:
    """Rows of up to ``count`` frames, at least ``gap_s`` s apart in their clip, in the order of choice.

    Each next one is of the dog that has fewest so far, then the condition, then the clip; what was taken before counts
    too. Among those it is the most doubtful, where doubt is shared among the pictures of a kind: the second of a kind
    has to be twice as doubtful as the first of another, the third three times.
    """
    groups = [clips.dog[frames.clip], clips.condition[frames.clip], frames.clip]
    tallies = _tallies(clips)
    of_kind = np.zeros(int(frames.kind.max(initial=0)) + 1, np.int64)
    free = frames.doubt >= settings.least_doubt
    for clip, at_s in zip(clips.taken_clip, clips.taken_s, strict=True):
        free &= ~_near(frames, int(clip), float(at_s), gap_s)
    empty_left = round(settings.most_empty * count)
    chosen: list[int] = []
    while len(chosen) < count:
        rows = np.flatnonzero(free if empty_left else free & ~frames.empty)
        if not len(rows):
            break
        for group, tally in zip(groups, tallies, strict=True):
            had = tally[group[rows]]
            rows = rows[had == had.min()]
        best = int(rows[np.argmax(frames.doubt[rows] / (1 + of_kind[frames.kind[rows]]))])
        chosen.append(best)
        empty_left -= int(frames.empty[best])
        free &= ~_near(frames, int(frames.clip[best]), float(frames.t_s[best]), gap_s)
        for group, tally in zip(groups, tallies, strict=True):
            tally[group[best]] += 1
        of_kind[frames.kind[best]] += 1
    return np.array(chosen, np.int64)


def with_taken(clips: Clips, clip: IntArray, t_s: FloatArray) -> Clips:
    """``clips`` with frames at ``t_s`` (M,) s of ``clip`` (M,) taken as well."""
    return replace(clips, taken_clip=np.append(clips.taken_clip, clip), taken_s=np.append(clips.taken_s, t_s))


def usual_first(frames: Frames, postures: FloatArray, groups: int, seed: int) -> Frames:
    """``frames`` with kinds of posture in place of doubt: what is nearest to the middle of its kind comes first.

    postures  (N, F) as training.marks.features.pose_vector gives them
    groups    kinds of posture to tell apart; the same ``seed`` gives the same ones
    """
    from sklearn.cluster import KMeans  # late, as in training.marks.features

    fewer = min(groups, len(np.unique(postures.round(9), axis=0)))
    found = KMeans(max(fewer, 1), n_init=1, random_state=seed).fit(postures)
    apart = np.linalg.norm(postures - found.cluster_centers_[found.labels_], axis=1)
    # from 1 down to a half, so that a kind that has a frame already waits until all others have one
    worth = 1 - 0.5 * apart.argsort(kind="stable").argsort(kind="stable") / len(apart)
    return Frames(frames.clip, frames.t_s, worth, frames.empty, found.labels_.astype(np.int64))


def _tallies(clips: Clips) -> list[IntArray]:
    """How many frames each dog, condition and clip has."""
    had = clips.taken_clip
    sizes = [int(numbers.max(initial=0)) + 1 for numbers in (clips.dog, clips.condition)]
    return [
        np.bincount(clips.dog[had], minlength=sizes[0]),
        np.bincount(clips.condition[had], minlength=sizes[1]),
        np.bincount(had, minlength=len(clips.dog)),
    ]


def _near(frames: Frames, clip: int, at_s: float, gap_s: float) -> BoolArray:
    # a frame on the very rim of the gap may be taken, whatever the last bit of its time says
    return np.asarray((frames.clip == clip) & (np.abs(frames.t_s - at_s) < gap_s - 1e-6))
