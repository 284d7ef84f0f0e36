"""What a record depends on, as one key: the same key twice is the same reading, another one makes a record stale."""

import dataclasses
import hashlib
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from gait.reading import ReadingSettings
from gait.trial import Trial
from gait.versions import versions
from pose.network import Precision, read_card
from pose.networks import current_network

#: Folder of all results, within the home of a caseload.
RESULTS: Final = "clips"
#: A caseload leaves no films unless they are asked for.
UNATTENDED: Final = ReadingSettings(film=False)
#: What a clip is called reaches no number, and what the clock turned out to be is found by the reading itself.
NOT_OF_TRIAL: Final = ("clip", "clock_known")
#: A film shows a record and changes nothing in it.
NOT_OF_SETTINGS: Final = ("film",)


@dataclass(frozen=True, slots=True)
class Wanted:
    """How all clips of a caseload are to be read.

    network       the .onnx file; its card lies beside it
    network_hash  of the network as its card gives it, whichever of its files a machine then runs: two workstations
                  with different processors want the same
    precision     as asked for, "auto" among them
    """

    network: Path
    network_hash: str
    network_name: str
    precision: Precision = "auto"
    settings: ReadingSettings = UNATTENDED
    version: str = ""


def wanted_of(
    network: Path | None = None, precision: Precision = "auto", settings: ReadingSettings = UNATTENDED
) -> Wanted:
    """What reading with ``network`` (None = the one in use) wants. Raises NetworkError when its card cannot be read."""
    path = (network or current_network()).resolve()
    card = read_card(path.with_suffix(".toml"))
    return Wanted(path, card.sha256, card.name, precision, settings, versions()["pawfall"])


def reading_part(wanted: Wanted, kind: str) -> str:
    """SHA-256 of what is the same for all clips of a ``kind``; a landmark table needs no network."""
    settings = dataclasses.asdict(wanted.settings)
    kept = {name: value for name, value in settings.items() if name not in NOT_OF_SETTINGS}
    network = None if kind == "table" else [wanted.network_hash, wanted.precision]
    return _digest([network, kept, wanted.version])


def reading_key(wanted: Wanted, kind: str, trial: Trial, fps: float | None = None) -> str:
    """SHA-256 of everything that the record of a clip depends on, besides its content."""
    said = {name: value for name, value in dataclasses.asdict(trial).items() if name not in NOT_OF_TRIAL}
    return _digest([reading_part(wanted, kind), said, fps])


def folder_of(sha256: str, key: str) -> Path:
    """Where the files of a reading lie, relative to the home of the caseload."""
    return Path(RESULTS) / sha256[:16] / key[:12]


def _digest(what: Any) -> str:
    return hashlib.sha256(json.dumps(what, sort_keys=True).encode()).hexdigest()
