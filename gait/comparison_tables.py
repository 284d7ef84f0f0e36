"""Writes a comparison as tables: comparison.json, comparison.csv. Missing is empty in CSV and null in JSON."""

import json
import math
from collections.abc import Iterable, Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any, Final

from gait.compare.compared import COMPARED, Compared
from gait.compare.nouns import ClipSet, Comparison, Contrast
from gait.comparison_results import ReadClip, SheetComparison, UnreadClip
from gait.tables import plain, write_rows, write_whole

COLUMNS: Final = (
    "dog", "condition", "baseline", "gait", "measure", "unit", "n_baseline", "n_condition", "baseline_mean",
    "condition_mean", "difference", "percent", "low", "high", "resolution", "verdict", "declined",
)  # fmt: skip

Cell = str | float | None


def write_json(found: SheetComparison, folder: Path) -> None:
    """Everything that was found, in comparison.json."""
    words = json.dumps(comparison_as_dict(found), indent=1, allow_nan=False, ensure_ascii=False) + "\n"
    write_whole(folder / "comparison.json", lambda file: file.write(words))


def write_csv(found: SheetComparison, folder: Path) -> None:
    """Every compared and every declined line, in comparison.csv."""
    rows = ([_text(cell) for cell in row] for row in comparison_rows(found.comparison))
    write_whole(folder / "comparison.csv", lambda file: write_rows(file, COLUMNS, rows))


def comparison_rows(comparison: Comparison) -> Iterator[list[Cell]]:
    """One row per line in the order of COLUMNS; a contrast that was declined as a whole is one row with its reason."""
    for contrast in comparison.contrasts:
        head: list[Cell] = [contrast.condition.dog, *_names(contrast)]
        if contrast.declined:
            yield [*head, *[None] * (len(COLUMNS) - len(head) - 1), contrast.declined]
        yield from ([*head, *(_known(getattr(line, name)) for name in COLUMNS[3:])] for line in contrast.lines)


def comparison_as_dict(found: SheetComparison) -> dict[str, Any]:
    """The comparison with its sheet as plain values; NaN becomes None. Paths are as the sheet gives them."""
    comparison = found.comparison
    told = {
        "sheet": found.sheet.name,
        "notes": list(found.sheet.notes),
        "clips": [_clip(clip) for clip in found.clips],
        "unread": [_unread(clip) for clip in found.unread],
        "contrasts": [_contrast(contrast) for contrast in comparison.contrasts],
        "groups": [asdict(line) for line in comparison.groups],
        "trends": [asdict(trend) for trend in comparison.trends],
        "measures": [{"name": row.name, "label": row.label} | _meaning(row) for row in COMPARED],
        "settings": {"comparison": comparison.settings, "sheet": asdict(found.settings)},
        "seed": found.settings.seed,
        "networks": _networks(found.clips),
        "versions": comparison.versions,
    }
    as_plain: dict[str, Any] = plain(told)
    return as_plain


def _clip(clip: ReadClip) -> dict[str, Any]:
    record = clip.record
    return {
        "place": str(clip.row.place),
        "sha256": clip.row.sha256,
        "results": f"clips/{clip.folder.name}",
        "trial": asdict(record.trial),
        "facing": record.facing,
        "grade": record.grade,
        "strides_found": len(record.strides),
        "strides_used": int(record.strides.used.sum()),
        "runs": [asdict(run) for run in record.runs],
        "notices": list(record.notices),
        "overruled": [asdict(one) for one in record.overruled],
    }


def _unread(clip: UnreadClip) -> dict[str, Any]:
    row = clip.row
    return {"place": str(row.place), "clip": row.trial.clip, "sha256": row.sha256, "reason": clip.reason}


def _contrast(contrast: Contrast) -> dict[str, Any]:
    return {
        "kind": contrast.kind,
        "dog": contrast.dog,
        "baseline": _set(contrast.baseline) if contrast.baseline else None,
        "condition": _set(contrast.condition),
        "same_gait": contrast.same_gait,
        "notes": list(contrast.notes),
        "declined": contrast.declined,
        "lines": [asdict(line) for line in contrast.lines],
    }


def _set(clips: ClipSet) -> dict[str, Any]:
    return {
        "condition": clips.condition,
        "date": clips.date,
        "clips": [record.trial.clip for record in clips.records],
        "gaits": clips.gaits,
        "strides_found": clips.strides_found,
        "strides_used": clips.strides_used,
    }


def _meaning(row: Compared) -> dict[str, str]:
    return {"unit": row.measure.unit, "definition": row.measure.definition, "source": row.measure.source}


def _networks(clips: Iterable[ReadClip]) -> list[dict[str, Any]]:
    """Each network that read a clip, once; none for landmark tables."""
    used = {
        clip.record.network_hash: dict(clip.record.settings.get("network", {})) | {"sha256": clip.record.network_hash}
        for clip in clips
        if clip.record.network_hash
    }
    return list(used.values())


def _names(contrast: Contrast) -> tuple[str, str]:
    """Condition and baseline in words; a visit carries its date, and the baseline is empty when there is none."""
    both = (contrast.condition, contrast.baseline)
    new, old = (_name(clips, contrast.kind == "visit") if clips else "" for clips in both)
    return new, old


def _name(clips: ClipSet, dated: bool) -> str:
    return f"{clips.condition} {clips.date}" if dated else clips.condition


def _known(value: Cell) -> Cell:
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _text(cell: Cell) -> str:
    """Six digits: more than any of these numbers can be known to."""
    return "" if cell is None else f"{cell:.6g}" if isinstance(cell, float) else str(cell)
