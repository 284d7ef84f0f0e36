"""Networks that this user has adopted: the one in use, all before it, and the way back.

Each lies in a folder of its own with its card, its weights, and what it was adopted on. Nothing is ever deleted.
"""

import hashlib
import json
import os
import shutil
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import platformdirs

from pose.errors import NetworkError
from pose.network import read_card, shipped_network

CURRENT: Final = "current.toml"
NOTES: Final = "adopted.json"
#: Weights lie beside a network under its own name, or under this one in the folder of a training run.
WEIGHTS: Final = "weights.pt"


@dataclass(frozen=True, slots=True)
class Kept:
    """A network that was adopted: its file, its place among all that were, and the place of the one before (0 = the
    one that comes with pawfall)."""

    path: Path
    number: int
    before: int


def networks_folder() -> Path:
    """Where adopted networks lie, as this system keeps a user's data; it need not exist."""
    return platformdirs.user_data_path("pawfall", appauthor=False) / "networks"


def current_network() -> Path:
    """The adopted network, or the one that comes with pawfall."""
    kept = current(networks_folder())
    return shipped_network() if kept is None else kept.path


def current(folder: Path) -> Kept | None:
    """The adopted network in use; None = none was adopted. Raises NetworkError when it is not what it was."""
    file = folder / CURRENT
    if not file.is_file():
        return None
    try:
        words = tomllib.loads(file.read_text(encoding="utf-8"))
        number, digest = int(words["number"]), str(words["sha256"])
        found = _kept(folder, number)
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, KeyError, ValueError, TypeError) as error:
        raise NetworkError(f"{file} cannot be read ({error}); delete it to use the network that came along.") from error
    if found is not None and read_card(found.path.with_suffix(".toml")).sha256 != digest:
        raise NetworkError(f"{found.path} is not the network that was adopted; take it back: pawfall adopt --back.")
    return found


def _kept(folder: Path, number: int) -> Kept | None:
    if number == 0:
        return None
    homes = list(folder.glob(f"{number:03}-*"))
    if len(homes) != 1:
        raise NetworkError(f"The adopted network {number:03} is not in {folder}; delete {CURRENT} there to go without.")
    notes = json.loads((homes[0] / NOTES).read_text(encoding="utf-8"))
    return Kept(homes[0] / str(notes["file"]), number, int(notes["before"]))


def adopt(candidate: Path, notes: dict[str, Any], folder: Path) -> Path:
    """Copy ``candidate`` with all that belongs to it into ``folder`` and make it the one in use; returns its new place.

    notes  plain values, kept beside it
    """
    card, now = read_card(candidate.with_suffix(".toml")), current(folder)
    folder.mkdir(parents=True, exist_ok=True)
    number = 1 + max((int(home.name[:3]) for home in folder.glob("[0-9][0-9][0-9]-*")), default=0)
    home = folder / f"{number:03}-{candidate.stem}"
    partial = folder / f".{home.name}.partial-{os.getpid()}"
    try:
        partial.mkdir()
        for file in (candidate, candidate.with_suffix(".toml"), candidate.with_name(card.int8_file or candidate.name)):
            shutil.copyfile(file, partial / file.name)
        weights = weights_of(candidate)
        if weights is not None:
            shutil.copyfile(weights, partial / candidate.with_suffix(".weights.pt").name)
        words = {"file": candidate.name, "sha256": card.sha256, "before": now.number if now else 0, **notes}
        (partial / NOTES).write_text(json.dumps(words, indent=1, allow_nan=False) + "\n", encoding="utf-8")
        partial.rename(home)
    finally:
        shutil.rmtree(partial, ignore_errors=True)
    _use(folder, number, card.sha256)
    return home / candidate.name


def back(folder: Path) -> Path:
    """Make the network before the adopted one the one in use again; returns its place. Nothing is deleted."""
    if not (folder / CURRENT).is_file():
        raise NetworkError("No network was adopted; the one that comes with pawfall is in use.")
    number = int(tomllib.loads((folder / CURRENT).read_text(encoding="utf-8"))["number"])
    now = _kept(folder, number)
    if now is None:
        raise NetworkError("The network that comes with pawfall is in use; there is none before it.")
    before = _kept(folder, now.before)
    path = shipped_network() if before is None else before.path
    _use(folder, now.before, read_card(path.with_suffix(".toml")).sha256)
    return path


def _use(folder: Path, number: int, digest: str) -> None:
    """Name the network in use, in one step."""
    partial = folder / f".{CURRENT}.partial-{os.getpid()}"
    partial.write_text(f'number = {number}\nsha256 = "{digest}"\n', encoding="utf-8")
    partial.replace(folder / CURRENT)


def weights_of(network: Path) -> Path | None:
    """The weights that ``network`` was made from, where they lie beside it."""
    places = (network.with_suffix(".weights.pt"), network.with_name(WEIGHTS))
    return next((place for place in places if place.is_file()), None)


def came_from(network: Path, older: Path) -> bool:
    """Whether the card of ``network`` says that its training started from the weights of ``older``."""
    told = card_words(network).get("data", {}).get("start_sha256")
    weights = weights_of(older)
    return weights is not None and told == hashlib.sha256(weights.read_bytes()).hexdigest()


def card_words(network: Path) -> dict[str, Any]:
    """Everything on the card of ``network``. Raises NetworkError when it cannot be read."""
    read_card(network.with_suffix(".toml"))
    return tomllib.loads(network.with_suffix(".toml").read_text(encoding="utf-8"))
