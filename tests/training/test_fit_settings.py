"""Settings files: defaults, tables, and a helpful word for each mistake."""

from pathlib import Path

import pytest

from training.errors import FitError
from training.settings import FitSettings, read_settings

ROOT = Path(__file__).parents[2]
SHIPPED = [*sorted((ROOT / "training").glob("*.toml")), ROOT / "models" / "s10.toml"]


def written(folder: Path, words: str) -> Path:
    path = folder / "run.toml"
    path.write_text(words, encoding="utf-8")
    return path


def test_an_empty_file_gives_the_defaults(tmp_path: Path) -> None:
    assert read_settings(written(tmp_path, "")) == FitSettings()


def test_file_goes_over_defaults_and_flags_over_the_file(tmp_path: Path) -> None:
    path = written(tmp_path, "lr = 1\nsteps = 7\nfootage = 'a'\n[crop]\ntight = [0.5, 0.6]\n[light]\nnoise = 0.0\n")
    settings = read_settings(path, footage="b")
    assert (settings.lr, settings.steps, settings.footage) == (1.0, 7, "b")
    assert settings.crop.tight == (0.5, 0.6)
    assert settings.light.noise == 0.0


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ("stepps = 3", "did you mean steps?"),
        ("[crop]\ntigth = [0.5, 0.6]", "did you mean tight?"),
        ("[light]\nqqq = 1", "it can be one of gamma"),
        ('steps = "many"', "steps is 'many'; int needed"),
        ("steps = 2.5", "steps is 2.5; int needed"),
        ("[crop]\ntight = [0.5]", "2 numbers needed"),
        ("crop = 3", "a table is needed"),
        ("steps = 0", "steps is 0; it must be above 0"),
        ("lr = nan", "lr is nan"),
        ("ema = 1.0", "ema is 1.0"),
        ("start_share = 1.0", "start_share is 1.0"),
        ("start_share = 0.5", "start_share needs a run that starts from a network's weights"),
        ("[crop]\nsize_px = [300, 256]", "multiples of 32"),
        ("[crop]\nbend = 5", "bend is 5.0; it must lie between 0 (none) and 2"),
        ("= 3", "not a settings file"),
    ],
    ids=["a slip", "a slip in a table", "nothing like it", "text for a number", "broken number", "too few numbers",
         "a number for a table", "no steps", "not a number", "weights never follow", "nothing learned",
         "a share of no network", "odd size", "folded over", "no TOML"],
)  # fmt: skip
def test_mistakes_are_named(tmp_path: Path, words: str, message: str) -> None:
    with pytest.raises(FitError) as caught:
        read_settings(written(tmp_path, words))
    assert message in str(caught.value)
    assert "run.toml" in str(caught.value)


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(FitError, match=r"none\.toml"):
        read_settings(tmp_path / "none.toml")


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.name)
def test_the_settings_that_come_with_the_project_can_be_read(path: Path) -> None:
    settings = read_settings(path)
    assert settings.steps > 0
    assert settings.footage == FitSettings().footage, "a path of one machine"
