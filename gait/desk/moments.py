"""Key pictures of one clip, taken from its film: what a process with limits does, see gait.desk.limited."""

from pathlib import Path
from typing import Any

from gait.caseload.corrected import machine_record, with_overrulings
from gait.desk.errors import DeskError
from gait.framing import Box
from gait.reading import ReadingSettings, open_source
from gait.showing import ToPicture, pictures_of


def take_pictures(read: dict[str, Any], film: dict[str, Any], wish: dict[str, Any], target: str) -> dict[str, Any]:
    """Write the key pictures of a clip into the folder ``target``, and say which: {"pictures": [...]} with the name of
    each file and its words.

    read  {"home", "sha256", "folder", "trial"}: the reading, as gait.caseload.corrected.machine_record wants it
    film  {"source", "fps"}: where the film lies; pictures per second of a folder of pictures
    wish  {"name", "dog", "box", "facing"} as in gait.showing.ToPicture

    Raises DeskError when the results are gone, ClipError when the film cannot be read.
    """
    home = Path(read["home"])
    record = machine_record(home, read["folder"], read["trial"])
    if record is None:
        raise DeskError("its results are gone or damaged; have it read again.", 404)
    record = with_overrulings(home, read["sha256"], record)
    clip = open_source(Path(film["source"]), record.trial, ReadingSettings(fps=film["fps"]))
    wanted = ToPicture(record, wish["name"], wish["dog"], Box(**wish["box"]), wish["facing"])
    told = []
    for number, picture in enumerate(pictures_of(clip, wanted)):
        file = f"{number}.jpg"
        (Path(target) / file).write_bytes(picture.jpeg)
        told.append({"file": file, "condition": picture.condition, "caption": picture.caption})
    return {"pictures": told}
