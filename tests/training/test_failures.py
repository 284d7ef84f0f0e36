"""What judging tells of a network goes onto its card."""

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest

from pose.landmarks import LANDMARKS
from training.errors import FitError
from training.failures import LEAST_SHARE, note_on_card

CARD = """name = "n"
sha256 = "aa"

[errors.drawn_unseen_dogs]
pictures = 3

[errors.stale]
pictures = 2

[int8]
sha256 = "bb"
"""


def shares(within: float, count: int) -> dict[str, Any]:
    return {"within_5_percent": within, "within_10_percent": within, "count": count}


def photographs(**changed: Any) -> dict[str, Any]:
    plain: dict[str, Any] = {
        "name": "photographs of dogs",
        "kind": "pictures",
        "pictures": 200,
        "dogs_marked": 100,
        "no_dog_found": ["a.jpg"],
        "pictures_without_dog": {"pictures": 90, "dog_found": ["b.jpg", "c.jpg"]},
        "landmarks": {name: shares(0.9, 100) for name in ("all", "visible", "visible_paws_sides_free", *LANDMARKS)},
        "misses": {"croup": {"along_back": 9}, "far_hind": {"elsewhere": 5, "exchanged": 1}},
        "exchanged_pairs": {"exchanged": 3, "of": 150},
        "facing": {"right": 99, "wrong": 0},
        "scores": {"expected_error": 0.2},
    }
    return plain | changed


def judged(folder: Path, network_hash: str, *domains: dict[str, Any]) -> Path:
    folder.mkdir()
    told = {"network": "n", "network_hash": network_hash, "domains": domains}
    (folder / "judged.json").write_text(json.dumps(told))
    return folder


@pytest.fixture
def card(tmp_path: Path) -> Path:
    path = tmp_path / "n.toml"
    path.write_text(CARD)
    return path


def test_errors_and_failures_of_every_domain_are_on_the_card(card: Path, tmp_path: Path) -> None:
    whole = {"all": {"names": {"right": 90, "wrong": 2, "unclear": 8, "dropped": 5}, "touchdown_median_ms": 2.5}}
    clips = photographs(name="films", kind="clips", frames=500, clips=4, not_read={"x": "why"}, whole_line=whole)
    note_on_card(card, [judged(tmp_path / "a", "bb", photographs()), judged(tmp_path / "b", "aa", clips)])
    words = tomllib.loads(card.read_text())
    assert set(words["errors"]) == {"drawn_unseen_dogs", "photographs_of_dogs", "films"}
    found = words["errors"]["photographs_of_dogs"]
    assert (found["pck_10_percent_visible"], found["exchanged_pairs"], found["scores_off_by"]) == (0.9, 0.02, 0.2)
    assert found["dog_found_where_none_is"] == pytest.approx(2 / 90, abs=1e-4)
    films = words["errors"]["films"]
    assert (films["frames"], films["names_wrong"], films["touchdown_median_ms"]) == (500, 2, 2.5)
    assert "names_right" not in found
    known = words["known_failures"]
    assert any("croup" in one and one.endswith("9 of 100") for one in known)
    assert "photographs of dogs: a dog found where there is none, 2 of 90" in known
    assert "photographs of dogs: dogs not found, 1 of 100" in known
    assert "films: clips not read, 1 of 4" in known
    assert "films: strides whose gait is named wrong, 2 of 100" in known
    assert not any("facing" in one for one in known)


def test_a_kind_of_miss_that_is_rare_is_left_out(card: Path, tmp_path: Path) -> None:
    note_on_card(card, [judged(tmp_path / "a", "aa", photographs())])
    text = card.read_text()
    assert LEAST_SHARE == 0.02
    assert "far hind off by more than 10 %, on no marked paw" in text
    assert "far hind off by more than 10 %, near and far" not in text


@pytest.mark.parametrize(
    ("network_hash", "folder", "told"), [("cc", "a", "not of the network"), ("aa", "b", "no folder that pawfall judge")]
)
def test_another_networks_figures_stay_off(
    card: Path, tmp_path: Path, network_hash: str, folder: str, told: str
) -> None:
    judged(tmp_path / "a", network_hash, photographs())
    with pytest.raises(FitError, match=told):
        note_on_card(card, [tmp_path / folder])
    assert card.read_text() == CARD


def test_no_card_is_told(tmp_path: Path) -> None:
    with pytest.raises(FitError, match="no card of a network"):
        note_on_card(tmp_path / "missing.toml", [judged(tmp_path / "a", "aa", photographs())])
