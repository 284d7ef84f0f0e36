"""The whole line against truth: from film to landmarks, times of contacts, names of gaits and topline."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from gait.nouns import GaitRecord, Strides
from gait.truth import Truth
from pose.bydog import redrawn
from pose.coco import COVERED, VISIBLE
from pose.judging import LEFT, RIGHT, Answers, Judged, JudgingSettings, judge
from pose.landmarks import CROUP, PAIRS, PAWS, WITHERS
from pose.tracks import FloatArray, Tracks

SIDE: Final = {"right": RIGHT, "left": LEFT}
VERDICTS: Final = ("right", "wrong", "unclear", "dropped")
EVENTS: Final = ("touchdown", "liftoff")
DEFAULTS: Final = JudgingSettings()


@dataclass(frozen=True, slots=True, eq=False)
class Compared:
    """One clip, as it was read, against its truth.

    tracks    as read, T frames
    judged    its landmarks; ``judged.answers`` holds both
    touchdown_ms, liftoff_ms  (E,) ms, found minus true time of every one that was found, against the nearest of its paw
    events    how many there are in truth while the clip runs, touchdowns and lift-offs together
    names     hind strides by what became of their names: right, wrong, unclear, dropped
    topline_deg  deg, mean over the clip of found minus true angle; NaN = nothing found
    not_read  why no stride could be read, "" when there are some
    """

    clip: str
    dog: str
    tracks: Tracks
    judged: Judged
    touchdown_ms: FloatArray
    liftoff_ms: FloatArray
    events: int
    names: dict[str, int]
    topline_deg: float
    not_read: str = ""


def compare(
    found: Tracks,
    record: GaitRecord | None,
    truth: Truth,
    *,
    clip: str = "",
    dog: str = "",
    not_read: str = "",
    settings: JudgingSettings = DEFAULTS,
) -> Compared:
    """``found`` landmarks and the ``record`` made of them (None = none could be made) against ``truth``."""
    at = np.abs(found.t_s[:, None] - truth.tracks.t_s[None, :]).argmin(axis=1)
    true = truth.tracks.xy_px[at]
    facing = np.full(len(found), SIDE[record.facing] if record else np.nan)
    judged = judge(
        Answers(
            marked_px=true,
            visibility=np.where(truth.tracks.hidden[at], COVERED, VISIBLE),
            sides_sure=np.ones((len(found), len(PAIRS)), bool),
            marked_facing=np.full(len(found), SIDE[truth.facing]),
            found_px=found.xy_px,
            score=np.nan_to_num(found.score),
            found_facing=facing,
        ),
        settings,
    )
    turn = topline_deg(found.xy_px) - topline_deg(true)
    names = _verdicts(record.strides, truth) if record else []
    return Compared(
        clip,
        dog,
        found,
        judged,
        _event_errors_ms(record, truth, "touchdown"),
        _event_errors_ms(record, truth, "liftoff"),
        events=sum(_true_events(truth, event, truth.tracks.t_s) for event in EVENTS),
        names={verdict: names.count(verdict) for verdict in VERDICTS},
        topline_deg=float(np.nanmean(turn)) if np.isfinite(turn).any() else float("nan"),
        not_read=not_read,
    )


def nothing_found(truth: Truth) -> Tracks:
    """The landmarks of a clip in which no dog was found."""
    tracks = truth.tracks
    lost = np.full(tracks.score.shape, np.nan)
    return Tracks(tracks.frame, tracks.t_s, np.full(tracks.xy_px.shape, np.nan), np.zeros_like(lost), lost < 0)


def topline_deg(xy_px: FloatArray) -> FloatArray:
    """(T,) deg, rise of the croup over the withers in the picture, from landmarks (T, 6, 2) px."""
    back = xy_px[:, CROUP] - xy_px[:, WITHERS]
    return np.asarray(np.degrees(np.arctan2(-back[:, 1], np.abs(back[:, 0]))))


def _event_errors_ms(record: GaitRecord | None, truth: Truth, event: str) -> FloatArray:
    """(E,) ms, each touchdown or lift-off found against the nearest true one of its paw."""
    if record is None:
        return np.empty(0)
    errors = []
    found_s, true_s = (getattr(one, f"{event}_s") for one in (record.contacts, truth))
    for paw in range(len(PAWS)):
        own = found_s[(record.contacts.paw == paw) & np.isfinite(found_s)]
        true = true_s[truth.paw == paw]
        if len(true):
            apart = own[:, None] - true[None, :]
            errors.append(1000 * apart[np.arange(len(own)), np.abs(apart).argmin(axis=1)])
    return np.concatenate([np.empty(0), *errors])


def _true_events(truth: Truth, event: str, t_s: FloatArray) -> int:
    times = getattr(truth, f"{event}_s")
    return int(((times >= t_s[0]) & (times <= t_s[-1])).sum()) if len(t_s) else 0


def _verdicts(strides: Strides, truth: Truth) -> list[str]:
    """What became of the name of each hind stride."""
    hind = [row for row in range(len(strides)) if PAWS[strides.paw[row]].endswith("hind")]
    return [_verdict(strides, row, truth) for row in hind]


def _verdict(strides: Strides, row: int, truth: Truth) -> str:
    start, end = strides.start_s[row], strides.end_s[row]
    if strides.dropped[row] or not np.isfinite([start, end]).all():
        return "dropped"
    if strides.gait[row] == "unclear":
        return "unclear"
    meant = {truth.gait[each] for each in np.flatnonzero((truth.start_s < end) & (truth.end_s > start))}
    return "right" if strides.gait[row] in meant else "wrong"


def _pooled(clips: Sequence[Compared], events: Sequence[str]) -> FloatArray:
    return np.concatenate([np.empty(0), *(getattr(clip, f"{event}_ms") for clip in clips for event in events)])


def _share(right: float, of: float) -> float:
    return 100 * right / of if of else float("nan")


def _count(clips: Sequence[Compared], *verdicts: str) -> int:
    return sum(clip.names[verdict] for clip in clips for verdict in verdicts)


def _within(clips: Sequence[Compared]) -> float:
    error = np.concatenate([clip.judged.error.ravel() for clip in clips])
    known = error[~np.isnan(error)]
    return _share(float((known <= DEFAULTS.right_within).sum()), len(known))


def _exchanged(clips: Sequence[Compared]) -> float:
    told = np.concatenate([clip.judged.exchanged.ravel() for clip in clips])
    told = told[np.isfinite(told)]
    return _share(float(told.sum()), len(told))


def _topline(clips: Sequence[Compared]) -> float:
    off = np.array([abs(clip.topline_deg) for clip in clips])
    return float(np.median(off[np.isfinite(off)])) if np.isfinite(off).any() else float("nan")


def _timing(events: Sequence[str]) -> dict[str, Callable[[Sequence[Compared]], float]]:
    """Half of the errors are smaller, 95 % are smaller, and which way they lie in the middle."""

    def of(figure: Callable[[FloatArray], Any]) -> Callable[[Sequence[Compared]], float]:
        """``figure`` of all errors of some clips; NaN = none."""

        def count(clips: Sequence[Compared]) -> float:
            """The figure of these clips."""
            errors = _pooled(clips, events)
            return float(figure(errors)) if len(errors) else float("nan")

        return count

    return {
        "median_ms": of(lambda errors: np.median(np.abs(errors))),
        "95_percent_ms": of(lambda errors: np.percentile(np.abs(errors), 95)),
        "bias_ms": of(np.median),
    }


#: Every figure that is told of one clip, of all clips of a dog, and of all dogs.
FIGURES: Final[dict[str, Callable[[Sequence[Compared]], float]]] = {
    "within_5_percent": _within,
    "exchanged_percent": _exchanged,
    **{f"{event}_{name}": count for event in EVENTS for name, count in _timing([event]).items()},
    **{f"events_{name}": count for name, count in _timing(EVENTS).items()},
    "names_right_percent": lambda clips: _share(_count(clips, "right"), _count(clips, "right", "wrong")),
    "names_given_percent": lambda clips: _share(
        _count(clips, "right", "wrong"), _count(clips, "right", "wrong", "unclear")
    ),
    "topline_deg": _topline,
}


def figures(clips: Sequence[Compared]) -> dict[str, Any]:
    """Counts and every figure of these clips together, as plain values; what is not known is left out."""
    values = {name: round(count(clips), 4) for name, count in FIGURES.items()}
    return {
        "clips": len(clips),
        "frames": sum(len(clip.tracks) for clip in clips),
        "events_found": len(_pooled(clips, EVENTS)),
        "events_true": sum(clip.events for clip in clips),
        "names": {verdict: _count(clips, verdict) for verdict in VERDICTS},
        **{name: value for name, value in values.items() if value == value},
    }


def line_facts(clips: Sequence[Compared]) -> dict[str, Any]:
    """The whole line over all clips, dog by dog and clip by clip; each figure over dogs with its interval."""
    dogs = [clip.dog for clip in clips]
    return {
        "all": figures(clips),
        "over_dogs": {
            name: redrawn(lambda rows, count=count: count([clips[row] for row in rows]), dogs).as_dict()  # type: ignore[misc]
            for name, count in FIGURES.items()
        },
        "dogs": {dog: figures([clip for clip in clips if clip.dog == dog]) for dog in sorted(set(dogs))},
        "clips": {clip.clip: _clip_facts(clip) for clip in clips},
    }


def _clip_facts(clip: Compared) -> dict[str, Any]:
    return {"dog": clip.dog, **({"not_read": clip.not_read} if clip.not_read else {}), **figures([clip]),
            **({"topline_off_deg": round(clip.topline_deg, 2)} if np.isfinite(clip.topline_deg) else {})}  # fmt: skip
