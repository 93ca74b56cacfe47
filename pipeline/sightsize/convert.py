"""From checked tables of a job file to frozen objects with exact lengths."""

from fractions import Fraction
from typing import Any, Literal

from sightsize.grammar import BY_VIEWING_DISTANCE, table_defaults
from sightsize.job import (
    EDGES,
    Aperture,
    AreaShare,
    Camera,
    Delivery,
    Dust,
    EdgeBurn,
    Edges,
    Grain,
    KeepClear,
    LocalContrast,
    Mono,
    Paper,
    Point,
    PrintLimits,
    Reach,
    Region,
    Shade,
    Sharpen,
    SplitGrade,
    Spot,
    Thresholds,
    Tint,
    Tone,
    Toner,
    Zone,
)
from sightsize.media import parse_size_mm
from sightsize.toning import TINTS
from sightsize.units import parse_length_mm, parse_resolution_ppi
from sightsize.white_balance import RawDevelopment


def fraction(number: float) -> Fraction:
    """Return a number of the file exactly: 0.1 is a tenth."""
    return Fraction(str(number))


def point(pair: list[float]) -> Point:
    """Return a point of the picture."""
    return fraction(pair[0]), fraction(pair[1])


def reach(value: str | float) -> Reach:
    """Return a length on paper, or a share."""
    if isinstance(value, str):
        return Reach(parse_length_mm(value), None)
    return Reach(None, fraction(value))


def edges(value: str | dict[str, str]) -> Edges:
    """Return one length for every edge, or a table of edges."""
    if isinstance(value, str):
        length = parse_length_mm(value)
        return Edges(length, length, length, length)
    return Edges(*(parse_length_mm(value[edge]) for edge in EDGES))


def region(table: dict[str, float]) -> Region:
    """Return a region of the picture."""
    return Region(*(fraction(table[key]) for key in ("left", "top", "width", "height")))


def keep_clear(table: dict[str, Any]) -> KeepClear:
    """Return a part that must stay clear."""
    facts = {**table_defaults("keep_clear"), **table}
    return KeepClear(
        box=Region(*(fraction(number) for number in facts["box"])),
        clearance_mm=parse_length_mm(facts["clearance"]),
        label=facts["label"],
    )


def aperture(table: dict[str, Any]) -> Aperture:
    """Return the opening."""
    thickness = table.get("mat_thickness")
    return Aperture(
        width_mm=parse_length_mm(table["width"]),
        height_mm=parse_length_mm(table["height"]),
        overlap_mm=edges(table["overlap"]) if "overlap" in table else None,
        reveal_mm=edges(table["reveal"]) if "reveal" in table else None,
        measured_at=table["measured_at"],
        mat_thickness_mm=parse_length_mm(thickness) if thickness else None,
        viewing_distance_mm=parse_length_mm(table["viewing_distance"]),
    )


def paper(table: dict[str, Any]) -> Paper:
    """Return the sheet."""
    placement = table["placement"]
    return Paper(
        size_mm=parse_size_mm(table["size"]),
        label=table["size"].strip(),
        orientation=table["orientation"],
        surface=table["surface"],
        placement_mm=None
        if placement == "centre"
        else (parse_length_mm(placement["x"]), parse_length_mm(placement["y"])),
        hinge_edge=table["hinge_edge"],
        hinge_margin_mm=parse_length_mm(table["hinge_margin"]),
        margin_mm=parse_length_mm(table["margin"]),
        tone_lightness=100.0 if table["tone"] == "white" else float(table["tone"]),
    )


def mono(table: dict[str, Any]) -> Mono:
    """Return the black-and-white conversion."""
    response = table["response"]
    if isinstance(response, list):
        red, green, blue = (float(weight) for weight in response)
        response = (red, green, blue)
    return Mono(
        response=response,
        filter=table["filter"],
        filter_strength=float(table["filter_strength"]),
    )


def tone(table: dict[str, Any]) -> Tone:
    """Return exposure, end points, grade and curve."""
    split, burn = table.get("split_grade"), table.get("edge_burn")
    return Tone(
        exposure_stops=float(table["exposure"]),
        black_point=_end_point(table["black_point"]),
        white_point=_end_point(table["white_point"]),
        grade=float({**table_defaults("tone"), **table}["grade"]),
        split_grade=split_grade(split) if split is not None else None,
        pivot=float(table["pivot"]),
        curve=tuple((float(x), float(y)) for x, y in table["curve"]),
        edge_burn=_edge_burn(burn) if burn else None,
    )


def _end_point(value: float | dict[str, float]) -> float | AreaShare:
    return AreaShare(float(value["share"])) if isinstance(value, dict) else float(value)


def split_grade(table: dict[str, float]) -> SplitGrade:
    """Return the grades of dark and light tones."""
    facts = {**table_defaults("split_grade"), **table}
    return SplitGrade(
        dark=float(facts["dark"]),
        light=float(facts["light"]),
        start=float(facts["from"]),
        end=float(facts["to"]),
    )


def _edge_burn(table: dict[str, Any]) -> EdgeBurn:
    facts = {**table_defaults("edge_burn"), **table}
    return EdgeBurn(stops=float(facts["stops"]), width_mm=parse_length_mm(facts["width"]))


def local_contrast(table: dict[str, Any]) -> LocalContrast:
    """Return the local contrast."""
    return LocalContrast(neighbourhood=reach(table["neighbourhood"]), gain=float(table["gain"]))


def toner(table: dict[str, Any]) -> Toner:
    """Return the toner: the named one, changed by what is given beside it."""
    named = TINTS[table["kind"]]
    both = Tint(
        float(table.get("hue", named.hue_degrees)), float(table.get("chroma", named.chroma))
    )
    return Toner(
        dark=_tint(table["dark"]) if "dark" in table else both,
        light=_tint(table["light"]) if "light" in table else both,
        split=float(table["split"]),
        crossover=float(table["crossover"]),
    )


def _tint(table: dict[str, float]) -> Tint:
    return Tint(float(table["hue"]), float(table["chroma"]))


def grain(table: dict[str, Any]) -> Grain:
    """Return the grain."""
    return Grain(granularity=float(table["granularity"]), size_mm=parse_length_mm(table["size"]))


def sharpen(table: dict[str, Any]) -> Sharpen:
    """Return the sharpening; None is left to the surface, the distance or the picture."""
    radius = table["radius"]
    return Sharpen(
        radius_mm=None if radius == BY_VIEWING_DISTANCE else parse_length_mm(radius),
        gain=_number(table["gain"]),
        noise_floor=_number(table["noise_floor"]),
        skin=float(table["skin"]),
        damping=_number(table["damping"]),
        deblur=table["deblur"],
    )


def _number(value: float | str) -> float | None:
    """A number, or None for the one word that a key takes in its place."""
    return None if isinstance(value, str) else float(value)


def camera(name: str, table: dict[str, Any]) -> Camera:
    """Return a camera and its dust."""
    facts = {**table_defaults("camera"), **table}
    return Camera(
        name=name,
        model=facts.get("model", ""),
        serial=facts.get("serial", ""),
        dust=tuple(Dust(point(each["at"]), fraction(each["radius"])) for each in facts["dust"]),
    )


def spot(table: dict[str, Any]) -> Spot:
    """Return a mark to clear."""
    facts = {**table_defaults("spot"), **table}
    round_mark = "at" in facts
    start, end = (facts["at"], facts["at"]) if round_mark else facts["line"]
    radius = reach(facts["radius" if round_mark else "width"])
    return Spot(
        start=point(start),
        end=point(end),
        radius=radius if round_mark else _half(radius),
        donor=point(facts["donor"]) if "donor" in facts else None,
        strength=float(facts["strength"]),
    )


def _half(width: Reach) -> Reach:
    mm, share = width.mm, width.share
    return Reach(None if mm is None else mm / 2, None if share is None else share / 2)


def zone(table: dict[str, Any]) -> Zone:
    """Return a patch and its zone."""
    facts = {**table_defaults("zone"), **table}
    return Zone(at=point(facts["at"]), size=fraction(facts["size"]), zone=float(facts["zone"]))


def shade(table: dict[str, Any], sign: int) -> Shade:
    """Return a dodge (sign 1) or a burn (sign -1)."""
    facts = {**table_defaults("shade"), **table}
    softness = parse_length_mm(facts["softness"])
    stops = sign * float(facts["stops"])
    if "ellipse" in facts:
        left, top, width, height = (fraction(number) for number in facts["ellipse"])
        corners = ((left, top), (left + width, top), (left + width, top + height),
                   (left, top + height))  # fmt: skip
        return Shade(stops=stops, shape="ellipse", points=corners, softness_mm=softness)
    shape: Literal["polygon", "edge"] = "polygon" if "polygon" in facts else "edge"
    points = tuple(point(each) for each in facts[shape])
    return Shade(stops=stops, shape=shape, points=points, softness_mm=softness)


def raw(table: dict[str, Any]) -> RawDevelopment:
    """Return the development of a raw camera file."""
    facts = {**table_defaults("raw"), **table}
    return RawDevelopment(
        kelvin=_number(facts["white_balance"]),
        duv=float(facts["duv"]),
        exposure_stops=float(facts["exposure"]),
        highlights=facts["highlights"],
    )


def delivery(table: dict[str, Any], profile: str) -> Delivery:
    """Return the delivery; ``profile`` is already resolved."""
    return Delivery(
        ppi=parse_resolution_ppi(table["resolution"]),
        format=table["format"],
        quality=int(table["quality"]),
        bit_depth=table["bit_depth"],
        profile=profile,
        rendering_intent=table["rendering_intent"],
        black_point_compensation=table["black_point_compensation"],
        location=table["location"],
        serial_numbers=table["serial_numbers"],
        keep_master=table["keep_master"],
    )


def thresholds(table: dict[str, Any]) -> Thresholds:
    """Return the thresholds of the checks."""
    return Thresholds(
        accept=tuple(table["accept"]),
        strict=table["strict"],
        crop_loss_note=float(table["crop_loss_note"]),
        crop_loss_warn=float(table["crop_loss_warn"]),
        crop_loss_stop=float(table["crop_loss_stop"]),
        resolution_note_ppi=parse_resolution_ppi(table["resolution_note"]),
        resolution_warn_ppi=parse_resolution_ppi(table["resolution_warn"]),
        resolution_stop_ppi=parse_resolution_ppi(table["resolution_stop"]),
        overlap_warn_mm=parse_length_mm(table["overlap_warn"]),
        overlap_stop_mm=parse_length_mm(table["overlap_stop"]),
        reveal_warn_mm=parse_length_mm(table["reveal_warn"]),
        rebate_clearance_mm=parse_length_mm(table["rebate_clearance"]),
        clipping_warn=float(table["clipping_warn"]),
        clipping_stop=float(table["clipping_stop"]),
        gamut_warn=float(table["gamut_warn"]),
    )


def limits(table: dict[str, Any]) -> PrintLimits:
    """Return what a print may cost."""
    return PrintLimits(
        source_megapixels=float(table["source_megapixels"]), seconds=table.get("seconds")
    )
