"""The power is cut at random moments of a night, on a real file system: every clip is done exactly once."""

import fcntl
import os
import random
import shutil
import struct
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Final

import psutil
import pytest
from night_maker import Nights, check_whole, done, put_clips, wait_until
from sqlalchemy import select

from gait.caseload.queue import counts
from gait.caseload.store import open_store
from gait.caseload.tables import RecordRow

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="a disk without power is made of ext4")

ROUNDS, CLIPS, CUTS = 2, 40, 3
RESULT_BYTES: Final = 3000
#: EXT4_IOC_SHUTDOWN and EXT4_GOING_FLAGS_NOLOGFLUSH (Linux, fs/ext4/ext4.h, from memory): the file system stops at
#: once, and what it had not yet settled, its journal among it, never reaches the disk.
SHUTDOWN: Final = 0x8004587D
NO_FLUSH: Final = struct.pack("I", 2)


class Disk:
    """An ext4 file system in a file, whose power can be cut."""

    def __init__(self, folder: Path) -> None:
        self._image, self.at = folder / "image", folder / "disk"
        self.at.mkdir()
        with self._image.open("wb") as file:
            file.truncate(64 << 20)

    def make(self) -> bool:
        """Make and mount it, and cut its power once; False where any of that is not allowed."""
        call = ["mkfs.ext4", "-q", "-F", str(self._image)]
        if shutil.which(call[0]) is None or _code(call) or not self.plug_in():
            return False
        try:
            self.cut()
        except OSError:
            self.pull_out()
            return False
        self.pull_out()
        return self.plug_in()

    def plug_in(self) -> bool:
        """Mount it, which puts right what its journal knows of."""
        return not _code(["mount", "-o", "loop", str(self._image), str(self.at)])

    def cut(self) -> None:
        """Nothing reaches the disk any more."""
        handle = os.open(self.at, os.O_RDONLY)
        try:
            fcntl.ioctl(handle, SHUTDOWN, NO_FLUSH)
        finally:
            os.close(handle)

    def pull_out(self) -> None:
        """Unmount it, once nobody holds it any more."""
        wait_until(lambda: not _code(["umount", str(self.at)]))


def _code(call: list[str]) -> int:
    return subprocess.run(call, check=False, capture_output=True).returncode


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Disk]:
    """A disk that is plugged in."""
    made = Disk(tmp_path)
    if not made.make():
        pytest.skip("a disk can only be made and mounted by root, and not in every container")
    yield made
    _code(["umount", "-l", str(made.at)])  # a test that failed may hold it still


@pytest.fixture(scope="module")
def nights() -> Iterator[Nights]:
    """Coordinators to lose their power."""
    opened = Nights()
    yield opened
    opened.close()


def test_what_was_not_settled_is_gone(disk: Disk) -> None:
    """The disk does what a disk without power does, or the test below would show nothing."""
    kept, lost = disk.at / "kept", disk.at / "lost"
    for path in (kept, lost):
        path.write_text("x" * 5000)
        if path is kept:
            with path.open() as file:
                os.fsync(file.fileno())
    disk.cut()
    disk.pull_out()
    assert disk.plug_in()
    assert kept.read_text() == "x" * 5000
    assert not lost.exists() or not lost.read_text()


@pytest.mark.parametrize("seed", range(ROUNDS))
def test_after_every_power_cut_all_clips_are_done_once(disk: Disk, nights: Nights, seed: int) -> None:
    home = disk.at / "home"
    put_clips(home, [f"weigh {RESULT_BYTES}"] * CLIPS).close()
    os.sync()  # the clips were copied long ago
    chance = random.Random(seed)
    lost = 0
    for _ in range(CUTS):
        begun, some = done(home), chance.randrange(1, CLIPS // (CUTS + 1))
        coordinator = nights.begin(home)
        wait_until(lambda begun=begun, some=some: done(home) >= begun + some)  # type: ignore[misc]
        time.sleep(chance.uniform(0, 0.02))
        read = done(home)
        disk.cut()
        end_all(coordinator)
        disk.pull_out()
        assert disk.plug_in()
        lost += read - done(home)
    last = nights.begin(home)
    wait_until(lambda: not last.is_running())
    assert lost > 0, "no cut took anything away"
    with closing(open_store(home)) as store:
        assert counts(store) == {"waiting": 0, "running": 0, "done": CLIPS, "failed": 0, "aside": 0}
        check_whole(store)
        with store.writing() as session:
            folders = [home / folder for folder in session.scalars(select(RecordRow.folder))]
    assert {(folder / "landmarks.csv").stat().st_size for folder in folders} == {RESULT_BYTES}
    assert all((folder / "record.json").read_text().endswith("}") for folder in folders)


def end_all(coordinator: psutil.Process) -> None:
    """Without power no process goes on."""
    ended = [*coordinator.children(recursive=True), coordinator] if coordinator.is_running() else []
    for process in ended:
        if process.is_running():
            process.kill()
    wait_until(lambda: not any(process.is_running() for process in ended))
