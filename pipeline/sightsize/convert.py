"""From checked tables of a job file to frozen objects with exact lengths."""

from fractions import Fraction
from typing import Any

from sightsize.grammar import table_defaults
from sightsize.job import (
    EDGES,
    Aperture,
    Delivery,
    Edges,
    KeepClear,
    Mono,
    Paper,
    Region,
    Sharpen,
    Thresholds,
    Tone,
)
from sightsize.media import parse_size_mm
from sightsize.units import parse_length_mm, parse_resolution_ppi


def fraction(number: float) -> Fraction:
    """Return a number of the file exactly: 0.1 is a tenth."""
    return Fraction(str(number))


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
    """Return exposure, grade and curve."""
    return Tone(
        exposure_stops=float(table["exposure"]),
        grade=float(table["grade"]),
        curve=tuple((float(x), float(y)) for x, y in table["curve"]),
    )


def sharpen(table: dict[str, Any]) -> Sharpen:
    """Return the sharpening."""
    return Sharpen(
        radius_mm=parse_length_mm(table["radius"]),
        gain=float(table["gain"]),
        noise_floor=float(table["noise_floor"]),
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
        source_limit_megapixels=float(table["source_limit"]),
    )
