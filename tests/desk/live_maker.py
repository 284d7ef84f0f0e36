"""Films of a dog of discs that are played as cameras, and desks that watch them."""

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from desk_maker import client_of
from fake_network import disc_clip, write_fake_network
from starlette.testclient import TestClient

from gait.caseload.keys import wanted_of
from gait.caseload.store import Store
from gait.desk.room import Desk, open_desk
from pose.film import write_film

#: s, longest that these tests wait for anything.
PATIENCE_S = 60.0
FPS = 30.0


def film_of_discs(folder: Path, seconds: float) -> Path:
    """A trotting dog of discs."""
    clip = disc_clip(frames=round(seconds * FPS), fps=FPS)
    path = folder / "camera.mp4"
    write_film(((frame.t_s, frame.rgb) for frame in clip.frames()), path)
    return path


def live_desk(store: Store, folder: Path) -> Desk:
    """A desk that reads with the network that finds discs; nothing else is read."""
    folder.mkdir()
    desk = open_desk(store, wanted_of(write_fake_network(folder)), workers=1)
    desk.night.pause(True)
    return desk


def client_with(desk: Desk, *cameras: str, alone: bool = True, **settings: Any) -> TestClient:
    """A browser at a desk that was started with ``cameras``."""
    client = client_of(desk, **settings)
    client.app.state.cameras, client.app.state.alone = cameras, alone  # type: ignore[attr-defined]
    return client


def wait_for(what: Callable[[], Any]) -> Any:
    """Wait until ``what`` gives something."""
    until_s = time.monotonic() + PATIENCE_S
    while time.monotonic() < until_s:
        found = what()
        if found:
            return found
        time.sleep(0.05)
    raise AssertionError("it never came")


def now_of(client: TestClient) -> dict[str, Any]:
    """What the page is told now."""
    told: dict[str, Any] = client.get("/live/now.json", headers={"accept": "application/json"}).json()
    return told
