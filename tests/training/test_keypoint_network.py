"""The network: its size, its outputs, and that the ImageNet weights really are in it."""

import numpy as np
import pytest
import torch
from skimage import data
from torch import nn
from torch.nn import functional

from training import network as module
from training.errors import FitError
from training.network import INPUT_SIZE, Backbone, KeypointNetwork, Shape, count_parameters, imagenet_file

MOST_PARAMETERS = 6_000_000


@pytest.fixture(scope="module")
def backbone() -> Backbone:
    filled = Backbone()
    filled.load_imagenet()
    return filled.eval()


SHAPES = pytest.mark.parametrize(
    "shape",
    [Shape(), Shape(separable=True), Shape("lite2", separable=True), Shape("lite2", (64, 48, 32))],
    ids=["as it comes", "separable", "larger backbone", "narrow"],
)


@SHAPES
def test_it_is_small(shape: Shape) -> None:
    assert count_parameters(KeypointNetwork(shape)) <= MOST_PARAMETERS


@SHAPES
def test_shapes_of_the_outputs(shape: Shape) -> None:
    width, height = INPUT_SIZE
    with torch.no_grad():
        heat, absent, facing = KeypointNetwork(shape).eval()(torch.zeros(2, 3, height, width))
    assert heat.shape == (2, 6, height // 4, width // 4)
    assert absent.shape == (2, 6)
    assert facing.shape == (2, 1)


def test_maps_at_four_strides(backbone: Backbone) -> None:
    with torch.no_grad():
        maps = backbone(torch.zeros(1, 3, 64, 96))
    assert [tuple(one.shape[1:]) for one in maps] == [(24, 16, 24), (40, 8, 12), (112, 4, 6), (320, 2, 3)]


def photograph(name: str) -> torch.Tensor:
    """(1, 3, 224, 224) RGB 0..1, the middle of a photograph that scikit-image carries."""
    rgb = getattr(data, name)()
    side = min(rgb.shape[:2])
    top, left = (rgb.shape[0] - side) // 2, (rgb.shape[1] - side) // 2
    square = torch.from_numpy(np.ascontiguousarray(rgb[top : top + side, left : left + side])).permute(2, 0, 1)[None]
    return functional.interpolate(square.float() / 255, size=(224, 224), mode="area")


def classes(backbone: Backbone, picture: torch.Tensor) -> list[int]:
    """The three likeliest ImageNet classes, by the classifier that lies beside the backbone's weights."""
    theirs = torch.load(imagenet_file(backbone.size), map_location="cpu", weights_only=True)
    features = backbone((picture - module._MIDDLE) / module._SPREAD)[-1]
    norm = [theirs[f"_bn1.{name}"] for name in ("running_mean", "running_var", "weight", "bias")]
    top = functional.batch_norm(functional.conv2d(features, theirs["_conv_head.weight"]), *norm, eps=1e-3)
    logits = top.clamp(0, 6).mean((2, 3)) @ theirs["_fc.weight"].T + theirs["_fc.bias"]
    return logits[0].topk(3).indices.tolist()


#: Numbers of the ImageNet 2012 classes: tabby, tiger cat, Persian, Siamese, Egyptian cat; espresso.
CATS, ESPRESSO = {281, 282, 283, 284, 285}, {967}


@pytest.mark.parametrize(
    ("name", "expected"), [("chelsea", CATS), ("coffee", ESPRESSO)], ids=["a cat", "a cup of coffee"]
)
@pytest.mark.parametrize("size", ["lite0", "lite2"])
def test_the_imagenet_weights_know_photographs(size: str, name: str, expected: set[int]) -> None:
    backbone = Backbone(size)
    backbone.load_imagenet()
    with torch.no_grad():
        assert classes(backbone.eval(), photograph(name))[0] in expected


def test_weights_in_no_order_know_nothing() -> None:
    """The same test on a backbone that was not filled fails: it can fail."""
    torch.manual_seed(0)
    with torch.no_grad():
        assert classes(Backbone().eval(), photograph("coffee"))[0] not in ESPRESSO


def test_the_network_starts_from_those_weights(backbone: Backbone) -> None:
    keypoints = KeypointNetwork()
    keypoints.backbone.load_imagenet()
    ours, theirs = keypoints.backbone.state_dict(), backbone.state_dict()
    assert all(torch.equal(ours[key], theirs[key]) for key in theirs)


def test_weights_of_another_network_are_refused(monkeypatch: pytest.MonkeyPatch, tmp_path: object) -> None:
    monkeypatch.setattr(torch, "load", lambda *_, **__: {"a": torch.zeros(3)})
    with pytest.raises(FitError, match="shapes"):
        Backbone().load_imagenet()


def test_every_parameter_learns() -> None:
    """A loss on the three outputs reaches every parameter."""
    network = KeypointNetwork()
    sum(one.square().mean() for one in network(torch.rand(2, 3, 64, 64))).backward()
    idle = [name for name, p in network.named_parameters() if p.grad is None]
    assert not idle
    assert isinstance(network, nn.Module)
