"""People built of limbs: a rower from the side, a sitter from the front."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scenery.canvas import Canvas, Colour, srgb
from scenery.cloth import banded, cloth, hair, skin
from scenery.noise import Field
from scenery.relief import Light, Material, Relief, stroke

Joint = tuple[float, float, float, float]  # x, y, z, radius


@dataclass(frozen=True)
class Frame:
    """Puts a figure's own lengths on the canvas."""

    canvas: Canvas
    x: float
    y: float
    size: float = 1.0

    def joints(self, *points: Joint) -> list[Joint]:
        """Points of a limb."""
        s = self.size
        return [(self.x + x * s, self.y + y * s, z * s, r * s) for x, y, z, r in points]

    def at(self, x: float, y: float, z: float = 0.0) -> tuple[float, float, float]:
        """One place."""
        return (self.x + x * self.size, self.y + y * self.size, z * self.size)

    def sized(self, x: float, y: float, z: float) -> tuple[float, float, float]:
        """Three lengths."""
        return (x * self.size, y * self.size, z * self.size)

    def relief(
        self, left: float, top: float, right: float, bottom: float, detail: int = 4
    ) -> Relief:
        """A relief over a box of the figure."""
        s = self.size
        box = (self.x + left * s, self.y + top * s, self.x + right * s, self.y + bottom * s)
        return Relief(self.canvas, box, detail)

    def line(
        self, points: Sequence[tuple[float, float, float]], colour: Colour, opacity: float
    ) -> None:
        """A thin line along (x, y, half width)."""
        s = self.size
        moved = [(self.x + x * s, self.y + y * s, w * s) for x, y, w in points]
        stroke(self.canvas, moved, colour, opacity)


@dataclass(frozen=True)
class Look:
    """What tells one rower from another."""

    skin: Field
    hair: Field
    cap: Field | None
    bun: bool = False


def rower(frame: Frame, look: Look, light: Light, part: str) -> None:
    """One oarsman at the catch, facing left; `part` is "far" (behind the oar) or "near"."""
    name = f"rower {frame.x:.0f}"
    flesh = skin(look.skin, name, 0.8)
    hand = (-628.0, -352.0)
    if part == "far":
        shade = skin(look.skin * 0.62, name + " far", 0.8)
        _leg(frame, shade, light, 26, -12, -20)
        _arm(frame, shade, light, (-178, -404), hand, -40)
        return
    _leg(frame, flesh, light, 0, 0, 20)
    _shorts(frame, light, name)
    _head_side(Frame(frame.canvas, *frame.at(-258, -548)[:2], frame.size), look, light, name)
    _trunk(frame, light, name)
    _arm(frame, flesh, light, (-168, -398), (hand[0] + 26, hand[1] + 4), 60)


def _leg(frame: Frame, flesh: Material, light: Light, dx: float, dy: float, z: float) -> None:
    leg = frame.relief(-380, -460, 140, 120)
    leg.tube(
        frame.joints(
            (-10 + dx, -62 + dy, z, 74),
            (-110 + dx, -205 + dy, z, 68),
            (-205 + dx, -330 + dy, z, 47),
        )
    )
    leg.tube(
        frame.joints(
            (-205 + dx, -330 + dy, z, 46),
            (-226 + dx, -230 + dy, z, 50),
            (-262 + dx, -100 + dy, z, 37),
            (-276 + dx, 20 + dy, z, 29),
        ),
        blend=18 * frame.size,
    )
    leg.ball(frame.at(-207 + dx, -334 + dy, z + 10), (44 * frame.size,) * 3, blend=22 * frame.size)
    leg.ball(
        frame.at(-205 + dx, -212 + dy, z),
        (40 * frame.size, 88 * frame.size, 46 * frame.size),
        angle=14,
        blend=30 * frame.size,
    )
    leg.paint(flesh, light, cast=0.35, cast_reach=34 * frame.size)


def _arm(
    frame: Frame,
    flesh: Material,
    light: Light,
    shoulder: tuple[float, float],
    hand: tuple[float, float],
    z: float,
) -> None:
    sx, sy = shoulder
    hx, hy = hand
    ex, ey = sx + (hx - sx) * 0.5, sy + (hy - sy) * 0.5 + 16
    arm = frame.relief(-720, -520, -40, -150)
    arm.tube(
        frame.joints(
            (sx + 8, sy + 6, z, 52),
            (sx - 60, sy + 12, z + 6, 47),
            (ex + 40, ey, z, 38),
            (ex, ey, z, 34),
        )
    )
    arm.tube(
        frame.joints(
            (ex, ey, z, 35),
            (ex - 70, ey + 4, z, 38),
            (hx + 80, hy + 6, z, 26),
            (hx + 34, hy + 2, z, 23),
        ),
        blend=14 * frame.size,
    )
    arm.ball(frame.at(sx - 14, sy + 4, z + 10), frame.sized(58, 52, 50), blend=26 * frame.size)
    arm.ball(frame.at(hx + 8, hy, z), frame.sized(36, 28, 26), blend=16 * frame.size)
    for i in range(4):
        x = hx - 16 + i * 11
        arm.tube(
            frame.joints(
                (x, hy - 26, z + 10, 9), (x - 7, hy - 4, z + 24, 10), (x, hy + 20, z + 14, 9)
            ),
            blend=4 * frame.size,
        )
    arm.paint(flesh, light, cast=0.4, cast_reach=44 * frame.size)


def _shorts(frame: Frame, light: Light, name: str) -> None:
    shorts = frame.relief(-230, -290, 150, 60)
    shorts.tube(frame.joints((14, -58, 10, 92), (-70, -148, 24, 82), (-116, -208, 24, 75)))
    shorts.ball(frame.at(32, -52, 0), frame.sized(96, 76, 90), blend=30 * frame.size)
    shorts.paint(cloth(srgb("15223f"), name + " shorts", 6, 5, 90), light, 0.3, 30 * frame.size)


def _trunk(frame: Frame, light: Light, name: str) -> None:
    trunk = frame.relief(-320, -520, 180, 20)
    trunk.tube(
        frame.joints(
            (44, -84, 10, 88), (22, -180, 14, 92), (-44, -292, 18, 104), (-118, -388, 16, 92)
        )
    )
    trunk.ball(frame.at(-150, -398, 26), frame.sized(88, 74, 80), angle=-30, blend=50 * frame.size)
    _, y = frame.at(0, -300)[:2]
    hoop = [
        (y - 32, y + 26, np.array([-0.03, 0.34, 0.05], np.float32)),
        (y + 44, y + 56, np.array([-0.03, 0.34, 0.05], np.float32)),
    ]
    x0 = frame.x
    white = srgb("f3f2ee")
    ink = banded(white, [(a + 0.55 * x0, b + 0.55 * x0, c) for a, b, c in hoop], slope=0.55)
    trunk.paint(
        cloth(ink, name + " singlet", 6, 9, 170), light, cast=0.45, cast_reach=50 * frame.size
    )


def _head_side(frame: Frame, look: Look, light: Light, name: str) -> None:
    """A head facing left, about 190 of its own units tall."""
    s = frame.size
    head = frame.relief(-160, -140, 190, 250, detail=2)
    head.tube(frame.joints((36, 56, 0, 48), (62, 120, 0, 50), (86, 176, 0, 56)))
    head.ball(frame.at(6, -18), (86 * s, 88 * s, 74 * s), blend=26 * s)
    head.ball(frame.at(-30, 34), (52 * s, 66 * s, 56 * s), angle=8, blend=24 * s)
    head.ball(frame.at(-46, 84, 0), (30 * s, 24 * s, 34 * s), blend=26 * s)
    head.tube(frame.joints((-72, -6, 6, 10), (-88, 18, 6, 12), (-97, 33, 6, 14)), blend=10 * s)
    head.ball(frame.at(-80, 60, 6), (13 * s, 9 * s, 20 * s), blend=8 * s)
    head.ball(frame.at(-75, 71, 6), (13 * s, 8 * s, 20 * s), blend=7 * s)
    head.ball(frame.at(-70, -14, 20), (18 * s, 12 * s, 30 * s), blend=14 * s)
    head.ball(frame.at(16, 22, 62), (15 * s, 24 * s, 14 * s), angle=12, blend=5 * s)
    head.smooth(4 * s).paint(
        skin(look.skin, name + " head", 0.7), light, cast=0.35, cast_reach=36 * s
    )
    frame.line([(-72, 7, 3), (-60, 4, 4.5), (-48, 9, 2)], (0.02, 0.015, 0.012), 0.9)
    frame.line([(-78, -16, 2), (-60, -19, 3.5), (-40, -14, 2)], look.hair * 0.5, 0.85)
    frame.line([(-82, 65, 1.5), (-66, 67, 2), (-56, 64, 1)], (0.1, 0.03, 0.025), 0.8)
    mane = frame.relief(-130, -150, 150, 120, detail=2)
    mane.tube(
        frame.joints(
            (-62, -62, 8, 26),
            (-10, -86, 12, 36),
            (52, -62, 10, 44),
            (80, -4, 6, 34),
            (70, 48, 4, 24),
        )
    )
    mane.tube(frame.joints((0, -50, 30, 48), (48, -16, 30, 40), (46, 18, 24, 26)), blend=20 * s)
    if look.bun:
        mane.ball(frame.at(112, 22), (34 * s, 30 * s, 30 * s), blend=10 * s)
    mane.paint(hair(look.hair, name + " hair", 40), light)
    if look.cap is not None:
        _cap_side(frame, look.cap, light, name)


def _cap_side(frame: Frame, colour: Field, light: Light, name: str) -> None:
    s = frame.size
    cap = frame.relief(-200, -160, 140, 40, detail=2)
    cap.tube(frame.joints((-86, -34, 10, 10), (-128, -30, 20, 8), (-150, -20, 14, 4)))
    cap.tube(
        frame.joints((-74, -44, 20, 22), (-30, -72, 20, 42), (36, -66, 16, 48), (78, -36, 8, 22)),
        blend=12 * s,
    )
    cap.tube(frame.joints((-78, -36, 30, 14), (0, -32, 48, 16), (84, -26, 20, 14)), blend=10 * s)
    cap.smooth(3 * s).paint(
        cloth(colour, name + " cap", 5, 2, 60), light, cast=0.3, cast_reach=16 * s
    )
