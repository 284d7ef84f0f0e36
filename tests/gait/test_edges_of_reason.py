"""The corners: too little of everything, and nouns that refuse nonsense."""

import dataclasses
from importlib.metadata import PackageNotFoundError

import numpy as np
import pytest
from generator import ROTARY, TROT, WALK, Scene, dog, replaced, square_contacts

from gait.belt import BeltSettings, belt_slope, first_speed, refine_speed, stances_of
from gait.body import BodySettings, stand_up
from gait.contacts import ContactSettings, stance_noise, time_contacts
from gait.contacts import Scene as FitScene
from gait.errors import GaitError, TooFewStridesError, TrialError
from gait.nouns import Belt, Strides
from gait.record import _check_contacts, build_record
from gait.rhythm import with_motion
from gait.trial import Trial


def test_two_stances_give_a_level_and_steady_belt() -> None:
    body = with_motion(stand_up(dog(WALK, Scene())[0], None, BodySettings()), 0.02)
    down = np.zeros((len(body.t_s), 4), dtype=bool)
    down[10:30, 0] = down[40:60, 1] = True
    stances = stances_of(down)
    assert belt_slope(body, stances, BeltSettings()) == 0.0
    assert refine_speed(body, stances, np.array([300.0, 280.0]), 0.7, BeltSettings()).steady


def test_no_stance_no_contact() -> None:
    body = stand_up(dog(WALK, Scene(seconds=1))[0], None, BodySettings())
    nothing = np.zeros((len(body.t_s), 4))
    scene = FitScene(body, nothing, nothing, np.ones(2), 0.7, 0.007, np.ones(4))
    contacts, common = time_contacts(scene, stances_of(nothing.astype(bool)), ContactSettings())
    assert len(contacts) == 0
    assert common.sd_s == pytest.approx(np.full((2, 2), scene.shape_s))


def test_noise_without_a_long_stance_is_assumed() -> None:
    body = stand_up(dog(WALK, Scene(seconds=1))[0], None, BodySettings())
    nothing = np.zeros((len(body.t_s), 4))
    noise = stance_noise(body, nothing, nothing, stances_of(nothing.astype(bool)), ContactSettings())
    assert noise == pytest.approx(0.01 * body.length_px)


def test_paws_that_only_go_forward_show_no_belt() -> None:
    tracks, _ = dog(WALK, Scene(seconds=2))
    body = stand_up(tracks, None, BodySettings())
    forward = dataclasses.replace(body, smooth_px=body.xy_px, slope_px_s=np.full_like(body.xy_px, 50.0))
    assert np.isnan(first_speed(forward, 0.7, 0.02, 1.0, BeltSettings())).all()


def test_paws_that_never_land_twice() -> None:
    with pytest.raises(TooFewStridesError, match="lands twice"):
        _check_contacts(square_contacts(WALK, strides=0))


def test_a_gallop_at_24_frames_a_second_is_read_with_doubt() -> None:
    record = build_record(dog(ROTARY, Scene(fps=24, noise_bl=0.01))[0], Trial())
    assert set(record.strides.gait) <= {"rotary gallop", "unclear", ""}


def test_a_stance_seen_only_at_its_ends_has_no_print() -> None:
    tracks, truth = dog(WALK, Scene())
    xy = tracks.xy_px.copy()
    a, b = truth.touchdown_s[0][5], truth.liftoff_s[0][5]
    xy[(tracks.t_s > a + 0.04) & (tracks.t_s < b - 0.04), 0] = np.nan
    contacts = build_record(replaced(tracks, xy_px=xy), Trial()).contacts
    middle = (contacts.paw == 0) & (np.abs(contacts.touchdown_s - a) < 0.15)
    assert np.isnan(contacts.print_px[middle]).all()
    assert (contacts.confidence[middle] < 0.5).all()


def test_a_back_that_is_hidden_leaves_the_topline_unknown() -> None:
    tracks, _ = dog(TROT, Scene())
    xy = tracks.xy_px.copy()
    xy[120:240, 5] = np.nan
    record = build_record(replaced(tracks, xy_px=xy), Trial())
    inside = (record.strides.start_s > 2.1) & (record.strides.end_s < 3.9)
    assert inside.any() and np.isnan(record.strides.measures["topline_deg"][inside]).all()
    assert np.isfinite(record.strides.measures["duty_factor"][inside & record.strides.used]).all()


def test_withers_and_croup_taken_for_each_other_are_noticed() -> None:
    tracks, _ = dog(TROT, Scene())
    xy = tracks.xy_px.copy()
    xy[:, [4, 5]] = xy[:, [5, 4]]
    record = build_record(replaced(tracks, xy_px=xy), Trial(facing="right"))
    assert any("faces right, the landmarks say left" in notice for notice in record.notices)


def test_nouns_refuse_columns_of_unlike_length() -> None:
    two, three = np.zeros(2), np.zeros(3)
    with pytest.raises(GaitError, match=r"Belt\.speed_sd_px_s has 3 rows; 2 are needed"):
        Belt(two, three, 0.0, True, two)
    words = np.array(["", ""])
    with pytest.raises(GaitError, match="reach_bl has 3 rows; 2 are needed"):
        Strides(two.astype(int), two, two, words, two, words, words, {"reach_bl": three})


def test_nouns_cannot_be_changed() -> None:
    belt = Belt(np.ones(2), np.ones(2), 0.0, True, np.ones(2))
    with pytest.raises(ValueError, match="read-only"):
        belt.speed_px_s[0] = 3.0


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("belt_m_s", -1.0),
        ("belt_m_s", 0.0),
        ("filmed_fps", float("nan")),
        ("withers_cm", float("inf")),
        ("mass_kg", -3.0),
    ],
)
def test_a_trial_refuses_numbers_that_cannot_be(field: str, value: float) -> None:
    with pytest.raises(TrialError, match=field):
        Trial(**{field: value})  # type: ignore[arg-type]


def test_a_trial_knows_two_facings() -> None:
    with pytest.raises(TrialError, match="left or right"):
        Trial(facing="up")  # type: ignore[arg-type]


def test_a_copy_that_was_not_installed_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    def missing(name: str) -> str:
        raise PackageNotFoundError(name)

    monkeypatch.setattr("gait.versions.version", missing)
    assert build_record(dog(TROT, Scene(seconds=3))[0], Trial()).versions["pawfall"] == "unpacked"
