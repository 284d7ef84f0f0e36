"""The record on disk."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from generator import TROT, Scene, dog, replaced

from gait.measures import NAMES
from gait.nouns import GaitRecord
from gait.record import build_record
from gait.tables import write_record
from gait.trial import Trial


@pytest.fixture(scope="module")
def record() -> GaitRecord:
    return build_record(dog(TROT, Scene(noise_bl=0.012))[0], Trial(clip="clip", dog="Tansy", belt_m_s=2.0))


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_contacts_are_written_as_found(record: GaitRecord, tmp_path: Path) -> None:
    write_record(record, tmp_path)
    rows = _rows(tmp_path / "contacts.csv")
    assert list(rows[0]) == ["paw", "side", "touchdown_s", "touchdown_sd_ms", "liftoff_s", "liftoff_sd_ms", "truncated"]
    assert len(rows) == len(record.contacts)
    for row, paw, touchdown in zip(rows, record.contacts.paw, record.contacts.touchdown_s, strict=True):
        assert (row["paw"], row["side"]) == (["fore", "hind"][paw // 2], ["near", "far"][paw % 2])
        assert (
            row["touchdown_s"] == ""
            if np.isnan(touchdown)
            else float(row["touchdown_s"]) == pytest.approx(touchdown, abs=1e-5)
        )


def test_strides_carry_every_measure_and_its_doubt(record: GaitRecord, tmp_path: Path) -> None:
    write_record(record, tmp_path)
    rows = _rows(tmp_path / "strides.csv")
    head = ["paw", "side", "start_s", "end_s", "gait", "gait_probability", "dropped"]
    assert list(rows[0]) == [*head, *(c for n in NAMES for c in (n, f"{n}_sd")), "candidates", "band"]
    used = [row for row in rows if not row["dropped"]]
    assert len(used) == record.strides.used.sum()
    assert float(used[3]["duty_factor"]) == pytest.approx(
        record.strides.measures["duty_factor"][record.strides.used][3], abs=1e-5
    )
    assert not any("nan" in value.lower() for row in rows for value in row.values())


def test_symmetrical_strides_carry_their_band(record: GaitRecord, tmp_path: Path) -> None:
    write_record(record, tmp_path)
    rows = _rows(tmp_path / "strides.csv")
    for row in rows:
        named = row["gait"] == "trot" and row["paw"] == "hind"
        assert (row["band"] in ("trot", "lateral-sequence, diagonal couplets")) == named or row["limb_phase_near"] == ""
        assert not row["band"] or named
    assert sum(row["band"] != "" for row in rows) > 20


def test_json_holds_the_sides_and_the_definitions_of_all_that_is_told(record: GaitRecord, tmp_path: Path) -> None:
    write_record(record, tmp_path)
    found = json.loads((tmp_path / "record.json").read_text(encoding="utf-8"))
    assert [row["measure"] for row in found["sides"]] == [item.measure for item in record.sides]
    defined = {row["name"] for row in found["measures"]}
    assert {row["measure"] for row in found["sides"] + found["summary"]} <= defined
    assert {"symmetry_index", "symmetry_angle", "steadiness"} <= defined
    assert set(found["sides"][0]) >= {"near", "far", "error", "symmetry_index", "symmetry_angle"}


def test_json_holds_the_record_and_never_nan(record: GaitRecord, tmp_path: Path) -> None:
    write_record(record, tmp_path)
    text = (tmp_path / "record.json").read_text(encoding="utf-8")
    found = json.loads(text, parse_constant=lambda word: pytest.fail(f"{word} in JSON"))
    assert {
        "grade",
        "notices",
        "runs",
        "summary",
        "belt",
        "checks",
        "settings",
        "versions",
        "network_hash",
        "trial",
        "measures",
    } <= set(found)
    assert found["trial"]["dog"] == "Tansy" and found["runs"][0]["gait"] == "trot"
    assert found["strides"]["used"] == int(record.strides.used.sum())
    assert sum(found["strides"]["dropped"].values()) + found["strides"]["used"] == found["strides"]["found"]
    assert found["belt"]["speed_px_s"] == pytest.approx(list(record.belt.speed_px_s))


def test_unknown_is_null(tmp_path: Path) -> None:
    write_record(build_record(dog(TROT, Scene())[0], Trial()), tmp_path / "new" / "folder")
    found = json.loads((tmp_path / "new" / "folder" / "record.json").read_text(encoding="utf-8"))
    assert found["belt"]["m_per_px"] == [None, None]


def test_a_standing_dog_can_be_written(tmp_path: Path) -> None:
    tracks, _ = dog(TROT, Scene(seconds=3))
    still = replaced(tracks, xy_px=np.repeat(tracks.xy_px[:1], len(tracks), axis=0))
    write_record(build_record(still, Trial()), tmp_path)
    assert _rows(tmp_path / "contacts.csv") == [] and _rows(tmp_path / "strides.csv") == []


def test_nothing_half_written_is_left(record: GaitRecord, tmp_path: Path) -> None:
    write_record(record, tmp_path)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["contacts.csv", "record.json", "strides.csv"]
