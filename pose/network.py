"""A keypoint network in ONNX form and the card that comes with it; the only place that knows onnxruntime."""

import hashlib
import os
import tomllib
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import onnxruntime as ort
from numpy.typing import NDArray

from pose.errors import NetworkError
from pose.heatmap import Heat
from pose.landmarks import LANDMARKS
from pose.tracks import FloatArray

OUTPUTS = ("heat", "absent", "facing")


@dataclass(frozen=True, slots=True)
class NetworkSettings:
    """How a network is run.

    threads    0 = as many as the machine has processors
    providers  in the order in which they are tried; those that this machine lacks are left out. The graphics
               provider is common on clinic machines with a card; CPU is always there.
    """

    threads: int = 0
    providers: tuple[str, ...] = ("CUDAExecutionProvider", "CPUExecutionProvider")


@dataclass(frozen=True, slots=True)
class NetworkCard:
    """What the card says that reading needs.

    size_px      (width, height) of the picture that the network takes
    sha256       of the network file
    temperature  divides the logits before the softmax; 1 = as trained
    score_knots  (mass, probability) rising pairs: mass around a peak to the probability that the landmark lies
                 within 5 % of body length there; none = mass is taken as it is
    """

    name: str
    size_px: tuple[int, int]
    sha256: str
    temperature: float = 1.0
    score_knots: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Network:
    """A loaded network: ``run`` it on pictures."""

    card: NetworkCard
    path: Path
    _session: Any = field(repr=False)

    @property
    def name(self) -> str:
        """The name on the card."""
        return self.card.name

    @property
    def sha256(self) -> str:
        """Hash of the network file, in hexadecimal digits."""
        return self.card.sha256

    @classmethod
    def load(cls, path: str | Path, settings: NetworkSettings = NetworkSettings()) -> "Network":
        """The network in ``path`` (.onnx), with the card of the same name (.toml) beside it.

        Raises NetworkError when either is missing, unreadable or does not belong to the other.
        """
        path = Path(path)
        if not path.is_file():
            raise NetworkError(
                f"There is no network at {path}. Give the path of an .onnx file with its .toml card beside it."
            )
        card = read_card(path.with_suffix(".toml"))
        found = hashlib.sha256(path.read_bytes()).hexdigest()
        if found != card.sha256:
            raise NetworkError(
                f"{path.name} is not the file that its card describes (hash {found[:12]}, the card says "
                f"{card.sha256[:12]}). Copy both files again from where they came from."
            )
        return cls(card, path, _open_session(path, card, settings))

    def run(self, pictures: NDArray[np.float32]) -> Heat:
        """Heat for pictures (N, 3, height, width), RGB in 0..1."""
        width, height = self.card.size_px
        if pictures.ndim != 4 or pictures.shape[1:] != (3, height, width):
            raise NetworkError(f"{self.name} takes pictures (N, 3, {height}, {width}); {pictures.shape} came.")
        heat, absent, facing = self._session.run(list(OUTPUTS), {"picture": np.ascontiguousarray(pictures, np.float32)})
        return Heat(heat, absent, facing[:, 0])

    def calibrated(self, mass: FloatArray) -> FloatArray:
        """Probability of lying within 5 % of body length, for mass of any shape; NaN stays NaN."""
        return calibrate(mass, self.card.score_knots)


def calibrate(mass: FloatArray, knots: tuple[tuple[float, float], ...]) -> FloatArray:
    """Straight lines between ``knots``, flat beyond them; without knots ``mass`` itself, cut to 0..1."""
    if not knots:
        return np.clip(mass, 0, 1)
    return np.interp(mass, [mass for mass, _ in knots], [share for _, share in knots])


def shipped_network() -> Path:
    """The network that came with the installation: the last by name, if there are several."""
    found = sorted(Path(str(item)) for item in files("models").iterdir() if item.name.endswith(".onnx"))
    if not found:
        raise NetworkError("No network came with this installation. Give one with --network, or install pawfall again.")
    return found[-1]


def read_card(path: Path) -> NetworkCard:
    """The card in ``path``; raises NetworkError when it cannot be used."""
    if not path.is_file():
        raise NetworkError(f"The card {path.name} is missing beside the network. Copy it to {path.parent} as well.")
    try:
        words = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise NetworkError(f"The card {path.name} cannot be read: {error}.") from error
    if tuple(words.get("landmarks", ())) != LANDMARKS:
        raise NetworkError(
            f"The card {path.name} lists the landmarks {list(words.get('landmarks', ()))}; "
            f"needed, in this order: {list(LANDMARKS)}."
        )
    return _card_of(words, path.name)


def _card_of(words: dict[str, Any], file_name: str) -> NetworkCard:
    try:
        width, height = words["input_px"]
        return NetworkCard(
            name=str(words["name"]),
            size_px=(int(width), int(height)),
            sha256=str(words["sha256"]).lower(),
            temperature=_temperature(words.get("temperature", 1.0)),
            score_knots=_knots(words.get("score", {})),
        )
    except KeyError as error:
        raise NetworkError(f"The card {file_name} lacks the entry {error}. Make it again with the export.") from error
    except (TypeError, ValueError) as error:
        raise NetworkError(f"The card {file_name} cannot be used: {error}.") from error


def _temperature(value: object) -> float:
    if not isinstance(value, int | float) or not 0 < value < float("inf"):
        raise ValueError(f"temperature is {value!r}, a number above 0 is needed")
    return float(value)


def _knots(table: dict[str, Any]) -> tuple[tuple[float, float], ...]:
    """Pairs from the lists ``mass`` and ``probability``."""
    mass, share = list(table.get("mass", ())), list(table.get("probability", ()))
    if len(mass) != len(share) or np.any(np.diff(mass) <= 0) or np.any(np.diff(share) < 0):
        raise ValueError("[score] needs two lists of one length, mass rising and probability not falling")
    return tuple((float(a), float(b)) for a, b in zip(mass, share, strict=True))


def _open_session(path: Path, card: NetworkCard, settings: NetworkSettings) -> Any:
    options = ort.SessionOptions()
    options.intra_op_num_threads = settings.threads or os.cpu_count() or 1
    options.log_severity_level = 3
    present = [name for name in settings.providers if name in ort.get_available_providers()]
    try:
        session = ort.InferenceSession(str(path), options, providers=present or ["CPUExecutionProvider"])
    except Exception as error:  # onnxruntime raises a dozen unrelated kinds
        raise NetworkError(f"{path.name} is not a network that can be run: {str(error).splitlines()[0]}") from error
    _check_ends(session, path.name, card)
    return session


def _check_ends(session: Any, file_name: str, card: NetworkCard) -> None:
    outputs = {item.name for item in session.get_outputs()}
    if [item.name for item in session.get_inputs()] != ["picture"] or not outputs >= set(OUTPUTS):
        raise NetworkError(
            f"{file_name} has to take 'picture' and give {', '.join(OUTPUTS)}; it gives {sorted(outputs)}."
        )
    shape = session.get_inputs()[0].shape
    if [size for size in shape[2:] if isinstance(size, int)] not in ([], [card.size_px[1], card.size_px[0]]):
        raise NetworkError(f"{file_name} takes pictures {shape[2:]} high and wide; its card says {card.size_px[::-1]}.")
