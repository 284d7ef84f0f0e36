"""Results appear in their folder only when all of them are done, and never in the place of anything else."""

import errno
import os
import shutil
from collections.abc import Collection
from pathlib import Path


def check_place(folder: Path, sign: str, what: str = "result") -> None:
    """Raise FileExistsError when ``folder`` is there already, is not empty, and holds no file ``sign`` of an earlier
    ``what``."""
    if folder.is_dir() and ((folder / sign).exists() or not any(folder.iterdir())):
        return
    if folder.exists():
        raise FileExistsError(errno.EEXIST, f"is there already and is no earlier {what}", str(folder))


def partial_of(folder: Path) -> Path:
    """Where the results of this process grow before they are put in ``folder``."""
    return folder.with_name(f".{folder.name}.partial-{os.getpid()}")


def put_in_place(partial: Path, folder: Path, own: Collection[str]) -> None:
    """Rename ``partial`` to ``folder``; ``own`` files of an older result there give way, foreign ones move along."""
    settle(partial)
    if not folder.exists():
        partial.rename(folder)
        settle_one(folder.parent)
        return
    aside = folder.with_name(f".{folder.name}.older-{os.getpid()}")
    folder.rename(aside)
    partial.rename(folder)
    for item in aside.iterdir():
        if item.name not in own and not (folder / item.name).exists():
            item.rename(folder / item.name)
    settle_one(folder.parent)
    shutil.rmtree(aside)


def settle(folder: Path) -> None:
    """Wait until all in ``folder`` is on the disk: no power cut may leave its name with empty files behind it."""
    for item in (*folder.rglob("*"), folder):
        settle_one(item)


def settle_one(path: Path) -> None:
    """Wait until a file, or the list of names of a folder, is on the disk."""
    if os.name == "nt" and path.is_dir():
        return  # Windows keeps folders by itself and opens none of them
    opened = os.open(path, os.O_RDWR if os.name == "nt" else os.O_RDONLY)
    try:
        os.fsync(opened)
    finally:
        os.close(opened)
