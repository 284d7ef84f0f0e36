"""How fast a clip can be decoded, a network run, and both at once: what reading can reach at best on this machine."""

import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from pose.ahead import ahead
from pose.find import Reader
from pose.read import ClipLike, ReadSettings
from pose.window import cut, whole

DEFAULTS = ReadSettings()


@dataclass(frozen=True, slots=True)
class Rate:
    """fps: frames per second of the clock on the wall; cpu_ms: ms of processor time per frame, over all threads.

    The latter hardly depends on what else the machine does at the time.
    """

    fps: float
    cpu_ms: float


@dataclass(frozen=True, slots=True)
class Rates:
    """Decoding alone, the network alone, and both at once with nothing in between."""

    decode: Rate
    network: Rate
    both: Rate


def measure(clip: ClipLike, network: Reader, settings: ReadSettings = DEFAULTS, *, repeat: int = 3) -> Rates:
    """The best of ``repeat`` goes through the whole clip for each figure, taken in turns.

    The network is run on batches as in reading, always of the same pictures: it takes as long on any.
    """
    size = network.card.size_px
    frames = list(islice(clip.frames(), settings.batch))
    pictures = np.stack([cut(one.rgb, whole(one.rgb.shape[1], one.rgb.shape[0], size), size) for one in frames])
    network.run(pictures)
    kinds: tuple[Callable[[], int], ...] = (
        lambda: sum(1 for _ in clip.frames()),
        lambda: _run_through(network, pictures, clip.frame_count),
        lambda: _both(clip, network, pictures, settings),
    )
    rounds = [[rate(kind) for kind in kinds] for _ in range(repeat)]
    return Rates(*(best(rates) for rates in zip(*rounds, strict=True)))


def rate(task: Callable[[], int]) -> Rate:
    """How fast ``task`` does what it counts."""
    wall, cpu = time.perf_counter(), time.process_time()
    count = max(task(), 1)
    wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
    return Rate(count / max(wall, 1e-9), 1000 * cpu / count)


def best(rates: Iterable[Rate]) -> Rate:
    """The highest rate and the least processor time, not necessarily of the same go."""
    fps, cpu_ms = zip(*((one.fps, one.cpu_ms) for one in rates), strict=True)
    return Rate(max(fps), min(cpu_ms))


def _run_through(network: Reader, pictures: NDArray[np.float32], frames: int) -> int:
    for first in range(0, frames, len(pictures)):
        network.run(pictures[: frames - first])
    return frames


def _both(clip: ClipLike, network: Reader, pictures: NDArray[np.float32], settings: ReadSettings) -> int:
    """As many runs of the network as decoded frames allow, while the next are being decoded."""
    waiting = done = 0
    for _ in ahead(clip.frames(), settings.ahead * settings.batch):
        waiting += 1
        if waiting == len(pictures):
            network.run(pictures)
            done, waiting = done + waiting, 0
    if waiting:
        network.run(pictures[:waiting])
    return done + waiting
