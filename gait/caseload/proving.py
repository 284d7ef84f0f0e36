"""Looks for what is left of a dog that was removed: its name and its contents, in files and in the store."""

import html
import json
import os
import re
import unicodedata
import zipfile
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pyarrow
import pyarrow.parquet
from sqlalchemy import select

from gait.caseload.store import FILE, Store
from gait.caseload.tables import Base, Forgotten
from gait.hashing import content_hash
from gait.sheets.finding import FILMS
from pose.pictures import ENDINGS as PICTURES

#: Bytes of these are no words.
NO_WORDS: Final = (*FILMS, *PICTURES, ".onnx", ".pt")
#: Pictures within a page.
PICTURE_DATA: Final = re.compile(rb"data:[\w/+.-]+;base64,[\w+/=]+")
#: Larger files are looked through by content alone.
MOST_BYTES: Final = 64 * 2**20


@dataclass(frozen=True, slots=True)
class Proof:
    """What was looked through, and what was found there. left: (place, what was found)."""

    files: int
    rows: int
    left: tuple[tuple[str, str], ...]


def look_for(store: Store, dog: str, sha256: Mapping[str, int], folders: Iterable[Path]) -> Proof:
    """Look for the name ``dog`` and the contents ``sha256`` (hash -> bytes) in the store and below ``folders``.

    A content counts by itself and by its hash in names of files and folders. The name counts as a whole word, whatever
    its capitals, in names of files and in what they say: text, tables, workbooks, the database file itself. Words that
    were drawn into a picture, a film or a PDF are not found.
    """
    found = _Looked(dog)
    in_store = list(_look_in_store(store, found, sha256))
    files = sorted({file for folder in folders for file in _files(folder.resolve())})
    left = [(str(file), what) for file in files if (what := _look_in(file, found, sha256))]
    return Proof(len(files), found.rows, (*in_store, *left, *_whole_folders(files, sha256)))


class _Looked:
    """How a name is looked for.

    rows    of the store that were looked through
    inside  whether the name is part of longer words in them: then it says nothing that it is in the file of the store
    """

    def __init__(self, dog: str) -> None:
        spellings = {dog, json.dumps(dog)[1:-1], html.escape(dog)}
        gaps = [r"\s*".join(map(re.escape, _composed(words).split())) for words in spellings]
        self._any = re.compile("|".join(gaps), re.IGNORECASE)
        self._word = re.compile(rf"(?<!\w)(?:{'|'.join(gaps)})(?!\w)", re.IGNORECASE)
        self.rows = 0
        self.inside = False

    def has(self, words: str, parts: bool = False) -> bool:
        """Whether the name is a word of ``words``, or with ``parts`` also a part of one."""
        return bool((self._any if parts else self._word).search(_composed(words)))


def _composed(words: str) -> str:
    """Letters with their accents as one sign each: systems differ in how they write them."""
    return unicodedata.normalize("NFC", words)


def _look_in_store(store: Store, found: _Looked, sha256: Mapping[str, int]) -> Iterator[tuple[str, str]]:
    with store.reading() as connection:
        for table in Base.metadata.sorted_tables:
            for row in connection.execute(select(table)):
                words = " ".join(map(str, row))
                found.rows += 1
                found.inside |= found.has(words, parts=True)
                if found.has(words):
                    yield f"store, table {table.name}", f"the name, in row {row[0]}"
                if table.name != Forgotten.__tablename__ and any(digest in words for digest in sha256):
                    yield f"store, table {table.name}", f"a content, in row {row[0]}"


def _files(folder: Path) -> Iterator[Path]:
    for here, _, names in os.walk(folder):
        yield from (Path(here, name) for name in names)


def _look_in(file: Path, found: _Looked, sha256: Mapping[str, int]) -> str:
    """What was found in a file, "" = nothing."""
    try:
        size = file.stat().st_size
        if size in sha256.values() and content_hash(file) in sha256:
            return "the same content"
        if any(digest in str(file) for digest in sha256):
            return "its content's number, in the name of the file or its folder"
        if found.has(file.name):
            return "the name, in the name of the file"
        parts = file.name.startswith(FILE)  # a database puts words next to each other without a gap
        named = (size <= MOST_BYTES or parts) and any(found.has(words, parts) for words in _texts(file))
        named &= not (parts and found.inside)
    except (OSError, ValueError, zipfile.BadZipFile, pyarrow.ArrowException) as error:
        return f"unknown: it cannot be read ({error})"
    return "the name" if named else ""


def _texts(file: Path) -> Iterator[str]:
    ending = file.suffix.lower()
    if ending in NO_WORDS:
        return
    if ending == ".parquet":
        yield from (str(column.unique().to_pylist()) for column in _word_columns(pyarrow.parquet.read_table(file)))
    elif zipfile.is_zipfile(file):
        with zipfile.ZipFile(file) as parts:
            yield from (parts.read(name).decode("utf-8", "replace") for name in parts.namelist())
    else:
        yield PICTURE_DATA.sub(b"", file.read_bytes()).decode("utf-8", "replace")


def _word_columns(table: Any) -> Iterator[Any]:
    return (column for column in table.columns if pyarrow.types.is_string(column.type))


def _whole_folders(files: Iterable[Path], sha256: Mapping[str, int]) -> Iterator[tuple[str, str]]:
    """Folders of pictures whose content is one of these."""
    for folder in sorted({file.parent for file in files if file.suffix.lower() in PICTURES}):
        size = sum(item.stat().st_size for item in folder.iterdir() if item.is_file())
        if size in sha256.values() and content_hash(folder) in sha256:
            yield str(folder), "the same content"
