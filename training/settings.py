"""FitSettings: everything that decides a training run, from a TOML file. Defaults < file < flag."""

import difflib
import json
import tomllib
from dataclasses import asdict, dataclass, field, fields, replace
from pathlib import Path
from typing import Any

from training.augment import CropSettings
from training.errors import FitError
from training.network import Shape
from training.photometric import LightSettings

#: Parts of a settings file that may be a table of their own.
_TABLES = {"shape": Shape, "crop": CropSettings, "light": LightSettings}


@dataclass(frozen=True, slots=True)
class FitSettings:
    """How a network is trained. Where no source is named: common practice, no source.

    name           of the network and its files
    footage        folder of shards
    start          "imagenet", "scratch", "shipped" (weights of the network that comes with pawfall) or a weights file
    start_share    of the weights in the end that is those of the start (Wortsman et al. 2022, robust fine-tuning, from
                   memory, not read): 0 = only what was learned; 0.5 forgets little, for a third of the gain
    imagenet_share how far the backbone goes back to ImageNet's weights before it learns, 0..1; the decoder stays that
                   of ``start``, so that the result can still be averaged with it (training.blend)
    marks          files of marked pictures (COCO keypoints, the pictures beside them) to learn from as well
    marks_share    of every batch that is marked pictures; 1 = marked pictures alone, no footage is needed
    held_out       names of marked dogs that are kept from training; none = every ``hold_out_every``-th by name
    hold_out_every at least one dog is held out when there are two. Three, so that nine dogs leave an interval
    patience       looks at held-out dogs in a row without a smaller error after which the run ends with the best
                   weights of all looks; 0 = the last weights after all steps
    frozen         blocks of the backbone, stem first, that stay as they are, their norms too: edges and textures are
                   known already, and these blocks work on the largest maps
    steps, batch   how long, and pictures at once
    lr             highest learning rate of the decoder; one rise and one fall over all steps
    backbone_lr    share of ``lr`` for the backbone, whose weights are good already
    weight_decay   of AdamW (Loshchilov & Hutter 2019), for weights of layers only, not for norms and offsets
    clip           longest gradient
    warm_up        share of the steps in which the learning rate rises
    spread         SD of the target blob in heat cells: one cell, so that a parabola finds fractions of a cell
    facing_weight  of the facing loss against the landmark loss, which is in nats as well but about ten times as large
    style          share of the pictures that take on the statistics of another's features (training/style.py)
    ema            how slowly the averaged weights follow
    judge_every    steps between looks at unseen dogs; 0 = only at the end
    judge_pictures pictures of unseen dogs that are judged in the end; a quarter of them in between
    limit          use the first so many pictures only; 0 = all
    report_every   steps between lines in the log; a run can stop after each
    """

    name: str = "pawfall-new"
    footage: str = "footage-data"
    start: str = "imagenet"
    start_share: float = 0.0
    imagenet_share: float = 0.0
    marks: tuple[str, ...] = ()
    marks_share: float = 0.5
    held_out: tuple[str, ...] = ()
    hold_out_every: int = 3
    patience: int = 0
    frozen: int = 0
    steps: int = 4000
    batch: int = 256
    lr: float = 2.5e-3
    backbone_lr: float = 0.4
    weight_decay: float = 0.02
    clip: float = 5.0
    warm_up: float = 0.04
    spread: float = 1.0
    facing_weight: float = 0.1
    style: float = 0.0
    ema: float = 0.998
    seed: int = 1
    judge_every: int = 1000
    judge_pictures: int = 2000
    limit: int = 0
    report_every: int = 50
    shape: Shape = field(default_factory=Shape)
    crop: CropSettings = field(default_factory=CropSettings)
    light: LightSettings = field(default_factory=LightSettings)

    def as_dict(self) -> dict[str, Any]:
        """Plain values for a card or a checkpoint."""
        return asdict(self)

    def decisive(self) -> str:
        """The settings that a resumed run must share, as text: all but where pictures lie and what is only shown.

        Looks at held-out dogs decide as soon as a run may end by them.
        """
        free = {"footage", "marks", "name", "report_every"}
        free |= set() if self.patience else {"judge_every", "judge_pictures"}
        return json.dumps({k: v for k, v in self.as_dict().items() if k not in free}, sort_keys=True)


def read_settings(path: Path, **over: Any) -> FitSettings:
    """Settings from a TOML file, with ``over`` on top. Raises FitError for unknown keys, wrong kinds and bad TOML."""
    try:
        given = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise FitError(f"{path}: not a settings file that can be read ({error}).") from error
    return settings_of(given, path.name, **over)


def settings_of(given: dict[str, Any], where: str = "settings", **over: Any) -> FitSettings:
    """Settings from a table of plain values, as ``FitSettings.as_dict`` or a TOML file gives it."""
    parts = {key: _build(kind, given.get(key, {}), f"{where} [{key}]") for key, kind in _TABLES.items()}
    rest = {key: value for key, value in given.items() if key not in _TABLES}
    settings: FitSettings = replace(_build(FitSettings, rest, where), **parts, **over)
    _check(settings, where)
    return settings


def _build(kind: type, given: object, where: str) -> Any:
    """A settings object of ``kind`` from a table, every key known and every value of the kind of its default."""
    if not isinstance(given, dict):
        raise FitError(f"{where}: a table is needed, {given!r} came.")
    plain = kind()
    known = [one.name for one in fields(plain)]
    values = {}
    for key, value in given.items():
        if key not in known:
            near = difflib.get_close_matches(key, known, 1)
            hint = f"did you mean {near[0]}?" if near else f"it can be one of {', '.join(known)}."
            raise FitError(f"{where}: unknown setting {key!r}; {hint}")
        values[key] = _same_kind(value, getattr(plain, key), f"{where}: {key}")
    return kind(**values)


def _same_kind(value: Any, default: Any, where: str) -> Any:
    if default == () and isinstance(value, list) and all(isinstance(one, str) for one in value):
        return tuple(value)
    if isinstance(default, tuple) and isinstance(value, list) and len(value) == len(default) > 0:
        return tuple(_same_kind(v, d, where) for v, d in zip(value, default, strict=True))
    if isinstance(default, float) and type(value) in (int, float):
        return float(value)
    if type(value) is type(default):
        return value
    if default == ():
        raise FitError(f'{where} is {value!r}; a list of texts needed, such as ["one", "another"].')
    wanted = f"{len(default)} numbers" if isinstance(default, tuple) else type(default).__name__
    raise FitError(f"{where} is {value!r}; {wanted} needed, such as {default!r}.")


def _check(s: FitSettings, where: str) -> None:
    for name in ("steps", "batch", "lr", "spread", "clip", "hold_out_every", "report_every"):
        if not getattr(s, name) > 0:
            raise FitError(f"{where}: {name} is {getattr(s, name)}; it must be above 0.")
    for name in ("ema", "warm_up"):
        if not 0 <= getattr(s, name) < 1:
            raise FitError(f"{where}: {name} is {getattr(s, name)}; it must lie between 0 and 1.")
    if not 0 <= s.start_share < 1:
        raise FitError(f"{where}: start_share is {s.start_share}; it must be at least 0 and below 1.")
    if s.start_share and s.start in ("imagenet", "scratch"):
        raise FitError(f"{where}: start_share needs a run that starts from a network's weights, not from {s.start}.")
    if not 0 <= s.imagenet_share <= 1:
        raise FitError(f"{where}: imagenet_share is {s.imagenet_share}; it must lie between 0 and 1.")
    if s.imagenet_share and s.start in ("imagenet", "scratch"):
        raise FitError(f"{where}: imagenet_share needs a run that starts from a network's weights, not from {s.start}.")
    if not 0 < s.marks_share <= 1:
        raise FitError(f"{where}: marks_share is {s.marks_share}; it must be above 0 and at most 1.")
    if s.marks and s.marks_share < 1 and s.batch < 2:
        raise FitError(f"{where}: batch is {s.batch}; two pictures at least, to hold marked and drawn ones.")
    if s.patience and not s.judge_every:
        raise FitError(f"{where}: patience needs looks at held-out dogs; give judge_every, the steps between them.")
    if not 0 <= s.crop.bend <= 2:
        raise FitError(f"{where} [crop]: bend is {s.crop.bend}; it must lie between 0 (none) and 2.")
    if any(side <= 0 or side % 32 for side in s.crop.size_px):
        raise FitError(f"{where} [crop]: size_px is {list(s.crop.size_px)}; both must be multiples of 32.")
