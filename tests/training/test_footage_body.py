"""The drawn dog at rest: one closed surface, weights that keep the legs apart, landmarks where they belong."""

from dataclasses import replace

import numpy as np
import pytest
from footage_maker import Body, body, pattern, places, steady
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from pose.landmarks import CROUP, FAR_FORE, FAR_HIND, NEAR_FORE, NEAR_HIND, WITHERS
from training.footage.backdrop import SIZE, make_backdrops
from training.footage.build import KINDS, Build, RareShares, draw_build, vary_build
from training.footage.movement import Pattern
from training.footage.posing import Carriage, pose_at
from training.footage.room import BLADES, draw_room, grow
from training.footage.skeleton import LEGS, build_skeleton
from training.footage.skin import build_skin

#: Loose specks where a tail tip or a chest is thinner than the grid: most of a speck's vertices, and its longest side.
SPECK_SHARE = 0.002
SPECK_SIDE = 0.05  # withers heights
HEAD_PART, TAIL_PART = 2, 3
WITHERS_WITHIN = 0.06  # withers heights
STANDING = Pattern("walk", 0.85, 0.85, 0.25, 0.5, 0.5, 1.0, 0.0, 0.0, 0.0)

every_kind = pytest.mark.parametrize("kind", KINDS)


def edges(dog: Body) -> np.ndarray:
    """(3 F, 2) the edges of all faces in their sense of turning."""
    faces = dog.skin.faces
    return np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])


@every_kind
def test_every_edge_of_the_surface_has_two_faces_that_turn_the_same_way(kind: str) -> None:
    rows = edges(body(kind))
    there, count = np.unique(rows, axis=0, return_counts=True)
    back = np.unique(rows[:, ::-1], axis=0)
    assert np.all(count == 1)
    assert np.array_equal(there, back)


@every_kind
def test_the_surface_encloses_a_volume_and_its_normals_point_outward(kind: str) -> None:
    skin = body(kind).skin
    a, b, c = (skin.xyz[skin.faces[:, i]] for i in range(3))
    ways = np.cross(b - a, c - a)
    assert np.einsum("ij,ij->", a, ways) / 6 > 0.05  # withers heights cubed; a ball of 0.23 radius
    assert np.mean(np.einsum("ij,ij->i", ways, skin.normal[skin.faces].mean(axis=1)) > 0) > 0.999


@every_kind
def test_the_surface_is_one_piece_but_for_specks(kind: str) -> None:
    dog, rows = body(kind), edges(body(kind))
    count = len(dog.skin.xyz)
    _, piece = connected_components(coo_matrix((np.ones(len(rows)), rows.T), shape=(count, count)), directed=False)
    sizes = np.bincount(piece)
    for loose in np.flatnonzero(sizes < sizes.max()):
        assert sizes[loose] < SPECK_SHARE * count
        assert np.ptp(dog.skin.xyz[piece == loose], axis=0).max() < SPECK_SIDE


@every_kind
def test_weights_sum_to_one_and_keep_left_from_right(kind: str) -> None:
    skin = body(kind).skin
    assert np.allclose(skin.weight.sum(axis=1), 1.0, atol=1e-12)
    assert skin.weight.min() >= 0.0
    right, left = (np.isin(skin.bone, [bone for leg in LEGS[side::2] for bone in leg]) for side in (0, 1))
    of_right, of_left = ((skin.weight * part).sum(axis=1) for part in (right, left))
    assert not np.any((of_right > 0) & (of_left > 0))
    assert not np.any(of_right[skin.xyz[:, 2] <= 0])
    assert not np.any(of_left[skin.xyz[:, 2] >= 0])
    assert of_right.max() > 0.99
    assert of_left.max() > 0.99


def bare(kind: str, seed: int) -> Body:
    """A dog of that kind without a coat."""
    skeleton = build_skeleton(replace(draw_build(np.random.default_rng(seed), kind), hair=0.0))
    return Body(skeleton, build_skin(skeleton))


@every_kind
@pytest.mark.parametrize("seed", [0, 1], ids=["one dog", "another dog"])
def test_a_standing_dog_is_one_withers_height_high(kind: str, seed: int) -> None:
    dog = bare(kind, seed)
    marks = places(dog, steady(dog, STANDING), np.array([0.1]), Carriage())[0]
    assert marks[WITHERS, 1] == pytest.approx(1.0, abs=WITHERS_WITHIN)


@every_kind
def test_landmarks_lie_where_they_are_defined(kind: str) -> None:
    dog = body(kind)
    skin, skeleton = dog.skin, dog.skeleton
    withers, croup = skin.xyz[skin.withers], skin.xyz[skin.croup]
    elbow, hip = skeleton.legs[0][2], skeleton.legs[2][0]
    assert withers[0] == pytest.approx(elbow[0], abs=0.07)  # straight above the back of the elbow
    assert skeleton.tail[0][0] < croup[0] < hip[0] + 0.05  # between the root of the tail and the front of the pelvis
    for at in (withers, croup):  # on the outline of the back: nothing of the trunk is higher there
        here = (np.abs(skin.xyz[:, 0] - at[0]) < 0.01) & (skin.part == 0)
        assert skin.xyz[here, 1].max() <= at[1] + 0.01
    height = skeleton.foot[:, 1] / skeleton.build.paw
    assert np.all((height > 0.3) & (height < 0.6))  # at the height of the pads


@every_kind
def test_near_is_the_right_side_and_fore_is_ahead(kind: str) -> None:
    dog = body(kind)
    marks = places(dog, steady(dog, STANDING), np.array([0.1]))[0]
    assert np.all(marks[[NEAR_FORE, NEAR_HIND], 2] > 0.01)
    assert np.all(marks[[FAR_FORE, FAR_HIND], 2] < -0.01)
    assert marks[[NEAR_FORE, FAR_FORE, WITHERS], 0].min() > marks[[NEAR_HIND, FAR_HIND, CROUP], 0].max()


def varied(kind: str, share: float) -> Build:
    """A dog of that kind with everything rare, or with nothing of it."""
    shares = RareShares(share, share, share, share, share, share)
    return vary_build(np.random.default_rng(1), draw_build(np.random.default_rng(0), kind), shares)


@every_kind
def test_a_high_tail_and_an_upright_neck_leave_withers_and_croup_on_the_trunk(kind: str) -> None:
    build = varied(kind, 1.0)
    assert build.tail_shape in ("up", "curled", "sabre")
    assert build.neck_rise > 1.0
    skeleton = build_skeleton(build)
    skin = build_skin(skeleton)
    for vertex, x in ((skin.withers, skeleton.withers_x), (skin.croup, skeleton.croup_x)):
        assert skin.xyz[vertex, 1] == pytest.approx(skeleton.outline(np.array(x))[0], abs=WITHERS_WITHIN)


@every_kind
def test_the_croup_lies_half_way_from_the_hip_bone_crest_to_the_front_of_a_high_tail(kind: str) -> None:
    build = varied(kind, 1.0)
    skeleton = build_skeleton(build)
    skin = build_skin(skeleton)
    crest = skeleton.legs[2][0, 0] + 0.12 * build.pelvis
    root = skeleton.tail[0]
    above = skin.xyz[:, 1] - root[1]  # a thin tail has few corners of its own right at its root
    tail = (skin.part == TAIL_PART) & (above > -0.02) & (above < 0.06)
    front = skin.xyz[tail, 0].max() if tail.any() else root[0]
    assert skin.xyz[skin.croup, 0] == pytest.approx((crest + front) / 2, abs=0.03)


@every_kind
def test_on_a_rump_that_falls_the_croup_lies_half_way_down_and_the_tail_hangs_from_it(kind: str) -> None:
    shares = RareShares(0.0, 0.0, 0.0, 0.0, 0.0, falling_rump=1.0)
    plain = draw_build(np.random.default_rng(0), kind)
    lengths = []
    for seed in range(6):
        build = vary_build(np.random.default_rng(seed), plain, shares)
        skeleton = build_skeleton(build)
        skin = build_skin(skeleton)
        crest = skeleton.legs[2][0, 0] + 0.12 * build.pelvis
        assert skin.xyz[skin.croup, 1] < float(skeleton.outline(np.array(crest))[0]) - 0.03 * build.rump_fall
        assert skin.xyz[skin.croup, 1] > skeleton.tail[0, 1]
        assert skin.xyz[skin.croup, 0] == pytest.approx((crest + skeleton.tail[0, 0]) / 2, abs=0.06)
        assert build.tail_shape in ("down", "sabre")
        lengths.append(build.tail)
    assert max(lengths) > 0.6


@pytest.mark.parametrize("seed", range(5))
def test_a_thick_neck_over_the_withers_leaves_them_on_the_outline_above_the_elbow(seed: int) -> None:
    rng, shares = np.random.default_rng(seed), RareShares(0.0, 0.0, 0.0, buried_withers=1.0, own_frame=0.0)
    skeleton = build_skeleton(vary_build(rng, draw_build(rng, "fluffy"), shares))
    skin = build_skin(skeleton)
    elbow, withers = skeleton.legs[0][2], skin.xyz[skin.withers]
    assert abs(withers[0] - elbow[0]) < 0.05
    above = (np.abs(skin.xyz[:, 0] - withers[0]) < 0.01) & (skin.part != HEAD_PART)
    assert withers[1] == pytest.approx(skin.xyz[above, 1].max(), abs=0.01)


@every_kind
def test_a_frame_of_its_own_changes_legs_and_back_but_not_what_the_landmarks_are(kind: str) -> None:
    plain, shares = draw_build(np.random.default_rng(0), kind), RareShares(0.0, 0.0, 0.0, 0.0, own_frame=1.0)
    builds = [vary_build(np.random.default_rng(seed), plain, shares) for seed in range(12)]
    skeletons = [build_skeleton(build) for build in builds]
    hocks = np.array([skeleton.legs[NEAR_HIND][2, 1] for skeleton in skeletons]) / builds[0].croup
    assert np.ptp(hocks) > 0.05
    for skeleton in skeletons:
        stifle, hock, fetlock = skeleton.legs[NEAR_HIND][1:]
        assert np.linalg.norm(stifle - hock) > 0.75 * np.linalg.norm(hock - fetlock)  # a shank is not a stilt
        assert skeleton.withers_x == pytest.approx(skeleton.legs[NEAR_FORE][2, 0], abs=0.02)
        assert np.all(np.diff(skeleton.trunk[:, 0]) > 0)
    backs = np.array([s.outline(np.array([s.withers_x, s.croup_x]))[:, 0] for s in skeletons])
    assert np.all(np.abs(backs[:, 0] - 1.0) < 0.15)
    assert np.all(backs.std(axis=0) > 0.004)


def test_a_folded_hind_foot_trails_behind_its_hock_or_swings_before_it() -> None:
    dog = body("square")
    movement = steady(dog, pattern("trot", dog))
    paws = []
    for hang in (-0.3, 0.3, 1.1):
        carriage = Carriage(hang=hang)
        lifted = [t for t in np.arange(0.0, 1.0, 0.02) if not movement.paw(NEAR_HIND, t)[3]]
        ahead = []
        for t in lifted:
            bones = pose_at(dog.skeleton, dog.skin, movement, carriage, float(t)).bones
            hock, foot = (bones[LEGS[NEAR_HIND][k]] @ [*dog.skeleton.legs[NEAR_HIND][k], 1.0] for k in (2, 3))
            ahead.append(foot[0] - hock[0])
        paws.append(float(np.mean(ahead)))
    assert paws[0] > paws[1] + 0.02 > paws[2] + 0.04


def test_a_loose_coat_is_longest_over_croup_and_thighs() -> None:
    build = varied("square", 1.0)
    assert build.breeches > 1.1
    short, long = (build_skin(build_skeleton(one)) for one in (replace(build, breeches=1.0), build))
    longer = long.hair / short.hair
    assert longer[long.croup] == pytest.approx(build.breeches)
    assert longer[long.withers] == pytest.approx(1.0)
    assert np.all(longer[long.xyz[:, 1] < 0.2] == pytest.approx(1.0))


def test_without_rare_shares_a_dog_stays_as_it_was_drawn() -> None:
    assert varied("square", 0.0) == draw_build(np.random.default_rng(0), "square")


@pytest.mark.parametrize("height_m", [0.15, 1.0])
@pytest.mark.parametrize("seed", range(6))
def test_grass_stands_on_the_ground_and_hides_no_more_than_the_legs(seed: int, height_m: float) -> None:
    rng, eye = np.random.default_rng(seed), np.array([0.3, height_m, 4.0])
    room = draw_room(rng, 0.5, 0.8, 2, belt=False)
    meadow = grow(rng, room, 0.5, 0.8, elbow=0.5, eye=eye)
    strips = [box for box in meadow.boxes if box.material == BLADES]
    assert len(strips) >= 14
    for box in (*(box for box in room.boxes if box.material == BLADES), *strips):
        assert -0.02 < box.middle[1] - box.size[1] / 2 <= 0.0
    tops, away = (np.array(values) for values in zip(*((s.size[1] / 2, s.middle[2]) for s in strips), strict=True))
    before = away > 0.44
    assert np.all(tops < 0.8 * 0.5 * 0.5)  # most blades end half way up their strip, m
    assert np.all(tops[~before] > 0.014 * 0.5)
    assert before.any()  # as seen from the camera, grass before the dog reaches no higher than the grass about it
    on_dog_m = height_m + (tops - height_m) * eye[2] / (eye[2] - away)
    assert on_dog_m[before].max() < tops[~before].max()


def test_grass_is_short_or_high() -> None:
    rng, tops = np.random.default_rng(1), []
    for _ in range(60):
        room = draw_room(rng, 0.5, 0.8, 2, belt=False)
        meadow = grow(rng, room, 0.5, 0.8, elbow=0.5, eye=np.array([0.0, 0.5, 4.0]))
        tops.append(max(box.size[1] for box in meadow.boxes if box.material == BLADES) / 2 / 0.5)
    assert min(tops) < 0.05
    assert max(tops) > 0.25
    assert 0.08 < np.median(tops) < 0.18


def test_the_same_seed_gives_the_same_dog() -> None:
    first, again, other = (draw_build(np.random.default_rng(seed)) for seed in (5, 5, 6))
    assert first == again
    assert first != other


def test_backdrops_come_from_the_seed_alone() -> None:
    first, again, other = (make_backdrops(np.random.default_rng(seed), 8) for seed in (3, 3, 4))
    assert first.shape == (8, SIZE[1], SIZE[0], 3)
    assert np.array_equal(first, again)
    assert not np.array_equal(first, other)
