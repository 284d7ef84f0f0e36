"""A caseload with clips to watch, read without a network: the landmarks of a drawn walk under a film of numbers."""

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import numpy as np
import uvicorn
from film_maker import write_numbered
from walker import trotting

from gait.caseload.adding import add
from gait.caseload.keys import wanted_of
from gait.caseload.making import made_of
from gait.caseload.planning import plan
from gait.caseload.queue import claim, finish
from gait.caseload.store import Store
from gait.desk.app import build_desk
from gait.desk.room import Desk, open_desk
from gait.reading import Followed, ReadingSettings, record_of
from gait.tables import write_record
from pose.table import as_written, write_table
from pose.tracks import Tracks

ME = "here:1:1.00"
SHEET = (
    "clip,dog,date,condition,baseline,belt_m_s\n"
    "walks.mp4,Tansy,2026-03-02,bare,yes,1.5\ntable.csv,Brock,2026-03-02,bare,yes,1.5\n"
)
FPS, SECONDS = 60.0, 4.0
FRAMES = 240
#: Rows in which landmarks are missing, rows in which one is hidden, and frames of the film that were not read.
UNSEEN, HIDDEN, UNREAD = slice(100, 104), slice(50, 60), slice(150, 155)


def tracks() -> Tracks:
    """Landmarks of a trot of 240 frames, with a gap of the near fore paw, a hidden far hind one and frames left out."""
    made = trotting(SECONDS, FPS)
    xy, hidden = made.xy_px.copy(), made.hidden.copy()
    xy[UNSEEN, 0] = np.nan
    hidden[HIDDEN, 3] = True
    read = np.ones(len(made), dtype=bool)
    read[UNREAD] = False
    return as_written(replace(made, xy_px=xy, hidden=hidden).rows(read))


def make_clips(folder: Path) -> Tracks:
    """A film whose frames show their numbers (modulo 64), a table of its landmarks, and a sheet."""
    folder.mkdir(parents=True)
    found = tracks()
    write_numbered(folder / "walks.mp4", [k / FPS for k in range(FRAMES)])
    write_table(found, folder / "table.csv")
    (folder / "sheet.csv").write_text(SHEET)
    return found


def desk_to_watch(store: Store, folder: Path, *, read: bool = True) -> Desk:
    """A desk over ``store`` with the clips in ``folder``, read unless told otherwise."""
    found, wanted = make_clips(folder), wanted_of()
    add(store, folder, settle_s=0.0)
    plan(store, wanted)
    while read and (task := claim(store, ME, wanted)) is not None:
        followed, place = Followed(found, sha256=task.sha256), store.home / task.folder
        record = record_of(task.places[0], followed, task.trial, ReadingSettings())
        write_record(record, place)
        write_table(found, place / "landmarks.csv")
        (place / "report.html").write_text("<!DOCTYPE html><title>report</title>")
        finish(store, task, made_of(record))
    return open_desk(store, wanted, workers=1)


@contextmanager
def served(desk: Desk) -> Iterator[str]:
    """The address of ``desk`` while the block runs; nothing is read behind its pages."""
    opened = socket.socket()
    opened.bind(("127.0.0.1", 0))
    server = uvicorn.Server(uvicorn.Config(build_desk(desk), log_level="warning", lifespan="off"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [opened]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    try:
        yield f"http://127.0.0.1:{opened.getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join()
        opened.close()
