"""What a film file says of itself, as JSON knows it; nothing is looked for in its pictures."""

from typing import Any

import numpy as np

from pose.clip import Clip, open_clip


def film_facts(clip: Clip) -> dict[str, Any]:
    """What the file itself says, as JSON knows it.

    fps  of the file's own clock; filmed_fps: of the camera, None = the same or not known; filmed_on: ISO date or ""
    """
    fps = clip.fps * clip.time_factor
    return {
        "width": clip.width,
        "height": clip.height,
        "frames": clip.frame_count,
        "fps": round(fps, 3) if np.isfinite(fps) else None,
        "duration_s": round(clip.duration_s / clip.time_factor, 3),
        "filmed_fps": clip.filmed_fps,
        "filmed_on": clip.filmed_on.isoformat() if clip.filmed_on else "",
    }


def facts_json(path: str) -> dict[str, Any]:
    """``film_facts`` of the file at ``path``, for a process of its own. Raises ClipError when it is no film."""
    return film_facts(open_clip(path))
