"""Caseloads of small files, without reading anything: what tests of the store need."""

from collections.abc import Iterable
from pathlib import Path

from sqlalchemy import insert

from gait.caseload.adding import Added, add
from gait.caseload.keys import Wanted, wanted_of
from gait.caseload.made import Made, MeasureMade
from gait.caseload.planning import plan
from gait.caseload.queue import Task, claim, finish
from gait.caseload.store import Store
from gait.caseload.tables import Clip, Dog, FindingRow, MeasureRow, Place, RecordRow, TaskRow, TrialRow, Visit

HEAD = "clip,dog,date,condition,baseline,belt_m_s"
ME = "here:1:1.00"


def made(grade: str = "good", **changes: object) -> Made:
    """A reading of a trotting dog."""
    fields = {
        "network_hash": "beef",
        "network_name": "drawn",
        "version": "0.1.0",
        "facing": "left",
        "grade": grade,
        "gait": "trot",
        "strides_used": 12,
        "notices": ["Look at the film."],
        "checks": [{"name": "frame_rate", "value": None, "passed": True}],
        "trial": {"dog": "Tansy"},
        "measures": (
            MeasureMade("trot", "stride_time_s", "s", 12, 0.52, 0.01),
            MeasureMade("trot", "topline_deg", "deg", 1, -2.0, None),
        ),
    }
    return Made(**(fields | changes))  # type: ignore[arg-type]


def put_films(folder: Path, names: Iterable[str]) -> list[Path]:
    """Files that look like films, each with its own content."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = [folder / f"{name}.mp4" for name in names]
    for path in paths:
        path.write_bytes(f"the film of {path.stem}".encode() * 20)
    return paths


def put_sheet(folder: Path, *rows: str, name: str = "sheet.csv") -> Path:
    """A trial sheet with ``rows``."""
    path = folder / name
    path.write_text("\n".join([HEAD, *rows]) + "\n")
    return path


def add_now(store: Store, source: Path, **more: bool) -> Added:
    """Add without waiting for files to come to rest."""
    return add(store, source, settle_s=0.0, **more)


def planned(store: Store, folder: Path) -> Wanted:
    """Take in ``folder`` and plan its reading."""
    add_now(store, folder)
    wanted = wanted_of()
    plan(store, wanted)
    return wanted


def read_all(store: Store, wanted: Wanted, reading: Made | None = None) -> list[Task]:
    """Do every waiting task, as if it had been read, with a folder of results for each."""
    done = []
    while (task := claim(store, ME, wanted)) is not None:
        folder = store.home / task.folder
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "report.html").write_text(f"the report of {task.trial.dog}")
        assert finish(store, task, reading or made(trial={"dog": task.trial.dog}))
        done.append(task)
    return done


#: Dogs of a filled store.
DOGS = 500


def fill(store: Store, count: int, of_dogs: int = DOGS) -> None:
    """A store with ``count`` clips that were read, each with a place, a trial, a record and a finding."""
    ids = range(1, count + 1)
    dogs = [{"id": n, "name": f"Dog {n:04}", "folded": f"dog{n:04}"} for n in range(1, of_dogs + 1)]
    days = [f"20{n // of_dogs + 10}-03-02" for n in range(1, count // 2 + 1)]
    rows = {
        Dog: dogs,
        Visit: [{"id": n, "dog_id": n % of_dogs + 1, "date": day} for n, day in enumerate(days, start=1)],
        Clip: [{"id": n, "sha256": key(n), "name": f"{n}.mp4", "kind": "film", "bytes": 9, "added_at": 1.0,
                "wanted": key(n)} for n in ids],
        Place: [{"clip_id": n, "path": f"/in/{n}.mp4", "seen_at": 1.0, "bytes": 9, "changed_ns": 1} for n in ids],
        TrialRow: [{"clip_id": n, "visit_id": (n + 1) // 2, "condition": "bare"} for n in ids],
        TaskRow: [{"id": n, "clip_id": n, "key": key(n), "reading": "r", "state": "done"} for n in ids],
        RecordRow: [{"id": n, "clip_id": n, "task_id": n, "key": key(n), "folder": f"clips/{n}", "notices": [],
                     "checks": [], "trial": {}, "read_at": 1.0, "grade": "good", "gait": "trot"} for n in ids],
        MeasureRow: [{"record_id": n, "gait": "trot", "measure": "stride_time_s", "unit": "s", "n": 12, "mean": 0.5}
                     for n in ids],
        FindingRow: [{"kind": "unsure", "rank": 1.0, "clip_id": n, "words": "Look again."} for n in ids],
    }  # fmt: skip
    with store.writing() as session:
        for table, values in rows.items():
            session.execute(insert(table), values)


def key(number: int) -> str:
    """A key or hash of its own."""
    return f"{number:064x}"
