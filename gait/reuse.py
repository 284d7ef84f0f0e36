"""Finds results of earlier readings, by the content of the clip, and says how much of them still holds."""

import dataclasses
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from gait.nouns import GaitRecord
from gait.reading import Followed, Reading, ReadingSettings, is_table, read_to_folder, record_of
from gait.reading import Progress as Report
from gait.trial import Trial
from gait.versions import versions
from pose.errors import PoseError
from pose.network import Network
from pose.table import read_table

#: The reading settings that reach the landmarks; the others reach only what is made from them.
OF_LANDMARKS: Final = ("fps", "rotate_deg", "start_s", "stop_s")
#: What is said of the filming that reaches the landmarks.
SAID: Final = ("facing", "filmed_fps")
#: Every result has these; a film only when one was asked for.
ALWAYS: Final = ("landmarks.csv", "contacts.csv", "strides.csv", "record.json", "report.html")

Earlier = Mapping[str, list[Path]]


@dataclass(frozen=True, slots=True)
class Asked:
    """What is wanted of one clip: its source, the hash of its content, what was filmed and how to read it."""

    source: Path
    sha256: str
    trial: Trial
    settings: ReadingSettings
    network: Network | None = None


def find_earlier(roots: Iterable[Path]) -> Earlier:
    """Hash of a clip's content -> folders at or below ``roots`` with results of reading that clip."""
    found: dict[str, list[Path]] = {}
    for root in roots:
        for file in sorted(root.rglob("record.json")) if root.is_dir() else ():
            digest = _reading(_told(file.parent)).get("source_sha256")
            if isinstance(digest, str) and not file.parent.name.startswith("."):
                found.setdefault(digest, []).append(file.parent)
    return found


def read_or_reuse(asked: Asked, folder: Path, earlier: Earlier, progress: Report | None = None) -> tuple[Reading, bool]:
    """Leave the results in ``folder``, from earlier ones where they hold; says whether the network was spared.

    Results that hold altogether stay untouched. Where only the landmarks hold, the rest is made from them anew.
    """
    here = _told(folder)
    if _landmarks_hold(here, asked) and _all_holds(here, asked, folder):
        followed = _followed(folder, here)
        if followed:
            record = record_of(asked.source, followed, asked.trial, asked.settings)
            return Reading(folder, record, followed.notes), True
    followed = _from_elsewhere(asked, earlier)
    reading = read_to_folder(
        asked.source,
        folder,
        asked.trial,
        network=asked.network,
        followed=followed,
        settings=asked.settings,
        progress=progress,
    )
    return reading, followed is not None


def record_again(folder: Path, trial: Trial) -> GaitRecord | None:
    """The record of a result, made anew from the landmarks in its folder; None when they are no longer there."""
    told = _told(folder)
    followed = _followed(folder, told) if told else None
    if followed is None:
        return None
    return record_of(Path(str(_reading(told).get("input", ""))), followed, trial, ReadingSettings())


def _from_elsewhere(asked: Asked, earlier: Earlier) -> Followed | None:
    for folder in earlier.get(asked.sha256, ()):
        told = _told(folder)  # read again: this folder may have been replaced since it was found
        followed = _followed(folder, told) if _landmarks_hold(told, asked) else None
        if followed:
            return followed
    return None


def _landmarks_hold(told: Mapping[str, Any], asked: Asked) -> bool:
    """Whether reading the clip now would give the same landmarks."""
    reading, network = _reading(told), asked.network
    made_by = reading.get("source_sha256"), _section(told, "versions").get("pawfall")
    if made_by != (asked.sha256, versions()["pawfall"]):
        return False
    settings, trial = dataclasses.asdict(asked.settings), dataclasses.asdict(asked.trial)
    if any(reading.get(name) != settings[name] for name in OF_LANDMARKS):
        return False
    if (_section(told, "trial").get("facing"), reading.get("filmed_fps")) != tuple(trial[name] for name in SAID):
        return False
    if is_table(asked.source):
        return True
    by = _section(_section(told, "settings"), "network").get("precision"), told.get("network_hash")
    return network is not None and by == (network.precision, network.sha256)


def _all_holds(told: Mapping[str, Any], asked: Asked, folder: Path) -> bool:
    """Whether the whole result would come out the same, given that its landmarks would."""
    reading, wanted = _reading(told), dataclasses.asdict(asked.settings)
    filmed = wanted.pop("film") and not is_table(asked.source)
    there = all((folder / name).is_file() for name in (*ALWAYS, "film.mp4") if name != "film.mp4" or filmed)
    same_settings = all(reading.get(name) == value for name, value in wanted.items())
    # the clock may have been found out by the reading itself; SAID covers what was said of it
    told_trial, trial = dict(_section(told, "trial")), dataclasses.asdict(asked.trial)
    found_out = {"filmed_fps", "clock_known"}
    same_trial = all(told_trial.get(name) == value for name, value in trial.items() if name not in found_out)
    return there and same_settings and same_trial and reading.get("input") == asked.source.name


def _followed(folder: Path, told: Mapping[str, Any]) -> Followed | None:
    """The landmarks of a result, as they were when it was made; None when its table cannot be read any more."""
    reading = _reading(told)
    try:
        tracks = read_table(folder / "landmarks.csv")
    except PoseError:
        return None
    return Followed(
        tracks,
        _section(told, "trial").get("filmed_fps"),
        tuple(reading.get("notes", ())),
        _section(_section(told, "settings"), "network"),
        told.get("network_hash", ""),
        str(reading.get("source_sha256", "")),
    )


def _told(folder: Path) -> Mapping[str, Any]:
    """What record.json in ``folder`` says; nothing when there is none that can be read."""
    try:
        told = json.loads((folder / "record.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return told if isinstance(told, dict) else {}


def _reading(told: Mapping[str, Any]) -> Mapping[str, Any]:
    return _section(_section(told, "settings"), "reading")


def _section(told: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    part = told.get(name)
    return part if isinstance(part, dict) else {}
