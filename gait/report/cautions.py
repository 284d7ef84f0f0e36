"""The cautions that every page shows, always in the same place: straight under the answer."""

from typing import Final, NamedTuple


class Caution(NamedTuple):
    """One caution: its gist in a few words, the whole of it in plain sentences, and its source unless it names it."""

    gist: str
    text: str
    source: str = ""


PRACTICE: Final = "common practice, no source"


CAUTIONS: Final = (
    Caution(
        "Screening, not diagnosis.",
        "This page helps to screen and to follow a dog; it makes no diagnosis. Lameness, pain or neurological signs "
        "go to a veterinary surgeon, and local rules on who may treat animals apply.",
        PRACTICE,
    ),
    Caution(
        "A treadmill is not free ground.",
        "Treadmill gait differs from free gait, and dogs need several sessions to settle: in naive Labradors the "
        "spread between strides at a walk was still raised in the fourth or fifth of six sessions (Gustas et al. "
        "2016, Acta Vet Scand 58), and at a trot gait was repeatable neither within the first of five two-minute "
        "sessions nor from one session to the next (Clements et al. 2005, Vet Rec 156:478).",
    ),
    Caution(
        "One camera sees one plane.",
        "Square-on to the belt the numbers hold; with the camera at an angle they do not.",
        "derived: a length seen at an angle is shortened by its cosine",
    ),
    Caution(
        "Safety on the belt.",
        "Never tie a lead to the treadmill. Someone stays at the stop button. Stop at any sign of distress.",
        PRACTICE,
    ),
    Caution(
        "One dog, one day.",
        "Numbers from one dog on one day are about that dog on that day.",
        PRACTICE,
    ),
)
