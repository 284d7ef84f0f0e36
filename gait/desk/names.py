"""Names of files that came from elsewhere: what is kept of them can be shown anywhere and leads nowhere."""

import unicodedata
from collections.abc import Collection, Iterator
from itertools import chain, count
from pathlib import PurePath
from typing import Final

from gait.caseload.scanning import OTHER_FILMS
from gait.desk.errors import DeskError
from gait.sheets.finding import FILMS

#: What may stand in a name beside letters and digits.
ALLOWED: Final = " .-_"
#: Letters of a name without its ending: file systems take 255 bytes, and a letter has four at most.
LONGEST: Final = 48
#: Names that mean a device on Windows.
DEVICES: Final = frozenset({"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))})
NAMELESS: Final = "film"


def check_film_name(name: str) -> None:
    """Raise DeskError (415) when a file of this name is none that is read here."""
    ending = ending_of(name)
    if ending in FILMS:
        return
    kinds = ", ".join(kind.lstrip(".") for kind in FILMS)
    if ending in OTHER_FILMS:
        raise DeskError(f"Films of the kind {ending} are not read. Save it as mp4, then add it again.", 415)
    raise DeskError(f"This is no film that is read here. Films are {kinds}; a trial sheet is csv, xlsx or toml.", 415)


def ending_of(name: str) -> str:
    """'.mp4' of 'Tansy.MP4'."""
    return "".join(_last(name).rpartition(".")[1:]).lower() if "." in _last(name) else ""


def clean_name(name: str) -> str:
    """A file name of letters, digits, spaces, dots, hyphens and underscores, from the last part of ``name``."""
    last = unicodedata.normalize("NFC", _last(name))
    stem = last.rpartition(".")[0] if "." in last else last
    kept = "".join(sign if sign.isalnum() or sign in ALLOWED else "_" for sign in stem)
    kept = " ".join(kept.split())[:LONGEST].strip(ALLOWED)
    if not kept or kept.casefold().partition(".")[0] in DEVICES:
        kept = f"{NAMELESS}-{kept}".strip(ALLOWED)
    return kept + ending_of(name)


def numbered(name: str, taken: Collection[str]) -> Iterator[str]:
    """``name``, or the first of it with a number, whose stem is not among ``taken`` (casefolded); then the next ones.

    A sheet stands beside a film under the stem of its name, so that two films never share one.
    """
    path = PurePath(name)
    stems = chain([path.stem], (f"{path.stem}-{number}" for number in count(2)))
    yield from (f"{stem}{path.suffix}" for stem in stems if stem.casefold() not in taken)


def _last(name: str) -> str:
    """What stands after the last slash or backslash."""
    return name.replace("\\", "/").rpartition("/")[2]
