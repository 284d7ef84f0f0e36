"""Working ahead in a thread: order, errors, how far it goes, and that it stops."""

import threading
import time
from collections.abc import Iterator

import pytest

from pose.ahead import ahead


def counting(made: list[int], closed: list[bool], last: int = 100, broken: int | None = None) -> Iterator[int]:
    try:
        for number in range(last):
            if number == broken:
                raise ValueError("broken off")
            made.append(number)
            yield number
    finally:
        closed.append(True)


def threads_named_ahead() -> int:
    return sum(thread.name == "ahead" for thread in threading.enumerate())


@pytest.mark.parametrize("count", [1, 2, 50], ids=["one ahead", "two ahead", "more than there are"])
def test_all_items_come_in_their_order(count: int) -> None:
    assert list(ahead(counting([], [], last=20), count)) == list(range(20))
    assert threads_named_ahead() == 0


def test_an_error_comes_after_the_items_before_it() -> None:
    seen = []
    with pytest.raises(ValueError, match="broken off"):
        for item in ahead(counting([], [], broken=5), 2):
            seen.append(item)
    assert seen == [0, 1, 2, 3, 4]
    assert threads_named_ahead() == 0


def test_it_goes_no_further_ahead_than_asked() -> None:
    made: list[int] = []
    stream = ahead(counting(made, []), 3)
    assert next(stream) == 0
    deadline = time.monotonic() + 5
    while len(made) < 5 and time.monotonic() < deadline:
        time.sleep(0.01)
    time.sleep(0.05)
    assert len(made) == 5  # one handed out, three waiting, one made that finds the queue full
    stream.close()


def test_who_stops_early_leaves_no_thread_and_no_open_source() -> None:
    made: list[int] = []
    closed: list[bool] = []
    stream = ahead(counting(made, closed), 2)
    assert next(stream) == 0
    stream.close()
    assert threads_named_ahead() == 0
    assert closed == [True]
    assert len(made) < 10


def test_the_next_item_is_made_while_this_one_is_used() -> None:
    busy = threading.Event()

    def source() -> Iterator[int]:
        yield 0
        busy.set()
        yield 1

    stream = ahead(source(), 1)
    assert next(stream) == 0
    assert busy.wait(5)
    assert list(stream) == [1]
