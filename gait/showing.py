"""What a comparison shows besides numbers: the page, the PDF, the films in step, and key pictures of both sides."""

import gc
import re
from collections.abc import Hashable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from gait.compare.nouns import Comparison, Contrast
from gait.comparison_results import ReadClip, SheetComparison
from gait.framing import Box
from gait.instep import StepSettings
from gait.instep_film import Watched, write_in_step
from gait.key_pictures import common_box, key_pictures
from gait.naming import UNCLEAR
from gait.nouns import GaitRecord
from gait.reading import ReadingSettings, is_table, open_source
from gait.report.comparison.content import Film
from gait.report.comparison.document import KeyPicture
from gait.report.comparison.reports import write_reports
from gait.report.page import packed_picture
from gait.trial import Facing
from pose.clip import Clip

FILMS: Final = "films"
#: Paws whose touchdown and lift-off are shown: those that the measures of a comparison are taken from.
SHOWN: Final = ("near_hind", "near_fore")


@dataclass(frozen=True, slots=True, eq=False)
class ToPicture:
    """A clip whose key pictures are shown.

    name, dog    of its side
    box, facing  as in gait.key_pictures.key_pictures, alike on both sides of a contrast
    """

    record: GaitRecord
    name: str
    dog: str
    box: Box
    facing: Facing


def write_shown(found: SheetComparison, folder: Path) -> None:
    """Write films, ``report.html`` and ``report.pdf`` of the comparison into ``folder``."""
    films, remarks = _films(found, folder) if found.settings.films else ([], [])
    unread = [f"Not read: {clip.row.trial.clip}. {clip.reason}" for clip in found.unread]
    write_reports(found.comparison, folder, pictures=list(_pictures(found)), films=films, remarks=(*unread, *remarks))


def _films(found: SheetComparison, folder: Path) -> tuple[list[Film], list[str]]:
    """The films of all contrasts of conditions, and why there is none of others."""
    films, remarks = [], []
    (folder / FILMS).mkdir()
    for contrast in found.comparison.contrasts:
        if contrast.kind != "condition" or contrast.baseline is None:
            continue
        words = f"{contrast.dog}, {contrast.condition.condition} against {contrast.baseline.condition}"
        name = f"{FILMS}/{film_name(contrast)}"
        first, second = (_watched(found, record) for record in shown_pair(contrast))
        if reason := write_in_step(first, second, folder / name, settings=StepSettings(slower=found.settings.slower)):
            remarks.append(f"No film of {words}: {reason}")
        else:
            films.append(Film(f"{words}, in step.", name))
        gc.collect()  # what a film held in memory goes before the next begins
    if not films:
        (folder / FILMS).rmdir()
    return films, remarks


def film_name(contrast: Contrast) -> str:
    """ "tansy-boots-2026-03-02.mp4", in letters that any file system takes."""
    return plain_words(f"{contrast.dog} {contrast.condition.condition} {contrast.condition.date}") + ".mp4"


def plain_words(words: str) -> str:
    """ "Tansy, boots" as "tansy-boots", in letters that any file system takes."""
    return re.sub(r"[^\w]+", "-", words.lower()).strip("-")


def shown_pair(contrast: Contrast) -> tuple[GaitRecord, GaitRecord]:
    """One clip of each side: of the same facing where there are such, then with the most clear strides."""
    old, new = contrast.baseline, contrast.condition
    if old is None:
        raise ValueError("A contrast without a baseline has nothing to set beside the condition.")
    pairs = [(a, b) for a in old.records for b in new.records]
    return max(pairs, key=lambda pair: (pair[0].facing == pair[1].facing, min(map(_clear, pair))))


def _clear(record: GaitRecord) -> int:
    strides = record.strides
    return int((strides.used & (strides.gait != UNCLEAR)).sum())


def _watched(found: SheetComparison, record: GaitRecord) -> Watched:
    clip = next(clip for clip in found.clips if clip.record is record)
    return _opened(clip), record


def _opened(clip: ReadClip) -> Clip | None:
    """The pictures of a clip; None for a landmark table."""
    if is_table(clip.row.source):
        return None
    return open_source(clip.row.source, clip.row.trial, ReadingSettings(fps=clip.row.fps))


def to_picture(comparison: Comparison) -> tuple[ToPicture, ...]:
    """A clip of each side of every contrast, each once: a baseline stands in several contrasts."""
    found: dict[Hashable, ToPicture] = {}
    for contrast in comparison.contrasts:
        if contrast.baseline is None:
            continue
        records = shown_pair(contrast)
        box, facing = common_box(list(records)), _facing(records[0])
        for side, record in zip((contrast.baseline, contrast.condition), records, strict=True):
            name = side.date if contrast.kind == "visit" else side.condition
            found[contrast.dog, name, id(record), facing] = ToPicture(record, name, contrast.dog, box, facing)
    return tuple(found.values())


def _facing(record: GaitRecord) -> Facing:
    return "left" if record.facing == "left" else "right"


def pictures_of(clip: Clip, wanted: ToPicture) -> Iterator[KeyPicture]:
    """Touchdown and lift-off of the near paws of ``wanted``, of which ``clip`` is the film."""
    mirrored = ", mirrored" if wanted.record.facing != wanted.facing else ""
    for paw in SHOWN:
        for picture in key_pictures(clip, wanted.record, paw=paw, box=wanted.box, facing=wanted.facing):
            label = f"{wanted.name}, {picture.t_s:.2f} s{mirrored}"
            caption = f"{paw.replace('_', ' ')} {picture.event}"
            yield KeyPicture(label, caption, packed_picture(picture.rgb), wanted.dog)


def _pictures(found: SheetComparison) -> Iterator[KeyPicture]:
    for wanted in to_picture(found.comparison):
        clip, _ = _watched(found, wanted.record)
        if clip is not None:
            yield from pictures_of(clip, wanted)
