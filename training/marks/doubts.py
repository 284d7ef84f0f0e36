"""How far each frame of a clip that was read can be doubted, and why: a number from 0 to 1 for each reason."""

from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from pose.landmarks import CROUP, LANDMARKS, PAIR_NAMES, PAIRS, WITHERS
from pose.tracks import FloatArray, Tracks
from training.marks.results import Result, Stride

#: The reasons, in the order of the columns of ``shares``; what a sum over frames calls them.
REASONS: Final = ("unsure sides", "low scores", "read otherwise alone", "jumps", "mirrored otherwise", "broken gait")
SIDES, SCORES, ALONE, JUMPS, MIRRORED, GAIT = range(6)

#: Why a stride is dropped, where that speaks of what was seen rather than of the clip's ends or the belt.
BROKEN: Final = {
    "outlier": "a stride that no other is like",
    "gap": "a stride with a paw unseen",
    "sides_unsure": "a stride whose sides are unsure",
}
LENGTHS: Final = tuple(f"{side} fore and hind strides of different lengths" for side in ("near", "far"))


@dataclass(frozen=True, slots=True)
class DoubtSettings:
    """What counts as doubt. Limits are common practice without a source unless said.

    The weights were set, in steps of about a half, by how well the most doubtful of 680 frames of 16 drawn clips were
    those with a landmark off by 5 and by 10 % of body length (average precision 0.53; scores alone 0.45).

    sides_weight    0..1, an exchange of near and far turns one gait into another and is what a person settles best
    score_weight    0..1, the network's own word; the best single reason on those clips
    alone_weight    0..1, what the clip made of a frame against what the network says of it by itself
    jump_weight     0..1, a jump is surely wrong somewhere, but the tracks are cleaned already and few are left
    mirror_weight   0..1, a picture and its mirror image show one dog; where they are read otherwise, one is wrong, but
                    on those clips it was the mirrored one as a rule, so that this only decides between equals
    gait_weight     0..1, a broken stride says that something is wrong in it, not in which of its frames
    score_full      root mean square of the doubts in the six scores that makes a frame altogether doubtful: that of one
                    or two landmarks without any score. Set together with the weights
    noise_bl        body lengths, scatter of a landmark that is no jump: a third of the 5 % that count as found
    step_share      of the way from the frame before to the one after by which a path may bend between them; derived:
                    a paw that turns round within three frames bends by half of it
    jump_bl         body lengths beyond both that make a jump certain: twice the 5 % that a landmark may be off
    apart_bl        body lengths, distance from the answer of a second look from which they differ: the same 5 %
    apart_full_bl   body lengths at which they differ altogether; measured on drawn clips: three in four of the wrong
                    frames lie beyond 9 %, one in twenty of the right ones beyond 5.5 %
    length_share    difference of fore and hind stride length of one side that a belt allows: it goes under both at one
                    speed, and touchdowns that are read 5 ms wrong make 1 to 2 % of a stride (derived)
    length_sds      standard deviations of the difference that it is allowed as well, where they say more: 95 %
    length_full     difference at which one of them is surely wrong: a touchdown off by a third of a stance
    """

    sides_weight: float = 0.6
    score_weight: float = 0.8
    alone_weight: float = 0.3
    jump_weight: float = 0.3
    mirror_weight: float = 0.05
    gait_weight: float = 0.1
    score_full: float = 0.5
    noise_bl: float = 0.017
    step_share: float = 0.5
    jump_bl: float = 0.1
    apart_bl: float = 0.05
    apart_full_bl: float = 0.2
    length_share: float = 0.03
    length_sds: float = 1.96
    length_full: float = 0.15

    @property
    def weights(self) -> FloatArray:
        """(6,) in the order of REASONS."""
        own = self.sides_weight, self.score_weight, self.alone_weight
        return np.array([*own, self.jump_weight, self.mirror_weight, self.gait_weight])


@dataclass(frozen=True, slots=True, eq=False)
class Doubts:
    """Doubts in T frames of one clip, each 0..1.

    sides     (T, 2) that near and far of the fore and of the hind pair are the right way round
    scores    (T, 6) that a landmark lies where it was put, sides apart
    alone     (T, 6) that the frame by itself says the same; NaN = not asked
    jumps     (T, 6) that it belongs between its places in the frames before and after
    mirrored  (T, 6) that the mirrored picture says the same; NaN = not asked
    gait      (T, 5) that the strides around are strides: columns as BROKEN, then LENGTHS
    """

    sides: FloatArray
    scores: FloatArray
    alone: FloatArray
    jumps: FloatArray
    mirrored: FloatArray
    gait: FloatArray
    settings: DoubtSettings = field(default_factory=DoubtSettings)

    def __len__(self) -> int:
        return len(self.sides)

    @property
    def shares(self) -> FloatArray:
        """(T, 6) 0..1, one column for each of REASONS.

        The worst landmark counts for all, but scores by their root mean square: one paw in six is often covered.
        """
        parts = self.sides, self.alone, self.jumps, self.mirrored, self.gait
        sides, *rest = (np.nan_to_num(part).max(axis=1) for part in parts)
        scores = np.sqrt(np.mean(np.nan_to_num(self.scores) ** 2, axis=1))
        return np.stack([sides, np.minimum(scores / self.settings.score_full, 1), *rest], axis=1)

    @property
    def weighed(self) -> FloatArray:
        """(T, 6) 0..1, the shares with their weights."""
        return self.shares * self.settings.weights

    @property
    def together(self) -> FloatArray:
        """(T,) 0..1, that a frame is wrong for one reason or another, as if the reasons knew nothing of each other."""
        return np.asarray(1 - np.prod(1 - self.weighed, axis=1))

    def with_looks(self, row: int, alone_bl: FloatArray, mirrored_bl: FloatArray) -> "Doubts":
        """The same with the second looks at frame ``row``, (6,) and (6,) body lengths away."""
        s = self.settings
        alone, mirrored = self.alone.copy(), self.mirrored.copy()
        for part, apart_bl in ((alone, alone_bl), (mirrored, mirrored_bl)):
            part[row] = np.clip((apart_bl - s.apart_bl) / (s.apart_full_bl - s.apart_bl), 0, 1)
        return replace(self, alone=alone, mirrored=mirrored)


def doubts_of(result: Result, settings: DoubtSettings = DoubtSettings()) -> Doubts:
    """The doubts in every frame of a clip that was read; no second look is taken yet."""
    tracks = result.tracks
    not_asked = np.full((len(tracks), len(LANDMARKS)), np.nan)
    return Doubts(
        sides=np.clip(2 * (1 - tracks.side_score), 0, 1),  # a half is no knowledge at all
        scores=score_doubts(tracks),
        alone=not_asked,
        jumps=jump_doubts(tracks, _length_px(result), settings),
        mirrored=not_asked,
        gait=gait_doubts(tracks.t_s, result.strides, settings),
        settings=settings,
    )


def score_doubts(tracks: Tracks) -> FloatArray:
    """(T, 6) 1 - score, without what the doubt about sides has taken from it; 1 where nothing was found."""
    score = np.array(tracks.score)
    for pair, marks in enumerate(PAIRS):
        side = np.nan_to_num(tracks.side_score[:, pair, None], nan=1.0)
        score[:, marks] = score[:, marks] / np.maximum(side, 0.5)
    doubt = 1 - np.clip(score, 0, 1)
    return np.where(np.isfinite(tracks.xy_px[..., 0]), doubt, 1.0)


def jump_doubts(tracks: Tracks, length_px: float, settings: DoubtSettings) -> FloatArray:
    """(T, 6) how far each landmark lies off the line between the frames beside it, beyond what its speed explains."""
    jumps = np.full(tracks.score.shape, np.nan)
    if len(tracks) < 3:
        return jumps
    t, xy = tracks.t_s, tracks.xy_px
    share = ((t[1:-1] - t[:-2]) / (t[2:] - t[:-2]))[:, None, None]
    off = np.linalg.norm(xy[1:-1] - (1 - share) * xy[:-2] - share * xy[2:], axis=-1)
    step = np.linalg.norm(xy[2:] - xy[:-2], axis=-1)
    beyond_bl = (off - settings.step_share * step) / length_px - settings.noise_bl
    jumps[1:-1] = np.clip(beyond_bl / settings.jump_bl, 0, 1)
    return jumps


def gait_doubts(t_s: FloatArray, strides: tuple[Stride, ...], settings: DoubtSettings) -> FloatArray:
    """(T, 5) frames at (T,) s in strides that were dropped for what was seen, or whose lengths do not fit."""
    doubt = np.zeros((len(t_s), len(BROKEN) + len(LENGTHS)))
    for stride in strides:
        if stride.dropped in BROKEN:
            doubt[_within(t_s, stride), list(BROKEN).index(stride.dropped)] = 1.0
        other = _hind_beside(stride, strides)
        if other is not None:
            mean = (stride.length_bl + other.length_bl) / 2
            allowed = max(settings.length_share, settings.length_sds * np.hypot(stride.sd_bl, other.sd_bl) / mean)
            off = abs(stride.length_bl - other.length_bl) / mean - allowed
            share = np.clip(off / (settings.length_full - settings.length_share), 0, 1)
            rows = _within(t_s, stride) | _within(t_s, other)
            column = doubt[:, len(BROKEN) + stride.paw]
            column[rows] = np.maximum(column[rows], share)
    return doubt


def _within(t_s: FloatArray, stride: Stride) -> np.ndarray:
    """(T,) bool; a stride that was cut off reaches to the end of the clip."""
    start = -np.inf if np.isnan(stride.start_s) else stride.start_s
    end = np.inf if np.isnan(stride.end_s) else stride.end_s
    return np.asarray((t_s >= start) & (t_s <= end))


def _hind_beside(fore: Stride, strides: tuple[Stride, ...]) -> Stride | None:
    """The hind stride of the same side that shares most time with a used fore stride."""
    if fore.paw > 1 or not _measured(fore):
        return None
    same = [stride for stride in strides if stride.paw == fore.paw + 2 and _measured(stride)]
    shared = [min(fore.end_s, hind.end_s) - max(fore.start_s, hind.start_s) for hind in same]
    return same[int(np.argmax(shared))] if shared and max(shared) > 0 else None


def _measured(stride: Stride) -> bool:
    return not stride.dropped and bool(np.isfinite([stride.start_s, stride.end_s, stride.length_bl]).all())


def _length_px(result: Result) -> float:
    """px, body length; from the tracks where the record does not say it."""
    if result.body_length_px > 0:
        return result.body_length_px
    trunk = result.tracks.xy_px[:, WITHERS] - result.tracks.xy_px[:, CROUP]
    lengths = np.hypot(*trunk[np.isfinite(trunk).all(axis=1)].T)
    return float(np.median(lengths)) if len(lengths) else np.nan


def main_reason(doubts: Doubts, row: int) -> int:
    """Number in REASONS of what weighs most in a frame."""
    return int(doubts.weighed[row].argmax())


def why(doubts: Doubts, row: int, least: float = 0.2) -> str:
    """The reasons in plain words, the heaviest first; of the others, those whose share is ``least`` (0..1) or more."""
    shares = doubts.shares[row]
    order = np.argsort(-doubts.weighed[row], kind="stable")
    told = [int(reason) for place, reason in enumerate(order) if place == 0 or shares[reason] >= least]
    return "; ".join(_words(doubts, row, reason) for reason in told)


def _words(doubts: Doubts, row: int, reason: int) -> str:
    if reason == SIDES:
        pairs = [name for name, part in zip(PAIR_NAMES, doubts.sides[row], strict=True) if part >= 0.2]
        pairs = pairs or [PAIR_NAMES[int(np.nan_to_num(doubts.sides[row]).argmax())]]
        return f"near or far unsure: {' and '.join(pairs)} paws"
    if reason == GAIT:
        return (*BROKEN.values(), *LENGTHS)[int(doubts.gait[row].argmax())]
    words, values = {
        SCORES: ("low score", doubts.scores),
        ALONE: ("elsewhere in this frame by itself", doubts.alone),
        JUMPS: ("off its path", doubts.jumps),
        MIRRORED: ("elsewhere in the mirrored picture", doubts.mirrored),
    }[reason]
    part = values[row]
    if reason == SCORES and (part == 1).all():
        return "no dog found"
    return f"{words}: {LANDMARKS[int(np.nan_to_num(part).argmax())].replace('_', ' ')}"
