"""Lending style: statistics of features change hands, places and order within a picture do not."""

import pytest
import torch

from training.network import Backbone
from training.style import Lending


def lending(share: float, seed: int = 0) -> Lending:
    rng = torch.Generator()
    rng.manual_seed(seed)
    return Lending(share, rng)


@pytest.fixture
def features() -> torch.Tensor:
    torch.manual_seed(3)
    scale, offset = torch.rand(2, 16, 4, 1, 1)
    return (scale + 0.2) * torch.randn(16, 4, 12, 10) + 3 * offset


def test_what_is_more_than_what_within_a_channel_stays(features: torch.Tensor) -> None:
    lent = lending(1.0)(features)
    assert torch.equal(lent.flatten(2).argsort(2), features.flatten(2).argsort(2))


def test_statistics_come_to_lie_between_those_of_the_pictures(features: torch.Tensor) -> None:
    own, lent = (x.mean((2, 3)) for x in (features, lending(1.0)(features)))
    assert (lent - own).abs().mean() > 0.2
    assert torch.all(lent <= own.max(0).values + 1e-3)
    assert torch.all(lent >= own.min(0).values - 1e-3)


def test_the_share_says_how_many_pictures_change(features: torch.Tensor) -> None:
    assert torch.allclose(lending(0.0)(features), features, atol=1e-5)
    many = features.repeat(25, 1, 1, 1)
    changed = ((lending(0.3)(many) - many).abs().amax((1, 2, 3)) > 1e-4).float().mean()
    assert 0.2 < changed < 0.4


def test_the_same_seed_lends_the_same(features: torch.Tensor) -> None:
    first, again, other = (lending(0.5, seed)(features) for seed in (1, 1, 2))
    assert torch.equal(first, again)
    assert not torch.equal(first, other)


def test_style_is_lent_while_training_only() -> None:
    backbone, pictures = Backbone().eval(), torch.rand(4, 3, 64, 64)
    with torch.no_grad():
        plain = backbone(pictures)
        backbone.style = lending(1.0)
        assert all(torch.equal(a, b) for a, b in zip(plain, backbone(pictures), strict=True))
        moved = [one for one in backbone.modules() if isinstance(one, torch.nn.BatchNorm2d)]
        backbone.train()
        for norm in moved:
            norm.eval()
        styled = backbone(pictures)
    assert all((a - b).abs().max() > 0.05 * a.std() for a, b in zip(plain, styled, strict=True))
