"""Reads what waits in a caseload, in this process and without drawings: what tests of findings need."""

from caseload_maker import ME

from gait.caseload.keys import wanted_of
from gait.caseload.making import made_of
from gait.caseload.planning import plan
from gait.caseload.queue import Task, claim, fail, finish
from gait.caseload.store import Store
from gait.command.edge import EXPECTED, exit_code, message
from gait.nouns import GaitRecord
from gait.reading import Followed, ReadingSettings, check_rate, open_source, record_of
from gait.tables import write_record
from pose.table import as_written, read_table, write_table


def read_all(store: Store) -> None:
    """Read every clip that waits, in this process, and leave the files that findings are made from."""
    wanted = wanted_of()
    plan(store, wanted)
    while (task := claim(store, ME, wanted)) is not None:
        try:
            finish(store, task, made_of(read_one(store, task)))
        except EXPECTED as error:
            fail(store, task, ME, message(error), exit_code(error))


def read_one(store: Store, task: Task) -> GaitRecord:
    """What reading a landmark table leaves, but for the drawings."""
    if task.kind == "film":
        open_source(task.places[0], task.trial, ReadingSettings())
        raise AssertionError("no film can be read here")
    tracks = as_written(read_table(task.places[0]))
    check_rate(task.name, tracks.t_s)
    record = record_of(task.places[0], Followed(tracks, sha256=task.sha256), task.trial, ReadingSettings())
    write_record(record, store.home / task.folder)
    write_table(tracks, store.home / task.folder / "landmarks.csv")
    (store.home / task.folder / "report.html").write_text("the report")
    return record
