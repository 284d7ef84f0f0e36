"""Results appear in their folder only when all of them are done, and never in the place of anything else."""

import errno
import shutil
from collections.abc import Collection
from os import getpid
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
    return folder.with_name(f".{folder.name}.partial-{getpid()}")


def put_in_place(partial: Path, folder: Path, own: Collection[str]) -> None:
    """Rename ``partial`` to ``folder``; ``own`` files of an older result there give way, foreign ones move along."""
    if not folder.exists():
        partial.rename(folder)
        return
    aside = folder.with_name(f".{folder.name}.older-{getpid()}")
    folder.rename(aside)
    partial.rename(folder)
    for item in aside.iterdir():
        if item.name not in own and not (folder / item.name).exists():
            item.rename(folder / item.name)
    shutil.rmtree(aside)
