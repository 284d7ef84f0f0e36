"""Two clips in step as plain values for the script that shows them: which frame of either belongs to which moment, how
each lies in its picture, and the contacts of both on one axis of strides."""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from gait.filming import captions, intervals
from gait.framing import Framing, box_of, frame_box, held_middle, matrix_of
from gait.instep import StepMap, StepSettings, step_map
from gait.nouns import GaitRecord
from gait.report.palette import LANES, PAW_STYLES
from gait.trial import Facing
from pose.draw import COLOURS
from pose.landmarks import LANDMARKS, PAWS
from pose.tracks import FloatArray, IntArray

#: px, width of the picture of one dog as it is drawn; a wide screen shows two of them.
WIDTH_PX: Final = 720
#: Moments per second of the first clip are those of the faster camera, but no more: a screen shows no more either.
MOST_FPS: Final = 240.0
LANDS: Final = "The {paw} paw lands at once in both: the second clip is stretched in time to fit."
#: How each landmark is drawn, as in the films that pawfall writes.
LOOKS: Final = [{"colour": "#{:02x}{:02x}{:02x}".format(*colour), "ring": name.startswith("far")}
                for name, colour in zip(LANDMARKS, COLOURS, strict=True)]  # fmt: skip
#: Decimals of what is sent: px, and strides or shares of them.
PX, SHARE = 2, 5


@dataclass(frozen=True, slots=True, eq=False)
class Shown:
    """One of the two clips: its number, what stands over it, its record."""

    number: int
    label: str
    record: GaitRecord


def films_in_step(one: Shown, two: Shown) -> dict[str, Any]:
    """{"reason": words} when the clips cannot be brought into step, else

    strides   how many are shown; place (N,) strides since the first touchdown, of every moment
    step_s    s of the first clip from one moment to the next
    size      px, width and height of the picture of either dog
    words     what lands at once
    looks     how each landmark is drawn
    clock     whether the clock of both is known
    sides     of either clip as in :func:`_side`, the first one first
    """
    records = (one.record, two.record)
    steps = step_map(*records, StepSettings(slower=1.0, film_fps=_rate(records)))
    if isinstance(steps, str):
        return {"reason": steps}
    rows = [nearest_rows(r.tracks.t_s, t_s) for r, t_s in zip(records, steps.source_s.T, strict=True)]
    box = box_of([(r, np.unique(at)) for r, at in zip(records, rows, strict=True)])
    height = round(WIDTH_PX * (box.above + box.below) / (box.ahead + box.behind))
    facing: Facing = "right" if one.record.facing == "right" else "left"
    framing = frame_box(box, (WIDTH_PX, height), facing)
    place = steps.strides_at(0, steps.source_s[:, 0])
    return {
        "strides": steps.strides,
        "place": np.round(place, SHARE).tolist(),
        "step_s": float(np.diff(steps.film_s[:2]).sum()),
        "size": list(framing.size_px),
        "words": LANDS.format(paw=steps.paw.replace("_", " ")),
        "looks": LOOKS,
        "clock": all(record.trial.clock_known for record in records),
        "sides": [_side(shown, which, steps, at, framing) for which, (shown, at) in enumerate(zip((one, two), rows,
                                                                                              strict=True))],
    }  # fmt: skip


def _rate(records: tuple[GaitRecord, GaitRecord]) -> float:
    """Moments per second: frames per second of the faster camera."""
    return min(MOST_FPS, max(1 / float(np.median(np.diff(record.tracks.t_s))) for record in records))


def nearest_rows(t_s: FloatArray, times_s: FloatArray) -> IntArray:
    """(N,) rows of rising ``t_s`` (T,) that are nearest to ``times_s`` (N,)."""
    return np.searchsorted((t_s[1:] + t_s[:-1]) / 2, times_s)


def _side(shown: Shown, which: int, steps: StepMap, rows: IntArray, framing: Framing) -> dict[str, Any]:
    """One clip.

    clip, label, mirrored   its number, what stands over it, whether it is turned about to face the same way
    frames, rows            numbers in its file of all frames shown; (N,) which of these belongs to each moment
    turn, shift             how a place (x, y) px of a frame goes into the picture: turn (2, 2) times it, plus the
                            shift of that frame; the middle of pixel 0 lies at 0
    marks, hidden           landmarks of each frame in the picture, px, [] = not known; "010000": the second is hidden
    ground                  px from the top, where the paws stand
    bars                    stances of each paw from 0 to the number of strides
    captions                of every stride shown: gait and time
    """
    record = shown.record
    span = np.arange(rows.min(), rows.max() + 1)
    held = held_middle(record)[span]
    turn = matrix_of(framing, record, held[0])[:, :2]
    shift = np.array(framing.middle_px) - held @ turn.T
    marks = record.tracks.xy_px[span] @ turn.T + shift[:, None]
    return {
        "clip": shown.number,
        "label": shown.label,
        "mirrored": record.facing != framing.facing,
        "frames": record.tracks.frame[span].tolist(),
        "rows": (rows - span[0]).tolist(),
        "turn": turn.tolist(),
        "shift": np.round(shift, PX).tolist(),
        "marks": [[_place(mark) for mark in row] for row in marks],
        "hidden": ["".join(map(str, row.astype(int))) for row in record.tracks.hidden[span]],
        "ground": round(framing.middle_px[1] + box_of([(record, rows)]).ground * framing.px_per_bl, PX),
        "bars": _bars(record, which, steps),
        "captions": _captions(record, which, steps),
    }


def _place(mark: FloatArray) -> list[float]:
    return np.round(mark, 1).tolist() if np.isfinite(mark).all() else []


def _bars(record: GaitRecord, which: int, steps: StepMap) -> list[dict[str, Any]]:
    """Of each paw in the order in which they are drawn: its name, whether it is near, its spans in strides."""
    found = []
    for name in LANES:
        spans = steps.strides_at(which, intervals(record.contacts)[PAWS.index(name)])
        ends = np.where(np.isnan(spans), [0.0, float(steps.strides)], spans)
        style = PAW_STYLES[name]
        found.append({
            "paw": style.label, "colour": style.colour, "near": name.startswith("near"),
            "spans": np.round(ends[ends[:, 1] > ends[:, 0]], SHARE).tolist(),
        })  # fmt: skip
    return found


def _captions(record: GaitRecord, which: int, steps: StepMap) -> list[str]:
    """Gait and time of each stride shown."""
    found = {caption.start_s: caption for caption in captions(record, steps.paw)}
    texts = []
    for start_s, end_s in zip(steps.touchdowns_s[:-1, which], steps.touchdowns_s[1:, which], strict=True):
        caption = found.get(float(start_s))
        told = [caption.words] if caption else []
        told += [f"{end_s - start_s:.2f} s"] if record.trial.clock_known else []
        texts.append(", ".join(told))
    return texts
