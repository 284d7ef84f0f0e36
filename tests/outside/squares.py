"""Published gaits as square waves: contacts straight from events, and the columns that the gait core makes of them."""

from collections.abc import Mapping, Sequence

import numpy as np
from generator import Pattern, square_contacts

from gait.footfalls import footfall_columns, footfalls_of, support_columns
from gait.nouns import Contacts
from gait.rows import list_rows
from gait.strides import time_columns
from pose.landmarks import NEAR_HIND, PAWS

#: Spans (first down, first up again) of each paw, in any unit of time; NaN = cut by the clip.
Spans = Mapping[str, Sequence[tuple[float, float]]]


def contacts_of(spans: Spans, *, unit_s: float = 1.0, stride_m: float = 1.0, stride: float = 1.0) -> Contacts:
    """Contacts of those spans times ``unit_s``; prints lie ``stride_m`` apart per ``stride`` units of time."""
    rows = [(paw, *span) for paw, name in enumerate(PAWS) for span in spans[name]]
    paw, touch, lift = (np.array(column) for column in zip(*rows, strict=True))
    sd = np.full(len(paw), 1.0)
    cut = ~np.isfinite(touch) | ~np.isfinite(lift)
    at = np.nan_to_num(touch) * stride_m / stride
    return Contacts(paw, touch * unit_s, lift * unit_s, sd, sd, np.ones(len(paw)), cut, at)


def columns_of(contacts: Contacts, paw: int = NEAR_HIND) -> dict[str, np.ndarray]:
    """Columns of the strides of one paw that are whole; those of footfalls and support for hind paws alone."""
    rows = list_rows(contacts)
    mine = np.flatnonzero((rows.paw == paw) & np.isfinite(rows.start_s) & np.isfinite(rows.end_s))
    found = {name: column[mine] for name, column in time_columns(contacts, rows).items()}
    if paw >= NEAR_HIND:
        footfalls = footfalls_of(contacts, rows, mine)
        found |= footfall_columns(footfalls, np.full(len(mine), paw == NEAR_HIND))
        found |= support_columns(contacts, footfalls.start, footfalls.end)
    return found


def exact(pattern: Pattern, paw: int = NEAR_HIND) -> dict[str, float]:
    """The columns of a stride in the middle of the clip."""
    return {name: float(column[3]) for name, column in columns_of(square_contacts(pattern), paw).items()}
