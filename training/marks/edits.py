"""Every change that a person made, in order, in a file that only grows: one line of JSON each."""

import json
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from pose.errors import MarksError
from training.marks.state import PictureMarks, from_dict

#: A change, one taken back, one made again; and marks that came from outside, behind which nothing can be taken back.
EDIT, UNDO, REDO, TAKEN = "edit", "undo", "redo", "taken"
KINDS: Final = (EDIT, UNDO, REDO, TAKEN)
LONGEST_OP: Final = 80

Sizes = dict[int, tuple[int, int]]


@dataclass(frozen=True, slots=True)
class Edit:
    """One step.

    op             its own name, so that a step that is sent twice is kept once
    kind           one of KINDS
    image_id       the picture
    before, after  what was said of it; None = nothing yet
    at             ISO 8601, UTC
    """

    op: str
    kind: str
    image_id: int
    before: PictureMarks | None
    after: PictureMarks | None
    at: str

    def as_dict(self) -> dict[str, Any]:
        """Plain values, as ``edit_from`` takes them."""
        before, after = (state.as_dict() if state else None for state in (self.before, self.after))
        return {
            "op": self.op, "kind": self.kind, "image_id": self.image_id, "before": before, "after": after, "at": self.at
        }  # fmt: skip


def edit_from(words: Any, sizes: Sizes, at: str | None = None) -> Edit:
    """A step from plain values, made ``at`` that time or the time that they tell. Raises MarksError when it is none."""
    if not isinstance(words, dict):
        raise MarksError("a change has to be names with values.")
    op, kind, image_id = words.get("op"), words.get("kind"), words.get("image_id")
    if not isinstance(op, str) or not 0 < len(op) <= LONGEST_OP:
        raise MarksError(f"a change came with the name {op!r}; up to {LONGEST_OP} letters are needed.")
    if kind not in KINDS:
        raise MarksError(f"a change came of the kind {kind!r}; known are {', '.join(KINDS)}.")
    if not isinstance(image_id, int) or image_id not in sizes:
        raise MarksError(f"a change came for picture {image_id!r}, which is not in this folder.")
    size = sizes[image_id]
    before, after = (None if words.get(name) is None else from_dict(words[name], size) for name in ("before", "after"))
    return Edit(op, kind, image_id, before, after, at or str(words.get("at")))


class EditLog:
    """The file of changes and what it holds."""

    def __init__(self, path: Path, edits: list[Edit], size: int) -> None:
        self.path, self.edits, self._size = path, edits, size
        self.ops = {edit.op for edit in edits}

    @classmethod
    def read(cls, path: Path, sizes: Sizes) -> "EditLog":
        """The changes in ``path``. A last line that a crash cut off was never confirmed and is taken away."""
        if not path.is_file():
            return cls(path, [], 0)
        data = path.read_bytes()
        whole = data[: data.rfind(b"\n") + 1]
        edits = []
        for number, line in enumerate(whole.splitlines(), start=1):
            try:
                edits.append(edit_from(json.loads(line), sizes))
            except (json.JSONDecodeError, UnicodeDecodeError, MarksError) as error:
                raise MarksError(
                    f"{path.name}, line {number}, cannot be used: {error}. Move the file away: finished marks stay, "
                    "unfinished ones and undo begin anew."
                ) from error
        if whole != data:
            os.truncate(path, len(whole))
        return cls(path, edits, len(whole))

    def append(self, edit: Edit) -> None:
        """Put ``edit`` on the disk. Raises MarksError when somebody else wrote there meanwhile."""
        line = (json.dumps(edit.as_dict(), allow_nan=False) + "\n").encode()
        with self.path.open("ab") as file:
            if file.tell() != self._size:
                raise MarksError(f"{self.path.name} is written by another pawfall mark as well; stop one of the two.")
            try:
                file.write(line)
                file.flush()
                os.fsync(file.fileno())
            except OSError:
                os.truncate(self.path, self._size)  # a full disk may have taken half of the line
                raise
        self._size += len(line)
        self.edits.append(edit)
        self.ops.add(edit.op)
