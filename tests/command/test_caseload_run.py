"""`pawfall caseload run` and `bench`: what a person reads, exit codes, stopping, watching."""

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from command_line import call, put_table

from gait.caseload.benchmark import Cost, Pace
from gait.caseload.guard import Progressed
from gait.caseload.jobs import Outcome
from gait.caseload.made import Made
from gait.caseload.running import Began, Ended, Moved, Said
from gait.command.caseload_bench import cost_words, pace_words
from gait.command.caseload_show import duration, ended_words, show_night

ROOT = Path(__file__).parents[2]
MADE = Made("", "", "0.1.0", "right", "good", "trot", 9, [], [], {}, ())


def put_caseload(folder: Path) -> Path:
    """Two dogs and a table that holds too little, taken in."""
    put_table(folder / "clips", "tansy.csv")
    put_table(folder / "clips", "brock.csv", period_s=0.55)
    put_table(folder / "clips", "short.csv", seconds=0.1)
    assert call("caseload", "add", folder / "clips", "--home", folder / "home").exit_code == 0
    return folder / "home"


def test_a_night_from_the_command_line(tmp_path: Path) -> None:
    home = put_caseload(tmp_path)
    told = call("caseload", "run", "--home", home, "--workers", 2)
    assert told.exit_code == 3
    assert "3 new clips to read; 0 read already" in told.stdout
    assert "tansy.csv: trot; " in told.stdout
    assert told.stdout.splitlines()[-2:] == ["2 clips read, 1 failed", f"What needs a person: {home / 'morning.html'}"]
    assert "short.csv" in told.stderr and "at the very least" in told.stderr
    assert len(list((home / "clips").glob("*/*/report.html"))) == 2
    again = call("caseload", "run", "--home", home)
    assert (again.exit_code, again.stdout.splitlines()[-1]) == (0, "0 clips read")
    retried = call("caseload", "run", "--home", home, "--retry", "--workers", 1)
    assert (retried.exit_code, retried.stdout.splitlines()[-2]) == (3, "0 clips read, 1 failed")


def test_without_a_caseload_or_a_scheduler(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    told = call("caseload", "run", "--home", tmp_path / "none")
    assert (told.exit_code, "holds no caseload" in told.stderr) == (2, True)
    home = put_caseload(tmp_path)
    monkeypatch.setattr("gait.caseload.cluster.CONNECT_S", 0.5)
    told = call("caseload", "run", "--home", home, "--cluster", "tcp://127.0.0.1:9")
    assert (told.exit_code, "No Dask scheduler answers" in told.stderr) == (2, True)


def test_a_limit_that_nothing_can_keep_harms_no_clip(tmp_path: Path) -> None:
    home = put_caseload(tmp_path)
    told = call("caseload", "run", "--home", home, "--memory", 0.1, "--workers", 1)
    assert told.exit_code == 2
    assert "No reading process can be started: it took more than 102.4 MiB of memory" in told.stderr
    assert call("caseload", "run", "--home", home).stdout.splitlines()[-2] == "2 clips read, 1 failed"


@contextmanager
def running(*words: object) -> Iterator["subprocess.Popen[str]"]:
    """`pawfall WORDS`, started as a person would."""
    call = [sys.executable, "-m", "gait.cli", *map(str, words)]
    told = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1"}
    with subprocess.Popen(call, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, env=told, text=True) as process:
        yield process
        process.kill()


def lines_until(process: "subprocess.Popen[str]", words: str) -> list[str]:
    """Lines up to the first that holds ``words``."""
    lines = []
    assert process.stdout
    for line in process.stdout:
        lines.append(line)
        if words in line:
            return lines
    raise AssertionError("".join(lines))


def test_watching_takes_in_what_comes_and_ends_with_ctrl_c(tmp_path: Path) -> None:
    put_table(tmp_path / "clips", "tansy.csv")
    with running("caseload", "run", "--home", tmp_path / "home", "--watch", tmp_path / "clips") as process:
        lines_until(process, "tansy.csv: trot")
        put_table(tmp_path / "clips", "brock.csv", period_s=0.55)
        lines_until(process, "2 of 2: brock.csv: trot")
        process.send_signal(signal.SIGINT)
        lines_until(process, "2 clips read")
        assert process.wait() == 0


def test_ctrl_c_stops_at_once_and_the_next_run_goes_on(tmp_path: Path) -> None:
    for number in range(8):
        put_table(tmp_path / "clips", f"dog{number}.csv", seconds=30, period_s=0.5 + 0.01 * number)
    home = tmp_path / "home"
    assert call("caseload", "add", tmp_path / "clips", "--home", home).exit_code == 0
    with running("caseload", "run", "--home", home, "--workers", 1) as process:
        lines_until(process, "1 of 8: ")
        process.send_signal(signal.SIGINT)
        last = lines_until(process, "Go on with: pawfall caseload run")[-1]
        assert process.wait() == 130
    waiting = int(last.split("stopped; ")[1].split()[0])
    assert 1 <= waiting <= 7
    told = call("caseload", "run", "--home", home, "--workers", 2)
    assert (told.exit_code, told.stdout.splitlines()[-2]) == (0, f"{waiting} clip{'s' * (waiting > 1)} read")


def test_what_is_said_of_each_clip(capsys: pytest.CaptureFixture[str]) -> None:
    task: Any = SimpleNamespace(id=1, name="tansy.mp4")
    with show_night(2) as (night, tell):
        tell(Began(task))
        tell(Moved(task, Progressed(1, "reading", 5, 10)))
        tell(Ended(task, Outcome(1, "died", "its process ended with SIGSEGV", 1), "waiting"))
        assert (night.done, night.left()) == (0, "")
        tell(Began(task))
        tell(Ended(task, Outcome(1, "read", made=MADE), "done"))
        night.more(1)
        assert (night.done, night.total) == (1, 3)
        assert night.left().startswith("about ")
        tell(Said("the disk is full"))
    told = capsys.readouterr()
    assert "tansy.mp4: its process ended with SIGSEGV; it is tried once more" in told.err
    assert "the disk is full" in told.err
    assert told.out == "1 of 2: tansy.mp4: trot; good; about 0 s left\n"
    aside = Ended(task, Outcome(1, "died", "it stood still for 600 s", 1), "aside")
    assert ended_words(aside) == "set aside, since it ended its process twice: it stood still for 600 s"


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(40, "40 s"), (300, "5 min"), (7500, "2 h 5 min"), (3600, "1 h 0 min")],
    ids=["seconds", "minutes", "hours", "one hour"],
)
def test_durations(seconds: float, words: str) -> None:
    assert duration(seconds) == words


def test_the_lines_of_the_benchmark() -> None:
    one, two = Pace(1, 6.0, 9.8, 480.0), Pace(2, 11.4, 10.1, 470.0)
    assert pace_words(one, one).startswith("1 worker: 6.0 clips per minute; 9.80 s of processor time per clip")
    assert "2 workers: 11.4 clips per minute (95 % of 2 times one)" in pace_words(two, one)
    assert cost_words(Cost(30, 5.2, 120.4, 101.0, 9.6)) == (
        "30 landmark tables: 5 ms each to take in, 120 ms to read and note; "
        "of processor time 101 ms for reading and 10 ms for all else"
    )


def test_the_benchmark_measures(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("gait.command.caseload_bench.SIZES", (2, 4))
    told = call("caseload", "bench", put_table(tmp_path), "--workers", 1)
    assert told.exit_code == 0, told.stderr
    first, *costs = told.stdout.splitlines()
    assert float(first.split("1 worker: ")[1].split()[0]) > 0
    assert [line.split()[0] for line in costs] == ["2", "4"]
