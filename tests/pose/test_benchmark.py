"""The benchmark handles every frame once in each of its parts, and counts time as it passes."""

import time

import numpy as np
import pytest
from fake_network import SIZE_PX, disc_clip

from pose.benchmark import Rate, best, measure, rate
from pose.heatmap import Heat
from pose.network import NetworkCard, calibrate
from pose.tracks import FloatArray


class Counting:
    """A network that counts the pictures it is shown."""

    card = NetworkCard("counting", SIZE_PX, "0")

    def __init__(self) -> None:
        self.seen = 0

    def run(self, pictures: np.ndarray) -> Heat:
        self.seen += len(pictures)
        n = len(pictures)
        return Heat(np.zeros((n, 6, 2, 2), np.float32), np.zeros((n, 6), np.float32), np.zeros(n, np.float32))

    def calibrated(self, mass: FloatArray) -> FloatArray:
        return calibrate(mass, ())


@pytest.mark.parametrize("frames", [8, 19], ids=["one batch", "two and a rest"])
def test_every_frame_is_run_once_alone_and_once_with_decoding(frames: int) -> None:
    network = Counting()
    rates = measure(disc_clip(frames=frames, width=64, height=48), network, repeat=2)
    assert network.seen == 8 + 2 * 2 * frames  # one batch to warm up
    assert min(rates.decode.fps, rates.network.fps, rates.both.fps) > 0


def test_a_rate_is_frames_over_seconds() -> None:
    def task() -> int:
        time.sleep(0.05)
        return 10

    found = rate(task)
    assert 20 < found.fps <= 200
    assert found.cpu_ms < 5  # sleeping takes no processor


def test_the_best_of_several() -> None:
    assert best([Rate(10, 3), Rate(12, 4), Rate(8, 2)]) == Rate(12, 2)
