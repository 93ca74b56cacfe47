"""The numbers of sharpening: pure functions, no pictures.

Lengths on paper are millimetres, in the picture they are pixels of the print; detail is L*.
"""

from sightsize.numbers.tones import smoothstep

SURFACE_GAIN = {"glossy": 0.6, "lustre": 0.8, "matte": 1.0, "cotton": 1.2}
"""Gain by the paper's surface, since ink spreads in the open ones: common practice, no source."""

_RADIUS_AT_300_MM = 0.10
_NARROWEST_MM, _WIDEST_MM = 0.06, 0.30

_SOURCE_BLUR_PX = 0.4
_FINEST_PX = 0.6

_OVERSHOOT_ALLOWED, _OVERSHOOT_STRONG = 0.05, 0.10
_LEAST_DAMPING = 0.5

_LEAST_FLOOR = 0.8


def radius_mm(viewing_distance_mm: float) -> float:
    """Return the Gaussian sigma on paper for a print seen from a distance.

    An arc minute, which a keen eye just resolves, is 300 mm x tan(1/60 degree) = 0.087 mm at
    reading distance and grows with the distance. 0.10 mm at 300 mm is that and a little more, so
    that what is lifted is detail the eye can see. Below 0.06 mm no paper holds the detail; beyond
    0.30 mm the rim of an edge is seen by anyone who steps nearer. Common practice, no source.
    """
    return min(max(_RADIUS_AT_300_MM * viewing_distance_mm / 300, _NARROWEST_MM), _WIDEST_MM)


def deblur_sigma_px(effective_ppi: float, ppi: float) -> float:
    """Return the blur that enlarging leaves, as a Gaussian sigma in pixels; 0 for none to undo.

    A pixel of the source is taken as blurred by 0.4 of itself (common practice, no source). A
    sigma below 0.6 px, an enlargement of less than 1.5, is left alone: sampled at whole pixels it
    is no longer a Gaussian of that sigma, and it would act on the print's own finest pixels, where
    an enlarged picture has noise and no detail.
    """
    sigma = _SOURCE_BLUR_PX * ppi / effective_ppi
    return sigma if sigma >= _FINEST_PX else 0.0


def damping(overshoot: float) -> float:
    """Return the share of the gain for a source whose edges already overshoot by a share.

    All of it up to 5 %, half from 10 % on, and a smooth passage between, so that a measurement's
    last digit never makes two prints of one picture differ. Common practice, no source.
    """
    share = (overshoot - _OVERSHOOT_ALLOWED) / (_OVERSHOOT_STRONG - _OVERSHOOT_ALLOWED)
    return 1 - (1 - _LEAST_DAMPING) * smoothstep(share)


def noise_floor(noise_sigma: float) -> float:
    """Return the noise floor in L* for a picture's noise: two sigma, or 0.8 when that is more.

    Common practice, no source.
    """
    return max(_LEAST_FLOOR, 2 * noise_sigma)


def emphasis(detail: float, gain: float, floor: float) -> float:
    """Return what is added for a detail in L*: nothing below the floor, all of it above twice."""
    if floor == 0:
        return gain * detail
    return gain * detail * smoothstep((abs(detail) - floor) / floor)


def one_pass(sigma_px: float, gain: float, deblur_sigma_px: float) -> tuple[float, float]:
    """Return sigma and gain of the one Gaussian that sharpens and undoes a blur at once.

    Undoing is one step of P. H. van Cittert (Zeitschrift fuer Physik 69, 1931, from memory):
    L + (L - Gauss(L)), which is a second sharpening with a gain of 1. The sum of both has, in
    powers of frequency, the second and fourth order of this single one: g s^2 and g s^4 add up.
    Its gain is never above the sum of both. Within the frequencies that an enlarged picture has,
    it stays within 6 % of two passes at 300 ppi.
    """
    second = gain * sigma_px**2 + deblur_sigma_px**2
    fourth = gain * sigma_px**4 + deblur_sigma_px**4
    if second == 0:
        return 0.0, 0.0
    return (fourth / second) ** 0.5, second**2 / fourth
