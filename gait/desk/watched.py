"""A record as the Watch page needs it: plain values, rounded to what can be seen, columns instead of rows."""

import math
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike

from gait.measures import MEASURES
from gait.nouns import GaitRecord
from gait.overruling import NAMES
from gait.report.answer import finder
from gait.report.palette import BLUISH_GREEN, LANES, PAW_STYLES, REDDISH_PURPLE
from gait.report.sections import notices
from gait.report.units import METRIC, shown
from gait.report.words import DROP_WORDS, clock_doubted, either_words, gait_sentence, half_interval
from gait.tables import plain
from pose.landmarks import LANDMARKS, PAWS

#: Decimals: px a tenth, s a hundredth of a ms, degrees and body lengths finer than a screen shows.
PX, TIME, SHARE, DEG, LENGTH = 1, 5, 2, 2, 3

#: Why a stride was not used, for someone who looks at the film.
WHY: Final = {
    "gap": "a landmark was not seen for part of it",
    "truncated": "the clip begins or ends within it",
    "low_score": "landmarks were too uncertain",
    "sides_unsure": "near and far could not be told apart",
    "belt_changing": "the belt changed its speed",
    "not_steady": "the dog stood, started or stopped",
    "outlier": "unlike all others, so probably a fault of the landmarks",
}
#: Names that a person may give a stride, the commonest first.
_COMMON: Final = ("walk", "trot", "pace", "amble", "walking trot", "canter")
CHOICES: Final = (*_COMMON, *(name for name in NAMES if name not in _COMMON))

#: Measures shown beside the film: name, paws over whose strides it is taken, decimals, factor, unit.
SHORT: Final = (
    ("stride_rate_hz", ("near_hind", "far_hind"), 2, 1.0, "Hz"),
    ("stride_time_s", ("near_hind", "far_hind"), 3, 1.0, "s"),
    ("stride_length_m", ("near_hind", "far_hind"), 2, 1.0, "m"),
    ("stride_length_bl", ("near_hind", "far_hind"), 2, 1.0, "body lengths"),
    ("topline_deg", ("near_hind", "far_hind"), 1, 1.0, "°"),
    ("duty_factor", ("near_fore", "far_fore"), 0, 100.0, "%"),
    ("duty_factor", ("near_hind", "far_hind"), 0, 100.0, "%"),
)


def watched(record: GaitRecord) -> dict[str, Any]:
    """Everything that the page draws and lists; what is missing is None.

    ``frame`` (T,) numbers in the file; ``t`` (T,) s; ``x``, ``y``, ``score``, ``hidden`` one list (T,) per landmark, px
    of the upright clip; ``topline`` (T,) deg; ``height`` one list (T,) per paw in body lengths over the belt.
    """
    tracks = record.tracks
    told = {
        "landmarks": LANDMARKS,
        "colours": [*(PAW_STYLES[paw].colour for paw in PAWS), REDDISH_PURPLE, BLUISH_GREEN],
        "lanes": [{"paw": paw, "label": PAW_STYLES[paw].label, "colour": PAW_STYLES[paw].colour} for paw in LANES],
        "frame": tracks.frame.tolist(),
        "t": rounded(tracks.t_s, TIME),
        "x": [rounded(column, PX) for column in tracks.xy_px[:, :, 0].T],
        "y": [rounded(column, PX) for column in tracks.xy_px[:, :, 1].T],
        "score": [rounded(column, SHARE) for column in tracks.score.T],
        "hidden": [column.astype(int).tolist() for column in tracks.hidden.T],
        "topline": rounded(record.topline_deg, DEG),
        "height": [rounded(column, LENGTH) for column in (record.ground_px / record.body_length_px).T],
        "contacts": _contacts(record),
        "strides": _strides(record),
        "runs": [{"gait": run.gait, "start": run.start_s, "end": run.end_s, "strides": run.strides}
                 for run in record.runs],
        "facing": record.facing,
        "grade": record.grade,
        "gait": gait_sentence(record),
        "clock": "" if not clock_doubted(record) else "Seconds of the file: its slow motion is not known.",
        "checks": [{"name": check.name, "advice": check.advice} for check in record.checks if not check.passed],
        "notices": notices(record),
    }  # fmt: skip
    return dict(plain(told))


def rounded(values: ArrayLike, decimals: int) -> list[float | None]:
    """``values`` (N,) rounded; None for NaN."""
    plainly = np.round(np.asarray(values, dtype=float), decimals).tolist()
    return [None if math.isnan(value) else value for value in plainly]


def numbers(record: GaitRecord, system: str = METRIC) -> list[dict[str, Any]]:
    """The few numbers beside the film: name, mean with half its 95 % interval, unit, and over how many strides."""
    find, found = finder(record), []
    labels = {measure.name: measure.label.capitalize() for measure in MEASURES}
    for name, paws, places, factor, unit in SHORT:
        row = find(name, *paws)
        if row is not None:
            of = f", {row.paw.replace('_', ' ')}" if name == "duty_factor" else ""
            mean, half = factor * row.mean, factor * half_interval(row)
            found.append({"name": labels[name] + of, **_told(mean, half, unit, places, system), "strides": row.n})
    return found


def _told(mean: float, half: float, unit: str, places: int, system: str) -> dict[str, str]:
    value, shown_unit = shown(mean, unit, system)
    places -= shown_unit != unit  # a hundredth of a metre is four tenths of an inch
    spread = f" ± {shown(half, unit, system)[0]:.{places}f}" if math.isfinite(half) else ""
    return {"value": f"{value:.{places}f}{spread}".replace("-", "−"), "unit": shown_unit}


def _contacts(record: GaitRecord) -> list[list[list[float | None]]]:
    """Per paw, one row per stance: touchdown, lift-off (s), and two standard deviations of each (s)."""
    c = record.contacts
    rows = np.stack(
        [c.touchdown_s, c.liftoff_s, 2 * c.touchdown_sd_ms / 1000, 2 * c.liftoff_sd_ms / 1000], axis=-1
    )
    return [[rounded(row, TIME) for row in rows[c.paw == paw]] for paw in range(len(PAWS))]


def _strides(record: GaitRecord) -> list[dict[str, Any]]:
    """One row per candidate stride, numbered per paw from 1 in the order of time."""
    s, count = record.strides, [0] * len(PAWS)
    rows = []
    for i in range(len(s)):
        count[s.paw[i]] += 1
        rows.append({
            "paw": PAWS[s.paw[i]],
            "number": count[s.paw[i]],
            "start": rounded(s.start_s[i : i + 1], TIME)[0],
            "end": rounded(s.end_s[i : i + 1], TIME)[0],
            "gait": str(s.gait[i]),
            "probability": rounded(s.gait_probability[i : i + 1], SHARE)[0],
            "either": either_words([name for name in str(s.candidates[i]).split("/") if name]),
            "dropped": str(s.dropped[i]),
            "why": why(str(s.dropped[i])),
        })  # fmt: skip
    return rows


def why(reason: str) -> str:
    """Why a stride was not used, in words; "" when it was used."""
    return WHY.get(reason, DROP_WORDS.get(reason, reason.replace("_", " ")))
