"""What was filmed, said or put right at the desk of a clip that is in the caseload: it is written into the .toml beside
the clip, as the words of new films are, and the numbers are made anew."""

import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from sqlalchemy import select

from gait.caseload.adding import add, add_chosen
from gait.caseload.listing import ClipLine
from gait.caseload.scanning import Stamp, stamp_of
from gait.caseload.tables import Place, TrialRow
from gait.caseload.trials import trial_of
from gait.desk.described import BLANK, SPEEDS, described
from gait.desk.errors import DeskError
from gait.desk.footage import OPENING
from gait.desk.limited import run_limited
from gait.desk.records import clip_line
from gait.desk.room import Desk
from gait.errors import TrialError
from gait.hashing import content_hash
from gait.report.units import IMPERIAL
from gait.sheets.beside import lists_clips, write_beside
from gait.sheets.cells import plain_value
from gait.sheets.trial_sheet import read_trial
from gait.trial import KMH_PER_M_S, Trial

NO_FAULT: Final = {"key": "", "words": ""}
#: Entries that stand under "More".
SELDOM: Final = ("withers_cm", "mass_kg", "incline_deg", "lead_tension_n", "notes")
CHANGED: Final = "The clip has changed since it was taken in, so nothing was written. Add it again under Add footage."


@dataclass(frozen=True, slots=True)
class Telling:
    """How the words of a clip can be changed.

    beside  where it lies with the .toml beside it that says, or will say, what was filmed; () = it cannot be said here
    shared  other clips of which the same .toml speaks, since they have the same name
    why     why it cannot be said here, "" = it can
    sheet   the trial sheet of several clips in which it stands instead, "" = none
    """

    beside: tuple[Path, ...] = ()
    shared: tuple[Path, ...] = ()
    why: str = ""
    sheet: str = ""


def filmed_facts(desk: Desk, line: ClipLine, told: Mapping[str, str] | None = None) -> dict[str, Any]:
    """What the form shows: ``said``, the entries that are known or were just ``told``, and ``telling``."""
    telling = telling_of(desk, line)
    said = BLANK | (dict(told) if told is not None else _known(desk, line, telling))
    return {"said": said | {"more": any(said[key] for key in SELDOM)}, "telling": telling}


def say_filmed(desk: Desk, clip_id: int, told: Mapping[str, str]) -> dict[str, str]:
    """Write beside the clip what a person told of it on the form, take it in, and have the numbers made anew.

    Gives what is wrong, {"key", "words"}; both are "" when nothing is. Raises DeskError when it cannot be said here.
    """
    line = clip_line(desk, clip_id)
    telling = telling_of(desk, line)
    if telling.why:
        raise DeskError(telling.why, 409)
    clip = telling.beside[0]
    said, faults = described({"": (clip, _entries(told, clip, line.kind))})
    if faults:
        return faults[0]
    for place in telling.beside:
        _check_same(desk, place, line.sha256)
    for place in telling.beside:
        write_beside(place, said[""])
    added = add_chosen(desk.store, (*telling.beside, *telling.shared))
    desk.night.plan()
    return {"key": "", "words": " ".join(f"{fault.path.name}: {fault.reason}" for fault in added.faults)}


def take_in_sheet(desk: Desk, clip_id: int) -> None:
    """Take in again the trial sheet in which the clip stands. Raises DeskError when it stands in none."""
    telling = telling_of(desk, clip_line(desk, clip_id))
    if not telling.sheet:
        raise DeskError("This clip stands in no trial sheet of several clips.", 409)
    add(desk.store, Path(telling.sheet), settle_s=0.0)
    desk.night.plan()


def telling_of(desk: Desk, line: ClipLine) -> Telling:
    """Where the words of a clip can be written, or why they cannot."""
    with desk.store.reading() as connection:
        found = select(Place.path).where(Place.clip_id == line.clip_id).order_by(Place.id)
        places = [Path(path) for path in connection.scalars(found)]
        sheet = connection.scalar(select(TrialRow.sheet).where(TrialRow.clip_id == line.clip_id)) or ""
    here = [place for place in places if place.exists()]
    if not here:
        return Telling(why=f"The clip is no longer where it was ({line.path or line.name}), so nothing can be said of "
                           "it here. Put it back, or add it again under Add footage.")  # fmt: skip
    own = [place for place in here if str(_toml(place)) == sheet and not lists_clips(_toml(place))]
    if sheet and not own and os.path.exists(sheet):
        return Telling(why=f"What was filmed stands in {sheet}, a trial sheet of several clips. Change what it says "
                           f"of {line.name} there and save it; then have it taken in again.", sheet=sheet)  # fmt: skip
    return _beside(desk, line, own or here, here)


def _beside(desk: Desk, line: ClipLine, first: list[Path], here: list[Path]) -> Telling:
    """The .toml beside the first place of ``first`` that can be written, and beside copies that have one already."""
    free = [place for place in first if os.access(place.parent, os.W_OK) and not lists_clips(_toml(place))]
    if not free:
        toml = _toml(first[0])
        wrong = ("is a sheet of several clips" if lists_clips(toml) else
                 "folder cannot be written by this program")  # fmt: skip
        return Telling(why=f"What was filmed stands, or would stand, in {toml}; but that {wrong}. Put that right, "
                           "then load this page again.")  # fmt: skip
    copies = [place for place in here if place != free[0] and _toml(place).is_file() and not lists_clips(_toml(place))]
    tomls = {_toml(place): place for place in (*reversed(copies), free[0])}
    return Telling(tuple(reversed(tomls.values())), tuple(_of_same_name(desk, line, tomls)))


def _of_same_name(desk: Desk, line: ClipLine, tomls: Iterable[Path]) -> list[Path]:
    """Other clips that share a .toml of ``tomls``."""
    found: list[Path] = []
    with desk.store.reading() as connection:
        for toml in tomls:
            alike = Place.path.startswith(str(toml.with_suffix("")), autoescape=True)
            paths = connection.scalars(select(Place.path).where(alike, Place.clip_id != line.clip_id))
            found += [path for path in map(Path, paths) if _toml(path) == toml and path.exists()]
    return sorted(found)


def _toml(clip: Path) -> Path:
    return clip.with_suffix(".toml")


def _check_same(desk: Desk, clip: Path, sha256: str) -> None:
    """Raise DeskError when another content lies in place of the clip since it was taken in."""
    with desk.store.reading() as connection:
        row = connection.execute(select(Place.bytes, Place.changed_ns).where(Place.path == str(clip))).one()
    if stamp_of(clip) != Stamp(row.bytes, row.changed_ns) and content_hash(clip) != sha256:
        raise DeskError(CHANGED, 409)


def _known(desk: Desk, line: ClipLine, telling: Telling) -> dict[str, str]:
    """What the store knows of a clip as entries of the form; a dog without a date, or the other way round, stands in
    the sheet beside it alone."""
    with desk.store.reading() as connection:
        row = connection.execute(select(TrialRow.__table__).where(TrialRow.clip_id == line.clip_id)).one()
    trial = trial_of(row, clip=line.name, dog=line.dog, date=line.date)
    names = {"dog": trial.dog, "date": trial.date}
    if not trial.dog and telling.beside and _toml(telling.beside[0]).is_file():
        try:
            names |= {key: str(value) for key, value in read_trial(_toml(telling.beside[0])).items() if key in names}
        except TrialError:
            pass  # it is listed among the files that cannot be used
    return names | _entries_of(trial, desk.kept.units) | {"fps": _number(row.fps)}


def _entries_of(trial: Trial, units: str) -> dict[str, str]:
    numbers = ("withers_cm", "mass_kg", "incline_deg", "lead_tension_n")
    told = {key: _number(getattr(trial, key)) for key in numbers} | _belt(trial.belt_m_s, units)
    told |= {"condition": trial.condition, "facing": trial.facing or "", "notes": trial.notes}
    slowed = {"pace": "fps", "slow": _number(trial.filmed_fps)} if trial.filmed_fps else {}
    return told | slowed | {"baseline": "yes" if trial.baseline else ""}


def _belt(m_s: float | None, units: str) -> dict[str, str]:
    """A speed in the unit in which a person would say it, unless that would change it: then in m/s, as it is kept."""
    liked = "mph" if units == IMPERIAL else "km/h"
    if m_s is None:
        return {"belt_unit": liked}
    for unit in (liked, "km/h", "mph"):
        shown = round(m_s * KMH_PER_M_S if unit == "km/h" else m_s / SPEEDS["mph"][1], 2)
        again = shown / KMH_PER_M_S if unit == "km/h" else round(shown * SPEEDS["mph"][1], 4)
        if again == m_s:
            return {"belt": _number(shown), "belt_unit": unit}
    return {"belt": _number(m_s), "belt_unit": "m/s"}


def _number(value: float | None) -> str:
    """The shortest words of a number that lead back to it."""
    return "" if value is None else np.format_float_positional(value, trim="-")


def _entries(told: Mapping[str, str], clip: Path, kind: str) -> dict[str, str]:
    """Entries of the form as those of a trial sheet."""
    entries = {key: value.replace("\r\n", "\n") for key, value in told.items() if key not in ("pace", "slow", "more")}
    return entries | {"filmed_fps": _filmed_fps(told, clip, kind)}


def _filmed_fps(told: Mapping[str, str], clip: Path, kind: str) -> str:
    """How fast the camera filmed, said as such or as how many times slower the film plays."""
    pace, slow = told.get("pace", ""), told.get("slow", "").strip()
    times = plain_value("filmed_fps", slow, True)
    if not pace or not slow:
        return "?" if pace else ""
    if pace != "times" or kind != "film" or not isinstance(times, float):
        return slow
    fps = run_limited("pose.facts:facts_json", {"path": str(clip)}, OPENING)["fps"]
    return _number(round(times * fps, 2)) if fps else "?"
