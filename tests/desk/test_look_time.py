"""How long a person waits until a film of 1080p has been looked into, process and libraries counted."""

import time
from pathlib import Path

import cv2
import numpy as np
import pytest

from gait.desk.footage import LOOKING
from gait.desk.limited import run_limited
from pose.clip import open_clip
from pose.film import FilmSettings, write_film
from pose.networks import current_network

pytestmark = pytest.mark.slow

SAMPLE = Path(__file__).parent.parent.parent / "samples" / "tansy_trot_bare.mp4"
HD = (1920, 1080)
#: s; some seconds on an idle machine of two cores, here with room for other programs.
LOOK_S = 20.0


def test_a_look_takes_seconds(tmp_path: Path) -> None:
    path = tmp_path / "hd.mp4"
    frames = open_clip(SAMPLE).frames()
    large = ((frame.t_s, np.asarray(cv2.resize(frame.rgb, HD), np.uint8)) for frame in frames)
    write_film(large, path, settings=FilmSettings(width_px=HD[0]))
    begun = time.monotonic()
    told = run_limited("gait.preview:preview_json", {"path": str(path), "network": str(current_network())}, LOOKING)
    took_s = time.monotonic() - begun
    print(f"{took_s:.1f} s for a look at {told['facts']['width']} x {told['facts']['height']}")  # noqa: T201
    assert all(check["passed"] for check in told["checks"])
    assert took_s <= LOOK_S
