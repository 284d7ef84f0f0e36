"""A made-up gait record in closed form: every number on the page can be told from the arguments."""

from dataclasses import dataclass, replace

import numpy as np

from gait.nouns import Belt, Contacts, GaitRecord, Run, Strides, Summary, TrustCheck
from gait.trial import Trial
from pose.landmarks import PAWS
from pose.tracks import Tracks

#: Touchdown of each paw in the order of PAWS, as a share of the stride after the near hind touchdown.
PHASES = {
    "trot": {"near_fore": 0.46, "far_fore": 0.96, "near_hind": 0.0, "far_hind": 0.5},
    "pace": {"near_fore": 0.04, "far_fore": 0.54, "near_hind": 0.0, "far_hind": 0.5},
    "walk": {"near_fore": 0.2, "far_fore": 0.7, "near_hind": 0.0, "far_hind": 0.5},
}
DUTY = {"trot": 0.42, "pace": 0.45, "walk": 0.66}
FPS = 60.0
BODY_PX = 200.0
EVENT_SD_MS = 8.0
TANSY = Trial(clip="tansy-bare.mp4", dog="Tansy", date="2026-05-04", condition="bare", baseline=True, belt_m_s=1.9)


@dataclass(frozen=True)
class Wish:
    """What the record shall hold: runs of (gait, strides of the near hind paw) of ``stride_s`` each."""

    runs: tuple[tuple[str, int], ...] = (("trot", 11), ("unclear", 1), ("pace", 6))
    stride_s: float = 0.52
    dropped: tuple[tuple[int, str], ...] = ((2, "gap"), (3, "gap"), (30, "truncated"))
    trial: Trial = TANSY
    notices: tuple[str, ...] = ()
    grade: str = "usable with care"
    known: bool = True


def make_record(wish: Wish = Wish()) -> GaitRecord:
    """The record of ``wish``; with ``known`` off every number in it is missing."""
    names = [name for name, count in wish.runs for _ in range(count)]
    t_s = np.arange(0, len(names) * wish.stride_s + 0.3, 1 / FPS)
    strides = make_strides(wish, names)
    forward, ground = make_paths(wish, names, t_s)
    blank = 1.0 if wish.known else np.nan
    return GaitRecord(
        trial=wish.trial,
        tracks=make_tracks(t_s),
        facing="right",
        body_length_px=BODY_PX,
        belt=make_belt(),
        contacts=make_contacts(wish, names),
        strides=strides,
        runs=make_runs(wish),
        summaries=make_summaries(strides, wish.known),
        checks=make_checks(blank),
        grade=wish.grade,
        notices=wish.notices,
        ground_px=ground * blank,
        forward_bl=forward * blank,
        topline_deg=blank * (2.0 + 1.5 * np.sin(4 * np.pi * t_s / wish.stride_s)),
        settings={"contacts": {"least_stance": 0.15, "limit": None}, "seed": 0},
        versions={"pawfall": "0.1.0", "numpy": np.__version__},
        network_hash="0123456789abcdef" * 4,
    )


def make_standing() -> GaitRecord:
    """A dog that only stands: no contact, no stride, no measure."""
    record = make_record(Wish(grade="film again"))
    none = np.empty(0)
    words = np.empty(0, dtype="U8")
    strides = Strides(
        none.astype(int), none, none, words, none, words, words, {"topline_deg": none}, {"topline_deg": none}
    )
    contacts = Contacts(none.astype(int), none, none, none, none, none, none.astype(bool), none)
    run = Run("stand", 0.0, float(record.tracks.t_s[-1]), 0, 0)
    return replace(record, strides=strides, contacts=contacts, runs=(run,), summaries=())


def shape_of(name: str) -> tuple[dict[str, float], float]:
    """Phases and duty factor by which a stride of that name is drawn; an unclear one lies between pace and trot."""
    drawn = name if name in PHASES else "trot"
    return PHASES[drawn], DUTY[drawn]


def make_tracks(t_s: np.ndarray) -> Tracks:
    shape = (len(t_s), len(PAWS) + 2)
    return Tracks(np.arange(len(t_s)), t_s, np.zeros((*shape, 2)), np.ones(shape), np.zeros(shape, bool))


def make_belt() -> Belt:
    return Belt(np.array([800.0, 720.0]), np.array([4.0, 6.0]), 0.4, True, np.full(2, np.nan))


def make_contacts(wish: Wish, names: list[str]) -> Contacts:
    rows: list[tuple[int, float, float, bool]] = []
    for column, paw in enumerate(PAWS):
        for number, name in enumerate(names):
            phases, duty = shape_of(name)
            down = (number + phases[paw]) * wish.stride_s
            lift = down + duty * wish.stride_s
            cut = number == len(names) - 1 and phases[paw] > 0.9
            rows.append((column, down, np.nan if cut else lift, cut))
    paws, down, lift, cut = (np.array(column) for column in zip(*rows, strict=True))
    spread = np.full(len(rows), EVENT_SD_MS)
    return Contacts(paws, down, lift, spread, spread, np.ones(len(rows)), cut, np.zeros(len(rows)))


def make_strides(wish: Wish, names: list[str]) -> Strides:
    number, paw = (grid.ravel() for grid in np.meshgrid(np.arange(len(names)), np.arange(len(PAWS))))
    phase = np.array([shape_of(names[n])[0][PAWS[p]] for n, p in zip(number, paw, strict=True)])
    gait = np.array([names[n] for n in number], dtype="U40")
    dropped = np.full(len(gait), "", dtype="U20")
    for row, reason in wish.dropped:
        dropped[row] = reason
        gait[row] = ""
    start = (number + phase) * wish.stride_s
    sure = np.where(gait == "", np.nan, np.where(gait == "unclear", 0.6, 0.97))
    either = np.where(gait == "unclear", "trot/pace", "")
    measures = make_columns(wish, names, number)
    missing = {name: np.full(len(gait), np.nan) for name in measures}
    return Strides(paw, start, start + wish.stride_s, gait, sure, either, dropped, measures, missing)


def make_columns(wish: Wish, names: list[str], number: np.ndarray) -> dict[str, np.ndarray]:
    ripple = 0.01 * np.sin(1.7 * number)
    phase = np.array([shape_of(names[n])[0]["near_fore"] for n in number])
    duty = np.array([shape_of(names[n])[1] for n in number])
    columns = {
        "stride_time_s": wish.stride_s * (1 + ripple),
        "duty_factor": duty + ripple,
        "stride_length_bl": 1.9 + 2 * ripple,
        "limb_phase_near": phase + ripple,
        "limb_phase_far": phase - ripple,
        "topline_deg": 2 + 30 * ripple,
    }
    return columns if wish.known else {name: np.full(len(number), np.nan) for name in columns}


UNITS = {"stride_time_s": "s", "stride_length_bl": "bl", "topline_deg": "deg"}


def make_summaries(strides: Strides, known: bool) -> tuple[Summary, ...]:
    return tuple(
        summarise(name, paw, column[(strides.paw == number) & strides.used] if known else np.empty(0))
        for name, column in strides.measures.items()
        for number, paw in enumerate(PAWS)
    )


def summarise(name: str, paw: str, values: np.ndarray) -> Summary:
    n, unit = len(values), UNITS.get(name, "1")
    if not n:
        return Summary(name, paw, unit, np.nan, np.nan, np.nan, np.nan, 0)
    mean, sd = float(values.mean()), float(values.std(ddof=1)) if n > 1 else np.nan
    return Summary(name, paw, unit, mean, sd, sd / n**0.5, 100 * sd / mean, n)


def make_runs(wish: Wish) -> tuple[Run, ...]:
    runs, first = [], 0
    for name, count in wish.runs:
        runs.append(Run(name, first * wish.stride_s, (first + count) * wish.stride_s, count, first))
        first += count
    return tuple(runs)


def make_checks(blank: float) -> tuple[TrustCheck, ...]:
    return (
        TrustCheck("frame rate", 60.0 * blank, 50.0, "frames/s", True),
        TrustCheck(
            "frames with far hind paw seen",
            0.71 * blank,
            0.9,
            "1",
            False,
            "Move the rail out of the way of the far paws.",
        ),
        TrustCheck("camera roll", 0.4 * blank, 3.0, "deg", True),
    )


def make_paths(wish: Wish, names: list[str], t_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Paw positions ahead of the trunk (T, 4) in body lengths, and heights over the belt (T, 4) in px."""
    number = np.minimum((t_s / wish.stride_s).astype(int), len(names) - 1)
    forward, height = np.zeros((2, len(t_s), len(PAWS)))
    for column, paw in enumerate(PAWS):
        phase = np.array([shape_of(names[n])[0][paw] for n in number])
        duty = np.array([shape_of(names[n])[1] for n in number])
        part = (t_s / wish.stride_s - phase) % 1
        swing = np.clip((part - duty) / (1 - duty), 0, 1)
        reach = 0.9 * duty
        middle = 0.5 if "fore" in paw else -0.4
        forward[:, column] = middle + reach * np.where(part < duty, 0.5 - part / duty, -np.cos(np.pi * swing) / 2)
        height[:, column] = BODY_PX * 0.16 * np.sin(np.pi * swing) ** 2
    return forward, height
