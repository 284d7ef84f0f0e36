"""The state of a training run, and how it is kept between one sitting and the next."""

import hashlib
import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import torch
from torch import Tensor, nn

from pose.network import shipped_network
from training.errors import FitError
from training.network import PLAIN, Backbone, KeypointNetwork, Shape
from training.settings import FitSettings


@dataclass(slots=True)
class Best:
    """The smallest error on held-out dogs so far.

    error   body lengths; infinite = nobody looked
    step    at which it was seen
    looks   looks since then
    weights averaged weights of that moment; empty = nobody looked
    """

    error: float = math.inf
    step: int = 0
    looks: int = 0
    weights: dict[str, Tensor] = field(default_factory=dict)


@dataclass(slots=True)
class Run:
    """What a checkpoint holds: network, averaged weights, optimiser, how many steps are done, and the best look.

    All random numbers of a step follow from the seed and the step's number, so that there is no other state.
    """

    network: KeypointNetwork
    average: dict[str, Tensor]
    optimiser: torch.optim.Optimizer
    step: int
    best: Best = field(default_factory=Best)


def new_run(settings: FitSettings, device: torch.device) -> Run:
    """A run at its first step. Raises FitError when the weights to start from cannot be used."""
    torch.manual_seed(settings.seed)
    network = KeypointNetwork(settings.shape)
    if settings.start == "imagenet":
        network.backbone.load_imagenet()
    elif settings.start != "scratch":
        network.load_state_dict(read_weights(_start_file(settings), settings.shape))
        _go_back(network, settings.imagenet_share)
    for part in frozen_parts(network, settings.frozen):
        part.requires_grad_(False)
    network = network.to(device, memory_format=torch.channels_last)  # type: ignore[call-overload]
    optimiser = torch.optim.AdamW(_groups(network, settings), lr=settings.lr, fused=device.type == "cuda")
    return Run(network, {key: value.clone() for key, value in network.state_dict().items()}, optimiser, 0)


@torch.no_grad()
def _go_back(network: KeypointNetwork, share: float) -> None:
    """Move the backbone's weights ``share`` of the way back to those of ImageNet; the decoder stays."""
    if share:
        theirs = Backbone(network.backbone.size)
        theirs.load_imagenet()
        for own, first in zip(network.backbone.state_dict().values(), theirs.state_dict().values(), strict=True):
            if own.is_floating_point():
                own.lerp_(first, share)


def _groups(network: KeypointNetwork, settings: FitSettings) -> list[dict[str, object]]:
    """Parameters by how fast they learn and whether they decay."""
    groups: dict[tuple[float, float], list[nn.Parameter]] = {}
    for name, parameter in network.named_parameters():
        if not parameter.requires_grad:
            continue
        share = settings.backbone_lr if name.startswith("backbone.") else 1.0
        decay = settings.weight_decay if parameter.ndim > 1 else 0.0
        groups.setdefault((share, decay), []).append(parameter)
    return [{"params": group, "share": share, "weight_decay": decay} for (share, decay), group in groups.items()]


def frozen_parts(network: KeypointNetwork, count: int) -> list[nn.Module]:
    """The stem and the first blocks of the backbone, ``count`` in all, that stay as they are."""
    return [network.backbone.stem, *network.backbone.blocks][:count]


def _start_file(settings: FitSettings) -> Path:
    path = shipped_network().with_suffix(".weights.pt") if settings.start == "shipped" else Path(settings.start)
    if not path.is_file():
        raise FitError(
            f"start = {path}: no such file; give imagenet, scratch, shipped or a weights file of an earlier run."
        )
    return path


def start_facts(settings: FitSettings) -> dict[str, str]:
    """Hash of the weights that the run started from; none for a run that began with no weights of ours."""
    if settings.start in ("imagenet", "scratch"):
        return {}
    return {"start_sha256": hashlib.sha256(_start_file(settings).read_bytes()).hexdigest()}


def read_weights(path: Path, shape: Shape = PLAIN) -> dict[str, Tensor]:
    """Averaged weights of a network of that ``shape`` as ``write_weights`` left them, in full precision.

    Raises FitError when they are none.
    """
    state = _read(path, torch.device("cpu"))
    if state.keys() != KeypointNetwork(shape).state_dict().keys():
        raise FitError(f"{path}: holds no weights of this network; give the weights.pt of an earlier run.")
    return {key: value.float() if value.is_floating_point() else value for key, value in state.items()}


def write_weights(average: dict[str, Tensor], path: Path) -> None:
    """Weights of layers in half precision, which is enough for them, and all else in full."""
    torch.save({key: (value.half() if value.ndim > 1 else value).cpu() for key, value in average.items()}, path)


def _read(path: Path, device: torch.device) -> dict[str, Any]:
    try:
        state = torch.load(path, map_location=device, weights_only=True)
    except Exception as error:  # torch raises half a dozen unrelated kinds
        raise FitError(f"{path}: cannot be read ({str(error).splitlines()[0]}); start anew.") from error
    if not isinstance(state, dict):
        raise FitError(f"{path}: holds no training run; start anew.")
    return state


def load_run(path: Path, settings: FitSettings, device: torch.device, marks: str = "") -> Run:
    """The run kept in ``path``. Raises FitError when it was made with other settings or other ``marks`` (a hash)."""
    run = new_run(settings, device)
    state = _read(path, device)
    if state.get("settings") != settings.decisive():
        raise FitError(f"{path}: was made with other settings; use those, or start anew in another folder.")
    if state.get("marks", "") != marks:
        raise FitError(f"{path}: the marks have changed since; start anew in another folder.")
    run.network.load_state_dict(state["network"])
    run.optimiser.load_state_dict(state["optimiser"])
    run.average, run.step = state["average"], int(state["step"])
    run.best = Best(**state.get("best", {}))
    return run


def save_run(run: Run, settings: FitSettings, path: Path, marks: str = "") -> None:
    """Keep ``run`` in ``path``; what was there stays whole until the new one is."""
    state = {
        "network": run.network.state_dict(),
        "average": run.average,
        "optimiser": run.optimiser.state_dict(),
        "step": run.step,
        "settings": settings.decisive(),
        "marks": marks,
        "best": {name: getattr(run.best, name) for name in Best.__dataclass_fields__},
    }
    torch.save(state, path.with_suffix(".partial"))
    path.with_suffix(".partial").replace(path)


def final_weights(run: Run, settings: FitSettings) -> dict[str, Tensor]:
    """The averaged weights that a run leaves: those of its best look, or the last when nobody looked, with
    ``settings.start_share`` of those that it started from mixed in."""
    learned, share = run.best.weights or run.average, settings.start_share
    if not share:
        return learned
    start = read_weights(_start_file(settings), settings.shape)
    return {
        key: torch.lerp(value, start[key].to(value), share) if value.is_floating_point() else value
        for key, value in learned.items()
    }


def averaged(run: Run, shape: Shape, weights: dict[str, Tensor] | None = None) -> KeypointNetwork:
    """The network with its averaged weights, or with those ``weights``, ready to judge or export."""
    network = KeypointNetwork(shape)
    network.load_state_dict(weights or run.average)
    device = next(run.network.parameters()).device
    return network.to(device, memory_format=torch.channels_last).eval()  # type: ignore[call-overload,no-any-return]
