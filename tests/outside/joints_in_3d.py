"""Recordings of a real dog's joints in space, seen from its left as on a treadmill, beside strides measured on them.

``PYTHONPATH=. python tests/outside/joints_in_3d.py FOLDER`` prints a table. No test: the recordings are for checking
alone and travel with nothing of this project. FOLDER holds NAME_joint_pos.txt (27 joints x, y, z in metres, y up, 60
rows a second), labelled_segments.csv and strides_measured.csv (footfalls in space by a threshold, good to two frames).
"""

import csv
import sys
from pathlib import Path
from typing import Final

import numpy as np
from scipy.ndimage import gaussian_filter1d

from gait.nouns import GaitRecord
from gait.record import build_record
from gait.trial import Trial
from pose.landmarks import NEAR_HIND
from pose.tracks import FloatArray, Tracks

FPS: Final = 60.0
#: Joints in the order of the landmarks, the left side near. The last two lie in the bones, not on the outline.
JOINTS: Final = (10, 15, 19, 23, 3, 0)
WITHERS, CROUP = JOINTS[4:]
PX_PER_M, MIDDLE_PX, GROUND_PX = 320.0, 320.0, 350.0
#: s, width of the window that parts the travel of the trunk, which the belt takes up, from its surge within a stride.
TRAVEL_S: Final = 0.5
#: s of the recording before and after what is labelled.
BESIDE_S: Final = 0.5
#: A stride of ours is that of the table when start and end are off by no more than this together, frames.
SAME_STRIDE: Final = 8.0
Row = dict[str, str]


def side_view(joints_m: FloatArray, travel_s: float = TRAVEL_S) -> Tracks:
    """Landmarks of (T, J, 3) joints in the plane of the trunk, its travel taken out; the dog faces left."""
    trunk = (joints_m[:, WITHERS] + joints_m[:, CROUP]) / 2
    ahead = _slow((joints_m[:, WITHERS] - joints_m[:, CROUP]) * [1.0, 0.0, 1.0], TRAVEL_S)
    ahead /= np.linalg.norm(ahead, axis=1, keepdims=True)
    off = joints_m[:, JOINTS] - (_slow(trunk, travel_s) if travel_s else trunk)[:, None]
    forward, up = (off * ahead[:, None]).sum(axis=2), joints_m[:, JOINTS, 1]
    xy = np.stack([MIDDLE_PX - PX_PER_M * forward, GROUND_PX - PX_PER_M * up], axis=2)
    frame, shape = np.arange(len(xy)), xy.shape[:2]
    return Tracks(frame, frame / FPS, xy, np.full(shape, np.nan), np.zeros(shape, dtype=bool))


def _slow(x: FloatArray, span_s: float) -> FloatArray:
    return np.asarray(gaussian_filter1d(x, FPS * span_s, axis=0, mode="nearest"), dtype=float)


def read_rows(path: Path) -> list[Row]:
    """Rows of a table with a head."""
    with path.open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def stretches(segments: list[Row], clip: str) -> list[tuple[int, int]]:
    """First frame and end of what is labelled in one recording; labels that lie close are one stretch."""
    beside, found = round(BESIDE_S * FPS), list[tuple[int, int]]()
    labelled = [(int(row["start_frame"]), int(row["end_frame_exclusive"])) for row in segments if row["clip"] == clip]
    for start, end in sorted((max(start - beside, 0), end + beside) for start, end in labelled):
        if found and start < found[-1][1]:
            found[-1] = (found[-1][0], max(found[-1][1], end))
        else:
            found.append((start, end))
    return found


def line_of(row: Row, record: GaitRecord, first: int) -> str:
    """One measured stride of the left hind beside ours; ``first``, frame at which the record begins."""
    measured = (
        float(row["stride_s"]),
        float(row["phase_LF"]),
        (float(row["phase_RF"]) - float(row["phase_RH"])) % 1,
        float(row["duty_LH"]),
    )
    head = f"{row['start_frame']:>5}-{row['end_frame']:<5}{row['helper_label']:10}"
    strides = record.strides
    off = np.abs(FPS * strides.start_s + first - float(row["start_frame"]))
    off = off + np.abs(FPS * strides.end_s + first - float(row["end_frame"]))
    off = np.where((strides.paw == NEAR_HIND) & np.isfinite(off), off, np.inf)
    if not len(off) or off.min() > SAME_STRIDE:
        return head + _figures(measured) + "  not found"
    at = int(off.argmin())
    names = ("stride_time_s", "limb_phase_near", "limb_phase_far", "duty_factor")
    ours = tuple(float(strides.measures[name][at]) for name in names)
    return head + _figures(measured) + _figures(ours) + f"  {strides.dropped[at] or strides.gait[at]}"


def _figures(values: tuple[float, ...]) -> str:
    return "  |" + "".join(f"{value:7.3f}" for value in values)


def tell(folder: Path) -> None:
    """The table of all stretches of all recordings in FOLDER."""
    segments, measured = (read_rows(folder / f"{name}.csv") for name in ("labelled_segments", "strides_measured"))
    four = "  |   time   near    far   duty"
    head = f"{'frames':11}{'by eye':10}{four}{four}  name or why not used"
    for clip in sorted({row["clip"] for row in segments}):
        joints = np.loadtxt(folder / f"{clip}_joint_pos.txt", delimiter=",", usecols=range(81)).reshape(-1, 27, 3)
        for first, end in stretches(segments, clip):
            record = build_record(side_view(joints[first:end]), Trial(facing="left"))
            inside = (r for r in measured if r["clip"] == clip and first <= int(r["start_frame"]) < end)
            runs = ", ".join(f"{run.gait} x {run.strides}" for run in record.runs)
            sys.stdout.write("\n".join(["", f"{clip} {first}-{end}: {record.grade}; {runs}", head, ""]))
            sys.stdout.writelines(line_of(row, record, first) + "\n" for row in inside)


if __name__ == "__main__":
    tell(Path(sys.argv[1]))
