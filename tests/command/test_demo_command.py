"""`pawfall demo` where there is nothing to show; tests/samples run it on the clips that come with the tool."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from gait.cli import main


def test_an_installation_without_clips_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("gait.demo.importlib.resources.files", lambda _: tmp_path)
    result = CliRunner().invoke(main, ["demo", "-o", str(tmp_path / "out")])
    assert result.exit_code == 2
    assert "no demo clips" in result.stderr
