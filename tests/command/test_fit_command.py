"""`pawfall fit`: loaded late, with one helpful line when its libraries are not there."""

import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner
from walker import trotting

from gait.cli import main
from pose.table import write_table

ROOT = Path(__file__).parents[2]


BLOCK = """
import sys
class Block:
    def find_spec(self, name, path=None, target=None):
        if name.split(".")[0] == "torch":
            raise ModuleNotFoundError("No module named 'torch'", name="torch")
sys.meta_path.insert(0, Block())
from gait.cli import main
main(sys.argv[1:])
"""


def without_torch(*words: object) -> "subprocess.CompletedProcess[str]":
    """Run the command where torch cannot be imported, as in the base installation."""
    command = [sys.executable, "-c", BLOCK, *map(str, words)]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)


def test_without_torch_it_says_what_to_install() -> None:
    done = without_torch("fit", "settings.toml", "-o", "out")
    assert done.returncode == 2
    needs = "training needs torch, which is not installed: pip install 'pawfall[training]'"
    assert done.stderr.strip() == f"pawfall: {needs}"


def test_without_torch_a_table_is_read(tmp_path: Path) -> None:
    write_table(trotting(), tmp_path / "dog.csv")
    done = without_torch("read", tmp_path / "dog.csv", "-o", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "out" / "dog" / "report.html").exists()


@pytest.mark.slow
@pytest.mark.parametrize(
    ("words", "expected"),
    [(None, "not a settings file"), ("stepps = 3", "did you mean steps?"), ('footage = "nowhere"', "nowhere")],
    ids=["no settings", "unknown key", "no footage"],
)
def test_what_cannot_be_trained_ends_in_one_line(tmp_path: Path, words: str | None, expected: str) -> None:
    settings = tmp_path / "settings.toml"
    if words is not None:
        settings.write_text(words)
    result = CliRunner().invoke(main, ["fit", str(settings), "-o", str(tmp_path / "out")])
    assert result.exit_code == 2
    assert expected in result.stderr
    assert len(result.stderr.strip().splitlines()) == 1
