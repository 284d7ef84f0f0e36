"""What is known exactly of a clip: NAME.landmarks.csv and NAME.truth.json beside it, as `pawfall draw` writes them."""

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from gait.errors import TruthError
from gait.sheets.finding import find_clips
from pose.errors import PoseError
from pose.landmarks import CROUP, PAWS, WITHERS
from pose.table import read_table
from pose.tracks import FloatArray, IntArray, Tracks, frozen_array

ENDING: Final = ".truth.json"
FACINGS: Final = ("left", "right")


@dataclass(frozen=True, slots=True, eq=False)
class Truth:
    """The exact course of one clip; all times in s on its real clock.

    tracks   where the landmarks are
    facing   "left" or "right"
    paw      (C,) int, 0..3, of each contact of a paw with the belt
    touchdown_s, liftoff_s  (C,) s
    start_s, end_s  (S,) s, of each stride
    gait     S plain names
    """

    tracks: Tracks
    facing: str
    paw: IntArray
    touchdown_s: FloatArray
    liftoff_s: FloatArray
    start_s: FloatArray
    end_s: FloatArray
    gait: tuple[str, ...]

    def __post_init__(self) -> None:
        put = object.__setattr__
        put(self, "paw", frozen_array(self.paw, np.int64))
        for name in ("touchdown_s", "liftoff_s", "start_s", "end_s"):
            put(self, name, frozen_array(getattr(self, name), np.float64))


def clips_with_truth(folder: Path) -> list[Path]:
    """Every clip in ``folder`` and below it that has its truth beside it. Raises TruthError when there is none."""
    clips = [clip for clip in find_clips(folder) if (clip.parent / f"{_stem(clip)}{ENDING}").is_file()]
    if not clips:
        raise TruthError(
            f"{folder} holds no clip with its truth beside it. A clip NAME.mp4 needs NAME.landmarks.csv and "
            f"NAME{ENDING}, as pawfall draw writes them; of marked pictures give the file of marks."
        )
    return clips


def _stem(clip: Path) -> str:
    return clip.name if clip.is_dir() else clip.stem


def read_truth(clip: Path) -> Truth:
    """The truth beside ``clip``. Raises TruthError that names the file and what is wrong in it."""
    file, table = (clip.parent / f"{_stem(clip)}{ending}" for ending in (ENDING, ".landmarks.csv"))
    try:
        told = json.loads(file.read_text(encoding="utf-8"))
        tracks = read_table(table)
        if np.any(np.ptp(tracks.xy_px[:, (WITHERS, CROUP)], axis=1).max(axis=1) == 0):
            raise TruthError(f"{table.name} has withers and croup on one place; their distance is the measure.")
        if told["facing"] not in FACINGS:
            raise TruthError(f"{file.name}: facing is {told['facing']!r}; it can be left or right.")
        contacts, strides = told["contacts"], told["strides"]
        paws = [PAWS.index(one["paw"]) for one in contacts]
        down, up = _times(contacts, "touchdown_s"), _times(contacts, "liftoff_s")
        start, end = _times(strides, "start_s"), _times(strides, "end_s")
        names = tuple(str(one["gait"]) for one in strides)
    except OSError as error:
        raise TruthError(f"{Path(str(error.filename)).name} cannot be read: {error.strerror}") from error
    except PoseError as error:
        raise TruthError(f"{clip.name}, its truth: {error}") from error
    except KeyError as error:
        raise TruthError(f"{file.name} lacks {error}; pawfall draw writes such files.") from error
    except (ValueError, TypeError) as error:
        raise error if isinstance(error, TruthError) else TruthError(f"{file.name} cannot be read: {error}") from error
    return Truth(tracks, told["facing"], np.array(paws, np.int64), down, up, start, end, names)


def _times(rows: Sequence[Mapping[str, Any]], name: str) -> FloatArray:
    """(N,) s, one value of each row. Raises ValueError when one is no time."""
    values = np.array([float(row[name]) for row in rows], np.float64)
    if not all(math.isfinite(value) for value in values):
        raise ValueError(f"{name} has a value that is no time")
    return values
