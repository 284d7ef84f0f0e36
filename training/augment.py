"""Augmentation: what a phone does to a picture, while drawing; where the crop lies, on the device, while training."""

import math
import os
from dataclasses import dataclass
from functools import cache
from typing import Any

import cv2
import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor
from torch.nn import functional

from training.data import STORED_SIZE, Footage, to_rgb
from training.network import INPUT_SIZE
from training.photometric import LightSettings, change_light, uniform

#: Grey of everything outside the picture, as when reading.
OUTSIDE = 114.0 / 255.0
#: Where an empty room is cropped, as if a dog stood there: x0, y0, x1, y1, px of the stored picture.
_NO_DOG_BOX = (60.0, 40.0, 324.0, 250.0)
#: How many waves bend a picture, their shortest and longest length as shares of its width, and how often their undoing
#: is refined: each round leaves at most ``bend / _WAVES`` of the error.
_WAVES, _WAVE, _ROUNDS = 3, (0.35, 1.5), 24


@cache
def _phone() -> Any:
    """Compression, noise, blur, colour and shade; nothing that moves a pixel. Ranges: common practice, no source."""
    os.environ["NO_ALBUMENTATIONS_UPDATE"] = "1"  # it would ask the network for its newest version
    import albumentations as a

    sharp = [
        a.MotionBlur(blur_limit=(3, 7), p=1),
        a.Defocus(radius=(1, 3), alias_blur=(0.1, 0.3), p=1),
        a.GaussianBlur(sigma_limit=(0.3, 1.6), p=1),
    ]
    colour = [
        a.HueSaturationValue(12, 35, 15, p=1), a.RGBShift(18, 18, 18, p=1), a.ToGray(p=0.3), a.PlanckianJitter(p=1),
    ]  # fmt: skip
    tone = [a.RandomToneCurve(scale=0.25, p=1), a.RandomGamma((60, 160), p=1), a.CLAHE(clip_limit=(1, 3), p=1)]
    noise = [
        a.ISONoise((0.01, 0.06), (0.1, 0.3), p=1),  # beyond 0.3 its lightness overflows: white dots on dark coats
        a.GaussNoise((0.02, 0.10), p=1),
        a.MultiplicativeNoise((0.85, 1.15), per_channel=True, p=1),
    ]
    crisp = [a.Sharpen((0.1, 0.5), p=1), a.UnsharpMask((3, 5), p=1)]
    shade = [a.RandomShadow(shadow_intensity_range=(0.2, 0.5), p=1)]
    smooth = {"downscale": cv2.INTER_AREA, "upscale": cv2.INTER_LINEAR}
    stored = [a.Downscale((0.4, 0.8), interpolation_pair=smooth, p=1), a.ImageCompression(quality_range=(12, 85), p=1)]
    chances = ((shade, 0.06), (sharp, 0.22), (colour, 0.4), (tone, 0.35), (noise, 0.45), (crisp, 0.15), (stored, 0.6))
    return a.Compose([a.OneOf(kinds, p=share) for kinds, share in chances])


def degrade(rgb: NDArray[np.uint8], rng: np.random.Generator) -> NDArray[np.uint8]:
    """(H, W, 3) uint8 as a phone or webcam might have stored it; same ``rng`` state, same picture."""
    phone = _phone()
    phone.set_random_seed(int(rng.integers(2**31)))
    return np.asarray(phone(image=rgb)["image"])


@dataclass(frozen=True, slots=True)
class CropSettings:
    """How crops lie around the dog's outline, as shares of the crop; the reading side crops alike.

    size_px        width and height of the network's picture; the shipped network's, smaller only for trials
    tight_share    of the crops hold a dog that faces right, as the window that follows a dog shows it
    tight, wide    share of the width that the dog fills; wide crops hold any dog, as the search for a dog shows it
    turn_deg, stretch  camera roll and lens: largest turn, and largest change of aspect as a logarithm
    jitter         share of the width by which the window of the frames before may miss
    hidden_weight  of a landmark that cannot be seen: its place is still the best guess
    bend           how far the picture is bent, as if of rubber, so that dogs have proportions that nobody drew: largest
                   local stretch or shear, a share, 2 at most: at 3 the picture could fold over
    """

    size_px: tuple[int, int] = INPUT_SIZE
    tight_share: float = 0.8
    tight: tuple[float, float] = (0.52, 0.92)
    wide: tuple[float, float] = (0.12, 0.5)
    turn_deg: float = 8.0
    stretch: float = 0.08
    jitter: float = 0.10
    hidden_weight: float = 0.5
    bend: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Batch:
    """Crops with their truth.

    picture  (N, 3, H, W) RGB 0..1
    xy       (N, 6, 2) px of the crop; NaN = not in the crop
    hidden   (N, 6) bool, and weight (N, 6) of each landmark in the loss; 0 = nothing is known of it
    right    (N,) 0/1, faces right in the crop; dog (N,) 0/1, there is a dog; tight (N,) bool
    """

    picture: Tensor
    xy: Tensor
    hidden: Tensor
    weight: Tensor
    right: Tensor
    dog: Tensor
    tight: Tensor


@dataclass(frozen=True, slots=True, eq=False)
class Bend:
    """Smooth displacement of crops by K waves, one after the other: across (N, K, 2) rad/px, phase (N, K) rad, push
    (N, K, 2) px."""

    across: Tensor
    phase: Tensor
    push: Tensor

    def __call__(self, xy: Tensor) -> Tensor:
        """(N, P, 2) px of the straight crop that the places ``xy`` (N, P, 2) px of the bent one show."""
        for k in range(self.phase.shape[1]):
            xy = xy + self._pushed(xy, k)
        return xy

    def undone(self, xy: Tensor) -> Tensor:
        """(N, P, 2) px of the bent crop where ``xy`` (N, P, 2) px of the straight one are shown; within 0.01 px."""
        for k in reversed(range(self.phase.shape[1])):
            straight = xy
            for _ in range(_ROUNDS):
                xy = straight - self._pushed(xy, k)
        return xy

    def _pushed(self, xy: Tensor, k: int) -> Tensor:
        wave = torch.sin(torch.einsum("npi,ni->np", xy, self.across[:, k]) + self.phase[:, k, None])
        return wave[..., None] * self.push[:, k, None, :]


def draw_bend(n: int, rng: torch.Generator, s: CropSettings) -> Bend:
    """Random waves, each with the largest slope that ``s.bend`` shares out among them; none for 0."""
    waves = _WAVES if s.bend > 0 else 0
    way, phase, aim = torch.rand((3, n, waves), generator=rng, device=rng.device) * (2 * math.pi)
    length, slope = torch.rand((2, n, waves), generator=rng, device=rng.device)
    number = 2 * math.pi / ((_WAVE[0] + (_WAVE[1] - _WAVE[0]) * length) * s.size_px[0])
    size = slope * s.bend / max(waves, 1) / number
    return Bend(_arrow(way, number), phase, _arrow(aim, size))


def _arrow(angle: Tensor, length: Tensor) -> Tensor:
    return torch.stack([torch.cos(angle), torch.sin(angle)], -1) * length[..., None]


def augment(
    part: Footage,
    rng: torch.Generator,
    settings: CropSettings = CropSettings(),
    *,
    light: LightSettings | None,
) -> Batch:
    """Random crops of those pictures, on the device of ``rng``; light None = light and sharpness stay as they are.

    Mirroring exchanges nothing: near stays near.
    """
    tight = uniform(rng, len(part), 0, 1) < settings.tight_share
    turn, shift = crop_matrices(part, tight, rng, settings)
    bend = draw_bend(len(part), rng, settings)
    picture = _sampled(to_rgb(part.in_memory()), turn, shift, bend, settings.size_px)
    xy = bend.undone(torch.einsum("nij,nkj->nki", turn, part.xy) + shift[:, None, :])
    edge = torch.tensor(settings.size_px, device=rng.device) - 0.5
    inside = ((xy > -0.5) & (xy < edge)).all(-1)
    mirrored = _determinant(turn) < 0
    return Batch(
        picture=picture.clamp(0, 1) if light is None else change_light(picture, rng, light),
        xy=torch.where(inside[..., None], xy, torch.nan),
        hidden=part.hidden,
        weight=torch.where(part.hidden & inside, settings.hidden_weight, 1.0) * part.known,
        right=(part.facing_right ^ mirrored).float(),
        dog=inside.any(dim=1).float(),
        tight=tight,
    )


def crop_matrices(part: Footage, tight: Tensor, rng: torch.Generator, s: CropSettings) -> tuple[Tensor, Tensor]:
    """(N, 2, 2) and (N, 2): stored px to crop px. Tight crops are mirrored so that the dog faces right."""
    n, (w, h) = len(part), s.size_px
    none = torch.isnan(part.box[:, :1])
    box = torch.where(none, torch.tensor(_NO_DOG_BOX, device=rng.device), part.box)
    span = (box[:, 2:] - box[:, :2]).clamp(min=1.0)
    scale = _scales(span, tight, rng, s)
    mirror = torch.where(tight, ~part.facing_right, uniform(rng, n, 0, 1) < 0.5)
    turn = _turns(scale, mirror, rng, s)
    spare = (torch.tensor([w, h], device=rng.device) - span * scale[:, None]).clamp(min=0) / 2
    jitter = s.jitter * w
    free = torch.where(tight[:, None], torch.minimum(spare, spare * 0.5 + jitter), spare + jitter / 3)
    free = torch.maximum(free, torch.tensor([jitter, s.jitter * h], device=rng.device) / 2)
    middle = torch.tensor([(w - 1) / 2, (h - 1) / 2], device=rng.device)
    aim = middle + free * (torch.rand((n, 2), generator=rng, device=rng.device) * 2 - 1)
    return turn, aim - torch.einsum("nij,nj->ni", turn, (box[:, :2] + box[:, 2:]) / 2)


def _scales(span: Tensor, tight: Tensor, rng: torch.Generator, s: CropSettings) -> Tensor:
    """(N,) crop px per stored px, so that a dog of ``span`` (N, 2) px fills the wanted share, and its height fits."""
    w, h = s.size_px
    low, high = (math.log(edge) for edge in s.wide)
    share = torch.where(
        tight, uniform(rng, len(span), *s.tight), torch.exp(uniform(rng, len(span), low, high))
    )  # small dogs are as common as large ones, by factors
    return torch.minimum(share * w / span[:, 0], 0.95 * h / span[:, 1]).clamp(0.05, 6.0)


def _turns(scale: Tensor, mirror: Tensor, rng: torch.Generator, s: CropSettings) -> Tensor:
    """(N, 2, 2): scaled, stretched along x, mirrored, then turned."""
    angle = torch.deg2rad(uniform(rng, len(scale), -s.turn_deg, s.turn_deg))
    stretch = torch.exp(uniform(rng, len(scale), -s.stretch, s.stretch))
    cos, sin = torch.cos(angle) * scale, torch.sin(angle) * scale
    across = stretch * torch.where(mirror, -1.0, 1.0)
    return torch.stack([torch.stack([cos * across, -sin], -1), torch.stack([sin * across, cos], -1)], 1)


def _determinant(turn: Tensor) -> Tensor:
    return turn[:, 0, 0] * turn[:, 1, 1] - turn[:, 0, 1] * turn[:, 1, 0]


def _inverse(turn: Tensor) -> Tensor:
    (a, b), (c, d) = turn[:, 0].unbind(1), turn[:, 1].unbind(1)
    swapped = torch.stack([torch.stack([d, -b], -1), torch.stack([-c, a], -1)], 1)
    return swapped / _determinant(turn)[:, None, None]


def _sampled(picture: Tensor, turn: Tensor, shift: Tensor, bend: Bend, size_px: tuple[int, int]) -> Tensor:
    """(N, 3, h, w) crops of (N, 3, 288, 384); outside is grey."""
    w, h = size_px
    picture = _softened(picture, _determinant(turn).abs().sqrt()) - OUTSIDE
    down, across = torch.meshgrid(
        torch.arange(h, device=turn.device), torch.arange(w, device=turn.device), indexing="ij"
    )
    out = bend(torch.stack([across, down], -1).float().reshape(1, -1, 2).expand(len(turn), -1, -1)) - shift[:, None, :]
    stored = torch.einsum("nij,npj->npi", _inverse(turn), out)
    grid = (stored * 2 + 1) / torch.tensor(STORED_SIZE, device=turn.device) - 1
    sampled = functional.grid_sample(picture, grid.reshape(-1, h, w, 2), mode="bilinear", align_corners=False)
    return sampled + OUTSIDE


def _softened(picture: Tensor, scale: Tensor) -> Tensor:
    """Pictures that are shrunk to half or less are averaged first, as when reading, against flicker in fine texture."""
    factor = (1 / scale).long()
    for kernel, low in ((3, 2), (5, 4), (7, 6), (9, 8)):
        last = low + 1 if kernel < 9 else 10**6
        rows = torch.nonzero((factor >= low) & (factor <= last))[:, 0]
        if len(rows):
            soft = functional.avg_pool2d(picture[rows], kernel, 1, kernel // 2, count_include_pad=False)
            picture = picture.index_copy(0, rows, soft)
    return picture
