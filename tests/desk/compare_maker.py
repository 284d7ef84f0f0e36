"""A caseload with dogs to compare, read without a network: walkers in closed form, and films whose colour tells the
number of the frame."""

from dataclasses import replace
from pathlib import Path

import numpy as np
from caseload_maker import HEAD, ME
from walker import trotting

from gait.caseload.adding import add
from gait.caseload.keys import wanted_of
from gait.caseload.making import made_of
from gait.caseload.planning import plan
from gait.caseload.queue import claim, finish
from gait.caseload.store import Store
from gait.reading import Followed, ReadingSettings, record_of
from gait.tables import write_record
from pose.film import FilmSettings, write_film
from pose.landmarks import CROUP
from pose.table import as_written, write_table
from pose.tracks import Tracks

DAY, LATER = "2026-03-02", "2026-04-13"
SIZE = (480, 800)
#: Levels of each colour; the frames of one clip are fewer than LEVELS ** 3.
LEVELS, STEP = 7, 40
#: px, half the side of the spot at the croup.
SPOT_PX = 5
#: What the sheet says of each clip; s of it, s of a stride, px by which the croup is higher, whether it walks left.
CLIPS = {
    "bare.mp4": (f"Tansy,{DAY},bare,yes,1.8", 5.0, 0.50, 0.0, False),
    "boots.mp4": (f"Tansy,{DAY},boots,no,1.8", 5.2, 0.48, 12.0, True),
    "later.csv": (f"Tansy,{LATER},bare,yes,1.8", 5.1, 0.50, 6.0, False),
    "alone.csv": (f"Brock,{DAY},bare,yes,1.8", 4.9, 0.50, 0.0, False),
    "short.csv": (f"Ember,{DAY},bare,yes,1.8", 1.1, 0.50, 0.0, False),
    "longer.csv": (f"Ember,{DAY},boots,no,1.8", 5.3, 0.50, 0.0, False),
}


def tracks_of(name: str) -> Tracks:
    """Landmarks of a clip."""
    _, seconds, stride_s, higher_px, left = CLIPS[name]
    made = trotting(seconds, period_s=stride_s)
    xy = made.xy_px.copy()
    xy[:, CROUP, 1] -= higher_px
    if left:
        xy[..., 0] = SIZE[1] - 1 - xy[..., 0]
    return as_written(replace(made, xy_px=xy))


def colour_of(number: int) -> tuple[int, int, int]:
    """The colour of the frame of that number."""
    return number % LEVELS * STEP, number // LEVELS % LEVELS * STEP, number // LEVELS**2 * STEP


def number_of(colour: list[int]) -> int:
    """The number of the frame of about that colour."""
    levels = [round(value / STEP) for value in colour]
    return levels[0] + LEVELS * levels[1] + LEVELS**2 * levels[2]


def write_coloured(path: Path, times_s: np.ndarray, croup_px: np.ndarray | None = None, scale: float = 1.0) -> None:
    """A film with a frame of its own colour at each of ``times_s`` (T,) s and a white spot at ``croup_px`` (T, 2) px of
    the whole picture; the film is smaller by ``scale``."""
    size, spot = [round(scale * side) for side in SIZE], round(scale * SPOT_PX)
    pictures = [np.full((*size, 3), colour_of(number), np.uint8) for number in range(len(times_s))]
    for picture, place in zip(pictures, croup_px if croup_px is not None else (), strict=croup_px is not None):
        x, y = np.round(scale * (place + 0.5) - 0.5).astype(int)
        picture[y - spot : y + spot + 1, x - spot : x + spot + 1] = 255
    write_film(zip(times_s, pictures, strict=True), path, settings=FilmSettings(quality=4))


def put_clips(folder: Path, *names: str) -> None:
    """The clips of those names and their sheet."""
    folder.mkdir(parents=True, exist_ok=True)
    for name in names:
        tracks = tracks_of(name)
        if name.endswith(".mp4"):
            write_coloured(folder / name, tracks.t_s)
        else:
            write_table(tracks, folder / name)
    (folder / "sheet.csv").write_text("\n".join([HEAD, *(f"{name},{CLIPS[name][0]}" for name in names)]) + "\n")


def read_clips(store: Store, folder: Path, *names: str) -> None:
    """Put clips into ``folder``, take them in, and leave what reading them would."""
    put_clips(folder, *names)
    wanted = wanted_of()
    add(store, folder, settle_s=0.0)
    plan(store, wanted)
    while (task := claim(store, ME, wanted)) is not None:
        tracks, place = tracks_of(task.name), store.home / task.folder
        record = record_of(task.places[0], Followed(tracks, sha256=task.sha256), task.trial, ReadingSettings())
        write_record(record, place)
        write_table(tracks, place / "landmarks.csv")
        (place / "report.html").write_text("the report")
        finish(store, task, made_of(record))
