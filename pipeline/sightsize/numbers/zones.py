"""Zone placement: measured patches put on zones of the print, ten L* a zone.

One patch moves the exposure; two also set the contrast, as the exposure and development of a
negative do: light' = gain * light ** power. What this pushes above zone VIII rolls off towards
paper white in place of being cut. Pure functions, no pictures.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import log

from sightsize.errors import ZoneError
from sightsize.numbers.tones import lightness, luminance

Function = Callable[[float], float]

L_PER_ZONE = 10.0
_SHOULDER_ZONE = 8.0
_ROOM = 10 - _SHOULDER_ZONE
"""Zones from the shoulder's foot to paper white."""
_ROUNDS = 60
_WITHIN_L = 0.05
_DARKEST = 1e-5
"""Light, a hundredth of an L*, at which nothing is left to place."""
_ONE_TONE = 2.0
"""L* between two patches below which their contrast says nothing."""
_LEAST_POWER, _GREATEST_POWER = 0.6, 1.8
"""Contrast that a negative's development can give: common practice, no source."""


@dataclass(frozen=True)
class Placement:
    """light' = gain * light ** power, before the shoulder."""

    gain: float
    power: float


def place(patches: Sequence[tuple[float, float]], after: Function) -> Placement:
    """Return the placement that puts patches on their zones once ``after`` has acted.

    Each patch is its light (white is 1) and its zone; ``after`` takes the L* placed to the L*
    printed and never falls. Raises ZoneError.
    """
    lights = [_measured(light) for light, _ in patches]
    wanted = [_wanted(zone, after) for _, zone in patches]
    if len(set(lights)) < len(lights):
        raise ZoneError("both patches have the same tone; choose two that differ")
    # What the shoulder will take away above zone VIII is aimed higher for, until it settles.
    aims = wanted
    for _ in range(_ROUNDS):
        placement = _fit(lights, aims)
        aims = [_aim(light, placement) for light in wanted]
    placed = placement_function(placement)
    if any(
        abs(lightness(placed(light)) - lightness(target)) > _WITHIN_L
        for light, target in zip(lights, wanted, strict=True)
    ):
        raise ZoneError("the zones are too close to paper white; choose lower ones")
    return placement


def _fit(lights: Sequence[float], targets: Sequence[float]) -> Placement:
    if len(lights) == 1:
        return Placement(targets[0] / lights[0], 1.0)
    power = log(targets[1] / targets[0]) / log(lights[1] / lights[0])
    if not _LEAST_POWER <= power <= _GREATEST_POWER:
        raise ZoneError(_unprintable(lights, power))
    return Placement(targets[0] / lights[0] ** power, power)


def _unprintable(lights: Sequence[float], power: float) -> str:
    """What is wrong with two zones that ask for a contrast which cannot be printed."""
    tones = [lightness(light) for light in lights]
    first, second = (f"L* {tone:.1f}" for tone in tones)
    measured = f"after exposure the patches measure {first} and {second}"
    if abs(tones[0] - tones[1]) < _ONE_TONE:
        return f"{measured}, almost the same tone; choose patches that differ, or place only one"
    if power < 0:
        return f"{measured}, and the lighter patch has the lower zone; give it the higher"
    return (
        f"{measured}, and their zones ask for {power:.2f} times that contrast; only "
        f"{_LEAST_POWER:g} to {_GREATEST_POWER:g} times can be printed. Choose zones that differ "
        "about as much as the patches do"
    )


def placement_function(placement: Placement) -> Function:
    """Return the function from light to light, with its shoulder; it rises everywhere."""
    white = _above(placement.gain)

    def placed(light: float) -> float:
        moved = float(placement.gain * max(light, 0.0) ** placement.power)
        above = _above(moved)
        if above <= 0 or white <= _ROOM:
            return moved
        # Leaves zone VIII as steeply as it came and reaches paper white where white was.
        return _light(_ROOM * (1 - max(1 - above / white, 0.0) ** (white / _ROOM)))

    return placed


def _aim(light: float, placement: Placement) -> float:
    """The light that the shoulder of a placement brings to ``light``."""
    white, above = _above(placement.gain), _above(light)
    if above <= 0 or white <= _ROOM:
        return light
    return _light(white * (1 - (1 - above / _ROOM) ** (_ROOM / white)))


def _above(light: float) -> float:
    """Zones above the shoulder's foot."""
    return lightness(light) / L_PER_ZONE - _SHOULDER_ZONE


def _light(above: float) -> float:
    return luminance(L_PER_ZONE * (_SHOULDER_ZONE + above))


def _measured(light: float) -> float:
    if not _DARKEST < light < 1:
        raise ZoneError(
            f"a patch is {'solid black' if light < 1 else 'blank white'} and has no tone to "
            "place; choose another"
        )
    return light


def _wanted(zone: float, after: Function) -> float:
    """The light that ``after`` prints on a zone."""
    target = L_PER_ZONE * zone
    if not after(0) <= target <= after(100):
        raise ZoneError(
            f"the tone curve prints from L* {after(0):.0f} to {after(100):.0f}, so zone {zone:g} "
            "is out of reach"
        )
    low, high = 0.0, 100.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if after(middle) < target else (low, middle)
    return max(luminance((low + high) / 2), 1e-6)
