"""What the errors of a clip's events have in common: strides do not average it away, and it cancels between events that
move together."""

from dataclasses import dataclass

import numpy as np

from pose.tracks import FloatArray, IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Common:
    """load_s (2, 2, L) s: by how much each of L independent causes (SD 1) moves the touchdowns [.., 0] and the
    lift-offs [.., 1] of the fore [0, ..] and the hind pair [1, ..], + later."""

    load_s: FloatArray

    @property
    def sd_s(self) -> FloatArray:
        """(2, 2) s, all causes together."""
        return np.asarray(np.sqrt((self.load_s**2).sum(axis=2)))

    def of(self, paw: IntArray, *, liftoff: bool) -> FloatArray:
        """(R, L) s, loads of the touchdowns or lift-offs of paws (R,)."""
        return np.asarray(self.load_s[paw // 2, int(liftoff)])


#: Of events known exactly, or of none.
NOTHING_COMMON = Common(np.zeros((2, 2, 1)))


def softness(touchdown_s: FloatArray, liftoff_s: FloatArray, each_s: FloatArray) -> Common:
    """All paws leave or land more softly than taken, or less: touchdowns (2,) s earlier and lift-offs (2,) s later
    together, fore and hind; and each kind of event of each pair (2, 2) s for itself."""
    load = np.zeros((2, 2, 5))
    load[:, 0, 0], load[:, 1, 0] = -touchdown_s, liftoff_s
    for kind in range(4):
        load[kind // 2, kind % 2, 1 + kind] = each_s[kind // 2, kind % 2]
    return Common(load)
