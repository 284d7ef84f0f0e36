"""Blend: the mean of the weights of several moments of one training run, judged anew.

The mean of weights along a run often holds better on pictures of another kind than the last weights do (Izmailov et al.
2018, "Averaging weights leads to wider optima and better generalization", from memory, not read again).
"""

import argparse
import json
from pathlib import Path
from typing import Any

import torch
from torch import Tensor

from training.checkpoint import read_weights, write_weights
from training.data import load_footage
from training.network import KeypointNetwork
from training.settings import settings_of
from training.watch import errors_of


def mean_weights(parts: list[dict[str, Tensor]]) -> dict[str, Tensor]:
    """The mean of all floating values; counters are those of the last part."""
    return {
        key: torch.stack([part[key] for part in parts]).mean(0) if value.is_floating_point() else value
        for key, value in parts[-1].items()
    }


def blend(parts: list[Path], judged: Path, footage: Path, out: Path) -> dict[str, Any]:
    """Write the mean of those weights, with what a card says about it, into ``out``; returns the latter.

    judged   judged.json of the run that the weights come from
    footage  shards with dogs that the run did not train on
    """
    facts: dict[str, Any] = json.loads(judged.read_text(encoding="utf-8"))
    settings = settings_of(facts["settings"])
    average = mean_weights([read_weights(path, settings.shape) for path in parts])
    network = KeypointNetwork(settings.shape)
    network.load_state_dict(average)
    shown = load_footage(footage, torch.device("cpu"))
    facts |= errors_of(network.eval(), settings, shown)
    facts["data"] |= {"blended": len(parts), "judged_sha256": shown.digest(), "judged_dogs": shown.dogs(unseen=True)}
    out.mkdir(parents=True, exist_ok=True)
    write_weights(average, out / "weights.pt")
    (out / "judged.json").write_text(json.dumps(facts, indent=1) + "\n", encoding="utf-8")
    return facts


def main() -> None:
    """``python -m training.blend OUT JUDGED.json FOOTAGE WEIGHTS.pt WEIGHTS.pt...``."""
    parser = argparse.ArgumentParser(prog="training.blend")
    for name in ("out", "judged", "footage"):
        parser.add_argument(name, type=Path)
    parser.add_argument("weights", type=Path, nargs="+")
    given = parser.parse_args()
    blend(given.weights, given.judged, given.footage, given.out)


if __name__ == "__main__":
    main()
