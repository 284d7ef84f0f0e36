"""Changes of light, colour and sharpness of a batch of crops, on the device. Nothing here moves a pixel."""

import math
from dataclasses import dataclass

import torch
from torch import Tensor
from torch.nn import functional

#: Longest blur to each side, px.
_REACH = 5


@dataclass(frozen=True, slots=True)
class LightSettings:
    """How far light and sharpness are changed; common practice, no source.

    gamma       largest change of the exponent, as a logarithm
    gain_sd     SD of the gains of red, green and blue, as a logarithm
    colour      range of the factor on colourfulness; grey_share of the pictures have none
    hue_deg     largest turn of the hues; small, since coats have few colours
    contrast, brightness  range of the factor about mid grey, largest offset
    noise       largest SD of the noise; most pictures have little (the third power of an even draw)
    blur_share  of the pictures each are out of focus, smeared by movement, or enlarged from few pixels
    cover_share of the pictures each of two times have a box laid over something, of one colour or of another picture
    """

    gamma: float = 0.5
    gain_sd: float = 0.10
    colour: tuple[float, float] = (0.3, 1.5)
    grey_share: float = 0.06
    hue_deg: float = 15.0
    contrast: tuple[float, float] = (0.55, 1.35)
    brightness: float = 0.18
    noise: float = 0.09
    blur_share: float = 0.09
    cover_share: float = 0.22


def uniform(rng: torch.Generator, n: int, low: float, high: float) -> Tensor:
    """(N,) even draws between ``low`` and ``high``, on the device of ``rng``."""
    return torch.rand(n, generator=rng, device=rng.device) * (high - low) + low


def change_light(x: Tensor, rng: torch.Generator, settings: LightSettings = LightSettings()) -> Tensor:
    """(N, 3, H, W) RGB 0..1 as another camera might have seen it; same ``rng`` state, same pictures."""
    s = settings
    x = x.clamp(0, 1) ** torch.exp(_each(uniform(rng, len(x), -s.gamma, s.gamma)))
    x = torch.einsum("nij,njhw->nihw", _colour_matrices(len(x), rng, s), x)
    contrast, brightness = uniform(rng, len(x), *s.contrast), uniform(rng, len(x), -s.brightness, s.brightness)
    x = (x - 0.45) * _each(contrast) + 0.45 + _each(brightness)
    x = _covered(_blurred(x, rng, s), rng, s)
    strength = _each(uniform(rng, len(x), 0, 1)) ** 3 * s.noise
    return (x + torch.randn(x.shape, generator=rng, device=rng.device) * strength).clamp(0, 1)


def _each(value: Tensor) -> Tensor:
    return value[:, None, None, None]


def _colour_matrices(n: int, rng: torch.Generator, s: LightSettings) -> Tensor:
    """(N, 3, 3): hue turned about the grey axis, colourfulness and gains changed."""
    dev = rng.device
    mean = torch.full((3, 3), 1 / 3, device=dev)
    cross = torch.tensor([[0.0, -1, 1], [1, 0, -1], [-1, 1, 0]], device=dev) / math.sqrt(3)
    angle = torch.deg2rad(uniform(rng, n, -s.hue_deg, s.hue_deg))[:, None, None]
    one = torch.eye(3, device=dev)
    turn = torch.cos(angle) * one + (1 - torch.cos(angle)) * mean + torch.sin(angle) * cross
    colour = uniform(rng, n, *s.colour)
    colour = torch.where(uniform(rng, n, 0, 1) < s.grey_share, 0.0, colour)[:, None, None]
    gains = torch.exp(s.gain_sd * torch.randn((n, 3, 1), generator=rng, device=dev))
    return gains * ((colour * one + (1 - colour) * mean) @ turn)


def _blurred(x: Tensor, rng: torch.Generator, s: LightSettings) -> Tensor:
    """Some of the batch out of focus, smeared along a line, or enlarged from few pixels; one strength a batch."""
    k = round(len(x) * s.blur_share)
    if k == 0:
        return x
    strength, angle, share = (
        float(uniform(rng, 1, low, high)) for low, high in ((0.4, 2.2), (0, math.pi), (0.25, 0.7))
    )
    x = x.clone()
    x[:k] = _convolved(x[:k], _round(strength))
    x[k : 2 * k] = _convolved(x[k : 2 * k], _line(2 * strength, angle))
    small = functional.interpolate(x[2 * k : 3 * k], scale_factor=share, mode="area")
    x[2 * k : 3 * k] = functional.interpolate(small, size=x.shape[2:], mode="bilinear", align_corners=False)
    return x


def _offsets() -> tuple[Tensor, Tensor]:
    span = torch.arange(-_REACH, _REACH + 1, dtype=torch.float32)
    return span[:, None], span[None, :]


def _round(sd_px: float) -> Tensor:
    """Bell of that SD, (11, 11)."""
    down, right = _offsets()
    return torch.exp(-(down**2 + right**2) / (2 * sd_px**2))


def _line(half_px: float, angle: float) -> Tensor:
    """Straight line through the middle, ``half_px`` to each side, with soft edges, (11, 11)."""
    down, right = _offsets()
    along = right * math.cos(angle) + down * math.sin(angle)
    beside = right * math.sin(angle) - down * math.cos(angle)
    return (half_px + 0.5 - along.abs()).clamp(0, 1) * (1 - beside.abs()).clamp(0, 1)


def _convolved(x: Tensor, kernel: Tensor) -> Tensor:
    weight = (kernel / kernel.sum()).to(x.device)[None, None].expand(3, 1, -1, -1)
    return functional.conv2d(functional.pad(x, (_REACH,) * 4, mode="replicate"), weight, groups=3)


def _covered(x: Tensor, rng: torch.Generator, s: LightSettings) -> Tensor:
    """Bars and boxes over anything, paws too: a covered landmark keeps its place."""
    n, _, h, w = x.shape
    across, down = torch.arange(w, device=rng.device), torch.arange(h, device=rng.device)[:, None]
    for _ in range(2):
        cx, cy = _each(uniform(rng, n, 0, w)), _each(uniform(rng, n, 0, h))
        half_w, half_h = (_each(torch.exp(uniform(rng, n, 0.7, 3.6))) for _ in range(2))
        on = _each(uniform(rng, n, 0, 1)) < s.cover_share
        on = on & ((across - cx).abs() < half_w) & ((down - cy).abs() < half_h)
        plain = torch.rand((n, 3, 1, 1), generator=rng, device=rng.device)
        other = _each(uniform(rng, n, 0, 1)) < 0.5
        x = torch.where(on, torch.where(other, x.roll(1, 0), plain), x)
    return x
