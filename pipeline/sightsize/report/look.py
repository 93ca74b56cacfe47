"""How a picture is to look, in the words of a dry run."""

from fractions import Fraction

from sightsize.base.units import mm_text, px_to_mm
from sightsize.base.words import count_text
from sightsize.model.settings import AreaShare, Toner
from sightsize.plan.picture import PicturePlan


def look_rows(plan: PicturePlan) -> list[tuple[str, str]]:
    """Return a label and a text for each stage that is at work."""
    rows = [("tone", f"{_mono_text(plan)}, {_tone_text(plan)}")]
    if plan.zones:
        zones = ", ".join(
            f"zone {each.zone:g} at ({float(each.at[0]):g}, {float(each.at[1]):g})"
            for each in plan.zones
        )
        rows.append(("zones", zones))
    if plan.marks:
        rows.append(("spotting", _marks_text(plan)))
    if plan.shades or plan.edge_burn:
        rows.append(("dodge, burn", _shades_text(plan)))
    return rows + _finish_rows(plan)


def _tone_text(plan: PicturePlan) -> str:
    tone = plan.tone
    split = tone.split_grade
    grade = f"grade {tone.grade:g}"
    if split is not None:
        grade = f"grade {split.dark:g} dark, {split.light:g} light"
    ends = [
        _end_text(name, point)
        for name, point, usual in (
            ("black", tone.black_point, 0),
            ("white", tone.white_point, 100),
        )
        if point != usual
    ]
    parts = [f"exposure {tone.exposure_stops:+g} stops", *ends, grade]
    return ", ".join([*parts, f"{len(tone.curve)} curve points"])


def _end_text(name: str, point: float | AreaShare) -> str:
    if isinstance(point, AreaShare):
        return f"{name} at {point.share:.2%} of the opening"
    return f"{name} at L* {point:g}"


def _marks_text(plan: PicturePlan) -> str:
    dust = sum(not mark.required for mark in plan.marks)
    largest = max(mark.radius_px for mark in plan.marks)
    parts = [count_text(len(plan.marks) - dust, "mark")]
    parts += [f"{count_text(dust, 'speck')} of dust from {plan.dust_of}"] if dust else []
    return f"{', '.join(parts)}, the largest with a radius of {largest:.1f} px"


def _shades_text(plan: PicturePlan) -> str:
    parts = [
        f"{'dodge' if shade.stops > 0 else 'burn'} {abs(shade.stops):g} stops {shade.shape}"
        for shade in plan.shades
    ]
    if plan.edge_burn is not None:
        width = px_to_mm(Fraction(plan.edge_burn.width_px), plan.size.ppi)
        parts.append(f"edges {plan.edge_burn.stops:g} stops over {mm_text(width)} mm")
    return ", ".join(parts)


def _finish_rows(plan: PicturePlan) -> list[tuple[str, str]]:
    rows = []
    if plan.local_contrast is not None:
        across = px_to_mm(Fraction(plan.local_contrast.neighbourhood_px), plan.size.ppi)
        rows.append(("contrast", f"gain {plan.local_contrast.gain:g} within {mm_text(across)} mm"))
    rows.append(("sharpen", _sharpen_text(plan)))
    if plan.toner is not None:
        rows.append(("toner", _toner_text(plan.toner)))
    if plan.grain is not None:
        size = mm_text(plan.grain.size_mm, 2)
        rows.append(("grain", f"{plan.grain.granularity:g} D at density 1, {size} mm"))
    return rows


def _sharpen_text(plan: PicturePlan) -> str:
    sharpen = plan.sharpen
    if sharpen is None:
        return "none"
    radius = px_to_mm(Fraction(sharpen.sigma_px), plan.size.ppi)
    deblur = f", deblur {sharpen.deblur_sigma_px:.2f} px" if sharpen.deblur_sigma_px else ""
    skin = f", {sharpen.skin:.0%} on skin" if sharpen.skin < 1 else ""
    share = sharpen.already_sharpened
    damped = "" if share == 1 else _measured_text("already sharpened", share, "")
    return (
        f"radius {mm_text(radius, 3)} mm = {sharpen.sigma_px:.2f} px, gain {sharpen.gain:g}"
        f"{_measured_text('noise floor', sharpen.noise_floor, ' L*')}{skin}{damped}{deblur}"
    )


def _measured_text(name: str, value: float | None, unit: str) -> str:
    return f", {name} {'as measured' if value is None else f'{value:g}{unit}'}"


def _toner_text(toner: Toner) -> str:
    dark, light = (
        f"hue {tint.hue_degrees:g} degrees, C* {tint.chroma:g}"
        for tint in (toner.dark, toner.light)
    )
    if dark == light:
        return dark
    return f"dark {dark}; light {light}; meeting at L* {toner.split:g}"


def _mono_text(plan: PicturePlan) -> str:
    mono, asked = plan.mono, plan.look.mono
    if mono is None or asked is None:
        return "colour"
    name = asked.response if isinstance(asked.response, str) else "own response"
    weights = " ".join(f"{weight:.3f}" for weight in mono.weights)
    behind = "" if asked.filter == "none" else f" behind {asked.filter} "
    factor = f"(filter factor {mono.filter_factor_stops:.1f} stops)" if behind else ""
    return f"mono {name}{behind}{factor} = r g b {weights}"
