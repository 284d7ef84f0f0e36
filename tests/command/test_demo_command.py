"""`pawfall demo`: the clips that come with the tool, read by the network that comes with it."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from gait.cli import main
from gait.demo import COMPARED
from gait.reading import RESULT_FILES

SAMPLES = Path(__file__).parents[2] / "samples"
LEAST_SAMPLES = 5


def test_an_installation_without_clips_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("gait.demo.importlib.resources.files", lambda _: tmp_path)
    result = CliRunner().invoke(main, ["demo", "-o", str(tmp_path / "out")])
    assert result.exit_code == 2
    assert "no demo clips" in result.stderr


@pytest.mark.slow
def test_every_demo_clip_is_read_and_two_are_compared(tmp_path: Path) -> None:
    result = CliRunner().invoke(main, ["demo", "-o", str(tmp_path)])
    assert result.exit_code == 0, result.output
    clips = sorted(path.stem for path in SAMPLES.glob("*.mp4"))
    assert len(clips) >= LEAST_SAMPLES
    assert sorted(item.name for item in tmp_path.iterdir()) == sorted([*clips, COMPARED])
    assert (tmp_path / COMPARED / "report.html").exists()
    assert result.stdout.count("(read before)") == 2
    for clip in clips:
        assert {item.name for item in (tmp_path / clip).iterdir()} == set(RESULT_FILES)
        assert str(tmp_path / clip / "report.html") in result.stdout
        record = json.loads((tmp_path / clip / "record.json").read_text())
        assert record["network_hash"]
        assert record["trial"]["dog"]
