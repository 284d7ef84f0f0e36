"""Functions as a decoder might behave that was given a file made to do harm."""

import ctypes
import os
import sys
import time
from typing import Any

from gait.errors import TrialError


def answers(number: int) -> dict[str, Any]:
    sys.stdout.write("what a library prints is no answer")
    return {"twice": 2 * number, "nothing": None}


def eats() -> dict[str, Any]:
    held = []
    while True:
        held.append(bytearray(b"x") * (16 << 20))
        time.sleep(0.01)


def hangs() -> dict[str, Any]:
    while True:
        time.sleep(1)


def holds_the_interpreter() -> dict[str, Any]:
    """As a C library that never lets go of the lock: no thread of Python runs any more."""
    ctypes.PyDLL(None).sleep(3600)
    return {}


def crashes() -> dict[str, Any]:
    ctypes.string_at(0)
    return {}


def leaves() -> dict[str, Any]:
    os._exit(7)


def refuses() -> dict[str, Any]:
    raise TrialError("belt_m_s is -1; give a number above 0, or leave it out.")


def breaks() -> dict[str, Any]:
    return {"never": 1 / 0}


def floods() -> dict[str, Any]:
    return {"much": "x" * (8 << 20)}


def cannot_be_told() -> dict[str, Any]:
    return {"object": object()}
