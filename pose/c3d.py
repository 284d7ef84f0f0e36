"""Landmarks as C3D, in and out, for programs that know motion capture (ezc3d, an optional library, only here).

C3D holds points in space at one steady rate: X is x of the picture, Y is 0, Z is -y (up), in px. It has no place for
scores, hidden landmarks and numbers of frames. Numbers are 32 bits wide: 0.0001 px at 1000 px (derived).
"""

import os
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np

from pose.errors import TableError
from pose.landmarks import LANDMARKS, PAIRS
from pose.tracks import FloatArray, Tracks

#: Share of a frame by which a time stamp may be off a steady rate: beyond it, C3D would tell wrong times.
STEADY = 0.25
#: Our own group of parameters: the time of the first frame, which C3D counts in whole frames from 0.
OURS, START = "PAWFALL", "START_S"


def write_c3d(tracks: Tracks, path: str | Path, *, events: Iterable[tuple[float, str, str]] = ()) -> None:
    """Write ``tracks`` to ``path`` (.c3d), which appears whole or not at all.

    events  (time in s on the clock of the tracks, landmark, word such as "touchdown"), for the group EVENT

    Raises TableError when frames do not come at a steady rate, or ezc3d is not installed.
    """
    path = Path(path)
    rate = steady_rate(path.name, tracks.t_s)
    made = _library().c3d()
    points = np.ones((4, len(LANDMARKS), len(tracks)))
    points[0], points[1], points[2] = tracks.xy_px[..., 0].T, 0.0, -tracks.xy_px[..., 1].T
    points[:3, np.isnan(points[:3]).any(axis=0)] = np.nan
    of_points = made["parameters"]["POINT"]
    of_points["RATE"]["value"], of_points["UNITS"]["value"] = [rate], ["px"]
    of_points["LABELS"]["value"] = list(LANDMARKS)
    made["data"]["points"] = points
    made.add_parameter(OURS, START, [float(tracks.t_s[0])])
    told = [(t_s - float(tracks.t_s[0]), mark, word) for t_s, mark, word in events]
    if told:
        made.add_parameter("EVENT", "USED", [len(told)])
        made.add_parameter("EVENT", "CONTEXTS", [mark for _, mark, _ in told])
        made.add_parameter("EVENT", "LABELS", [word for _, _, word in told])
        # minutes and seconds, as the group has it
        made.add_parameter("EVENT", "TIMES", np.array([[t_s // 60, t_s % 60] for t_s, _, _ in told]).T)
    beside = path.with_name(f".{path.stem}.partial-{os.getpid()}.c3d")  # ezc3d wants its own ending
    try:
        made.write(str(beside))
        os.replace(beside, path)
    finally:
        beside.unlink(missing_ok=True)


def read_c3d(path: str | Path) -> Tracks:
    """The landmarks in ``path`` (.c3d): points of our names, X forward or backward along the belt and Z up.

    Raises TableError when it cannot be read or has none of the six.
    """
    path = Path(path)
    if not path.is_file():
        raise TableError(f"{path} does not exist. Give a C3D file.")
    try:
        found: Any = _library().c3d(str(path))
    except (OSError, ValueError, RuntimeError, IndexError) as error:
        raise TableError(f"{path.name} cannot be read as C3D: {str(error).splitlines()[0]}") from error
    labels = [str(label).strip().lower() for label in found["parameters"]["POINT"]["LABELS"]["value"]]
    if not set(labels) & set(LANDMARKS):
        raise TableError(f"{path.name} has the points {', '.join(labels) or 'none'}; needed: {', '.join(LANDMARKS)}.")
    points = np.asarray(found["data"]["points"], np.float64)
    count = points.shape[2]
    xy = np.full((count, len(LANDMARKS), 2), np.nan)
    for mark, name in enumerate(LANDMARKS):
        if name in labels:
            x, _, up = points[:3, labels.index(name)]
            xy[:, mark] = np.stack([x, -up], axis=-1)
    xy[np.isnan(xy).any(axis=-1)] = np.nan
    rate = float(found["parameters"]["POINT"]["RATE"]["value"][0])
    if not rate > 0 or not count:
        raise TableError(f"{path.name} holds {count} frames at {rate:g} per second; there is nothing to read.")
    start_s = _start_s(found, rate)
    nothing = np.full((count, len(LANDMARKS)), np.nan)
    sides = np.full((count, len(PAIRS)), np.nan)
    return Tracks(np.arange(count), start_s + np.arange(count) / rate, xy, nothing, nothing > 0, sides)


def steady_rate(name: str, t_s: FloatArray) -> float:
    """Frames per second of (T,) s. Raises TableError when they do not come at a steady rate."""
    if len(t_s) < 2:
        raise TableError(f"{name} would hold {len(t_s)} frames; C3D needs two for a rate.")
    frame_s = float(t_s[-1] - t_s[0]) / (len(t_s) - 1)
    off = np.abs(t_s - t_s[0] - np.arange(len(t_s)) * frame_s).max()
    if off > STEADY * frame_s:
        raise TableError(
            f"{name}: the frames do not come at a steady rate (one is {off / frame_s:.1f} frames off), and C3D can "
            "hold no other. Use .csv, .parquet or .json."
        )
    return 1 / frame_s


def _start_s(found: Any, rate: float) -> float:
    """s, time of the first frame: as we noted it, or by the number that C3D gives the first frame."""
    ours = found["parameters"].get(OURS, {}).get(START)
    return float(ours["value"][0]) if ours else float(found["header"]["points"]["first_frame"]) / rate


def _library() -> Any:
    try:
        import ezc3d
    except ImportError as error:
        raise TableError("C3D needs one more library: pip install 'pawfall[c3d]'.") from error
    return ezc3d
