"""What the README promises is what the command does."""

import re
import subprocess
from pathlib import Path

import pytest

from gait.caseload.exporting import COLUMNS as TABLE_COLUMNS
from gait.cli import main
from gait.command.caseload_group import caseload
from gait.compare.nouns import LARGER, NO_DIFFERENCE, SMALLER
from gait.comparing import RESULT_FILES as COMPARISON_FILES
from gait.comparison_tables import COLUMNS as COMPARISON_COLUMNS
from gait.reading import RESULT_FILES
from gait.sheets.keys import KEYS
from gait.sheets.trial_sheet import read_trial
from gait.trial import Trial
from pose.table import COLUMNS

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
#: The commands of a caseload that need to be told where it is.
PLACED = set(caseload.commands) - {"bench"}
BLOCKS = re.findall(r"```(\w+)\n(.*?)```", README, flags=re.DOTALL)


def test_the_test_command_of_the_readme_is_the_one_that_is_run() -> None:
    tests = [words.strip() for kind, words in BLOCKS if kind == "sh" and "pytest" in words]
    assert len(tests) == 1
    assert tests[0] in (ROOT / ".ci" / "run").read_text().splitlines()


def test_the_script_that_runs_it_is_sound() -> None:
    assert subprocess.run(["bash", "-n", str(ROOT / ".ci" / "run")], check=False).returncode == 0


@pytest.mark.parametrize(
    ("command", "start", "end"),
    [
        ("read", "## Reading a clip", "## What comes out"),
        ("judge", "## Judging a network", "## Choosing frames to mark"),
        ("compare", "## Comparing conditions and visits", "## A caseload"),
        ("pick", "## Choosing frames to mark", "\n## "),
        ("mark", "## Marking", "## Drawing footage"),
        ("watch", "## Live on the treadmill", "## Live and in other programs"),
    ],
    ids=["read", "compare", "judge", "pick", "mark", "watch"],
)
def test_every_option_in_the_readme_exists_and_every_option_is_in_the_readme(
    command: str, start: str, end: str
) -> None:
    table = README.split(start)[1].split(end)[0]
    told = {word.rstrip(",`") for word in re.findall(r"--[a-z][a-z-]*", table)}
    there = {name for option in main.commands[command].params for name in option.opts if name.startswith("--")}
    assert told == there - {"--out"}


def test_every_option_of_a_caseload_stands_in_the_readme_with_its_commands() -> None:
    part = README.split("## A caseload")[1].split("\n## ")[0]
    rows = [line.split("|")[1:3] for line in part.replace("\\|", "/").splitlines() if line.startswith("| `--")]
    told = {(option, command) for options, commands in rows for option in re.findall(r"--[a-z][a-z-]*", options)
            for command in (re.findall(r"`(\w+)`", commands) if "all but" not in commands else PLACED)}  # fmt: skip
    there = {(name, command) for command, words in caseload.commands.items() for option in words.params
             for name in option.opts if name.startswith("--")}  # fmt: skip
    assert told == there
    assert f"`{','.join(TABLE_COLUMNS)}`" in part


def test_the_columns_of_a_sheet_and_of_a_comparison() -> None:
    part = README.split("## Comparing conditions and visits")[1].split("## A caseload")[0]
    rows = [line.split("|")[1] for line in part.split("| option |")[0].splitlines() if line.startswith("| `")]
    assert {name for row in rows for name in re.findall(r"`(\w+)`", row)} == set(KEYS)
    assert f"`{','.join(COMPARISON_COLUMNS)}`" in part
    files = ("comparison.json", "comparison.csv", "strides.xlsx")
    assert set(files) <= set(COMPARISON_FILES) and all(f"`{name}`" in part for name in files)
    assert all(f"`{verdict}`" in part for verdict in (LARGER, SMALLER, NO_DIFFERENCE))


def test_the_trial_sheet_of_the_readme_can_be_read(tmp_path: Path) -> None:
    [words] = [words for kind, words in BLOCKS if kind == "toml"]
    (tmp_path / "sheet.toml").write_text(words)
    trial = Trial(**read_trial(tmp_path / "sheet.toml"))
    assert (trial.dog, trial.date, trial.belt_m_s) == ("Tansy", "2026-03-02", pytest.approx(1.25))


def test_the_files_and_columns_of_the_readme() -> None:
    assert all(f"`{name}`" in README for name in RESULT_FILES)
    assert ",".join(COLUMNS) in README


def test_both_commands_stand_in_the_readme_once_each() -> None:
    shell = [words.strip() for kind, words in BLOCKS if kind == "sh"]
    assert sum("pawfall demo" in words for words in shell) == 1
    assert shell[0].startswith("python3 -m venv .venv && ")
