"""How fast a night goes: clips per minute with one and more workers, what each of them holds, what the store costs."""

import tempfile
import time
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import psutil

from gait.caseload.adding import add
from gait.caseload.crew import LOOK_EVERY_S, LocalCrew, read_alone
from gait.caseload.errors import CaseloadError
from gait.caseload.guard import Limits
from gait.caseload.jobs import Job, Outcome
from gait.caseload.keys import Wanted
from gait.caseload.planning import plan
from gait.caseload.running import Run
from gait.caseload.store import open_store
from gait.hashing import content_hash
from pose.table import read_table, write_table

LIMITS: Final = Limits()
#: px by which each copy of a table is shifted: enough to make it another content, too little to make it another gait.
SHIFT_PX: Final = 0.01


@dataclass(frozen=True, slots=True)
class Pace:
    """What so many workers did on as many cores. cpu_s: processor s per clip; peak_mib: the most that one held."""

    workers: int
    per_minute: float
    cpu_s: float
    peak_mib: float


@dataclass(frozen=True, slots=True)
class Cost:
    """A night of so many landmark tables, on one core; all of it in ms per clip.

    add_ms, run_ms   on the clock: taking in, and from there to the last record
    reading_ms, beside_ms   processor time of reading, and of all that is not reading
    """

    clips: int
    add_ms: float
    run_ms: float
    reading_ms: float
    beside_ms: float


def pace(clips: Sequence[Path], wanted: Wanted, workers: int, rounds: int) -> Pace:
    """Read every one of ``clips`` ``rounds`` times with so many workers on as many cores.

    Starting a process and loading the network is not counted: a night does it once. Raises CaseloadError when a clip
    cannot be read.
    """
    with tempfile.TemporaryDirectory() as home:
        crew = LocalCrew(workers, LIMITS, cores=cores(workers))
        try:
            jobs = [_job(number, clip, wanted, home) for number, clip in enumerate([*clips] * rounds)]
            _do([_job(-1 - number, clips[0], wanted, home) for number in range(workers)], crew)
            cpu_s, begun_s = _cpu_s(crew), time.perf_counter()
            _do(jobs, crew)
            took_s, cpu_s = time.perf_counter() - begun_s, _cpu_s(crew) - cpu_s
        finally:
            crew.close()
    peak_mib = max(guard.peak_mib for guard in crew.guards)
    return Pace(workers, 60 * len(jobs) / took_s, cpu_s / len(jobs), peak_mib)


def cores(count: int) -> tuple[int, ...]:
    """Numbers of the first ``count`` processors that this process may use; none = this system does not tell."""
    affinity = getattr(psutil.Process(), "cpu_affinity", None)
    return tuple(affinity()[:count]) if affinity else ()


def _job(number: int, clip: Path, wanted: Wanted, home: str) -> Job:
    """A job whose results no other job can take for its own."""
    folder, settings = f"{number}/result", {"film": False}
    network, digest = str(wanted.network), wanted.network_hash
    told = {"clip": clip.stem}
    return Job(
        number, (str(clip),), content_hash(clip), home, folder, told, settings, network, digest, wanted.precision
    )


def _do(jobs: Sequence[Job], crew: LocalCrew) -> None:
    waiting, done = list(reversed(jobs)), 0
    while done < len(jobs):
        while waiting and crew.free():
            crew.give(waiting.pop())
        for event in crew.wait(LOOK_EVERY_S):
            if isinstance(event, Outcome):
                done += 1
                _check(event)


def _check(outcome: Outcome) -> None:
    if outcome.ending != "read":
        raise CaseloadError(f"This cannot be measured: {outcome.words}")


def _cpu_s(crew: LocalCrew) -> float:
    crew.wait(0)
    return sum(guard.cpu_s for guard in crew.guards)


def cost(clip: Path, wanted: Wanted, count: int) -> Cost:
    """A whole night of ``count`` clips from adding to the last record, with the landmarks of ``clip`` instead of
    pictures, so that what is not reading shows."""
    with tempfile.TemporaryDirectory() as folder:
        home, films = Path(folder, "home"), Path(folder, "clips")
        films.mkdir()
        _put_tables(_landmarks(clip, wanted, folder), films, count)
        with closing(open_store(home)) as store:
            begun_s = time.perf_counter()
            add(store, films, settle_s=0)
            plan(store, wanted)
            added_s = time.perf_counter()
            crew, cpu_s = LocalCrew(1, LIMITS, cores(1)), time.process_time()
            tally = Run(store, wanted, crew).go()
            ended_s, cpu_s = time.perf_counter(), time.process_time() - cpu_s
    if tally.read != count:
        raise CaseloadError(f"Only {tally.read} of {count} tables could be read.")
    parts = (added_s - begun_s, ended_s - added_s, crew.guards[0].cpu_s, cpu_s)
    return Cost(count, *(1000 * part / count for part in parts))


def _landmarks(clip: Path, wanted: Wanted, home: str) -> Path:
    """The table that reading ``clip`` leaves."""
    crew = LocalCrew(1, LIMITS)
    try:
        job = _job(0, clip, wanted, home)
        _check(read_alone(job, crew, lambda _: None))
    finally:
        crew.close()
    return Path(home, job.folder, "landmarks.csv")


def _put_tables(table: Path, folder: Path, count: int) -> None:
    tracks = read_table(table)
    for number in range(count):
        write_table(replace(tracks, xy_px=tracks.xy_px + SHIFT_PX * number), folder / f"clip{number:04}.csv")
