"""What a network must keep to be used for reading. Packages that bring one call this in their own tests:

    assert not faults(Network.load("its-name"))

It says nothing about how well dogs are read: for that, ``pawfall judge`` on pictures that a person marked.
"""

import re
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from pose.heatmap import STRIDE, Heat, probabilities
from pose.landmarks import LANDMARKS
from pose.network import Network

#: Probability by which an answer may differ when pictures are run together or one by one: rounding.
SAME = 1e-3
#: Mean probability of "not in this picture" that a picture of plain grey has to get at least.
NOTHING_THERE = 0.5


def faults(network: Network) -> list[str]:
    """Every way in which ``network`` does not keep what reading relies on, in plain sentences; none = use it."""
    width, height = network.card.size_px
    found = list(_card_faults(network))
    if width % STRIDE or height % STRIDE:
        return [*found, f"its pictures are {width} x {height} px; both have to be whole multiples of {STRIDE}"]
    pictures = _pictures(width, height)
    heat = network.run(pictures)
    form = list(_form_faults(heat, len(pictures), (height // STRIDE, width // STRIDE)))
    return [*found, *(form or _answer_faults(network, pictures, heat)), *_score_faults(network)]


def _pictures(width: int, height: int) -> NDArray[np.float32]:
    """(4, 3, height, width): plain grey, noise, a slope of light, bars."""
    rng = np.random.default_rng(0)
    slope = np.broadcast_to(np.linspace(0, 1, width), (3, height, width))
    bars = np.broadcast_to((np.arange(width) // 16 % 2).astype(float), (3, height, width))
    return np.stack([np.full((3, height, width), 0.45), rng.random((3, height, width)), slope, bars]).astype(np.float32)


def _card_faults(network: Network) -> Iterator[str]:
    if not network.name.strip():
        yield "it has no name"
    if not re.fullmatch("[0-9a-f]{64}", network.sha256):
        yield "its hash is not 64 hexadecimal digits, and results could not say which network they are from"


def _form_faults(heat: Heat, count: int, cells: tuple[int, int]) -> Iterator[str]:
    wanted = {"heat": (count, len(LANDMARKS), *cells), "absent": (count, len(LANDMARKS)), "facing": (count,)}
    for name, shape in wanted.items():
        values = np.asarray(getattr(heat, name))
        if values.shape != shape:
            yield f"{name} has the shape {values.shape}; {shape} is needed"
        elif not np.isfinite(values).all():
            yield f"{name} holds numbers that are not finite"


def _answer_faults(network: Network, pictures: NDArray[np.float32], heat: Heat) -> Iterator[str]:
    maps, absent = probabilities(heat, network.card.temperature)
    again = probabilities(network.run(pictures), network.card.temperature)
    if not (np.array_equal(maps, again[0]) and np.array_equal(absent, again[1])):
        yield "the same pictures get another answer the second time"
    singly = [probabilities(network.run(one[None]), network.card.temperature) for one in pictures]
    apart = max(
        float(np.abs(np.concatenate([one[part] for one in singly]) - whole).max())
        for part, whole in enumerate((maps, absent))
    )
    if apart > SAME:
        yield f"a picture gets another answer by itself than among others (by {apart:.3f})"
    if absent[0].mean() < NOTHING_THERE:
        yield f"in a picture of plain grey it is {1 - absent[0].mean():.0%} sure of a dog"


def _score_faults(network: Network) -> Iterator[str]:
    scores = network.calibrated(np.append(np.linspace(0, 1, 101), np.nan))
    if not np.isnan(scores[-1]):
        yield "the score of a missing place is not missing"
    if np.any((scores[:-1] < 0) | (scores[:-1] > 1)) or np.any(np.diff(scores[:-1]) < 0):
        yield "scores have to lie within 0 to 1 and not to fall while the mass rises"
