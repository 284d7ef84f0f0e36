"""Camera: where the picture is taken from. Metres and radians."""

from dataclasses import dataclass

import numpy as np

from pose.tracks import FloatArray

#: Share of pictures through a long lens, and its horizontal fields of view, degrees; share of pictures that are sharp
#: at the dog alone, and how far the rest is blurred, share of the picture's width. Own estimates.
_TELE, _TELE_DEG = 0.2, (5.0, 16.0)
_UNSHARP, _LENS = 0.35, (0.003, 0.05)
#: How high people hold a camera at most, m; own estimate.
_TALLEST_M = 2.2


@dataclass(frozen=True, slots=True)
class Camera:
    """eye (3,) m; view_projection (4, 4); planes: near and far, m; size: width, height, px; focus_m: how far off things
    are sharp; lens: radius of the disc into which the farthest points are blurred, share of the picture's width."""

    eye: FloatArray
    view_projection: FloatArray
    planes: tuple[float, float]
    size: tuple[int, int]
    focus_m: float = 1.0
    lens: float = 0.0

    def project(self, xyz_m: FloatArray) -> FloatArray:
        """(..., 2) px of points (..., 3) in m; pixel centres at whole numbers, y down."""
        q = xyz_m @ self.view_projection[:, :3].T + self.view_projection[:, 3]
        ndc = q[..., :2] / q[..., 3:]
        return np.asarray((ndc * (1, -1) + 1) / 2 * self.size - 0.5)


def look_at(eye: FloatArray, target: FloatArray, roll: float) -> FloatArray:
    """(4, 4) world to camera."""
    back = (eye - target) / np.linalg.norm(eye - target)
    right = np.cross([0.0, 1.0, 0.0], back)
    right /= np.linalg.norm(right)
    up = np.cross(back, right)
    c, s = np.cos(roll), np.sin(roll)
    rot = np.array([c * right + s * up, c * up - s * right, back])
    out = np.eye(4)
    out[:3, :3], out[:3, 3] = rot, -rot @ eye
    return out


def perspective(field: float, aspect: float, planes: tuple[float, float]) -> FloatArray:
    """(4, 4) projection with a horizontal field of view ``field`` (rad)."""
    f, (n, r) = 1 / np.tan(field / 2), planes
    return np.array(
        [[f, 0, 0, 0], [0, f * aspect, 0, 0], [0, 0, (r + n) / (n - r), 2 * r * n / (n - r)], [0, 0, -1, 0]]
    )


def orthographic(half: float, depth: float) -> FloatArray:
    """(4, 4) parallel projection of a cube ``half`` m to each side and ``depth`` m deep."""
    out = np.diag([1 / half, 1 / half, -2 / depth, 1.0])
    out[2, 3] = -1.0
    return out


@dataclass(frozen=True, slots=True)
class View:
    """How a dog is filmed.

    yaw, pitch, roll, field   radians
    fill    share of the picture's width that the dog's span takes
    shift   (2,) of the dog from the middle, shares of the picture
    lens    blur of what lies far behind the dog: radius, share of the picture's width; 0 = all is sharp
    eye_m   m, how high the camera is held, whatever ``pitch`` says; None = as ``pitch`` has it
    """

    yaw: float
    pitch: float
    roll: float
    field: float
    fill: float
    shift: tuple[float, float]
    lens: float = 0.0
    eye_m: float | None = None


def draw_view(rng: np.random.Generator, wide: bool) -> View:
    """A random tripod. Mostly within 12 degrees of square, sometimes to 40."""
    yaw = np.radians(rng.normal(0, 7) if rng.random() < 0.65 else rng.uniform(-40, 40))
    pitch = np.radians(rng.uniform(-2, 14) if rng.random() < 0.5 else rng.uniform(-4, 34))
    fill = rng.uniform(0.14, 0.5) if wide else rng.uniform(0.55, 0.92)
    room = max(0.0, 0.9 - fill) / 2
    shift = (float(rng.uniform(-room, room)), float(rng.uniform(-room, room) * (0.8 if wide else 0.25)))
    field = rng.uniform(*_TELE_DEG) if rng.random() < _TELE else rng.uniform(16, 62)
    lens = np.exp(rng.uniform(*np.log(_LENS))) if rng.random() < _UNSHARP else 0.0
    return View(
        float(yaw),
        float(pitch),
        float(np.radians(np.clip(rng.normal(0, 2.2), -6, 6))),
        float(np.radians(field)),
        float(fill),
        shift,
        float(lens),
    )


def _pitch(view: View, middle_m: float, far_m: float) -> float:
    """Radians, within what a person can reach."""
    wanted = np.sin(view.pitch) if view.eye_m is None else (view.eye_m - middle_m) / far_m
    return float(np.arcsin(np.clip(wanted, -0.9, min(0.9, (_TALLEST_M - middle_m) / far_m))))


def set_camera(view: View, middle_m: FloatArray, span_m: float, size: tuple[int, int]) -> Camera:
    """The camera of ``view`` on a dog ``span_m`` long around ``middle_m`` (3,) m."""
    far = span_m / (2 * view.fill * np.tan(view.field / 2))
    pitch = _pitch(view, middle_m[1], far)
    way = np.array([np.sin(view.yaw) * np.cos(pitch), np.sin(pitch), np.cos(view.yaw) * np.cos(pitch)])
    eye = middle_m + far * way
    eye[1] = max(eye[1], 0.04)
    planes = (max(0.05, far * 0.15), far + 40.0)
    pan = np.eye(4)
    pan[0, 2], pan[1, 2] = -2 * view.shift[0], -2 * view.shift[1]
    vp = pan @ perspective(view.field, size[0] / size[1], planes) @ look_at(eye, middle_m, view.roll)
    return Camera(eye, vp, planes, size, float(np.linalg.norm(eye - middle_m)), view.lens)
