"""What a comparison shows besides numbers: the page, the PDF, the films in step, and key pictures of both sides."""

import gc
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from gait.compare.nouns import ClipSet, Contrast
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
from gait.trial import Facing
from pose.clip import Clip

FILMS: Final = "films"
#: Paws whose touchdown and lift-off are shown: those that the measures of a comparison are taken from.
SHOWN: Final = ("near_hind", "near_fore")

Shown = tuple[GaitRecord, Clip | None]


def write_shown(found: SheetComparison, folder: Path) -> None:
    """Write films, ``report.html`` and ``report.pdf`` of the comparison into ``folder``."""
    films, remarks = _films(found, folder) if found.settings.films else ([], [])
    unread = [f"Not read: {clip.row.trial.clip}. {clip.reason}" for clip in found.unread]
    pictures = [picture for contrast in found.comparison.contrasts for picture in _pictures(found, contrast)]
    write_reports(found.comparison, folder, pictures=_once(pictures), films=films, remarks=(*unread, *remarks))


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


def _pictures(found: SheetComparison, contrast: Contrast) -> Iterator[KeyPicture]:
    """Touchdown and lift-off of the near paws on both sides, cropped alike."""
    if contrast.baseline is None:
        return
    records = shown_pair(contrast)
    box, facing = common_box(list(records)), records[0].facing
    for side, record in zip((contrast.baseline, contrast.condition), records, strict=True):
        clip, _ = _watched(found, record)
        if clip is not None:
            yield from _of_side(contrast, side, (record, clip), (box, "left" if facing == "left" else "right"))


def _of_side(
    contrast: Contrast, side: ClipSet, shown: tuple[GaitRecord, Clip], framing: tuple[Box, Facing]
) -> Iterator[KeyPicture]:
    record, clip = shown
    name = side.date if contrast.kind == "visit" else side.condition
    for paw in SHOWN:
        for picture in key_pictures(clip, record, paw=paw, box=framing[0], facing=framing[1]):
            mirrored = ", mirrored" if record.facing != framing[1] else ""
            label = f"{name}, {picture.t_s:.2f} s{mirrored}"
            yield KeyPicture(label, f"{paw.replace('_', ' ')} {picture.event}", picture.rgb, contrast.dog)


def _once(pictures: list[KeyPicture]) -> list[KeyPicture]:
    """Each moment of a clip once: a baseline stands in several contrasts."""
    return list({(p.dog, p.caption, p.condition): p for p in pictures}.values())
