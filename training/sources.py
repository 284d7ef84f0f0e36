"""What a run learns from: drawn footage, marked pictures, or both in a stated balance."""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import torch

from training.data import Footage, Rows, batches, join, load_footage
from training.marked import Marked, load_marked
from training.settings import FitSettings


@dataclass(frozen=True, slots=True, eq=False)
class Sources:
    """Drawn and marked pictures; at least one of them is there."""

    drawn: Footage | None
    marked: Marked | None

    def parts(self, settings: FitSettings) -> list[tuple[Footage, Rows, int]]:
        """Each source with its pictures to train on and how many of them a batch holds."""
        count = 0 if self.marked is None else marked_count(settings)
        found = []
        if self.drawn is not None:
            found.append((self.drawn, self.drawn.rows(unseen=False), settings.batch - count))
        if self.marked is not None:
            rows = self.marked.footage.rows(unseen=False)
            found.append((self.marked.footage, np.tile(rows, -(-count // len(rows))), count))
        return found

    def feed(self, settings: FitSettings, start: int = 0) -> Iterator[Footage]:
        """Batches without end; ``start`` skips that many."""
        parts = self.parts(settings)
        orders = [batches(rows, size, settings.seed, start) for _, rows, size in parts]
        while True:
            yield join([footage.take(next(order)) for (footage, _, _), order in zip(parts, orders, strict=True)])

    def footages(self) -> list[Footage]:
        """The marked and the drawn pictures, those that there are."""
        found = [self.marked.footage] if self.marked is not None else []
        return found if self.drawn is None else [*found, self.drawn]

    def watched(self) -> tuple[Footage, Rows] | None:
        """Pictures of dogs kept from training by which progress is seen: marked ones when there are any."""
        for footage in self.footages():
            rows = footage.rows(unseen=True)
            if len(rows):
                return footage, rows
        return None

    def digest(self) -> str:
        """Hash of the marked pictures and their marks, "" without any."""
        if self.marked is None:
            return ""
        pictures = self.marked.footage.in_memory().cpu().numpy().tobytes()
        known = self.marked.footage.known.cpu().numpy().tobytes()
        return hashlib.sha256(self.marked.footage.digest().encode() + pictures + known).hexdigest()

    def facts(self, settings: FitSettings) -> dict[str, Any]:
        """What the card says of the pictures. Names of marked dogs are on it, so that no one judges by them."""
        drawn, marked = self.drawn, self.marked
        out: dict[str, Any] = {} if drawn is None else {
            "training_pictures": len(drawn.rows(unseen=False)),
            "training_dogs": drawn.dogs(unseen=False),
            "unseen_dogs": drawn.dogs(unseen=True),
            "footage_sha256": drawn.digest(),
        }  # fmt: skip
        if marked is not None:
            out |= {
                "marked_pictures": len(marked.footage.rows(unseen=False)),
                "marked_dogs": marked.of(unseen=False),
                "held_out_pictures": len(marked.footage.rows(unseen=True)),
                "held_out_dogs": marked.of(unseen=True),
                "marked_left_out": marked.left_out,
                "marked_share_of_batch": round(marked_count(settings) / settings.batch, 3),
                "marks_sha256": self.digest(),
            }
        return out


def marked_count(settings: FitSettings) -> int:
    """Marked pictures in a batch: at least one of each kind unless the marks are all there is."""
    if settings.marks_share >= 1:
        return settings.batch
    return min(max(1, round(settings.marks_share * settings.batch)), settings.batch - 1)


def load_sources(settings: FitSettings, device: torch.device) -> Sources:
    """The pictures that the settings name. Raises FootageError when some cannot be used."""
    marked = (
        load_marked(settings.marks, device, held_out=settings.held_out, hold_out_every=settings.hold_out_every)
        if settings.marks
        else None
    )
    alone = marked is not None and settings.marks_share >= 1
    drawn = None if alone else load_footage(Path(settings.footage), device, settings.limit or None)
    return Sources(drawn, marked)
