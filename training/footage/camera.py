"""Camera: where the picture is taken from. Metres and radians."""

from dataclasses import dataclass

import numpy as np

from pose.tracks import FloatArray


@dataclass(frozen=True, slots=True)
class Camera:
    """eye (3,) m; view_projection (4, 4); planes: near and far, m; size: width, height, px."""

    eye: FloatArray
    view_projection: FloatArray
    planes: tuple[float, float]
    size: tuple[int, int]

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
    """

    yaw: float
    pitch: float
    roll: float
    field: float
    fill: float
    shift: tuple[float, float]


def draw_view(rng: np.random.Generator, wide: bool) -> View:
    """A random tripod. Mostly within 12 degrees of square, sometimes to 40."""
    yaw = np.radians(rng.normal(0, 7) if rng.random() < 0.65 else rng.uniform(-40, 40))
    pitch = np.radians(rng.uniform(-2, 14) if rng.random() < 0.5 else rng.uniform(-4, 34))
    fill = rng.uniform(0.14, 0.5) if wide else rng.uniform(0.55, 0.92)
    room = max(0.0, 0.9 - fill) / 2
    shift = (float(rng.uniform(-room, room)), float(rng.uniform(-room, room) * (0.8 if wide else 0.25)))
    return View(
        float(yaw),
        float(pitch),
        float(np.radians(np.clip(rng.normal(0, 2.2), -6, 6))),
        float(np.radians(rng.uniform(16, 62))),
        float(fill),
        shift,
    )


def set_camera(view: View, middle_m: FloatArray, span_m: float, size: tuple[int, int]) -> Camera:
    """The camera of ``view`` on a dog ``span_m`` long around ``middle_m`` (3,) m."""
    far = span_m / (2 * view.fill * np.tan(view.field / 2))
    way = np.array([np.sin(view.yaw) * np.cos(view.pitch), np.sin(view.pitch), np.cos(view.yaw) * np.cos(view.pitch)])
    eye = middle_m + far * way
    eye[1] = max(eye[1], 0.04)
    planes = (max(0.05, far * 0.15), far + 40.0)
    pan = np.eye(4)
    pan[0, 2], pan[1, 2] = -2 * view.shift[0], -2 * view.shift[1]
    vp = pan @ perspective(view.field, size[0] / size[1], planes) @ look_at(eye, middle_m, view.roll)
    return Camera(eye, vp, planes, size)
