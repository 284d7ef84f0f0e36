"""Calls the command as a person would, and makes the inputs that such calls need."""

import csv
import json
from pathlib import Path
from typing import Any

from click.testing import CliRunner, Result
from walker import trotting

from gait.cli import main
from pose.table import write_table

#: Columns of a trial sheet of many clips: the needed ones, and the belt speed for lengths in metres.
SHEET_HEAD = "clip,dog,date,condition,baseline,belt_m_s"


def call(*words: object) -> Result:
    """Run `pawfall` with ``words``."""
    return CliRunner().invoke(main, [str(word) for word in words])


def put_table(folder: Path, name: str = "dog.csv", **changes: Any) -> Path:
    """Write the landmark table of a trotting dog into ``folder``."""
    folder.mkdir(parents=True, exist_ok=True)
    write_table(trotting(**changes), folder / name)
    return folder / name


def sheet(folder: Path, words: str) -> Path:
    """Write a trial sheet into ``folder``."""
    path = folder / "sheet.toml"
    path.write_text(words)
    return path


def record_of(folder: Path) -> dict[str, Any]:
    """The record.json of a result."""
    return json.loads((folder / "record.json").read_text())


def put_sheet(folder: Path, *rows: str, head: str = SHEET_HEAD) -> Path:
    """Write a trial sheet of many clips into ``folder``."""
    (folder / "sheet.csv").write_text("\n".join((head, *rows)), encoding="utf-8")
    return folder / "sheet.csv"


def lines_of(out: Path) -> list[dict[str, str]]:
    """The rows of the comparison.csv of a comparison."""
    with (out / "comparison.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))
