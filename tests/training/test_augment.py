"""Crops and light: landmarks move with the picture, mirroring exchanges nothing, the same seed gives the same."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import torch
from shard_maker import COLOURS, write_shard

from pose.landmarks import CROUP, NEAR_FORE, NEAR_HIND, WITHERS
from training.augment import OUTSIDE, Batch, CropSettings, augment, degrade, draw_bend
from training.data import Footage, load_footage
from training.photometric import LightSettings, change_light

CPU = torch.device("cpu")
#: px of the crop: middles of spots read off the picture, with colour at half the resolution of brightness.
SPOT_TOLERANCE_PX = 1.0
USUAL = CropSettings()
STILL = CropSettings(turn_deg=0.0, stretch=0.0)


@pytest.fixture(scope="module")
def footage(tmp_path_factory: pytest.TempPathFactory) -> Footage:
    return load_footage(write_shard(tmp_path_factory.mktemp("footage"), 24, empty=3), CPU)


def crops(footage: Footage, settings: CropSettings = USUAL, *, seed: int = 3, light: bool = False) -> Batch:
    rng = torch.Generator().manual_seed(seed)
    return augment(footage, rng, settings, light=LightSettings() if light else None)


def spot(picture: torch.Tensor, colour: tuple[int, int, int]) -> np.ndarray:
    """(x, y) px, middle of the spot of that colour in a picture (3, H, W); NaN when there is none."""
    goal = torch.tensor(colour)[:, None, None] / 255
    on = torch.nonzero((picture - goal).abs().amax(0) < 0.25).float()
    return on.mean(0).flip(0).numpy() if len(on) > 8 else np.full(2, np.nan)


@pytest.mark.parametrize("bend", [0.0, 0.4], ids=["straight", "bent"])
@pytest.mark.parametrize("share", [1.0, 0.0], ids=["tight crops", "wide crops"])
def test_landmarks_move_with_the_picture(footage: Footage, share: float, bend: float) -> None:
    batch = crops(footage, CropSettings(tight_share=share, wide=(0.4, 0.5), bend=bend))
    _, height, width = batch.picture.shape[1:]
    found = np.array([[spot(picture, colour) for colour in COLOURS] for picture in batch.picture])
    truth = batch.xy.numpy()
    # a spot cut off by the edge of the crop has its middle elsewhere
    whole = ((truth > 12) & (truth < np.array([width, height]) - 13)).all(-1) & np.isfinite(found[..., 0])
    assert whole.sum() > 60
    assert np.abs(found - truth)[whole].max() < SPOT_TOLERANCE_PX


@pytest.mark.parametrize("most", [1.2, 2.0])
def test_a_bend_moves_places_smoothly_and_is_undone(most: float) -> None:
    places = torch.rand((64, 50, 2), generator=torch.Generator().manual_seed(1)) * torch.tensor([319.0, 255.0])
    bend = draw_bend(64, torch.Generator().manual_seed(2), replace(USUAL, bend=most))
    moved = bend(places)
    assert (bend.undone(moved) - places).abs().max() < 0.01
    assert 3.4 < (moved - places).norm(dim=-1).mean() / most < 16.6  # px; a dog's body is about 120 long
    right, down = (bend(places + torch.tensor(step)) - moved for step in ((0.5, 0.0), (0.0, 0.5)))
    areas = 4 * (right[..., 0] * down[..., 1] - right[..., 1] * down[..., 0])
    assert areas.min() > (1 - most / 3) ** 3 - 0.01  # derived: each of three waves squeezes by a third of it; no fold
    assert areas.min() < 0.8
    assert areas.max() > 1.2  # and some parts are squeezed, others stretched


def test_no_bend_moves_nothing() -> None:
    places = torch.rand((4, 6, 2)) * 300
    assert torch.equal(draw_bend(4, torch.Generator(), USUAL)(places), places)


def test_tight_crops_show_a_dog_that_faces_right(footage: Footage) -> None:
    batch = crops(footage, CropSettings(tight_share=1.0))
    both = np.isfinite(batch.xy[:, (WITHERS, CROUP), 0].numpy()).all(1)
    assert both.sum() > 15
    assert (batch.xy[both, WITHERS, 0] > batch.xy[both, CROUP, 0]).all()
    assert (batch.right == 1).all()


def test_wide_crops_show_dogs_that_face_either_way(footage: Footage) -> None:
    batch = crops(footage, CropSettings(tight_share=0.0))
    seen = (batch.dog > 0) & torch.isfinite(batch.xy[:, WITHERS, 0]) & torch.isfinite(batch.xy[:, CROUP, 0])
    ahead = batch.xy[seen, WITHERS, 0] > batch.xy[seen, CROUP, 0]
    assert torch.equal(ahead, batch.right[seen] > 0)
    assert 0 < int(ahead.sum()) < len(ahead)


def test_mirroring_exchanges_nothing(footage: Footage) -> None:
    """The spot of the near fore paw stays the near fore paw's in pictures that were mirrored."""
    batch = crops(footage, replace(STILL, tight_share=1.0))
    mirrored = ~footage.facing_right & torch.isfinite(footage.xy[:, 0, 0])
    for row in torch.nonzero(mirrored)[:, 0].tolist():
        for mark in (NEAR_FORE, NEAR_HIND):
            if torch.isfinite(batch.xy[row, mark, 0]) and (batch.xy[row, mark] > 12).all():
                assert np.abs(spot(batch.picture[row], COLOURS[mark]) - batch.xy[row, mark].numpy()).max() < 3


def test_the_dog_fills_the_wanted_share_of_the_width(footage: Footage) -> None:
    batch = crops(footage, replace(STILL, tight_share=1.0, tight=(0.6, 0.6), jitter=0.0))
    wide = footage.box[:, 2] - footage.box[:, 0]
    there = torch.isfinite(wide)
    grown = (batch.xy[:, NEAR_FORE, 0] - batch.xy[:, CROUP, 0]).abs() / (
        footage.xy[:, NEAR_FORE, 0] - footage.xy[:, CROUP, 0]
    ).abs()
    assert torch.allclose((grown * wide)[there], torch.tensor(0.6 * 320), rtol=1e-4)


def test_landmarks_beyond_the_edge_are_absent(footage: Footage) -> None:
    batch = crops(footage, CropSettings(tight_share=0.0, wide=(0.5, 0.5), jitter=0.4))
    xy = batch.xy[torch.isfinite(batch.xy[..., 0])]
    assert len(xy)
    assert ((xy > -0.5) & (xy < torch.tensor([319.5, 255.5]))).all()
    assert torch.isnan(batch.xy[batch.dog > 0]).any(), "none was cut off: the case is not tried"


def test_pictures_without_a_dog_hold_no_landmarks(footage: Footage) -> None:
    batch = crops(footage)
    none = footage.dog < 0
    assert none.sum() == 3
    assert torch.isnan(batch.xy[none]).all()
    assert (batch.dog[none] == 0).all()


def test_outside_is_the_grey_that_reading_uses(footage: Footage) -> None:
    batch = crops(footage, replace(STILL, tight_share=0.0, wide=(0.12, 0.12), jitter=0.0))
    corner = batch.picture[:, :, :3, :3]
    assert torch.allclose(corner, torch.tensor(OUTSIDE), atol=1e-3)


def test_a_small_dog_is_averaged_and_does_not_flicker() -> None:
    """A board of single black and white pixels becomes grey when it is shrunk, as it does when reading."""
    board = ((torch.arange(288)[:, None] + torch.arange(384)) % 2).to(torch.uint8) * 219 + 16
    planes = torch.cat([board, torch.full((144, 384), 128, dtype=torch.uint8)])
    one = Footage(
        planes[None], torch.full((1, 6, 2), 150.0), torch.zeros(1, 6, dtype=torch.bool), torch.tensor([True]),
        torch.tensor([0], dtype=torch.int32), torch.tensor([[92.0, 44.0, 292.0, 244.0]]), torch.tensor([False]),
        torch.ones(1, 6, dtype=torch.bool),
    )  # fmt: skip
    batch = crops(one, replace(STILL, tight_share=0.0, wide=(0.2, 0.2), jitter=0.0))
    middle = batch.picture[0, :, 110:146, 140:180]
    assert middle.std() < 0.1


@pytest.mark.parametrize("light", [False, True], ids=["light as it was", "light changed"])
def test_the_same_seed_gives_the_same_crops(footage: Footage, light: bool) -> None:
    first, again, other = (crops(footage, seed=seed, light=light) for seed in (3, 3, 4))
    assert torch.equal(first.picture, again.picture)
    assert torch.equal(first.xy.nan_to_num(-1), again.xy.nan_to_num(-1))
    assert not torch.equal(first.picture, other.picture)


def test_light_moves_no_pixel_and_stays_in_range() -> None:
    """An edge stays where it is under every change of light but blur and covers."""
    picture = torch.zeros(32, 3, 64, 64)
    picture[:, :, :, 32:] = 0.8
    still = LightSettings(noise=0.0, blur_share=0.0, cover_share=0.0)
    changed = change_light(picture, torch.Generator().manual_seed(1), still)
    assert changed.min() >= 0 and changed.max() <= 1
    assert not torch.allclose(changed, picture)
    step = (changed[..., 1:] - changed[..., :-1]).abs().sum(1)
    assert (step.argmax(-1) == 31).all()


@pytest.mark.parametrize(
    "settings",
    [
        LightSettings(blur_share=0.3, cover_share=0.0, noise=0.0),
        LightSettings(blur_share=0.0, cover_share=1.0, noise=0.0),
        LightSettings(blur_share=0.0, cover_share=0.0, noise=0.3),
    ],
    ids=["blur", "covers", "noise"],
)
def test_each_change_of_sharpness_does_something(settings: LightSettings) -> None:
    picture = torch.rand((12, 3, 64, 96), generator=torch.Generator().manual_seed(2))
    plain = replace(settings, blur_share=0.0, cover_share=0.0, noise=0.0)
    a, b = (change_light(picture, torch.Generator().manual_seed(1), s) for s in (settings, plain))
    assert not torch.allclose(a, b, atol=0.02)


def test_degrading_is_repeatable_and_keeps_shape(tmp_path: Path) -> None:
    rgb = np.random.default_rng(0).integers(0, 256, (288, 384, 3), dtype=np.uint8)
    first, again = (degrade(rgb, np.random.default_rng(8)) for _ in range(2))
    assert np.array_equal(first, again)
    assert first.shape == rgb.shape and first.dtype == np.uint8
    rng = np.random.default_rng(9)
    assert any(not np.array_equal(degrade(rgb, rng), rgb) for _ in range(6))


def test_degrading_moves_no_pixel() -> None:
    """A bright square on black stays in its place, whatever is done to it."""
    rgb = np.zeros((96, 96, 3), np.uint8)
    rgb[40:56, 30:46] = 230
    rng = np.random.default_rng(4)
    for _ in range(25):
        bright = degrade(rgb, rng).astype(float).mean(2)
        weight = np.clip(bright - np.median(bright) - 60, 0, None)
        rows, columns = np.indices(weight.shape)
        middle = np.array([(weight * columns).sum(), (weight * rows).sum()]) / weight.sum()
        assert np.abs(middle - (37.5, 47.5)).max() < 3.0
