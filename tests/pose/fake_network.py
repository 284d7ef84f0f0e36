"""A network that finds coloured discs, and clips of discs that move as a dog's landmarks do. Truth in closed form."""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import onnx
from onnx import TensorProto, helper, numpy_helper

from pose.landmarks import LANDMARKS

SIZE_PX = (320, 256)

#: One colour per landmark, far apart in RGB (0..1) and from the grey of the background.
COLOURS = np.array([[1, 0, 0], [0, 0, 1], [1, 1, 0], [0, 1, 1], [1, 0, 1], [0, 1, 0]], np.float32)
GREY = 0.45


def card_text(digest: str, /, **changes: str) -> str:
    """A card for the fake network; ``changes`` replace entries by other TOML text, "" leaves the entry out."""
    entries = {
        "name": '"discs"',
        "sha256": f'"{digest}"',
        "landmarks": str(list(LANDMARKS)).replace("'", '"'),
        "input_px": str(list(SIZE_PX)),
        **changes,
    }
    return "\n".join(f"{key} = {value}" for key, value in entries.items() if value) + "\n"


def write_fake_network(folder: Path, **changes: str) -> Path:
    """An ONNX file and its card in ``folder``; the path of the former."""
    path = folder / "discs.onnx"
    onnx.save(_model(), path)
    path.with_suffix(".toml").write_text(card_text(hashlib.sha256(path.read_bytes()).hexdigest(), **changes))
    return path


def blind_network(folder: Path, name: str = "blind", card: str = "") -> Path:
    """One that takes the near fore paw for the croup and the croup for it; ``card``: more TOML text."""
    folder.mkdir(parents=True)
    path = folder / "discs.onnx"
    onnx.save(_model((5, 1, 2, 3, 4, 0)), path)
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    path.with_suffix(".toml").write_text(card_text(digest, name=f'"{name}"') + card)
    return path


def _model(order: tuple[int, ...] = tuple(range(6))) -> onnx.ModelProto:
    """Closeness of each pixel to each colour, averaged over overlapping squares; "absent" is a constant."""
    sharp = np.float32(24.0)
    constants = {
        "weights": (2 * sharp * COLOURS[list(order)])[:, :, None, None],
        "bias": -sharp * (COLOURS[list(order)] ** 2).sum(axis=1),
        "sharp": sharp,
        "tiny": np.float32(1e-6),
        "axis": np.array([1]),
        "zero": np.float32(0),
        "inner": np.array([1, 2, 3]),
        "outer": np.array([2, 3]),
    }
    nodes = [
        helper.make_node("AveragePool", ["picture"], ["half"], kernel_shape=[2, 2], strides=[2, 2]),  # for speed
        helper.make_node("Conv", ["half", "weights", "bias"], ["linear"]),
        helper.make_node("Mul", ["half", "half"], ["squares"]),
        helper.make_node("ReduceSum", ["squares", "axis"], ["length"], keepdims=1),
        helper.make_node("Mul", ["length", "sharp"], ["square"]),
        helper.make_node("Sub", ["linear", "square"], ["closeness"]),
        helper.make_node("Exp", ["closeness"], ["likely"]),
        helper.make_node("AveragePool", ["likely"], ["pooled"], kernel_shape=[6, 6], strides=[2, 2], pads=[2] * 4),
        helper.make_node("Add", ["pooled", "tiny"], ["safe"]),
        helper.make_node("Log", ["safe"], ["heat"]),
        helper.make_node("ReduceSum", ["heat", "outer"], ["sums"], keepdims=0),
        helper.make_node("Mul", ["sums", "zero"], ["nought"]),
        helper.make_node("Sub", ["nought", "one"], ["absent"]),
        helper.make_node("ReduceSum", ["picture", "inner"], ["light"], keepdims=0),
        helper.make_node("Mul", ["light", "zero"], ["dark"]),
        helper.make_node("Unsqueeze", ["dark", "axis"], ["facing"]),
    ]
    constants["one"] = np.float32(1)
    graph = helper.make_graph(
        nodes,
        "discs",
        [helper.make_tensor_value_info("picture", TensorProto.FLOAT, ["n", 3, SIZE_PX[1], SIZE_PX[0]])],
        [
            helper.make_tensor_value_info("heat", TensorProto.FLOAT, ["n", 6, 64, 80]),
            helper.make_tensor_value_info("absent", TensorProto.FLOAT, ["n", 6]),
            helper.make_tensor_value_info("facing", TensorProto.FLOAT, ["n", 1]),
        ],
        [numpy_helper.from_array(np.asarray(value), name) for name, value in constants.items()],
    )
    return helper.make_model(graph, opset_imports=[helper.make_opsetid("", 17)], ir_version=9)


def paw_path(t_s: np.ndarray, phase: float, *, duty: float, stride_s: float, reach: float = 0.7) -> np.ndarray:
    """(T, 2) body lengths, x forward, y down, hip over 0: straight back in stance, an arc in swing."""
    turn = (t_s / stride_s + phase) % 1
    swing = np.clip((turn - duty) / (1 - duty), 0, 1)
    back = reach / 2 - reach * turn / duty
    forth = -reach / 2 + reach * (swing - np.sin(2 * np.pi * swing) / (2 * np.pi))
    return np.stack([np.where(turn < duty, back, forth), -0.12 * np.sin(np.pi * swing) ** 2], axis=-1)


def dog_landmarks(t_s: np.ndarray, *, stride_s: float = 0.5, duty: float = 0.42) -> np.ndarray:
    """(T, 6, 2) body lengths of a trot, facing right: x forward, y down, origin on the ground below the middle."""
    phases = {"near_fore": 0.0, "far_fore": 0.5, "near_hind": 0.5, "far_hind": 0.0}
    paws = [paw_path(t_s, phase, duty=duty, stride_s=stride_s) for phase in phases.values()]
    hips = ([0.45, 0], [0.47, -0.05], [-0.45, 0], [-0.43, -0.05])
    bounce = 0.02 * np.sin(4 * np.pi * t_s / stride_s)
    back = [np.stack([np.full_like(t_s, x), -1.1 + bounce], axis=-1) for x in (0.5, -0.5)]
    return np.stack([*(paw + hip for paw, hip in zip(paws, hips, strict=True)), *back], axis=1)


@dataclass(frozen=True)
class DiscFrame:
    """One picture of the clip."""

    index: int
    t_s: float
    rgb: np.ndarray


@cache
def grain(height: int, width: int) -> np.ndarray:
    """Grey noise, whose rows every frame (height, width) puts into an order of its own."""
    noise = np.random.default_rng(0).normal(0, 6, (height, width, 3))
    return np.clip(255 * GREY + noise, 0, 255).astype(np.uint8)


@dataclass(frozen=True)
class DiscClip:
    """A clip drawn when it is asked for. truth_px (T, 6, 2); frames of ``empty`` show no dog."""

    truth_px: np.ndarray
    fps: float
    width: int = 480
    height: int = 360
    radius_px: float = 6
    name: str = "discs"
    empty: frozenset[int] = field(default_factory=frozenset)

    @property
    def frame_count(self) -> int:
        return len(self.truth_px)

    def frames(self) -> Iterator[DiscFrame]:
        return (self.frame(number) for number in range(self.frame_count))

    def sample(self, count: int) -> list[DiscFrame]:
        return [
            self.frame(int(number)) for number in np.linspace(0, self.frame_count - 1, min(count, self.frame_count))
        ]

    def frame(self, number: int) -> DiscFrame:
        picture = grain(self.height, self.width)[np.random.default_rng(number).permutation(self.height)]
        if number not in self.empty:
            for mark in (1, 3, 0, 2, 4, 5):  # the far paws first, so that the near ones cover them
                x, y = (round(float(value) * 16) for value in self.truth_px[number, mark])
                colour = [int(255 * part) for part in COLOURS[mark]]
                cv2.circle(picture, (x, y), round(self.radius_px * 16), colour, -1, cv2.LINE_AA, 4)
        return DiscFrame(number, number / self.fps, picture)


def disc_clip(
    *, frames: int = 48, fps: float = 60.0, facing: str = "right", length_px: float = 90.0, drift_px_s: float = 0.0,
    middle_px: tuple[float, float] = (240.0, 260.0), empty: frozenset[int] = frozenset(), **sizes: int,
) -> DiscClip:  # fmt: skip
    """A trotting dog of discs, ``length_px`` px from withers to croup, its middle on the ground at ``middle_px``."""
    t_s = np.arange(frames) / fps
    xy = dog_landmarks(t_s) * [1 if facing == "right" else -1, 1] * length_px + middle_px
    xy[..., 0] += (drift_px_s * t_s)[:, None]
    return DiscClip(xy, fps, radius_px=0.07 * length_px, empty=empty, **sizes)
