"""A morning list and a dog's story in which everything occurs that their pages can show."""

from gait.caseload.listing import ClipLine
from gait.caseload.short_list import Case, Course, DogStory, ShortList

HEAD = "Trot, bare, since 2026-03-02: "
FOLDER = "clips/0123456789abcdef/0123456789ab"
LONG = "a-clip-whose-name-is-much-longer-than-anyone-would-like-it-to-be-2026-04-27-boots-trot-03.mp4"


def case(kind: str, dog: str, clip: str, *words: str, advice: tuple[str, ...] = (), page: str = "") -> Case:
    """One case; the page of a dog follows from its name."""
    number = {"": "", "Tansy": "morning/dog-1.html", "Brock & Co <b>": "morning/dog-2.html"}[dog]
    return Case(kind, 1.0, dog, clip, "2026-04-27" if dog else "", words, advice, page or number, number)


def make_list() -> ShortList:
    """One case of each kind at least."""
    report = f"{FOLDER}/report.html"
    cases = (
        case("gait_changed", "Tansy", "", "Tansy paces (16 of 16 strides; bare) at the speed of the belt.",
             page="morning/dog-1-visits.html"),
        case("changed", "Tansy", "", f"{HEAD}stride time is 11 % shorter (10 to 13 %).",
             f"{HEAD}fore reach is 11 % shorter (7 to 16 %).", page="morning/dog-1-visits.html"),
        case("film_again", "Brock & Co <b>", LONG, "Landmarks seen: 23 % of frames (limit 80 % of frames).",
             advice=("Keep rails and people out of the way.",), page=report),
        case("film_again", "Tansy", "slow.mp4", "slow.mp4 has 15.0 frames per second."),
        case("unreadable", "", "", f"{LONG}: it is empty."),
        case("maybe", "Brock & Co <b>", "", f"{HEAD}strides are 4 % longer (1 to 7 %).", advice=("Film it twice.",)),
        case("unsure", "Tansy", "dim.mp4", "Near and far cannot be told apart in 5 of 9 strides (1.2 to 3.4 s).",
             advice=("Marks of its frames teach the network.",), page=report),
    )  # fmt: skip
    tally = {"waiting": 3, "running": 1, "done": 290, "failed": 4, "aside": 1}
    unsure = ((FOLDER, "/the films/dim.mp4"),)
    return ShortList(cases, tally, 299, 60, {f"/films/again/{LONG}": f"/films/{LONG}"}, 2, unsure)


def make_story() -> DogStory:
    """A dog with three visits, in two conditions."""
    dates = ("2026-03-02", "2026-03-30", "2026-04-27")
    became = (
        ("a.mp4", dates[0], "done", "good", "trot", FOLDER, True),
        (LONG, dates[1], "done", "film again", "", FOLDER, False),
        ("c.mp4", dates[2], "aside", "", "", "", False),
        ("d.mp4", dates[2], "new", "", "", "", False),
    )
    lines = tuple(
        ClipLine(n, name, "film", "f" * 64, "Tansy", date, "bare", True, state, "", n, grade, gait, 9, folder, stale,
                 0.0, f"/films/{name}")
        for n, (name, date, state, grade, gait, folder, stale) in enumerate(became, 1)
    )  # fmt: skip
    courses = (
        Course("bare", "trot", "topline_deg", "topline angle", "deg", (-2.04, 0.3, None)),
        Course("bare", "trot", "stride_time_s", "stride time", "s", (0.512, 0.515, 0.46)),
        Course("boots", "walk", "hind_duty_factor", "hind duty factor", "1", (0.61, None, 0.66)),
    )
    told = tuple(one for one in make_list().cases if one.dog == "Tansy")
    return DogStory(1, "Tansy", dates, lines, {1: 1.8}, courses, told)
