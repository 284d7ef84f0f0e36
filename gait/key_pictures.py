"""Key pictures: touchdown and lift-off of one paw in a typical stride, cropped alike so that clips can be compared."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gait.filming import held_picture
from gait.framing import Box, box_of, frame_box, held_middle
from gait.naming import UNCLEAR
from gait.nouns import GaitRecord
from gait.trial import Facing
from pose.clip import Clip
from pose.landmarks import PAWS
from pose.tracks import IntArray

Picture = NDArray[np.uint8]

#: px, width and height of a key picture: two fit beside each other on a page.
SIZE_PX = (640, 480)


@dataclass(frozen=True, slots=True, eq=False)
class KeyPicture:
    """A moment of a stride.

    rgb      (H, W, 3) uint8, with landmarks
    paw      whose moment it is
    event    "touchdown" or "lift-off"
    t_s      s, time of the event, between frames
    frame    number of the frame that is shown, the nearest in time
    caption  all of it in words
    """

    rgb: Picture
    paw: str
    event: str
    t_s: float
    frame: int
    caption: str


def common_box(records: list[GaitRecord]) -> Box:
    """The box that holds the dogs of all ``records``: given to ``key_pictures``, it crops their pictures alike."""
    return box_of([(record, np.arange(len(record.tracks))) for record in records])


def key_pictures(
    clip: Clip,
    record: GaitRecord,
    *,
    paw: str = "near_hind",
    gait: str = "",
    box: Box | None = None,
    facing: Facing | None = None,
) -> tuple[KeyPicture, ...]:
    """Touchdown and lift-off of ``paw`` in its most typical used stride; empty when there is no such stride.

    gait    only strides of that name; "" = the most frequent clear one
    box     what is shown around the trunk; None = as much as this dog needs
    facing  the side towards which the dog shall walk; None = as filmed
    """
    contact = typical_contact(record, paw, gait)
    if contact is None:
        return ()
    framing = frame_box(
        box or common_box([record]), SIZE_PX, facing or ("left" if record.facing == "left" else "right")
    )
    held_px = held_middle(record)
    made = []
    contacts = record.contacts
    for event, t_s in (("touchdown", contacts.touchdown_s[contact]), ("lift-off", contacts.liftoff_s[contact])):
        frame = clip.at(float(t_s))
        row = int(np.argmin(np.abs(record.tracks.frame - frame.index)))
        rgb = held_picture(frame, record, row, held_px[row], framing)
        clock = "s" if record.trial.clock_known else "s of the file"
        caption = f"{paw.replace('_', ' ')} {event} at {t_s:.3f} {clock}, frame {frame.index}"
        if framing.facing != record.facing:
            caption += ", mirrored"
        made.append(KeyPicture(rgb, paw, event, float(t_s), frame.index, caption))
    return tuple(made)


def typical_contact(record: GaitRecord, paw: str, gait: str = "") -> int | None:
    """Number of the stance that begins the used stride of ``paw`` nearest to the median stride time; None = no such."""
    strides, contacts = record.strides, record.contacts
    rows = np.flatnonzero(record.strides_of(paw) & strides.used & np.isfinite(strides.start_s + strides.end_s))
    whole = (contacts.paw == PAWS.index(paw)) & np.isfinite(contacts.liftoff_s)
    rows = rows[np.isin(strides.start_s[rows], contacts.touchdown_s[whole])]
    rows = rows[_of_gait(strides.gait[rows], gait)]
    if not len(rows):
        return None
    times = strides.end_s[rows] - strides.start_s[rows]
    typical = rows[int(np.argmin(np.abs(times - np.median(times))))]
    return int(np.flatnonzero(whole & (contacts.touchdown_s == strides.start_s[typical]))[0])


def _of_gait(names: NDArray[np.str_], gait: str) -> IntArray:
    """(n,) places of the strides of that name; of the most frequent clear one for "", of all when none is clear."""
    clear, counts = np.unique(names[names != UNCLEAR], return_counts=True)
    if not gait and not len(clear):
        return np.arange(len(names))
    return np.flatnonzero(names == (gait or clear[int(np.argmax(counts))]))
