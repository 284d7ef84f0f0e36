"""Every candidate stride as a row: from one touchdown of a paw to its next."""

from dataclasses import dataclass

import numpy as np

from gait.nouns import Contacts
from pose.tracks import FloatArray, IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Candidate strides, ordered by start. paw (R,); first, after (R,) numbers of the contacts that begin and end it
    (after = -1 when the clip ends first); start_s, end_s (R,) s, NaN where cut by the clip."""

    paw: IntArray
    first: IntArray
    after: IntArray
    start_s: FloatArray
    end_s: FloatArray

    def __len__(self) -> int:
        return len(self.paw)


def list_rows(contacts: Contacts) -> Rows:
    """One row per contact that has a next one or is cut off by the clip's end."""
    count = len(contacts)
    first = np.arange(count)
    after = np.where(np.append(contacts.paw[1:] == contacts.paw[:-1], False), first + 1, -1) if count else first
    start = contacts.touchdown_s
    end = np.where(after >= 0, contacts.touchdown_s[after], np.nan) if count else start
    kept = np.isfinite(start) | np.isfinite(end)
    order = np.flatnonzero(kept)
    order = order[np.lexsort((contacts.paw[order], np.nan_to_num(start[order], nan=-np.inf)))]
    return Rows(contacts.paw[order], first[order], after[order], start[order], end[order])
