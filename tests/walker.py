"""A plain trotting dog in closed form, for tests that need tracks and care little which."""

import numpy as np

from pose.landmarks import CROUP, LANDMARKS, WITHERS
from pose.tracks import Tracks

BODY_PX = 200.0
PERIOD_S = 0.5
DUTY = 0.45
REACH_PX = 80.0
#: Touchdown of each paw as a share of the stride: diagonal pairs together, in the order of PAWS.
TROT = (0.0, 0.5, 0.5, 0.0)


def trotting(seconds: float = 4.0, fps: float = 60.0, *, period_s: float = PERIOD_S, noise_px: float = 0.5) -> Tracks:
    """Tracks of a dog trotting to the right on a belt; paws swing about shoulder and hip."""
    times = np.arange(round(seconds * fps)) / fps
    rng = np.random.default_rng(3)
    xy = np.empty((len(times), len(LANDMARKS), 2))
    for paw, touchdown in enumerate(TROT):
        forward, height = paw_path((times / period_s - touchdown) % 1)
        root = 500.0 if paw < 2 else 300.0
        xy[:, paw] = np.stack([root + forward, 400.0 - 8 * (paw % 2) - height], axis=-1)
    bounce = 4 * np.cos(4 * np.pi * times / period_s)
    xy[:, WITHERS] = np.stack([np.full(len(times), 300 + BODY_PX), 200 + bounce], axis=-1)
    xy[:, CROUP] = np.stack([np.full(len(times), 300.0), 200 - bounce], axis=-1)
    xy += rng.normal(0, noise_px, xy.shape)
    full = np.full((len(times), len(LANDMARKS)), 0.95)
    return Tracks(np.arange(len(times)), times, xy, full, full < 0, np.full((len(times), 2), 0.99))


def paw_path(share: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Forward place and height in px at a ``share`` (T,) of the stride since touchdown."""
    swing = np.clip((share - DUTY) / (1 - DUTY), 0, 1)
    stance = REACH_PX * (1 - 2 * share / DUTY)
    forward = np.where(share < DUTY, stance, -REACH_PX * np.cos(np.pi * swing))
    return forward, np.where(share < DUTY, 0.0, 40 * np.sin(np.pi * swing) ** 2)
