"""What is handed to whoever reads a clip, and what comes back: plain values that travel as JSON to any machine.

Nothing heavy is loaded here: a reading process has begun before the libraries of reading are there.
"""

import errno
import shutil
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Final, Literal

from gait.caseload.made import Made, MeasureMade
from gait.command.edge import EXPECTED, OUR_FAULT, exit_code, fault, message
from pose.errors import NetworkError

#: What an OSError says when results cannot be written, whatever the clip.
DISK: Final = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EROFS})

#: What an OSError says when another attempt at the same clip, which its run has given up, was still writing; by the
#: second time it has ended.
CLASH: Final = frozenset({errno.ENOENT, errno.EEXIST, errno.ENOTEMPTY})
#: The one that reads for people; tests put stand-ins in its place.
READER: Final = "gait.caseload.work:read"

Ending = Literal["read", "failed", "halt", "died"]
#: Told how far a clip is: stage, done, in all.
Progress = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True)
class Job:
    """What a worker has to know to read one clip.

    task      number of the task in the queue
    sources   where the clip was found; the first place that still holds it is read
    sha256    of its content when it was added
    home      of the caseload; the results go to ``folder`` below it
    trial     fields of Trial
    settings  fields of ReadingSettings that differ from the defaults
    network, network_hash  path of the network and the hash on its card
    reader    'module:function' that does the reading
    """

    task: int
    sources: tuple[str, ...]
    sha256: str
    home: str
    folder: str
    trial: Mapping[str, Any] = field(default_factory=dict)
    settings: Mapping[str, Any] = field(default_factory=dict)
    network: str = ""
    network_hash: str = ""
    precision: Literal["auto", "fp32", "int8"] = "auto"
    reader: str = READER

    def as_dict(self) -> dict[str, Any]:
        """The job as JSON knows it."""
        return asdict(self)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a job.

    ending     "read"; "failed" = the clip cannot be used; "halt" = the next clip would fare no better: a full disk, the
               wrong network; "died" = the process that read it ended or was ended
    words      why it was not read, in one line
    exit_code  as `pawfall read` would give
    made       what the store keeps of the record, when it was read
    """

    task: int
    ending: Ending
    words: str = ""
    exit_code: int = 0
    made: Made | None = None

    def as_dict(self) -> dict[str, Any]:
        """The outcome as JSON knows it."""
        return asdict(self)


Reader = Callable[[Job, Progress | None], Made]


def job_of(told: Mapping[str, Any]) -> Job:
    """The job that ``as_dict`` wrote."""
    return Job(**{**told, "sources": tuple(told["sources"])})


def outcome_of(told: Mapping[str, Any]) -> Outcome:
    """The outcome that ``as_dict`` wrote."""
    made = told["made"]
    if made is None:
        return Outcome(**told)
    measures = tuple(MeasureMade(**measure) for measure in made["measures"])
    return Outcome(**{**told, "made": Made(**{**made, "measures": measures})})


def attempt(job: Job, reader: Reader, progress: Progress | None = None) -> Outcome:
    """Have ``reader`` do ``job``, whatever comes: every error becomes an outcome, so that the others go on."""
    try:
        try:
            return _read(job, reader, progress)
        except OSError as error:
            if error.errno not in CLASH:
                raise
            return _read(job, reader, progress)
    except MemoryError:
        return Outcome(job.task, "died", "no memory was left", OUR_FAULT)
    except EXPECTED as error:
        halt = isinstance(error, NetworkError) or (isinstance(error, OSError) and error.errno in DISK)
        return Outcome(job.task, "halt" if halt else "failed", message(error), exit_code(error))
    except Exception as error:  # one clip that shows a fault of ours must not stop a night of others
        return Outcome(job.task, "failed", fault(error), OUR_FAULT)


def _read(job: Job, reader: Reader, progress: Progress | None) -> Outcome:
    sweep(Path(job.home) / job.folder)
    return Outcome(job.task, "read", made=reader(job, progress))


def sweep(folder: Path) -> None:
    """Remove what an attempt that was cut off left of the results in ``folder``; whole results stay."""
    for rest in folder.parent.glob(f".{folder.name}.*"):
        shutil.rmtree(rest, ignore_errors=True)
    if folder.is_dir() and not (folder / "record.json").is_file():
        shutil.rmtree(folder)
