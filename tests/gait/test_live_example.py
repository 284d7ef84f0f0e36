"""The example in the README is run on a demo clip, word for word."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

import samples

ROOT = Path(__file__).parents[2]
#: Lines of a page's example, without empty ones.
MOST_LINES = 15


@pytest.mark.slow
def test_the_example_tells_the_gait_of_a_film(tmp_path: Path) -> None:
    [words] = re.findall(r"```python\n(.*?)```", (ROOT / "README.md").read_text(encoding="utf-8"), flags=re.DOTALL)
    assert len([line for line in words.splitlines() if line.strip()]) <= MOST_LINES
    (tmp_path / "example.py").write_text(words, encoding="utf-8")
    film = Path(samples.__file__).parent / "tansy_walk_boots.mp4"
    call = [sys.executable, str(tmp_path / "example.py"), str(film)]
    done = subprocess.run(call, capture_output=True, text=True, check=True, env={"PYTHONPATH": str(ROOT)})
    lines = done.stdout.splitlines()
    assert sum("touchdown" in line for line in lines) > 15 and sum("liftoff" in line for line in lines) > 15
    assert [line.split()[-1] for line in lines if "gait changed" in line] == ["walk"]
