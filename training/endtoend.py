"""The whole line against drawn truth: from film to landmarks, contacts and gait names.

``python -m training.endtoend RESULTS TRUTH`` compares every clip read into RESULTS (``pawfall read ... -o RESULTS``)
with its truth (``NAME.landmarks.csv``, ``NAME.truth.json``) in TRUTH and prints a table.
"""

import csv
import json
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from pose.landmarks import CROUP, PAIRS, WITHERS
from pose.table import read_table
from pose.tracks import BoolArray, FloatArray, Tracks

#: Body lengths within which a landmark counts as right, and beyond which a pair can be told to be exchanged.
RIGHT_WITHIN = 0.05
_APART = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class Compared:
    """One clip against its truth.

    error      (T, 6) body lengths, infinite where nothing was found; seen (T, 6) bool, not hidden in truth
    exchanged  (2,) share of frames in which fore and hind pair are the wrong way round
    event_ms   (E,) found minus true time of every touchdown and lift-off found
    right, wrong, unclear  hind strides by what their name is; dropped: without a name
    topline_deg  mean of found minus true angle over the clip
    """

    name: str
    error: FloatArray
    seen: BoolArray
    exchanged: FloatArray
    event_ms: FloatArray
    right: int
    wrong: int
    unclear: int
    dropped: int
    topline_deg: float


def _apart(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.asarray(np.linalg.norm(a - b, axis=-1))


def _errors(found: FloatArray, true: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(T, 6) errors in body lengths and (2,) shares of exchanged pairs."""
    length = np.median(_apart(true[:, WITHERS], true[:, CROUP]))
    error = np.nan_to_num(_apart(found, true) / length, nan=np.inf)
    exchanged = []
    for near, far in PAIRS:
        kept = _apart(found[:, near], true[:, near]) + _apart(found[:, far], true[:, far])
        swapped = _apart(found[:, near], true[:, far]) + _apart(found[:, far], true[:, near])
        clear = _apart(true[:, near], true[:, far]) / length > _APART
        exchanged.append(float(np.mean((swapped < kept)[clear])))
    return error, np.array(exchanged)


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def _event_errors(rows: list[dict[str, str]], truth: dict[str, Any]) -> FloatArray:
    """(E,) ms, each event found against the nearest true one of its paw and kind."""
    errors = []
    for row in rows:
        for kind in ("touchdown_s", "liftoff_s"):
            true = np.array([c[kind] for c in truth["contacts"] if c["paw"] == f"{row['side']}_{row['paw']}"])
            if row[kind] and len(true):
                apart = float(row[kind]) - true
                errors.append(1000 * apart[np.argmin(np.abs(apart))])
    return np.array(errors)


def _verdict(row: dict[str, str], truth: dict[str, Any]) -> str:
    if row["dropped"] or not (row["start_s"] and row["end_s"]):
        return "dropped"
    if row["gait"] == "unclear":
        return "unclear"
    start, end = float(row["start_s"]), float(row["end_s"])
    names = {s["gait"] for s in truth["strides"] if s["start_s"] < end and s["end_s"] > start}
    return "right" if row["gait"] in names else "wrong"


def compare(result: Path, truth_folder: Path) -> Compared:
    """The clip read into ``result`` against its truth in ``truth_folder``."""
    name = result.name
    true: Tracks = read_table(truth_folder / f"{name}.landmarks.csv")
    found = read_table(result / "landmarks.csv")
    truth = json.loads((truth_folder / f"{name}.truth.json").read_text(encoding="utf-8"))
    at = np.abs(found.t_s[:, None] - true.t_s[None, :]).argmin(axis=1)
    error, exchanged = _errors(found.xy_px, true.xy_px[at])
    verdicts = [_verdict(row, truth) for row in _rows(result / "strides.csv") if row["paw"] == "hind"]
    counts = {word: verdicts.count(word) for word in ("right", "wrong", "unclear", "dropped")}
    turn = _topline(found.xy_px) - _topline(true.xy_px[at])
    events = _event_errors(_rows(result / "contacts.csv"), truth)
    return Compared(name, error, ~true.hidden[at], exchanged, events, topline_deg=float(np.nanmean(turn)), **counts)


def _topline(xy: FloatArray) -> FloatArray:
    """(T,) deg, rise of the croup over the withers in the picture."""
    back = xy[:, CROUP] - xy[:, WITHERS]
    return np.asarray(np.degrees(np.arctan2(-back[:, 1], np.abs(back[:, 0]))))


def summary(clips: list[Compared]) -> dict[str, float]:
    """Over all clips: shares within 5 % of body length, events (ms), names, exchanged pairs, topline (deg)."""
    error = np.concatenate([c.error for c in clips])
    seen = np.concatenate([c.seen for c in clips])
    events = np.abs(np.concatenate([c.event_ms for c in clips]))
    right, wrong, unclear = (sum(getattr(c, w) for c in clips) for w in ("right", "wrong", "unclear"))
    return {
        "clips": len(clips),
        "pck_5_percent": float(np.mean(error <= RIGHT_WITHIN)),
        "pck_5_percent_seen": float(np.mean(error[seen] <= RIGHT_WITHIN)),
        "exchanged": float(np.mean([c.exchanged for c in clips])),
        "event_median_ms": float(np.median(events)),
        "event_95_percent_ms": float(np.percentile(events, 95)),
        "strides_named": right + wrong,
        "name_right": right / max(right + wrong, 1),
        "name_given": (right + wrong) / max(right + wrong + unclear, 1),
        "topline_median_deg": float(np.median([abs(c.topline_deg) for c in clips])),
    }


def line(c: Compared) -> str:
    """One clip in one line."""
    return (
        f"{c.name:24s} within 5 %: {np.mean(c.error <= RIGHT_WITHIN):.3f}  exchanged: {c.exchanged.max():.3f}  "
        f"events: {np.median(np.abs(c.event_ms)) if len(c.event_ms) else np.nan:5.1f} ms ({len(c.event_ms)})  "
        f"names right {c.right}, wrong {c.wrong}, unclear {c.unclear}, dropped {c.dropped}  "
        f"topline {c.topline_deg:+.2f} deg"
    )


def main() -> None:
    """Print a line per clip and the summary."""
    results, truth = Path(sys.argv[1]), Path(sys.argv[2])
    names = sorted(p.name for p in results.iterdir() if (truth / f"{p.name}.truth.json").exists())
    clips = [compare(results / name, truth) for name in names]
    sys.stdout.writelines(line(c) + "\n" for c in clips)
    sys.stdout.write(json.dumps(summary(clips), indent=1) + "\n")


if __name__ == "__main__":
    main()
