"""`pawfall bench`: the figures side by side, and what it says when it cannot measure."""

from pathlib import Path

import pytest

from gait.command.bench import bench_command, table
from pose.benchmark import Rate, Rates


def test_the_table_sets_shares_against_what_both_allow() -> None:
    rates = Rates(decode=Rate(600, 2.0), network=Rate(120, 16.0), both=Rate(100, 19.0))
    lines = table(rates, Rate(90, 20.0), clip_fps=60).splitlines()
    cells = {line[:24].strip(): line[24:].split() for line in lines[1:]}
    assert lines[0].split() == ["decode", "alone", "network", "alone", "both", "at", "once", "whole", "reading"]
    assert cells["frames per second"] == ["600.0", "120.0", "100.0", "90.0"]
    assert cells["times real time"] == ["10.00", "2.00", "1.67", "1.50"]
    assert cells["share of both at once"][-2:] == ["90", "%"]
    assert cells["decode + network, share"][-2:] == ["90", "%"]


def test_a_clip_that_is_not_there(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert bench_command(tmp_path / "none.mp4", None, "fp32", 1) == 2
    assert "does not exist" in capsys.readouterr().err
