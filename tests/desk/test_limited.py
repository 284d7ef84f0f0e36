"""A function in a process of its own: whatever it does, the desk gets an answer or one plain sentence, in time."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import psutil
import pytest

from gait.desk.errors import DeskError
from gait.desk.limited import OURS, UNUSABLE, Limits, run_limited

#: s for a process to start and load its libraries on a busy machine.
START_S = 20.0
TIGHT = Limits(time_s=3.0, memory_mib=300.0, answer_mib=4.0)
ROOMY = Limits(time_s=START_S)

HARM = {
    "takes all memory": ("eats", Limits(START_S, 300.0), "more than 300 MiB", UNUSABLE),
    "hangs": ("hangs", TIGHT, "more than 3 s", UNUSABLE),
    "holds the interpreter": ("holds_the_interpreter", TIGHT, "more than 3 s", UNUSABLE),
    "crashes": ("crashes", ROOMY, "SIGSEGV", UNUSABLE),
    "leaves": ("leaves", ROOMY, "code 7", UNUSABLE),
    "says what is wrong": ("refuses", ROOMY, "belt_m_s is -1", UNUSABLE),
    "shows a fault of ours": ("breaks", ROOMY, "ZeroDivisionError", OURS),
    "gives back too much": ("floods", Limits(START_S, answer_mib=4.0), "more than a page can show", UNUSABLE),
    "gives back what is no JSON": ("cannot_be_told", ROOMY, "", UNUSABLE),
}


@pytest.fixture(autouse=True)
def importable(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([str(Path(__file__).parent), *filter(None, sys.path)]))


def test_gives_back_what_the_function_gives() -> None:
    assert run_limited("untrusted:answers", {"number": 21}, ROOMY) == {"twice": 42, "nothing": None}


@pytest.mark.parametrize("case", HARM)
def test_harm_ends_in_one_sentence(case: str) -> None:
    function, limits, words, status = HARM[case]
    begun = time.monotonic()
    with pytest.raises(DeskError) as raised:
        run_limited(f"untrusted:{function}", {}, limits)
    assert words in str(raised.value)
    assert "\n" not in str(raised.value)
    assert "Traceback" not in str(raised.value)
    assert raised.value.status == status
    assert time.monotonic() - begun < START_S + 5
    assert not [child for child in psutil.Process().children() if "gait.desk.limited" in child.cmdline()]


def test_a_process_ends_with_the_one_that_asked() -> None:
    code = "from gait.desk.limited import run_limited; run_limited('untrusted:hangs', {})"
    asking = subprocess.Popen([sys.executable, "-c", code])
    until = time.monotonic() + START_S
    children: list[psutil.Process] = []
    while not children and time.monotonic() < until:
        children = psutil.Process(asking.pid).children()
        time.sleep(0.05)
    time.sleep(2.0)  # until it listens
    asking.send_signal(signal.SIGKILL)
    asking.wait()
    gone, alive = psutil.wait_procs(children, timeout=START_S)
    assert gone and not alive
