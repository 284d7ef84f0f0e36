"""The six landmarks that every part of pawfall speaks of, in one fixed order.

Where each lies exactly (drawn dogs, hand marks and pages all use this):

paw       the middle of the foot between the tips of the toes and the back of the main pad,
          at the height of the pads; not the carpus, not the hock, also when folded in swing
withers   on the outline of the back, over the top edge of the shoulder blades: in a standing
          dog straight above the back of the elbow
croup     on the outline of the back, halfway between the point over the front of the pelvis
          and the root of the tail

``near`` is the side that faces the camera. Mirroring a picture does not exchange near and far.
"""

from typing import Final

LANDMARKS: Final = ("near_fore", "far_fore", "near_hind", "far_hind", "withers", "croup")
PAWS: Final = LANDMARKS[:4]
NEAR_FORE, FAR_FORE, NEAR_HIND, FAR_HIND, WITHERS, CROUP = range(6)

#: (near, far) of the fore pair and of the hind pair, as landmark numbers.
PAIRS: Final = ((NEAR_FORE, FAR_FORE), (NEAR_HIND, FAR_HIND))
PAIR_NAMES: Final = ("fore", "hind")
