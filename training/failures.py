"""What a network is known to fail at, put on its card: shares measured by ``pawfall judge`` on footage of each kind.

``python -m training.failures CARD.toml JUDGED...``, each JUDGED a folder that ``pawfall judge NAME=INPUT... -o JUDGED``
wrote with this network.
"""

import json
import sys
import tomllib
from pathlib import Path
from typing import Any

from pose.landmarks import LANDMARKS
from pose.misses import PAW_MISSES, TRUNK_MISSES
from training.errors import FitError
from training.export import to_toml

#: Share of the landmarks of a kind that have to miss before the card lists how; of dogs, names and pairs one is enough.
LEAST_SHARE = 0.02

_WHY = {**PAW_MISSES, **TRUNK_MISSES}


def errors_of(domain: dict[str, Any]) -> dict[str, Any]:
    """The errors of one domain of ``judged.json`` as the card lists them: shares 0..1, ms, degrees."""
    marks = domain["landmarks"]
    told: dict[str, Any] = {_counted(domain): domain[_counted(domain)]}
    for name in ("all", "visible", "visible_paws_sides_free"):
        if marks.get(name, {}).get("count"):
            told |= {f"pck_{r}_percent_{name}": marks[name][f"within_{r}_percent"] for r in (5, 10)}
    each = [marks.get(name, {}) for name in LANDMARKS]
    if all(one.get("count") for one in each):
        told["pck_10_percent_each"] = [one["within_10_percent"] for one in each]
    pairs = domain["exchanged_pairs"]
    if pairs["of"]:
        told["exchanged_pairs"] = round(pairs["exchanged"] / pairs["of"], 4)
    if domain["scores"].get("expected_error") is not None:
        told["scores_off_by"] = domain["scores"]["expected_error"]
    empty = domain.get("pictures_without_dog", {})
    if empty.get("pictures"):
        told["dog_found_where_none_is"] = round(len(empty["dog_found"]) / empty["pictures"], 4)
    whole = domain.get("whole_line", {}).get("all", {})
    kept = ("touchdown_median_ms", "touchdown_95_percent_ms", "liftoff_median_ms", "liftoff_95_percent_ms")
    told |= {key: whole[key] for key in (*kept, "topline_deg") if whole.get(key) is not None}
    if any(whole.get("names", {}).values()):
        told |= {f"names_{key}": count for key, count in whole["names"].items()}
    return told


def failures_of(domain: dict[str, Any]) -> list[str]:
    """What went wrong in one domain of ``judged.json``, a sentence for each kind of failure."""
    name, told = domain["name"], []
    for mark in LANDMARKS:
        count = domain["landmarks"].get(mark, {}).get("count", 0)
        kinds = domain["misses"].get(mark, {})
        told += [
            f"{name}: {mark.replace('_', ' ')} off by more than 10 %, {_WHY[kind]}, {missed} of {count}"
            for kind, missed in kinds.items()
            if missed >= LEAST_SHARE * count
        ]
    blind, empty = domain.get("no_dog_found", []), domain.get("pictures_without_dog", {})
    found = {
        "dogs not found": (len(blind), domain.get("dogs_marked", 0)),
        "a dog found where there is none": (len(empty.get("dog_found", [])), empty.get("pictures", 0)),
        "facing the wrong way": (domain["facing"]["wrong"], sum(domain["facing"].values())),
        "near and far exchanged": (domain["exchanged_pairs"]["exchanged"], domain["exchanged_pairs"]["of"]),
        "clips not read": (len(domain.get("not_read", {})), domain.get("clips", 0)),
    }
    names = domain.get("whole_line", {}).get("all", {}).get("names", {})
    given = sum(names.get(key, 0) for key in ("right", "wrong", "unclear"))
    found |= {f"strides whose gait is named {way}": (names.get(way, 0), given) for way in ("wrong", "unclear")}
    return [*told, *(f"{name}: {what}, {some} of {count}" for what, (some, count) in found.items() if some)]


def note_on_card(card: Path, judged: list[Path]) -> None:
    """Put errors and failures of every judged domain on ``card``, in place of those that stood there.

    Raises FitError when there is no card, or a folder is none of ``pawfall judge``, or tells of another network.
    """
    try:
        words = tomllib.loads(card.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise FitError(f"{card} is no card of a network: {error}") from error
    hashes = {words["sha256"], words.get("int8", {}).get("sha256")}
    errors, failures = {}, []
    for folder in judged:
        try:
            told = json.loads((folder / "judged.json").read_text(encoding="utf-8"))
        except (OSError, json.JSONDecodeError) as error:
            raise FitError(f"{folder} is no folder that pawfall judge wrote: {error}") from error
        if told["network_hash"] not in hashes:
            raise FitError(f"{folder} tells of {told['network']}, not of the network of {card.name}; judge it anew.")
        for domain in told["domains"]:
            errors[domain["name"].replace(" ", "_")] = errors_of(domain)
            failures += failures_of(domain)
    own = {key: value for key, value in words["errors"].items() if key.startswith("drawn_unseen_dogs")}
    card.write_text(to_toml(words | {"errors": own | errors, "known_failures": failures}), encoding="utf-8")


def _counted(domain: dict[str, Any]) -> str:
    return "frames" if domain["kind"] == "clips" else "pictures"


def main() -> None:
    """Note what the named folders tell on the card."""
    if len(sys.argv) < 3:
        raise SystemExit("Give the card of a network and folders that pawfall judge wrote with that network.")
    try:
        note_on_card(Path(sys.argv[1]), [Path(word) for word in sys.argv[2:]])
    except FitError as error:
        raise SystemExit(str(error)) from None


if __name__ == "__main__":
    main()
