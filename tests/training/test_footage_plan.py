"""Plans of clips and `pawfall draw`: what is wrong is said in one line that names the key."""

import sys
from pathlib import Path
from typing import Any

import moderngl
import pytest
from command_line import call

from training.errors import DrawError, FootageError
from training.footage.plan import ClipPlan, choose, read_plans
from training.footage.shards import UNSEEN_EVERY, is_unseen
from training.footage.staging import build_of, pattern_of
from training.footage.undrawn import steps_of
from training.footage.unseen import unseen_plan

ROOT = Path(__file__).parents[2]
GOOD = 'name = "a"\ndog = "A"\n'
TROT = 'gaits = [{ gait = "trot", strides = 4 }]\n'


def plan_file(folder: Path, words: str) -> Path:
    path = folder / "plan.toml"
    path.write_text(words)
    return path


def clip(words: str = "", gaits: str = TROT) -> str:
    return f"[[clip]]\n{GOOD}{gaits}{words}\n"


WRONG = {
    "no clip": ("", "no clip"),
    "not TOML": ("[[clip", "cannot be read"),
    "an unknown table": ("[[clips]]\n", "did you mean clip?"),
    "an unknown key": (clip("secnds = 3"), "unknown 'secnds'; did you mean seconds?"),
    "an unknown part of the build": (
        clip("build = { wither_m = 0.5 }"),
        "build: unknown 'wither_m'; did you mean withers_m?",
    ),
    "an unknown part of the look": (clip("look = { coatt = 1 }"), "look: unknown 'coatt'; did you mean coat?"),
    "an unknown kind of dog": (clip('kind = "racr"'), "kind: unknown 'racr'; did you mean racer?"),
    "an unknown tail": (clip('build = { tail_shape = "curly" }'), "did you mean curled?"),
    "an unknown gait": (clip(gaits='gaits = [{ gait = "trott", strides = 4 }]'), "did you mean trot?"),
    "a gait without strides": (clip(gaits='gaits = [{ gait = "trot" }]'), "strides is missing"),
    "no stride": (clip(gaits='gaits = [{ gait = "trot", strides = 0 }]'), "strides is 0"),
    "a gait that is no table": (clip(gaits='gaits = ["trot"]'), "table in braces"),
    "an empty list of gaits": (clip(gaits="gaits = []"), "gaits is empty"),
    "a name missing": ('[[clip]]\ndog = "A"\n' + TROT, "name is missing"),
    "a name with a folder": ('[[clip]]\nname = "../a"\ndog = "A"\n' + TROT, "cannot hold a folder"),
    "two of one name": (clip() + clip(), "two clips are named 'a'"),
    "text for a number": (clip('fps = "60"'), "fps is '60'; it has to be a number"),
    "no frame rate": (clip("fps = 0"), "fps is 0; it has to lie between 1 and 1000"),
    "a number that is none": (clip("noise = nan"), "noise is nan"),
    "a colour short": (clip("look = { boot_colour = [1, 0] }"), "boot_colour has to hold 3 numbers"),
    "an odd size": (clip("size = [161, 90]"), "size is [161, 90]"),
    "too short for a frame": (clip("fps = 1\nseconds = 0.5"), "not one frame"),
}


@pytest.mark.parametrize("case", WRONG)
def test_a_wrong_plan_names_what_is_wrong(case: str, tmp_path: Path) -> None:
    words, said = WRONG[case]
    with pytest.raises(DrawError) as caught:
        read_plans(plan_file(tmp_path, words))
    assert said in str(caught.value)


@pytest.mark.parametrize("case", ["an unknown key", "not TOML", "an odd size"])
def test_the_command_ends_with_one_line_and_two(case: str, tmp_path: Path) -> None:
    words, said = WRONG[case]
    result = call("draw", plan_file(tmp_path, words), "-o", tmp_path / "out")
    assert result.exit_code == 2
    assert said in result.output
    assert len(result.output.strip().splitlines()) == 1
    assert not (tmp_path / "out").exists()


def test_a_plan_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(FootageError, match="cannot be read"):
        read_plans(tmp_path / "none.toml")
    assert call("draw", tmp_path / "none.toml", "-o", tmp_path).exit_code == 2


def test_values_of_a_plan_arrive(tmp_path: Path) -> None:
    words = clip('fps = 30\ndate = 2026-03-04\nsize = [160, 90]\nlook = { boot_colour = [1, 0, 0] }\nkind = "low"')
    (plan,) = read_plans(plan_file(tmp_path, words))
    assert (plan.fps, plan.date, plan.size, plan.kind) == (30.0, "2026-03-04", (160, 90), "low")
    assert plan.gaits == ({"gait": "trot", "strides": 4},)
    assert plan.seconds == ClipPlan("a", "A", plan.gaits).seconds


def test_the_plan_of_the_demo_clips_can_be_read() -> None:
    plans = read_plans(ROOT / "samples" / "plan.toml")
    assert len(plans) >= 5
    assert {plan.facing for plan in plans} == {"left", "right"}
    assert {30.0, 60.0, 120.0} <= {plan.fps for plan in plans}
    assert any(plan.dark for plan in plans)


def test_clips_are_chosen_by_name() -> None:
    plans = [ClipPlan(name, "A", ()) for name in ("one", "two", "three")]
    assert choose(plans, ()) == plans
    assert [plan.name for plan in choose(plans, ("three", "one"))] == ["one", "three"]
    with pytest.raises(DrawError, match="did you mean three"):
        choose(plans, ("thre",))


def test_without_the_training_extra_the_command_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in [name for name in sys.modules if name.startswith("training.footage")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "moderngl", None)
    result = call("draw", plan_file(tmp_path, clip()), "-o", tmp_path)
    assert result.exit_code == 2
    assert "drawing needs moderngl" in result.output
    assert "pip install 'pawfall[training]'" in result.output


def test_without_opengl_the_command_says_what_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(**_: Any) -> None:
        raise Exception("no such library: libEGL.so.1")  # moderngl raises bare ones

    monkeypatch.setattr(moderngl, "create_context", refuse)
    result = call("draw", plan_file(tmp_path, clip()), "-o", tmp_path)
    assert result.exit_code == 2
    assert "No OpenGL through EGL here" in result.output
    assert len(result.output.strip().splitlines()) == 1


@pytest.mark.parametrize(("number", "kept"), [(0, False), (18, False), (19, True), (20, False), (39, True)])
def test_every_twentieth_dog_is_kept_from_training(number: int, kept: bool) -> None:
    assert UNSEEN_EVERY == 20
    assert is_unseen(number) == kept


@pytest.mark.parametrize(("number", "shorter"), [(0, False), (8, True), (88, True)])
def test_unseen_dogs_take_no_longer_steps_than_their_legs_reach(number: int, shorter: bool) -> None:
    plan = unseen_plan(number)
    assert all(paw.kept.all() for paw in steps_of(plan))
    row = dict(plan.gaits[0])
    travel = row.pop("travel")
    assert (travel < pattern_of(plan, row, build_of(plan).withers_m)[0].travel) == shorter
