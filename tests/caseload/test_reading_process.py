"""Whatever a clip does to the process that reads it, the run hears of it and the next clip is read."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import psutil
import pytest
from command_line import put_table
from standin_reader import READER

from gait.caseload.crew import LocalCrew, read_alone
from gait.caseload.errors import CaseloadError
from gait.caseload.guard import Limits, Progressed
from gait.caseload.jobs import Job, Outcome, sweep
from gait.caseload.work import source_of
from gait.errors import GaitError
from gait.hashing import content_hash

#: s, for what should be at once; the machine may be busy.
SOON_S = 20.0
LIMITS = Limits(time_s=30, still_s=15, memory_mib=700)


def job_for(home: Path, words: str, number: int = 1) -> Job:
    """A job for a clip that says ``words``."""
    source = home / f"clip{number}"
    source.write_text(words)
    return Job(number, (str(source),), content_hash(source), str(home), f"clips/{number}", reader=READER)


@pytest.fixture
def crew() -> Iterator[LocalCrew]:
    """One process with short limits."""
    crew = LocalCrew(1, LIMITS)
    yield crew
    crew.close()


def outcome(crew: LocalCrew, job: Job) -> Outcome:
    """What comes of ``job``."""
    return read_alone(job, crew, lambda _: None)


@pytest.mark.parametrize(
    ("words", "limits", "told"),
    [
        ("crash", LIMITS, "ended with SIGSEGV"),
        ("leave 3", LIMITS, "ended with code 3: something in the decoder"),
        ("eat", LIMITS, "more than 700 MiB"),
        ("hang", Limits(time_s=30, still_s=1.5, memory_mib=700), "stood still for 1.5 s"),
        ("hold", Limits(time_s=30, still_s=1.5, memory_mib=700), "stood still for 1.5 s"),
        ("creep", Limits(time_s=1, still_s=15, memory_mib=700), "more than 1 s"),
    ],
    ids=["crashes", "leaves", "eats memory", "hangs", "holds the interpreter", "never ends"],
)
def test_a_clip_that_ends_its_process(tmp_path: Path, words: str, limits: Limits, told: str) -> None:
    crew = LocalCrew(1, limits)
    first = outcome(crew, job_for(tmp_path, words))
    assert (first.ending, told in first.words) == ("died", True), first.words
    assert outcome(crew, job_for(tmp_path, "take", 2)).ending == "read"
    crew.close()


def test_one_process_reads_many_clips_and_tells_how_far_it_is(tmp_path: Path, crew: LocalCrew) -> None:
    heard: list[Progressed] = []
    pids = set()
    for number in range(3):
        assert read_alone(job_for(tmp_path, "take 0.1", number), crew, heard.append).ending == "read"
        pids.add(crew.guards[0].pid)
    assert len(pids) == 1
    assert {event.task for event in heard} == {0, 1, 2}
    assert heard[0] == Progressed(0, "reading", 1, 10)


@pytest.mark.parametrize(
    ("words", "ending", "told", "code"),
    [("blunder", "failed", "a fault of pawfall itself (ZeroDivisionError", 1), ("disk", "halt", "No space left", 2)],
    ids=["a fault of ours", "full disk"],
)
def test_errors_become_outcomes(tmp_path: Path, crew: LocalCrew, words: str, ending: str, told: str, code: int) -> None:
    (tmp_path / "disk-is-full").touch()
    found = outcome(crew, job_for(tmp_path, words))
    assert (found.ending, found.exit_code) == (ending, code)
    assert told in found.words


def test_the_first_place_that_still_holds_the_clip_is_read(tmp_path: Path) -> None:
    one, two = tmp_path / "one", tmp_path / "two"
    two.write_text("as it was")
    job = Job(1, (str(one), str(two)), content_hash(two), str(tmp_path), "clips/1")
    assert source_of(job) == two
    one.write_text("as it is now")
    assert source_of(job) == two
    two.unlink()
    with pytest.raises(GaitError, match="one has changed since it was added"):
        source_of(job)
    one.unlink()
    with pytest.raises(GaitError, match="one is gone"):
        source_of(job)


def test_what_an_attempt_left_when_it_was_cut_off_is_removed(tmp_path: Path) -> None:
    home = tmp_path / "clips" / "content"
    for name in (".key.partial-7", ".key.older-7", ".other.partial-7", "key", "other"):
        (home / name).mkdir(parents=True)
        (home / name / "landmarks.csv").touch()
    (home / "other" / "record.json").touch()
    sweep(home / "key")
    assert sorted(item.name for item in home.iterdir()) == [".other.partial-7", "other"]
    sweep(home / "other")
    assert [item.name for item in home.iterdir()] == ["other"]


def test_a_process_that_dies_while_it_waits_costs_no_clip_its_life(tmp_path: Path, crew: LocalCrew) -> None:
    assert outcome(crew, job_for(tmp_path, "take")).ending == "read"
    os.kill(crew.guards[0].pid, signal.SIGKILL)
    assert outcome(crew, job_for(tmp_path, "take", 2)).ending == "read"


def test_processes_that_cannot_start_are_no_fault_of_the_clip(
    tmp_path: Path, crew: LocalCrew, monkeypatch: pytest.MonkeyPatch
) -> None:
    broken = tmp_path / "broken" / "gait"
    broken.mkdir(parents=True)
    (broken / "__init__.py").write_text("raise ImportError('half an installation')")
    monkeypatch.setenv("PYTHONPATH", str(broken.parent))
    monkeypatch.chdir(broken.parent)
    with pytest.raises(CaseloadError, match="half an installation"):
        outcome(crew, job_for(tmp_path, "take"))


@pytest.mark.parametrize("words", ["hang", "take 100"], ids=["hangs", "works"])
def test_processes_end_with_whoever_started_them(tmp_path: Path, words: str) -> None:
    job_for(tmp_path, words)
    code = (
        "import sys; from pathlib import Path; from test_reading_process import *\n"
        "crew = LocalCrew(1, LIMITS); crew.give(job_for(Path(sys.argv[1]), sys.argv[2]))\n"
        "print(crew.guards[0].pid, flush=True)\nwhile True: crew.wait(1)\n"
    )
    tests = Path(__file__).parent
    path = os.pathsep.join(map(str, (tests, tests.parent, tests.parents[1])))
    call, told = [sys.executable, "-c", code, str(tmp_path), words], {**os.environ, "PYTHONPATH": path}
    starter = subprocess.Popen(call, stdout=subprocess.PIPE, env=told)
    assert starter.stdout
    with starter:
        pid = int(starter.stdout.readline())
        wait_for(lambda: (tmp_path / "log").exists())
        starter.kill()
    wait_for(lambda: not psutil.pid_exists(pid))


def wait_for(happened: Callable[[], bool]) -> None:
    """Wait until it has happened, but not for ever."""
    end = time.monotonic() + SOON_S
    while not happened():
        assert time.monotonic() < end
        time.sleep(0.05)


def test_a_landmark_table_is_read_and_then_taken_as_it_is(tmp_path: Path, crew: LocalCrew) -> None:
    source = put_table(tmp_path)
    trial, settings = {"clip": "dog", "dog": "Tansy", "belt_m_s": 2.0}, {"film": False}
    job = Job(1, (str(source),), content_hash(source), str(tmp_path), "clips/one/key", trial, settings)
    first = outcome(crew, job)
    page = tmp_path / job.folder / "report.html"
    made = page.stat().st_mtime_ns
    assert outcome(crew, job) == first
    assert page.stat().st_mtime_ns == made
    assert first.made
    assert (first.ending, first.made.gait, first.made.network_hash) == ("read", "trot", "")
    [row] = [row for row in first.made.measures if row.measure == "stride_time_s"]
    assert row.n >= 5
    assert row.mean == pytest.approx(0.5, abs=0.002)


def test_who_reads_clips_loads_no_database() -> None:
    """A reading process would begin a second later (measured: 2.4 for 1.4 s of a core)."""
    code = "import sys, gait.caseload.work, gait.desk.moments; sys.exit('sqlalchemy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
