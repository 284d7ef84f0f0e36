"""Runs an iterator in a thread of its own, a few items ahead of whoever uses them."""

import threading
from collections.abc import Iterable, Iterator
from queue import Full, Queue
from typing import TypeVar

Item = TypeVar("Item")

#: s between looks whether anybody still wants more; only waited for while the queue is full.
_LOOK_EVERY_S = 0.1


def ahead(items: Iterable[Item], count: int) -> Iterator[Item]:
    """``items`` in their order, up to ``count`` of them made in advance; an error arises where it would have arisen.

    The thread ends when the items do, or when the caller stops asking for more.
    """
    queue: Queue[tuple[Item | None, BaseException | None]] = Queue(count)
    unwanted = threading.Event()
    worker = threading.Thread(target=_fill, args=(iter(items), queue, unwanted), name="ahead", daemon=True)
    worker.start()
    try:
        while True:
            item, error = queue.get()
            if error is not None:
                if isinstance(error, StopIteration):
                    return
                raise error
            yield item  # type: ignore[misc]
    finally:
        unwanted.set()
        worker.join()


def _fill(
    items: Iterator[Item], queue: "Queue[tuple[Item | None, BaseException | None]]", unwanted: threading.Event
) -> None:
    while not unwanted.is_set():
        try:
            entry: tuple[Item | None, BaseException | None] = (next(items), None)
        except BaseException as error:  # handed over whatever it is, so that the caller sees it
            entry = (None, error)
        _put(queue, entry, unwanted)
        if entry[1] is not None:
            return
    close = getattr(items, "close", None)  # a generator holds its file open until it is closed
    if close:
        close()


def _put(
    queue: "Queue[tuple[Item | None, BaseException | None]]",
    entry: tuple[Item | None, BaseException | None],
    unwanted: threading.Event,
) -> None:
    while not unwanted.is_set():
        try:
            queue.put(entry, timeout=_LOOK_EVERY_S)
            return
        except Full:
            continue
