"""Tracks and Trial to GaitRecord: the only place where the gait core is put together."""

from dataclasses import asdict, dataclass, replace

import numpy as np

from gait.belt import BeltSpeed, Stances, belt_slope, describe_belt, first_speed, refine_speed, stances_of
from gait.blur import Noise, noise_in
from gait.body import FORWARD, UP, Body, drop_spikes, found_facing, hold_station, level, noise_of, stand_up
from gait.common import NOTHING_COMMON, Common
from gait.contacts import Scene, belt_coordinates, stance_noise, time_contacts
from gait.errors import TooFewStridesError
from gait.naming import STAND
from gait.nouns import Belt, Contacts, GaitRecord, Strides
from gait.phases import find_phases, per_paw
from gait.rhythm import stride_period, with_motion
from gait.runs import find_runs, find_stands
from gait.settings import GaitSettings
from gait.sides import SideDoubt, doubt_sides
from gait.strides import Material, build_strides
from gait.summaries import summarise
from gait.symmetry import compare_sides
from gait.topline import topline_angle
from gait.trial import Trial
from gait.trust import Evidence, TrustSettings, clock_notices, footage_checks, grade_of, stride_checks
from gait.unseen import split_unseen
from gait.versions import versions
from pose.tracks import BoolArray, FloatArray, Tracks, repeated_frames

DEFAULT_SETTINGS = GaitSettings()

#: Fewest frames that could hold two touchdowns of one paw; common practice.
LEAST_FRAMES = 12


@dataclass(frozen=True, slots=True, eq=False)
class _Reading:
    """The state of the reading once paws are known to be down or not. height_px (T, 4) px; told (4,) 0..1."""

    body: Body
    speed: BeltSpeed
    stances: Stances
    height_px: FloatArray
    told: FloatArray


def build_record(
    tracks: Tracks, trial: Trial, settings: GaitSettings = DEFAULT_SETTINGS, *, network_hash: str = "", seed: int = 0
) -> GaitRecord:
    """Everything that the tracks of one clip say about the dog's gait; the same input gives the same record.

    Poor data becomes NaN, a drop reason or a notice. Raises TooFewStridesError only when nothing can be said.
    """
    _check_frames(tracks)
    body = stand_up(tracks, trial.facing, settings.body)
    period_s = stride_period(body, trial.clock_known, settings.rhythm)
    if np.isnan(period_s):
        return _standing(tracks, trial, body, settings, network_hash)
    clock = clock_notices(trial, period_s, settings.trust)
    trial = replace(trial, clock_known=not clock)
    noise_px = noise_of(body)
    raw, travels = hold_station(body, period_s, settings.body)
    body = _with_stands(
        drop_spikes(raw, noise_px, period_s, settings.body), _stand_s(trial, period_s, settings), settings
    )
    reading = _read_phases(body, period_s, noise_px, settings)
    scene = _scene(reading, period_s, settings)
    contacts, common = time_contacts(scene, reading.stances, settings.contacts)
    _check_contacts(contacts)
    doubt = doubt_sides(reading.body, raw, reading.stances, (float(scene.noise_px.max()), period_s), settings.sides)
    belt, scale_notes = describe_belt(
        reading.body, reading.speed, reading.body.xy_px[:, :4, UP] - reading.height_px, trial
    )
    material = _material(tracks, scene, reading, belt, (contacts, common), (doubt, trial, settings))
    strides = build_strides(material, settings.naming, settings.strides, seed=seed)
    notices = (
        *_facing_notices(tracks, trial),
        *clock,
        *_travel_notices(travels),
        *_repeat_notices(tracks),
        *doubt.notices,
        *scale_notes,
    )
    return _assemble(material, trial, strides, period_s, notices, doubt.unsure, settings, network_hash)


def _check_frames(tracks: Tracks) -> None:
    if len(tracks) < LEAST_FRAMES:
        raise TooFewStridesError(
            f"{len(tracks)} frames hold no stride; at least {LEAST_FRAMES} are needed, better ten seconds."
        )


def _check_contacts(contacts: Contacts) -> None:
    landed = np.isfinite(contacts.touchdown_s)
    most = max((int((landed & (contacts.paw == paw)).sum()) for paw in range(4)), default=0)
    if most < 2:
        raise TooFewStridesError(
            "No paw lands twice in this clip, so there is no stride to measure. "
            "Film ten seconds of steady movement, paws in view."
        )


def _stand_s(trial: Trial, period_s: float, settings: GaitSettings) -> float:
    """s, a dog that is still for longer stands."""
    return settings.runs.stand_s if trial.clock_known else max(settings.runs.stand_s, period_s)


def _with_stands(body: Body, least_s: float, settings: GaitSettings) -> Body:
    """``body`` with its stands, and the moments before and after them, marked as unsteady."""
    unsteady = body.unsteady if len(body.unsteady) else np.zeros(len(body.t_s), dtype=bool)
    for stand in find_stands(body, least_s, settings.runs):
        beside = settings.runs.still_s
        unsteady = unsteady | ((body.t_s >= stand.start_s - beside) & (body.t_s <= stand.end_s + beside))
    return replace(body, unsteady=unsteady)


def _width(body: Body, period_s: float, settings: GaitSettings) -> float:
    """s, SD of the local fits: a share of the stride, but never less than the frames allow."""
    return max(settings.rhythm.window * period_s, 0.75 * body.frame_s)


def _read_phases(body: Body, period_s: float, noise_px: float, settings: GaitSettings) -> _Reading:
    """Belt and stances found from each other, a few times over, with the belt line's slope taken out."""
    width_s = _width(body, period_s, settings)
    body = with_motion(body, width_s)
    first = first_speed(body, period_s, width_s, noise_px, settings.belt)
    if np.isnan(first).any():
        raise TooFewStridesError(
            "No paw moves backward with a belt for long enough; check the facing, or film again square to the belt."
        )
    speed = BeltSpeed(np.ones((len(body.t_s), 2)) * first, first, np.full(2, np.nan), True)
    for step in range(settings.passes):
        down, height, told = find_phases(body, speed.speed_px_s, period_s, settings.phases, width_s, noise_px)
        stances = split_unseen(body, stances_of(down), speed.speed_px_s, period_s)
        speed = refine_speed(body, stances, speed.mean_px_s, period_s, settings.belt)
        if step < settings.passes - 1:
            body = level(body, belt_slope(body, stances, settings.belt))
    return _Reading(body, speed, stances, height, told)


def _scene(reading: _Reading, period_s: float, settings: GaitSettings) -> Scene:
    belt_px = belt_coordinates(reading.body, reading.speed.speed_px_s)
    noise = stance_noise(reading.body, belt_px, reading.height_px, reading.stances, settings.contacts)
    shape_s = settings.contacts.shape_doubt * period_s
    return Scene(reading.body, belt_px, reading.height_px, noise, period_s, shape_s, reading.told)


def _material(
    tracks: Tracks,
    scene: Scene,
    reading: _Reading,
    belt: Belt,
    events: tuple[Contacts, Common],
    given: tuple[SideDoubt, Trial, GaitSettings],
) -> Material:
    (contacts, common), (doubt, trial, settings) = events, given
    side_bl = reading.body.length_px * belt.speed_px_s / belt.speed_px_s.mean()
    withers_m = trial.withers_cm / 100 if trial.withers_cm else float("nan")
    noise = noise_in(scene, reading.stances, belt, _width(scene.body, scene.period_s, settings))
    return Material(
        tracks, scene, reading.speed.speed_px_s, belt, contacts, doubt.unsure, side_bl, withers_m, noise, common
    )


def _assemble(
    m: Material,
    trial: Trial,
    strides: Strides,
    period_s: float,
    notices: tuple[str, ...],
    unsure: BoolArray,
    settings: GaitSettings,
    network_hash: str,
) -> GaitRecord:
    body = m.scene.body
    footage = GaitRecord(
        trial=trial,
        tracks=m.tracks,
        facing=body.facing,
        body_length_px=body.length_px,
        belt=m.belt,
        contacts=m.contacts,
        strides=strides,
        runs=find_stands(body, _stand_s(trial, period_s, settings), settings.runs),
        summaries=(),
        checks=footage_checks(Evidence(body, trial, m.belt, unsure, m.speed_px_s, period_s), settings.trust),
        grade="",
        notices=notices,
        ground_px=m.scene.height_px,
        forward_bl=body.relative_px / per_paw(m.side_bl),
        topline_deg=topline_angle(body),
        settings=asdict(settings),
        versions=versions(),
        network_hash=network_hash,
    )
    return with_strides(footage, strides)


def with_strides(record: GaitRecord, strides: Strides) -> GaitRecord:
    """``record`` with ``strides`` in the place of its own, and all that is made from strides made from these: runs,
    summaries, checks, grade, sides."""
    settings = TrustSettings(**record.settings.get("trust", {}))
    summaries = summarise(strides)
    of_strides = {check.name: check for check in stride_checks(strides, summaries, settings)}
    checks = (*(check for check in record.checks if check.name not in of_strides), *of_strides.values())
    stands = [run for run in record.runs if run.gait == STAND]
    return replace(
        record,
        strides=strides,
        runs=tuple(sorted([*find_runs(strides), *stands], key=lambda run: run.start_s)),
        summaries=summaries,
        checks=checks,
        grade=grade_of(checks, settings),
        sides=compare_sides(strides),
    )


def _standing(tracks: Tracks, trial: Trial, body: Body, settings: GaitSettings, network_hash: str) -> GaitRecord:
    """The record of a dog that makes no stride: a stand, or nothing to say."""
    body = with_motion(body, max(0.05, 2 * body.frame_s))
    if not find_stands(body, settings.runs.stand_s, settings.runs):
        raise TooFewStridesError(
            "No rhythm of strides is found. Film ten seconds of steady movement from the side, all paws in view."
        )
    nothing = np.full(2, np.nan)
    empty, none = np.empty(0), np.empty(0, dtype=np.int64)
    contacts = Contacts(none, empty, empty, empty, empty, empty, np.empty(0, dtype=bool), empty)
    belt = Belt(nothing, nothing, 0.0, True, nothing)
    scene = Scene(body, body.xy_px[:, :4, FORWARD], _over_lowest(body), nothing, float("nan"), 0.0, np.ones(4))
    unsure = np.zeros((len(tracks), 2), dtype=bool)
    material = Material(
        tracks,
        scene,
        np.full((len(tracks), 2), np.nan),
        belt,
        contacts,
        unsure,
        np.full(2, body.length_px),
        float("nan"),
        Noise(nothing, nothing, 1.0, nothing, float("nan"), nothing),
        NOTHING_COMMON,
    )
    strides = build_strides(material, settings.naming, settings.strides, seed=0)
    notices = (*_facing_notices(tracks, trial), "The dog stands: there is no stride to measure.")
    return _assemble(material, trial, strides, scene.period_s, notices, unsure, settings, network_hash)


def _over_lowest(body: Body) -> FloatArray:
    """(T, 4) px, each paw over its own lowest place."""
    up = body.xy_px[:, :4, UP]
    lowest = [float(column[np.isfinite(column)].min()) if np.isfinite(column).any() else np.nan for column in up.T]
    return np.asarray(up - np.array(lowest))


def _facing_notices(tracks: Tracks, trial: Trial) -> tuple[str, ...]:
    found = found_facing(tracks)
    if trial.facing is None or found == trial.facing:
        return ()
    return (f"The trial says that the dog faces {trial.facing}, the landmarks say {found}; the trial was followed.",)


def _travel_notices(travels: bool) -> tuple[str, ...]:
    if not travels:
        return ()
    return (
        "The dog travels through the picture, or the camera follows it: the ground was followed instead of a belt, "
        "and place and drift on the belt mean nothing.",
    )


def _repeat_notices(tracks: Tracks) -> tuple[str, ...]:
    count = int(repeated_frames(tracks.xy_px).sum())
    if not count:
        return ()
    return (f"{count} of {len(tracks)} frames show the picture before them once more; they were left out.",)
