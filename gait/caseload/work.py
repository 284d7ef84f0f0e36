"""One clip: read it into its folder of the caseload. What a worker does, with the base installation alone."""

from pathlib import Path

from gait.caseload.corrected import with_overrulings, write_corrected_page
from gait.caseload.jobs import Job, Progress
from gait.caseload.made import Made
from gait.caseload.making import made_of
from gait.errors import GaitError, TrialError
from gait.hashing import content_hash
from gait.reading import ReadingSettings, is_table
from gait.reuse import Asked, read_or_reuse
from gait.trial import Trial
from pose.errors import NetworkError
from pose.network import Network, NetworkSettings, Precision


def read(job: Job, progress: Progress | None = None) -> Made:
    """Read the clip of ``job``, or take what an earlier reading left, and return what the store keeps of it.

    The folder appears whole; where it is there already, because the last run ended between writing it and noting it,
    it is taken as it is. What people said against an earlier reading of the same content holds for this one as well.
    Raises PoseError, GaitError or OSError.
    """
    source, folder = source_of(job), Path(job.home) / job.folder
    network = None if is_table(source) else the_network(job)
    asked = Asked(source, job.sha256, Trial(**job.trial), ReadingSettings(**job.settings), network)
    siblings = sorted(item.parent for item in folder.parent.glob("*/record.json") if item.parent.name[0] != ".")
    reading, _ = read_or_reuse(asked, folder, {job.sha256: siblings}, progress)
    record = with_overrulings(Path(job.home), job.sha256, reading.record)
    write_corrected_page(Path(job.home), job.sha256, job.folder, record)
    return made_of(record)


def source_of(job: Job) -> Path:
    """The first place that holds the content that was added. Raises GaitError when none does."""
    there = [path for path in map(Path, job.sources) if path.exists()]
    for path in there:
        if content_hash(path) == job.sha256:
            return path
    if there:
        raise GaitError(f"{there[0]} has changed since it was added. Add its folder again.")
    raise GaitError(f"{job.sources[0]} is gone. Put it back, or add the folder in which it lies now.")


def the_network(job: Job) -> Network:
    """The network of ``job``, on one thread; loaded once for all jobs that this process does with it.

    Raises NetworkError when the file here is not the one that was asked for.
    """
    if not job.network:
        raise TrialError(f"{Path(job.sources[0]).name} is a film and needs a network to be read.")
    key = job.network, job.precision
    if key not in _loaded:
        _loaded.clear()
        _loaded[key] = Network.load(job.network, NetworkSettings(precision=job.precision, threads=1))
    if _loaded[key].card.sha256 != job.network_hash:
        raise NetworkError(f"{job.network} is another network here than where the run was started. Copy it here.")
    return _loaded[key]


#: The network of this process.
_loaded: dict[tuple[str, Precision], Network] = {}
