"""A keypoint network in ONNX form and the card that comes with it; the only place that knows onnxruntime."""

import hashlib
import os
import tomllib
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from typing import Any, Literal

import numpy as np
import onnxruntime as ort
from numpy.typing import NDArray

from pose.errors import NetworkError
from pose.heatmap import Heat
from pose.landmarks import LANDMARKS
from pose.others import SIZE_PX, PointSession, brought, names
from pose.tracks import FloatArray

OUTPUTS = ("heat", "absent", "facing")

Precision = Literal["auto", "fp32", "int8"]
CPU = "CPUExecutionProvider"
#: Pictures that a processor takes at once: measured, 16 take 230 MiB more than 4 and a fifth more time a picture.
MOST_AT_ONCE = 4
#: Ending of the file with whole numbers, beside the one with floating-point numbers that it was made from.
INT8_ENDING = ".int8.onnx"
#: What numpy calls processors that multiply bytes eight lanes wide (AVX2 and all that came after it). Measured on such
#: a processor: 24 ms against 44 ms a picture on one core. Others were not measured and keep fp32.
FAST_WITH_BYTES = frozenset({"AVX2", "X86_V3", "X86_V4"})


@dataclass(frozen=True, slots=True)
class NetworkSettings:
    """How a network is run.

    precision  "auto" takes int8 where the card names such a file, the processor is of a kind on which it is known to be
               faster, and no graphics card is used. It goes by the kind of processor and not by a stopwatch, so that
               one machine always gives the same numbers, however busy it is
    threads    0 = as many as this process may use; each runs its own share of the pictures
    providers  in the order in which they are tried; those that this machine lacks are left out. The graphics
               provider is common on clinic machines with a card; CPU is always there.
    """

    precision: Precision = "auto"
    threads: int = 0
    providers: tuple[str, ...] = ("CUDAExecutionProvider", CPU)


@dataclass(frozen=True, slots=True)
class NetworkCard:
    """What the card says that reading needs.

    size_px      (width, height) of the picture that the network takes
    sha256       of the network file
    int8_file, int8_sha256  name and hash of the same network in whole numbers; "" = there is none
    temperature  divides the logits before the softmax; 1 = as trained
    score_knots  (mass, probability) rising pairs: mass around a peak to the probability that the landmark lies
                 within 5 % of body length there; none = mass is taken as it is
    """

    name: str
    size_px: tuple[int, int]
    sha256: str
    int8_file: str = ""
    int8_sha256: str = ""
    temperature: float = 1.0
    score_knots: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Network:
    """A loaded network: ``run`` it on pictures.

    path       the file in use
    precision  "fp32" or "int8"
    provider   what ONNX Runtime calls the part of the machine that it runs on
    """

    card: NetworkCard
    path: Path
    precision: Literal["fp32", "int8"]
    provider: str
    _session: Any = field(repr=False)
    _lanes: int = field(repr=False)
    _pool: Executor = field(repr=False)

    @property
    def name(self) -> str:
        """The name on the card."""
        return self.card.name

    @property
    def sha256(self) -> str:
        """Hash of the network file in use, in hexadecimal digits."""
        return self.card.int8_sha256 if self.precision == "int8" else self.card.sha256

    @classmethod
    def load(cls, path: str | Path, settings: NetworkSettings = NetworkSettings()) -> "Network":
        """The network in ``path`` (.onnx), with the card of the same name (.toml) beside it, or the one of that name
        that another package brings (pose.others).

        Raises NetworkError when either is missing, unreadable or does not belong to the other.
        """
        if not Path(path).is_file():
            return cls._brought(str(path), settings)
        path = Path(path)
        card = read_card(path.with_suffix(".toml"))
        present = [name for name in settings.providers if name in ort.get_available_providers()]
        present = present or [CPU]
        precision = _precision(card, present, settings)
        digest = card.sha256
        if precision == "int8":
            path, digest = path.with_name(card.int8_file), card.int8_sha256
        _check_file(path, digest)
        lanes = settings.threads or _processors()
        session = _open_session(path, card, present)
        provider = str(session.get_providers()[0])
        lanes = lanes if provider == CPU else 1  # a graphics card takes a whole batch at once
        return cls(card, path, precision, provider, session, lanes, ThreadPoolExecutor(lanes, "network"))

    @classmethod
    def _brought(cls, name: str, settings: NetworkSettings) -> "Network":
        found = brought(name)
        if found is None:
            known = f" Packages bring: {', '.join(names())}." if names() else ""
            raise NetworkError(
                f"There is no network at {name}. Give the path of an .onnx file with its .toml card beside it.{known}"
            )
        if isinstance(found.what, str | Path) and Path(found.what).is_file():
            return cls.load(found.what, settings)
        if not callable(found.what):
            raise NetworkError(f"The network {name} of another package is neither an .onnx file nor a callable.")
        card = NetworkCard(name, SIZE_PX, found.sha256)
        session = PointSession(name, found.what)
        return cls(card, Path(name), "fp32", "callable", session, 1, ThreadPoolExecutor(1, "network"))

    def run(self, pictures: NDArray[np.float32]) -> Heat:
        """Heat for pictures (N, 3, height, width), RGB in 0..1; each thread takes a share of them."""
        width, height = self.card.size_px
        if pictures.ndim != 4 or pictures.shape[1:] != (3, height, width):
            raise NetworkError(f"{self.name} takes pictures (N, 3, {height}, {width}); {pictures.shape} came.")
        pictures = np.ascontiguousarray(pictures, np.float32)
        least = 1 if self.provider != CPU else -(-len(pictures) // MOST_AT_ONCE)
        parts = np.array_split(pictures, max(min(self._lanes, len(pictures)), least, 1))
        results = list(self._pool.map(self._run_part, parts)) if len(parts) > 1 else [self._run_part(parts[0])]
        heat, absent, facing = (np.concatenate(outputs) for outputs in zip(*results, strict=True))
        return Heat(heat, absent, facing[:, 0])

    def _run_part(self, pictures: NDArray[np.float32]) -> list[NDArray[np.float32]]:
        outputs: list[NDArray[np.float32]] = self._session.run(list(OUTPUTS), {"picture": pictures})
        return outputs

    def calibrated(self, mass: FloatArray) -> FloatArray:
        """Probability of lying within 5 % of body length, for mass of any shape; NaN stays NaN."""
        return calibrate(mass, self.card.score_knots)


def _check_file(path: Path, digest: str) -> None:
    if not path.is_file():
        raise NetworkError(f"{path.name} is missing beside its card. Copy it there as well, or read with fp32.")
    found = hashlib.sha256(path.read_bytes()).hexdigest()
    if found != digest:
        raise NetworkError(
            f"{path.name} is not the file that its card describes (hash {found[:12]}, the card says "
            f"{digest[:12]}). Copy all its files again from where they came from."
        )


def _precision(card: NetworkCard, providers: list[str], settings: NetworkSettings) -> Literal["fp32", "int8"]:
    """What to run. Raises NetworkError when int8 is asked for and the card names no such file."""
    if settings.precision == "int8" and not card.int8_file:
        raise NetworkError(f"The card of {card.name} names no int8 file. Read with fp32 or auto, or export it again.")
    if settings.precision != "auto":
        return settings.precision
    fast = providers == [CPU] and processor_features() & FAST_WITH_BYTES
    return "int8" if card.int8_file and fast else "fp32"


def processor_features() -> frozenset[str]:
    """Names that numpy gives to what this processor can do."""
    told: Any = np.show_config(mode="dicts")
    features = told.get("SIMD Extensions", {})
    return frozenset([*features.get("baseline", ()), *features.get("found", ())])


def _processors() -> int:
    """Processors that this process may use: a container or a work queue may have been given a share of them."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def calibrate(mass: FloatArray, knots: tuple[tuple[float, float], ...]) -> FloatArray:
    """Straight lines between ``knots``, flat beyond them; without knots ``mass`` itself, cut to 0..1."""
    if not knots:
        return np.clip(mass, 0, 1)
    return np.interp(mass, [mass for mass, _ in knots], [share for _, share in knots])


def shipped_network() -> Path:
    """The network that came with the installation: the last by name, if there are several."""
    found = sorted(Path(str(item)) for item in files("models").iterdir() if item.name.endswith(".onnx"))
    found = [path for path in found if not path.name.endswith(INT8_ENDING)]
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
            **_int8(words.get("int8", {})),
            temperature=_temperature(words.get("temperature", 1.0)),
            score_knots=_knots(words.get("score", {})),
        )
    except KeyError as error:
        raise NetworkError(f"The card {file_name} lacks the entry {error}. Make it again with the export.") from error
    except (TypeError, ValueError) as error:
        raise NetworkError(f"The card {file_name} cannot be used: {error}.") from error


def _int8(table: dict[str, Any]) -> dict[str, str]:
    """The int8 file of a card; a table without one says why there is none."""
    name, digest = str(table.get("file", "")), str(table.get("sha256", "")).lower()
    if Path(name).name != name or bool(name) != bool(digest):
        raise ValueError("[int8] needs the plain name of a file beside the card, and its sha256")
    return {"int8_file": name, "int8_sha256": digest}


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


def _open_session(path: Path, card: NetworkCard, providers: list[str]) -> Any:
    options = ort.SessionOptions()
    options.intra_op_num_threads = 1  # the pictures of a batch are shared out instead, which leaves no thread waiting
    options.log_severity_level = 3
    try:
        session = ort.InferenceSession(str(path), options, providers=providers)
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
