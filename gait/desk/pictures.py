"""Key pictures of a comparison: touchdown and lift-off of the near paws on both sides, cropped alike. The films are
looked at in processes with limits; what comes back are JPEG files in a folder that is taken away at once."""

import shutil
from collections.abc import Callable, Sequence
from dataclasses import asdict
from pathlib import Path, PurePath
from tempfile import TemporaryDirectory
from typing import Any, Final, NamedTuple

from gait.caseload.guard import MIB
from gait.caseload.listing import ClipLine
from gait.desk.errors import DeskError
from gait.desk.films import source_of
from gait.desk.limited import run_limited
from gait.desk.records import clip_line, record_folder, trial_told
from gait.desk.room import Desk
from gait.framing import Box
from gait.report.comparison.content import Section
from gait.report.comparison.document import KeyPicture, picture_section
from gait.trial import Facing

#: Clips of one comparison that are pictured; beyond six sides the figures leave some out as well.
MOST_CLIPS: Final = 12
#: Pictures of one clip, two moments of two paws, and MiB of one of them: 640 x 480 has about 0.06 (measured).
MOST_OF_CLIP: Final = 4
MOST_MIB: Final = 1.0
#: Beginning of the names of the folders, which a desk that was killed may leave.
FOLDER: Final = "pictures-"
MORE: Final = "Pictures are shown of {most} clips; there are {all}."
GONE: Final = "the film is no longer where it was when it was read, or it has changed since."
Tell = Callable[[int, int], None]


class Wish(NamedTuple):
    """A clip that is pictured: its number, and what gait.showing.ToPicture says of it."""

    clip_id: int
    name: str
    dog: str
    box: Box
    facing: Facing


def pictures_for(desk: Desk, wishes: Sequence[Wish], tell: Tell = lambda done, total: None) -> Section:
    """The pictures of ``wishes``, with a sentence on each clip that has none, and why."""
    pictures: list[KeyPicture] = []
    remarks = [] if len(wishes) <= MOST_CLIPS else [MORE.format(most=MOST_CLIPS, all=len(wishes))]
    for done, wish in enumerate(wishes[:MOST_CLIPS]):
        tell(done, len(wishes))
        try:
            line = clip_line(desk, wish.clip_id)
            pictures += _taken(desk, line, wish)
        except DeskError as error:
            remarks.append(f"No pictures of {wish.name}: {error}")
    return picture_section(pictures, remarks=list(dict.fromkeys(remarks)))


def sweep_pictures(desk: Desk) -> None:
    """Take away what a desk that was killed left half done."""
    for folder in desk.folder.glob(f"{FOLDER}*"):
        shutil.rmtree(folder, ignore_errors=True)


def _taken(desk: Desk, line: ClipLine, wish: Wish) -> list[KeyPicture]:
    source = source_of(desk.store, line)
    if source is None:
        raise DeskError(GONE, 404)
    folder = record_folder(desk, line).relative_to(desk.home).as_posix()
    with TemporaryDirectory(prefix=FOLDER, dir=desk.folder) as target:
        told = {
            "read": {"home": str(desk.home), "sha256": line.sha256, "folder": folder, "trial": trial_told(desk, line)},
            "film": {"source": str(source), "fps": line.fps or None},
            "wish": {"name": wish.name, "dog": wish.dog, "box": asdict(wish.box), "facing": wish.facing},
            "target": target,
        }
        made = run_limited("gait.desk.moments:take_pictures", told)
        return [_picture(Path(target), one, wish.dog) for one in made["pictures"][:MOST_OF_CLIP]]


def _picture(folder: Path, told: dict[str, Any], dog: str) -> KeyPicture:
    path = folder / PurePath(told["file"]).name
    if path.stat().st_size > MOST_MIB * MIB:
        raise DeskError("a picture came out larger than a page can show.")
    return KeyPicture(str(told["condition"]), str(told["caption"]), path.read_bytes(), dog)
