"""Studio: draws dogs in rooms through OpenGL (EGL, no screen needed). The only file that talks to moderngl."""

from dataclasses import dataclass
from importlib import resources
from typing import Any, Final

import moderngl
import numpy as np
from numpy.typing import NDArray

from pose.tracks import FloatArray
from training.errors import DrawError
from training.footage.camera import Camera, look_at, orthographic
from training.footage.look import Look
from training.footage.room import BACKDROP, BLADES, Box, Room
from training.footage.skeleton import Skeleton
from training.footage.skin import Skin

_SHADOW_PX = 768
_NOISE = 64  # edge of the box of random numbers that the shaders read, as common.glsl says
_LARGER = 1.5
_HIDDEN = 0.10  # a point counts as covered when something stands this share of withers height before it


#: Mesa and the makers of graphics cards install these two names; those without a number come with developer packages.
_DRIVER: Final[dict[str, Any]] = {"backend": "egl", "libgl": "libGL.so.1", "libegl": "libEGL.so.1"}


@dataclass(frozen=True, slots=True)
class Figure:
    """One dog's surface on the graphics card."""

    skeleton: Skeleton
    seen: Any
    shadow: Any
    buffers: tuple[Any, ...]

    def release(self) -> None:
        """Give the card's memory back."""
        for thing in (self.seen, self.shadow, *self.buffers):
            thing.release()


@dataclass(frozen=True, slots=True)
class Actor:
    """A figure in a picture.

    instants  bones (27, 4, 4) at each instant of the exposure
    size_m    m, its withers height
    place     (3,) m
    """

    figure: Figure
    look: Look
    instants: tuple[FloatArray, ...]
    size_m: float
    place: FloatArray


def _text(name: str) -> str:
    return (resources.files("training.footage") / name).read_text()


def _put(program: Any, **values: Any) -> None:
    """Set uniforms; those that the shader does not use are passed over."""
    for name, value in values.items():
        if name in program:
            if isinstance(value, np.ndarray):
                program[name].write(np.ascontiguousarray(value, np.float32).tobytes())
            else:
                program[name].value = value


def _matrix(m: FloatArray) -> FloatArray:
    """OpenGL reads matrices column by column."""
    return np.swapaxes(m, -1, -2)


class Studio:
    """Draws pictures ``size`` (width, height) px at 1.5 times that size, averaged down, on graphics card ``card``."""

    def __init__(self, size: tuple[int, int], backdrops: NDArray[np.uint8], card: int = 0) -> None:
        try:
            self.ctx = moderngl.create_context(standalone=True, **(_DRIVER | {"device_index": card}))
        except Exception as error:  # moderngl raises bare Exception for a missing driver
            raise DrawError(
                f"No OpenGL through EGL here ({error}). Install it; on Debian: libegl1 libgl1 libgl1-mesa-dri."
            ) from error
        self.size = size
        self._programs()
        self._targets()
        count, high, wide, _ = backdrops.shape
        self.backdrops = self.ctx.texture_array((wide, high, count), 3, backdrops.tobytes())
        self.backdrops.build_mipmaps()
        self.backdrops.filter = (moderngl.LINEAR_MIPMAP_LINEAR, moderngl.LINEAR)
        self.backdrops.use(1)
        grains = np.random.default_rng(64).integers(0, 256, _NOISE**3, np.uint8)  # the same in every studio
        self.noise = self.ctx.texture3d((_NOISE,) * 3, 1, grains.tobytes())
        self.noise.use(4)

    def _programs(self) -> None:
        make, common = self.ctx.program, _text("common.glsl")
        self.dog = make(vertex_shader=_text("dog.vert.glsl"), fragment_shader=common + _text("dog.frag.glsl"))
        self.dog_shadow = make(vertex_shader=_text("dog.vert.glsl"), fragment_shader=_text("shadow.frag.glsl"))
        self.room = make(vertex_shader=_text("room.vert.glsl"), fragment_shader=common + _text("room.frag.glsl"))
        self.room_shadow = make(vertex_shader=_text("room.vert.glsl"), fragment_shader=_text("shadow.frag.glsl"))
        deep = _text("depth.glsl")
        self.gather = make(vertex_shader=_text("quad.vert.glsl"), fragment_shader=deep + _text("gather.frag.glsl"))
        self.develop = make(vertex_shader=_text("quad.vert.glsl"), fragment_shader=_text("develop.frag.glsl"))
        self.seen = make(vertex_shader=deep + _text("seen.vert.glsl"), fragment_shader=_text("seen.frag.glsl"))
        quad = self.ctx.buffer(np.array([-1, -1, 1, -1, -1, 1, 1, 1], np.float32).tobytes())
        self.gather_quad, self.develop_quad = (
            self.ctx.vertex_array(p, [(quad, "2f", "pos")]) for p in (self.gather, self.develop)
        )
        self.mark_buffer = self.ctx.buffer(reserve=6 * 12)
        self.mark_points = self.ctx.vertex_array(self.seen, [(self.mark_buffer, "3f", "mark")])
        cube = self.ctx.buffer(_cube().astype(np.float32).tobytes())
        self.cube = self.ctx.vertex_array(self.room, [(cube, "3f 3f", "pos", "nrm")])
        self.cube_shadow = self.ctx.vertex_array(self.room_shadow, [(cube, "3f 12x", "pos")])

    def _targets(self) -> None:
        ctx, big = self.ctx, (int(self.size[0] * _LARGER), int(self.size[1] * _LARGER))
        self.picture, self.depth = ctx.texture(big, 4, dtype="f2"), ctx.depth_texture(big)
        self.depth.compare_func = ""
        self.picture.build_mipmaps()
        self.picture.filter = (moderngl.LINEAR_MIPMAP_LINEAR, moderngl.LINEAR)
        self.scene_target = ctx.framebuffer([self.picture], self.depth)
        self.shadow_map = ctx.depth_texture((_SHADOW_PX, _SHADOW_PX))
        self.shadow_map.compare_func = ""
        self.shadow_target = ctx.framebuffer(depth_attachment=self.shadow_map)
        self.exposure = ctx.texture(self.size, 4, dtype="f2")
        self.exposure_target = ctx.framebuffer([self.exposure])
        self.out_target = ctx.framebuffer([ctx.texture(self.size, 3)])
        self.mark_target = ctx.framebuffer([ctx.texture((6, 1), 1, dtype="f4")])

    def load(self, skeleton: Skeleton, skin: Skin) -> Figure:
        """Put a dog's surface on the card."""
        rows = np.concatenate(
            [skin.xyz, skin.normal, skin.bone, skin.weight, skin.part[:, None], skin.hair[:, None]], axis=1
        )
        data, index = (
            self.ctx.buffer(rows.astype(np.float32).tobytes()),
            self.ctx.buffer(skin.faces.astype(np.uint32).tobytes()),
        )
        seen = self.ctx.vertex_array(
            self.dog, [(data, "3f 3f 4f 4f 1f 1f", "pos", "nrm", "bone", "weight", "part", "hair")], index
        )
        shadow = self.ctx.vertex_array(
            self.dog_shadow, [(data, "3f 3f 4f 4f 4x 1f", "pos", "nrm", "bone", "weight", "hair")], index
        )
        return Figure(skeleton, seen, shadow, (data, index))

    def shoot(
        self, actors: list[Actor], room: Room, camera: Camera, marks_m: FloatArray, *, scroll_m: float = 0.0
    ) -> tuple[NDArray[np.uint8], FloatArray]:
        """(H, W, 3) uint8 RGB picture and (6,) share of each landmark of the first actor that something covers."""
        self._light(room, camera, actors[0])
        count = len(actors[0].instants)
        self.exposure_target.clear()
        for i in range(count):
            self._shadow(actors, room, i)
            self._scene(actors, room, camera, i, scroll_m)
            self._expose(1.0 / count, camera)
        covered = self._covered(actors[0], camera, marks_m)
        return self._developed(room), covered

    def _light(self, room: Room, camera: Camera, subject: Actor) -> None:
        reach = subject.size_m * (subject.figure.skeleton.build.length + 1.2)
        middle = subject.place + np.array([0, 0.5 * subject.size_m, 0])
        sun = orthographic(reach, reach * 8) @ look_at(middle + room.sun_way * reach * 4, middle, 0.0)
        self.sun = sun
        self.shadow_map.use(0)
        for program in (self.dog, self.room):
            _put(
                program,
                sun_way=room.sun_way,
                sun_colour=room.sun_colour,
                sky_colour=room.sky_colour,
                ground_colour=room.ground_colour,
                shadow_map=0,
                backdrops=1,
                noise_box=4,
                shadow_vp=_matrix(sun),
                shadow_depth=room.shadow_depth,
                eye=camera.eye,
            )

    def _shadow(self, actors: list[Actor], room: Room, i: int) -> None:
        self.shadow_target.use()
        self.shadow_target.clear(depth=1.0)
        self.ctx.enable_only(moderngl.DEPTH_TEST)
        for actor in actors:
            self._place(self.dog_shadow, actor, self.sun, i)
            _put(self.dog_shadow, shells=1.0, hair_length=0.0)
            actor.figure.shadow.render()
        _put(self.room_shadow, vp=_matrix(self.sun))
        for box in room.boxes:
            if box.material not in (BACKDROP, BLADES):
                _put(self.room_shadow, model=_matrix(box.model()))
                self.cube_shadow.render()

    def _place(self, program: Any, actor: Actor, vp: FloatArray, i: int) -> None:
        _put(program, bones=_matrix(actor.instants[i]), vp=_matrix(vp), size=actor.size_m, place=actor.place)

    def _scene(self, actors: list[Actor], room: Room, camera: Camera, i: int, scroll_m: float) -> None:
        self.scene_target.use()
        self.scene_target.clear(color=(*room.sky_colour, 0.0), depth=1.0)
        self.ctx.enable_only(moderngl.DEPTH_TEST | moderngl.CULL_FACE)
        for actor in actors:  # dogs first: what they cover need not be drawn
            self._place(self.dog, actor, camera.view_projection, i)
            self._dress(actor)
            actor.figure.seen.render(instances=actor.look.shells)
        self.ctx.enable_only(moderngl.DEPTH_TEST)
        self._boxes(room, camera, scroll_m)

    def _boxes(self, room: Room, camera: Camera, scroll_m: float) -> None:
        _put(
            self.room,
            vp=_matrix(camera.view_projection),
            blur=room.blur,
            layer=float(room.layer),
            layer2=float(room.ground_layer),
            shade=1.0 / room.exposure * 0.55,
            seed=1.0,
        )
        for number, box in enumerate((*room.boxes, _hanging(camera))):
            moves = scroll_m if number == 0 else 0.0
            _put(
                self.room,
                model=_matrix(box.model()),
                tint=box.tint,
                tint2=box.tint2,
                material=int(box.material),
                grain=box.grain,
                scroll=moves,
                seed=float(number) * 3.7,
                gloss=box.gloss,
            )
            self.cube.render()

    def _dress(self, actor: Actor) -> None:
        look, s = actor.look, actor.figure.skeleton
        nose = s.neck[2] - (0, s.build.skull * 0.2, 0)
        eyes = s.neck[1] + (s.build.skull * 0.95, s.build.skull * 0.35, 0)
        _put(
            self.dog,
            coat=look.coat,
            pattern=look.pattern,
            thresholds=look.thresholds,
            gloss=look.gloss,
            bands=look.bands,
            seed=look.seed,
            band_colour=look.band_colour,
            band_part=look.band_part,
            face=np.array([nose, eyes, s.tail[-1]]),
            skull=s.build.skull,
            hair_scale=1.0,
            curl=look.curl,
            boot=look.boot,
            boot_colour=look.boot_colour,
            clipped=look.clipped,
            hair_length=look.hair,
            shells=float(look.shells),
            droop=look.droop,
        )

    def _expose(self, share: float, camera: Camera) -> None:
        self.exposure_target.use()
        self.ctx.enable_only(moderngl.BLEND)
        self.ctx.blend_func = moderngl.ONE, moderngl.ONE
        if camera.lens > 0:
            self.picture.build_mipmaps()
        self.picture.use(2)
        self.depth.use(3)
        _put(
            self.gather,
            picture=2,
            share=share,
            pixel=(1.0 / self.size[0], 1.0 / self.size[1]),
            depth=3,
            planes=camera.planes,
            lens=camera.lens,
            focus=camera.focus_m,
        )
        self.gather_quad.render(moderngl.TRIANGLE_STRIP)

    def _covered(self, subject: Actor, camera: Camera, marks_m: FloatArray) -> FloatArray:
        self.mark_buffer.write(np.ascontiguousarray(marks_m, np.float32).tobytes())
        self.mark_target.use()
        self.ctx.enable_only(moderngl.PROGRAM_POINT_SIZE)
        self.depth.use(3)
        _put(
            self.seen,
            vp=_matrix(camera.view_projection),
            depth=3,
            planes=camera.planes,
            tolerance=_HIDDEN * subject.size_m,
            radius=0.006,
        )
        self.mark_points.render(moderngl.POINTS, vertices=6)
        return np.frombuffer(self.mark_target.read(components=1, dtype="f4"), np.float32).astype(float)

    def _developed(self, room: Room) -> NDArray[np.uint8]:
        self.out_target.use()
        self.ctx.enable_only(moderngl.NOTHING)
        self.exposure.use(2)
        _put(
            self.develop,
            picture=2,
            exposure=room.exposure,
            gamma=room.gamma,
            tone=room.tone,
            vignette=room.vignette,
            haze=room.haze,
        )
        self.develop_quad.render(moderngl.TRIANGLE_STRIP)
        data = self.out_target.read(components=3, alignment=1)
        return np.frombuffer(data, np.uint8).reshape(self.size[1], self.size[0], 3)


def _hanging(camera: Camera) -> Box:
    """The backdrop: a picture far behind, square to the room, that fills the view and more."""
    far = 11.0
    return Box(np.array([0.0, 2.2, -far]), np.array([34.0, 15.0, 0.01]), np.ones(3), np.ones(3), BACKDROP)


def _cube() -> FloatArray:
    """(36, 6) corners and normals of the unit cube."""
    rows = []
    for axis in range(3):
        for side in (-0.5, 0.5):
            u, v = np.eye(3)[(axis + 1) % 3], np.eye(3)[(axis + 2) % 3]
            n = np.eye(3)[axis] * side * 2
            corner = [
                n * 0.5 + (a * u + b * v) * 0.5 for a, b in ((-1, -1), (1, -1), (1, 1), (-1, -1), (1, 1), (-1, 1))
            ]
            rows += [np.concatenate([c, n]) for c in corner]
    return np.array(rows)
