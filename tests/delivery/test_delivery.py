"""Delivered files: tags read back by others, nothing overwritten, nothing half made."""

import errno
import json
import os
import random
import shutil
import signal
import struct
import subprocess
import sys
import time
import xml.etree.ElementTree as ET
import zlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, cast, get_args

import numpy as np
import pytest
import pyvips
from PIL import Image

from icc_profiles import built_in, oprgb
from pictures import Pixels, fail_on_full_disk, job, make, printed, save
from sightsize.base.atomic import Put, put_all, remove_leftovers
from sightsize.checks.run import check_ids
from sightsize.delivery import deliver, encode
from sightsize.delivery.ground import Replace
from sightsize.delivery.verify import Seen, verify_file
from sightsize.imaging.render import Sheet, sheet_image
from sightsize.job.load import load_job
from sightsize.model.job import Job
from sightsize.plan.arrange import arrange
from sightsize.plan.picture import PicturePlan
from sightsize.plan.sheet import FilePlan
from sightsize.run.batch import make_prints
from sightsize.run.planner import plan_prints
from sightsize.run.worker import Outcome

EXIFTOOL = shutil.which("exiftool")
needs_exiftool = pytest.mark.skipif(EXIFTOOL is None, reason="exiftool is not installed")

SCENE = np.random.default_rng(26).integers(40, 200, size=(48, 64, 3)).astype(np.uint8)
PX = (64, 48)
CAPTION = "Cox with megaphone (1926) – Tern Quay, ærø 漢字 <&>"
CREATOR = "Tern Quay Rowing Club, Ærø (archive)"
RIGHTS = "© 1926 Tern Quay Rowing Club"
JPEG = {"format": "jpeg", "resolution": "300 ppi"}
TIFF = {"format": "tiff", "resolution": "300 ppi"}


def exif_words(caption: str = CAPTION) -> Image.Exif:
    """TIFF 6.0 and Exif 2.3 tags 010E, 013B and 8298, in UTF-8 as most programs write them."""
    exif = Image.Exif()
    for tag, text in ((0x010E, caption), (0x013B, CREATOR), (0x8298, RIGHTS)):
        exif[tag] = text.encode()
    return exif


def xmp_words() -> bytes:
    """ISO 16684-1 with the Dublin Core names of the IPTC Photo Metadata Standard."""
    rdf = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
    caption = CAPTION.replace("&", "&amp;").replace("<", "&lt;")
    return f"""<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="{rdf}">
<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/">
<dc:description><rdf:Alt><rdf:li xml:lang="x-default">{caption}</rdf:li></rdf:Alt></dc:description>
<dc:creator><rdf:Seq><rdf:li>{CREATOR}</rdf:li></rdf:Seq></dc:creator>
<dc:rights><rdf:Alt><rdf:li xml:lang="x-default">{RIGHTS}</rdf:li></rdf:Alt></dc:rights>
</rdf:Description></rdf:RDF></x:xmpmeta><?xpacket end="w"?>""".encode()


def iptc_words() -> bytes:
    """IPTC-IIM records 2:120, 2:80 and 2:116 after 1:90, which says that they are UTF-8."""
    rows = [(1, 90, b"\x1b%G")]
    rows += [(2, number, text.encode()) for number, text in IIM.items()]
    return b"".join(
        struct.pack(">BBBH", 0x1C, record, number, len(text)) + text
        for record, number, text in rows
    )


IIM = {120: CAPTION, 80: CREATOR, 116: RIGHTS}


def with_words(folder: Path, kind: str) -> Path:
    """A source that carries the words in one place only."""
    if kind == "exif":
        return save(folder / "a.jpg", SCENE, exif=exif_words())
    if kind == "xmp":
        return save(folder / "a.jpg", SCENE, xmp=xmp_words())
    if kind == "tiff":
        return save(folder / "a.tif", SCENE, exif=exif_words())
    return save(folder / "a.tif", SCENE, tiffinfo={33723: iptc_words()})


def xmp_texts(packet: bytes) -> dict[str, str]:
    """The Dublin Core words of an XMP packet, by a parser of XML."""
    root = ET.fromstring(packet.decode().strip("\0"))
    dc = "{http://purl.org/dc/elements/1.1/}"
    texts = {}
    for name in ("description", "creator", "rights"):
        node = root.find(f".//{dc}{name}")
        texts[name] = "".join(node.itertext()) if node is not None else ""
    return texts


def exiftool(path: Path) -> dict[str, Any]:
    done = subprocess.run(
        [str(EXIFTOOL), "-json", "-a", "-G1", "-n", str(path)], capture_output=True, check=True
    )
    (tags,) = json.loads(done.stdout)
    return dict(tags)


def words_by_pillow(path: Path) -> tuple[dict[str, str], dict[int, str]]:
    with Image.open(path) as image:
        packet = image.info.get("xmp", b"")
        exif = image.getexif()
    raw = {tag: str(exif[tag]).encode("latin-1", "replace").decode() for tag in exif if tag in TAGS}
    return xmp_texts(packet), raw


TAGS = {0x010E: CAPTION, 0x013B: CREATOR, 0x8298: RIGHTS}


@pytest.mark.parametrize("kind", ["exif", "xmp", "iptc", "tiff"])
def test_words_are_kept_by_a_jpeg(tmp_path: Path, kind: str) -> None:
    file = printed(tmp_path, with_words(tmp_path, kind), PX, delivery=JPEG)
    xmp, exif = words_by_pillow(file)
    assert xmp == {"description": CAPTION, "creator": CREATOR, "rights": RIGHTS}
    assert exif == TAGS


@pytest.mark.parametrize("kind", ["exif", "xmp", "iptc", "tiff"])
def test_words_are_kept_by_a_tiff(tmp_path: Path, kind: str) -> None:
    file = printed(tmp_path, with_words(tmp_path, kind), PX, delivery=TIFF)
    xmp, tags = words_by_pillow(file)
    assert xmp == {"description": CAPTION, "creator": CREATOR, "rights": RIGHTS}
    assert tags[0x010E] == CAPTION


@needs_exiftool
def test_words_of_iptc_in_a_jpeg(tmp_path: Path) -> None:
    source = save(tmp_path / "a.jpg", SCENE)
    words = {"Caption-Abstract": CAPTION, "By-line": CREATOR[:32], "CopyrightNotice": RIGHTS}
    command = [str(EXIFTOOL), "-overwrite_original", "-IPTC:CodedCharacterSet=UTF8"]
    command += [f"-IPTC:{name}={text}" for name, text in words.items()]
    subprocess.run([*command, str(source)], check=True, capture_output=True)
    xmp, _ = words_by_pillow(printed(tmp_path, source, PX, delivery=JPEG))
    assert xmp["description"] == CAPTION
    assert xmp["rights"] == RIGHTS
    assert CREATOR.startswith(xmp["creator"])
    assert len(xmp["creator"]) > 20


CREATORS = ["Ida Tern", "Jon Ærø", "Tern Quay Rowing Club"]


@pytest.mark.parametrize("kind", ["exif", "xmp", "iptc"])
def test_every_creator_is_kept(tmp_path: Path, kind: str) -> None:
    # XMP has an item a creator (ISO 16684-1), IPTC-IIM repeats 2:80, Exif 2.3 has semicolons.
    if kind == "exif":
        exif = Image.Exif()
        exif[0x013B] = "; ".join(CREATORS).encode()
        source = save(tmp_path / "a.jpg", SCENE, exif=exif)
    elif kind == "xmp":
        items = "</rdf:li><rdf:li>".join(CREATORS).encode()
        source = save(tmp_path / "a.jpg", SCENE, xmp=xmp_words().replace(CREATOR.encode(), items))
    else:
        rows = [struct.pack(">BBBH", 0x1C, 1, 90, 3) + b"\x1b%G"]
        rows += [
            struct.pack(">BBBH", 0x1C, 2, 80, len(name.encode())) + name.encode()
            for name in CREATORS
        ]
        source = save(tmp_path / "a.tif", SCENE, tiffinfo={33723: b"".join(rows)})
    xmp, exif_texts = words_by_pillow(printed(tmp_path, source, PX, delivery=JPEG))
    between = "; " if kind == "exif" else ", "
    assert xmp["creator"] == between.join(CREATORS)
    assert exif_texts[0x013B] == between.join(CREATORS)


@needs_exiftool
@pytest.mark.parametrize("tag", ["XMP-dc:Creator", "IPTC:By-line"])
def test_every_creator_that_exiftool_wrote_is_kept(tmp_path: Path, tag: str) -> None:
    source = save(tmp_path / "a.jpg", SCENE)
    names = [f"-{tag}={name}" for name in CREATORS]
    command = [str(EXIFTOOL), "-overwrite_original", "-IPTC:CodedCharacterSet=UTF8", *names]
    subprocess.run([*command, str(source)], check=True, capture_output=True)
    tags = exiftool(printed(tmp_path, source, PX, delivery=JPEG))
    assert tags["XMP-dc:Creator"] == ", ".join(CREATORS)
    assert tags["IFD0:Artist"] == ", ".join(CREATORS)


@needs_exiftool
def test_tags_of_a_jpeg_by_exiftool(tmp_path: Path) -> None:
    # JFIF 1.02 (ITU-T T.871) and Exif 2.3 tags; T.81 baseline with 4:4:4.
    file = printed(tmp_path, with_words(tmp_path, "exif"), PX, delivery=JPEG)
    tags = exiftool(file)
    assert not [name for name in tags if name.endswith((":Warning", ":Error"))]
    assert (tags["JFIF:XResolution"], tags["JFIF:YResolution"]) == (300, 300)
    assert tags["JFIF:ResolutionUnit"] == 1
    assert (tags["IFD0:XResolution"], tags["IFD0:YResolution"]) == (300, 300)
    assert tags["IFD0:ResolutionUnit"] == 2
    assert tags["IFD0:Orientation"] == 1
    assert tags["ExifIFD:ColorSpace"] == 1
    assert tags["File:EncodingProcess"] == 0  # baseline, Huffman coding
    assert tags["File:YCbCrSubSampling"] == "1 1"
    assert tags["IFD0:ImageDescription"] == tags["XMP-dc:Description"] == CAPTION
    assert tags["IFD0:Artist"] == tags["XMP-dc:Creator"] == CREATOR
    assert tags["IFD0:Copyright"] == tags["XMP-dc:Rights"] == RIGHTS
    assert tags["XMP-dc:Identifier"].startswith("sha256:")
    assert tags["XMP-xmp:CreatorTool"].startswith("sightsize ")
    assert tags["ICC-header:ColorSpaceData"] == "RGB "


@needs_exiftool
def test_tags_of_a_tiff_by_exiftool(tmp_path: Path) -> None:
    # TIFF 6.0 tags 282, 283 and 296.
    file = printed(tmp_path, with_words(tmp_path, "tiff"), PX, delivery=TIFF)
    tags = exiftool(file)
    assert not [name for name in tags if name.endswith((":Warning", ":Error"))]
    assert tags["IFD0:XResolution"] == pytest.approx(300, abs=1e-4)
    assert tags["IFD0:YResolution"] == pytest.approx(300, abs=1e-4)
    assert tags["IFD0:ResolutionUnit"] == 2
    assert tags["IFD0:Orientation"] == 1
    assert tags["IFD0:ImageDescription"] == tags["XMP-dc:Description"] == CAPTION


@pytest.mark.parametrize("delivery", [JPEG, TIFF], ids=["jpeg", "tiff"])
@pytest.mark.parametrize("profile", ["srgb", "out.icc"])
def test_density_and_profile_by_pillow(
    tmp_path: Path, delivery: dict[str, str], profile: str
) -> None:
    (tmp_path / "out.icc").write_bytes(oprgb())
    source = save(tmp_path / "a.tif", SCENE)
    file = printed(tmp_path, source, PX, delivery={**delivery, "profile": profile})
    with Image.open(file) as image:
        assert image.info["dpi"] == pytest.approx((300, 300), abs=1e-3)
        wanted = oprgb() if profile == "out.icc" else built_in("srgb")
        assert image.info["icc_profile"] == wanted
        assert image.getexif().get(0x0112, 1) == 1


@pytest.mark.parametrize("quality", [60, 90, 95, 100])
def test_jpeg_is_baseline_with_whole_chroma_and_its_quality(tmp_path: Path, quality: int) -> None:
    # ITU-T T.81: frame SOF0, sampling 1 x 1 throughout; annex K's tables scaled as libjpeg does.
    source = save(tmp_path / "a.tif", SCENE)
    file = printed(tmp_path, source, PX, delivery={"format": "jpeg", "quality": quality})
    frame = file.read_bytes()
    at = frame.index(b"\xff\xc0")
    assert b"\xff\xc2" not in frame[:at]
    assert [frame[at + 11 + 3 * channel] for channel in range(3)] == [0x11] * 3
    save(tmp_path / "reference.jpg", SCENE, quality=quality, subsampling=0)
    with Image.open(file) as image, Image.open(tmp_path / "reference.jpg") as reference:
        assert vars(image)["quantization"] == vars(reference)["quantization"]


@pytest.mark.parametrize("delivery", [JPEG, TIFF], ids=["jpeg", "tiff"])
@pytest.mark.parametrize("length", [1, 3, 5_000, 40_000])
def test_captions_of_any_length(tmp_path: Path, delivery: dict[str, str], length: int) -> None:
    caption = ("Æ" + "rower " * 7000)[:length].rstrip()
    source = save(tmp_path / "a.jpg", SCENE, exif=exif_words(caption))
    file = printed(tmp_path, source, PX, delivery=delivery)
    xmp, _ = words_by_pillow(file)
    kept = xmp["description"]
    assert caption.startswith(kept)
    assert len(kept) >= min(len(caption), 12_000)
    planned = job(tmp_path, {"print": {"source": "a.jpg"}}, PX, delivery=delivery)
    assert make(planned)[0].status == "kept"  # what says so stands in the same block


def test_three_endless_words_still_fit(tmp_path: Path) -> None:
    exif = Image.Exif()
    for tag in TAGS:
        exif[tag] = b"&<" * 9000
    source = save(tmp_path / "a.jpg", SCENE, exif=exif)
    xmp, _ = words_by_pillow(printed(tmp_path, source, PX, delivery=JPEG))
    assert all(text.startswith("&<&<") for text in xmp.values())


def test_words_that_xml_cannot_hold_do_not_break_the_packet(tmp_path: Path) -> None:
    # XML 1.0 has no control characters but tab and line ends; Exif texts sometimes do.
    source = save(tmp_path / "a.jpg", SCENE, exif=exif_words("Row\x01\x0b one\ttwo"))
    xmp, exif = words_by_pillow(printed(tmp_path, source, PX, delivery=JPEG))
    assert xmp["description"] == "Row one\ttwo"
    assert exif[0x010E] == "Row one\ttwo"


def with_position(folder: Path) -> Path:
    exif = Image.Exif()
    exif.get_ifd(0x8825).update({1: "N", 2: (51.0, 28.0, 38.0), 3: "W", 4: (0.0, 0.0, 5.0)})
    exif.get_ifd(0x8769).update({0xA431: "BODY-778899", 0xA435: "LENS-112233"})
    return save(folder / "a.jpg", SCENE, exif=exif)


def test_position_and_serial_numbers_stay_behind(tmp_path: Path) -> None:
    file = printed(tmp_path, with_position(tmp_path), PX, delivery=JPEG)
    with Image.open(file) as image:
        assert not image.getexif().get_ifd(0x8825)
        assert 0xA431 not in image.getexif().get_ifd(0x8769)
    held = file.read_bytes()
    assert b"BODY-778899" not in held
    assert b"LENS-112233" not in held


def test_position_and_serial_numbers_when_asked_for(tmp_path: Path) -> None:
    delivery = {**JPEG, "location": True, "serial_numbers": True}
    file = printed(tmp_path, with_position(tmp_path), PX, delivery=delivery)
    with Image.open(file) as image:
        position = image.getexif().get_ifd(0x8825)
        camera = image.getexif().get_ifd(0x8769)
    assert (position[1], position[3]) == ("N", "W")
    assert [float(each) for each in position[2]] == [51, 28, 38]
    assert [float(each) for each in position[4]] == [0, 0, 5]
    assert (camera[0xA431], camera[0xA435]) == ("BODY-778899", "LENS-112233")


# What stands under the final name already.


def one_print(folder: Path, **tables: Any) -> Job:
    if not (folder / "a.tif").exists():
        save(folder / "a.tif", SCENE)
    return job(folder, {"print": {"source": "a.tif"}}, PX, **tables)


REPLACE = get_args(Replace)


def files(folder: Path) -> list[str]:
    """Every name in a folder, part files too."""
    return sorted(each.name for each in folder.iterdir())


def test_same_plan_is_kept_and_another_refused(tmp_path: Path) -> None:
    planned = one_print(tmp_path)
    assert make(planned, noted=True)[0].status == "made"
    target = planned.output / "print.tif"
    before, stamp = target.read_bytes(), target.stat().st_mtime_ns
    assert make(planned, noted=True)[0].status == "kept"
    assert target.stat().st_mtime_ns == stamp
    other = one_print(tmp_path, tone={"grade": 3.0})
    (outcome,) = make(other, noted=True)
    assert outcome.status == "failed"
    assert "made with other settings" in outcome.message
    assert "--redo" in outcome.message
    assert target.read_bytes() == before
    assert make(other, noted=True, replace="unaltered")[0].status == "made"
    assert target.read_bytes() != before
    assert files(planned.output) == [".docket.json", "docket.toml", "print.tif"]


def test_an_altered_print_is_only_replaced_when_that_is_said(tmp_path: Path) -> None:
    planned, other = one_print(tmp_path), one_print(tmp_path, tone={"grade": 3.0})
    assert make(planned, noted=True)[0].status == "made"
    target = planned.output / "print.tif"
    with target.open("ab") as file:
        file.write(b"retouched")
    altered = target.read_bytes()
    for again in (planned, other):
        (outcome,) = make(again, noted=True, replace="unaltered")
        assert outcome.status == "failed"
        assert "changed after it was made; use --replace" in outcome.message
        assert target.read_bytes() == altered
    assert make(other, noted=True, replace="altered too")[0].status == "made"
    assert target.read_bytes() != altered


@pytest.mark.parametrize("replace", REPLACE)
def test_a_print_that_the_docket_does_not_have_is_never_replaced(
    tmp_path: Path, replace: Replace
) -> None:
    assert make(one_print(tmp_path))[0].status == "made"
    target = tmp_path / "prints" / "print.tif"
    before = target.read_bytes()
    (outcome,) = make(one_print(tmp_path, tone={"grade": 3.0}), noted=True, replace=replace)
    assert outcome.message == "print.tif exists, but the docket does not have it; move it away"
    assert target.read_bytes() == before


@pytest.mark.parametrize("replace", REPLACE)
@pytest.mark.parametrize("master", [False, True])
def test_a_file_that_comes_under_the_name_meanwhile_is_not_written_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, master: bool, replace: Replace
) -> None:
    folder = tmp_path / "prints"
    target = folder / "masters" / "print.tif" if master else folder / "print.tif"

    def comes(part: Path, file: FilePlan[PicturePlan]) -> Seen:
        target.write_text("not ours")
        return verify_file(part, file)

    monkeypatch.setattr("sightsize.delivery.deliver.verify_file", comes)
    planned = one_print(tmp_path, delivery={"keep_master": True})
    (outcome,) = make(planned, noted=True, replace=replace)
    name = target.relative_to(folder).as_posix()
    assert outcome.message == f"{name} exists, but the docket does not have it; move it away"
    assert target.read_text() == "not ours"
    assert [path.name for path in folder.rglob("*.tif")] == ["print.tif"]


@pytest.mark.parametrize("way", ["link", "rename", "look first"])
def test_a_file_that_comes_at_the_very_last_is_not_written_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, way: str
) -> None:
    """The step itself refuses a name that is taken, by each of its ways."""

    def no_links(*_: object, **__: object) -> None:
        raise OSError(errno.EPERM, "no links here")

    if way != "link":
        monkeypatch.setattr("os.link", no_links)
    if way == "look first":
        monkeypatch.setattr("sightsize.base.atomic._linux_rename", lambda: None)
    parts = [tmp_path / "a.part", tmp_path / "b.part"]
    for part in parts:
        part.write_text("ours")
    free, taken = tmp_path / "a", tmp_path / "b"
    put_all([Put(parts[0], free)])
    assert free.read_text() == "ours"
    assert not parts[0].exists()
    taken.write_text("not ours")
    parts[0].write_text("ours again")
    with pytest.raises(FileExistsError):
        put_all([Put(parts[1], taken), Put(parts[0], tmp_path / "c")])
    assert taken.read_text() == "not ours"
    assert not (tmp_path / "c").exists()


def test_a_print_that_another_takes_the_place_of_is_not_written_over(tmp_path: Path) -> None:
    part, path = tmp_path / "a.part", tmp_path / "a"
    part.write_text("new")
    path.write_text("old")
    judged = path.lstat()
    path.unlink()
    path.write_text("somebody else's")
    with pytest.raises(FileExistsError):
        put_all([Put(part, path, over=judged)])
    assert path.read_text() == "somebody else's"


def test_a_source_that_only_a_picture_table_names_is_not_written(tmp_path: Path) -> None:
    save(tmp_path / "a.tif", SCENE)
    other = save(tmp_path / "first.tif", SCENE)
    before = other.read_bytes()
    planned = job(tmp_path, {"first": {"source": "a.tif"}}, PX, job={"output": "."})
    unprinted = '\n[pictures.unprinted]\nsource = "first.tif"\n'
    planned.path.write_text(planned.path.read_text() + unprinted)
    (outcome,) = make(load_job(planned.path, check_ids()), noted=True, replace="altered too")
    assert outcome.status == "refused"
    assert "first.tif is a source picture of this job" in outcome.message
    assert other.read_bytes() == before


def test_a_source_of_the_docket_is_not_written(tmp_path: Path) -> None:
    """A print of an earlier job is the source of another one."""
    save(tmp_path / "a.tif", SCENE)
    make(job(tmp_path, {"first": {"source": "a.tif"}}, PX), noted=True)
    make(job(tmp_path, {"second": {"source": "prints/first.tif"}}, PX), noted=True)
    first = tmp_path / "prints" / "first.tif"
    before = first.read_bytes()
    again = job(tmp_path, {"first": {"source": "a.tif"}}, PX, tone={"grade": 4.0})
    (outcome,) = make(again, noted=True, replace="altered too")
    assert outcome.status == "refused"
    assert "first.tif is the source of second.tif in the docket" in outcome.message
    assert first.read_bytes() == before


def test_a_changed_source_is_another_plan(tmp_path: Path) -> None:
    planned = one_print(tmp_path)
    make(planned)
    save(tmp_path / "a.tif", SCENE + 1)
    assert make(planned)[0].status == "failed"


def test_what_changes_no_pixel_is_the_same_plan(tmp_path: Path) -> None:
    make(one_print(tmp_path))
    part = {"box": [0.4, 0.4, 0.2, 0.2], "clearance": "1 mm", "label": "face"}
    facts = {"source": "a.tif", "keep_clear": [part]}
    again = job(tmp_path, {"print": facts}, PX, checks={"resolution_note": "200 ppi"})
    assert make(again)[0].status == "kept"


@pytest.mark.parametrize("stranger", [b"", b"not a picture", b"\xff\xd8\xff\xd9"])
def test_a_strange_file_is_not_overwritten(tmp_path: Path, stranger: bytes) -> None:
    planned = one_print(tmp_path)
    planned.output.mkdir()
    (planned.output / "print.tif").write_bytes(stranger)
    assert make(planned)[0].status == "failed"
    assert (planned.output / "print.tif").read_bytes() == stranger


# A source is only ever read.


@pytest.mark.parametrize("replace", REPLACE)
def test_a_source_of_the_same_name_is_not_written(tmp_path: Path, replace: Replace) -> None:
    source = save(tmp_path / "print.tif", SCENE)
    before = source.read_bytes()
    planned = job(tmp_path, {"print": {"source": "print.tif"}}, PX, job={"output": "."})
    (outcome,) = make(planned, replace=replace)
    assert outcome.status == "refused"
    assert "source picture" in outcome.message
    assert source.read_bytes() == before


def test_a_source_of_a_print_that_is_not_made_now_is_not_written(tmp_path: Path) -> None:
    save(tmp_path / "a.tif", SCENE)
    other = save(tmp_path / "first.tif", SCENE)
    before = other.read_bytes()
    pictures = {"first": {"source": "a.tif"}, "second": {"source": "first.tif"}}
    planned = job(tmp_path, pictures, PX, job={"output": "."})
    (outcome,) = make_prints(
        planned,
        plan_prints(planned, arrange(planned)[:1]),
        replace="altered too",
        workers=1,
    )
    assert outcome.status == "refused"
    assert other.read_bytes() == before


@pytest.mark.parametrize("replace", REPLACE)
@pytest.mark.parametrize("link", ["symbolic", "hard"])
def test_a_link_to_a_source_never_leads_to_it(tmp_path: Path, link: str, replace: Replace) -> None:
    planned = one_print(tmp_path)
    source = tmp_path / "a.tif"
    before = source.read_bytes()
    planned.output.mkdir()
    target = planned.output / "print.tif"
    if link == "symbolic":
        target.symlink_to(source)
    else:
        target.hardlink_to(source)
    (outcome,) = make(planned, replace=replace)
    assert source.read_bytes() == before
    assert outcome.status == ("failed" if link == "hard" else "refused")
    assert files(planned.output) == ["print.tif"]


def test_a_link_to_a_source_that_comes_after_planning_never_leads_to_it(tmp_path: Path) -> None:
    planned = one_print(tmp_path)
    source = tmp_path / "a.tif"
    before = source.read_bytes()
    prints = plan_prints(planned, arrange(planned))
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "elsewhere" / "print.tif").symlink_to(source)
    planned.output.symlink_to(tmp_path / "elsewhere")
    (outcome,) = make_prints(planned, prints, replace="altered too", workers=1)
    assert outcome.status == "failed"
    assert "source picture" in outcome.message
    assert source.read_bytes() == before


# Sources that cannot be printed stop no other print.


def png_that_says_it_is_huge() -> bytes:
    """A PNG header of 100000 x 100000 pixels (ISO/IEC 15948) with next to no data behind it."""

    def chunk(name: bytes, data: bytes) -> bytes:
        check = struct.pack(">I", zlib.crc32(name + data))
        return struct.pack(">I", len(data)) + name + data + check

    head = struct.pack(">IIBBBBB", 100_000, 100_000, 8, 2, 0, 0, 0)
    body = chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(bytes(1000))) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + body


def damaged_pictures(folder: Path) -> dict[str, dict[str, Any]]:
    whole = save(folder / "good.jpg", np.kron(SCENE, np.ones((8, 8, 1), np.uint8)))
    held = whole.read_bytes()
    (folder / "truncated.jpg").write_bytes(held[: len(held) // 2])
    (folder / "empty.jpg").write_bytes(b"")
    (folder / "text.jpg").write_text("This is no picture.\n")
    (folder / "huge.png").write_bytes(png_that_says_it_is_huge())
    tiff = save(folder / "short.tif", np.kron(SCENE, np.ones((8, 8, 1), np.uint8)))
    tiff.write_bytes(tiff.read_bytes()[:-50_000])
    names = ["good.jpg", "truncated.jpg", "empty.jpg", "text.jpg", "huge.png", "short.tif"]
    pictures = {name.replace(".", "-"): {"source": name} for name in names}
    pictures["huge-png"]["assume_profile"] = "srgb"
    return pictures | {"last": {"source": "good.jpg"}}


@pytest.mark.parametrize("workers", [1, 3])
@pytest.mark.parametrize("format_name", ["jpeg", "tiff"])
def test_damaged_sources_fail_alone(tmp_path: Path, format_name: str, workers: int) -> None:
    pictures = damaged_pictures(tmp_path)
    planned = job(tmp_path, pictures, PX, delivery={"format": format_name})
    outcomes = {
        each.planned.file.request.look.picture.name: each for each in make(planned, workers=workers)
    }
    assert list(outcomes) == list(pictures)
    for name in ("good-jpg", "last"):
        assert outcomes.pop(name).status == "made"
    for name, outcome in outcomes.items():
        assert outcome.status in ("failed", "refused"), name
        assert pictures[name]["source"] in outcome.message
        assert len(outcome.message.splitlines()) == 1
    suffix = ".jpg" if format_name == "jpeg" else ".tif"
    assert files(planned.output) == [f"good-jpg{suffix}", f"last{suffix}"]


def test_a_header_beyond_the_limit_is_refused_unread(tmp_path: Path) -> None:
    (tmp_path / "huge.png").write_bytes(png_that_says_it_is_huge())
    facts = {"source": "huge.png", "assume_profile": "srgb", "level": 1.0}
    accepted = ["unit-slip", "overlap", "sheet-margin", "crop-loss"]
    planned = job(tmp_path, {"huge": facts}, PX, checks={"accept": accepted})
    (outcome,) = make(planned)
    assert outcome.status == "refused"
    assert "megapixels; the limit is" in outcome.message
    assert files(planned.output) == []


@pytest.mark.parametrize("spoil", ["tags", "signature", "end"])
def test_a_damaged_profile_is_no_profile(tmp_path: Path, spoil: str) -> None:
    # ICC.1: signature at 36, tag table at 128. libvips alone would take it for sRGB unsaid.
    profile = bytearray(oprgb())
    if spoil == "tags":
        profile[128:] = b"\xff" * (len(profile) - 128)
    elif spoil == "signature":
        profile[36:40] = b"none"
    else:
        del profile[-200:]
    save(tmp_path / "a.jpg", SCENE, bytes(profile))
    (outcome,) = make(job(tmp_path, {"print": {"source": "a.jpg"}}, PX))
    assert outcome.status == "refused"
    assert "no colour profile" in outcome.message


@pytest.mark.parametrize("accept", [[], ["no-profile"]])
@pytest.mark.parametrize("suffix", [".tif", ".jpg"])
def test_cmyk_without_profile_is_not_printed(
    tmp_path: Path, suffix: str, accept: list[str]
) -> None:
    Image.fromarray(np.full((48, 64, 4), 90, np.uint8), "CMYK").save(tmp_path / f"a{suffix}")
    others = ["unit-slip", "overlap", "crop-loss", "sheet-margin", "resolution"]
    checks = {"accept": [*others, *accept]}
    planned = job(tmp_path, {"inks": {"source": f"a{suffix}"}}, PX, checks=checks)
    (outcome,) = make(planned)
    assert outcome.status == "refused"
    assert "the CMYK picture has no colour profile" in outcome.message
    assert files(planned.output) == []


# Places that cannot be written.


def quietly(planned: Job) -> list[Outcome]:
    """Make prints without making the folder first."""
    return make_prints(
        planned,
        plan_prints(planned, arrange(planned)),
        replace="nothing",
        workers=1,
    )


def test_a_folder_that_is_gone(tmp_path: Path) -> None:
    planned = one_print(tmp_path)
    (outcome,) = quietly(planned)
    assert outcome.status == "failed"
    assert not planned.output.exists()


def test_a_file_where_the_folder_should_be(tmp_path: Path) -> None:
    planned = one_print(tmp_path)
    planned.output.write_text("in the way")
    (outcome,) = quietly(planned)
    assert outcome.status == "failed"
    done = command(planned)
    assert done.returncode == 1
    assert "cannot write in" in done.stderr
    assert planned.output.read_text() == "in the way"


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write in a read-only folder")
def test_a_read_only_folder(tmp_path: Path) -> None:
    planned = one_print(tmp_path)
    planned.output.mkdir()
    planned.output.chmod(0o500)
    try:
        (outcome,) = quietly(planned)
    finally:
        planned.output.chmod(0o700)
    assert outcome.status == "failed"
    assert files(planned.output) == []


@pytest.mark.parametrize("format_name", ["jpeg", "tiff"])
def test_a_full_disk_leaves_nothing(tmp_path: Path, format_name: str) -> None:
    planned = one_print(tmp_path, delivery={"format": format_name, "quality": 100})
    fail_on_full_disk(planned, 4000)
    assert not planned.output.exists()


def command(planned: Job) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "sightsize", "make", str(planned.path)],
        capture_output=True,
        text=True,
        check=False,
    )


# What was not written as planned never gets its name.


def off_white_corner(sheet: pyvips.Image) -> pyvips.Image:
    pixel = sheet.crop(0, 0, 1, 1) - [0, 0, 1]
    return sheet.insert(pixel.cast("uchar"), sheet.width - 1, sheet.height - 1)


WRONG_SHEETS: dict[str, Callable[[pyvips.Image], pyvips.Image]] = {
    "row 111 of its border is not exactly the paper tone": off_white_corner,
    "it has 127 x 112 px, not 128 x 112": lambda sheet: sheet.crop(0, 0, 127, 112),
    "it has 1 channel, not 3": lambda sheet: sheet[0],
    "it has 16 bits, not 8": lambda sheet: sheet.cast("ushort").linear([257], [0]).cast("ushort"),
}


def spoilt(plan: FilePlan[PicturePlan], spoil: Callable[[pyvips.Image], pyvips.Image]) -> Sheet:
    return replace(sheet_image(plan), image=spoil(sheet_image(plan).image))


@pytest.mark.parametrize("wrong", WRONG_SHEETS)
@pytest.mark.parametrize("existing", [False, True])
def test_a_wrong_sheet_is_found_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, wrong: str, existing: bool
) -> None:
    before = None
    if existing:
        make(one_print(tmp_path), noted=True)
        before = (tmp_path / "prints" / "print.tif").read_bytes()
    spoil = WRONG_SHEETS[wrong]
    monkeypatch.setattr("sightsize.delivery.encode.sheet_image", lambda plan: spoilt(plan, spoil))
    planned = one_print(tmp_path, tone={"exposure": 0.5})
    (outcome,) = make(planned, noted=True, replace="altered too")
    assert outcome.status == "failed"
    assert f"not written as planned: {wrong}" in outcome.message
    prints = [each for each in files(planned.output) if "docket" not in each]
    assert prints == (["print.tif"] if existing else [])
    if existing:
        assert (planned.output / "print.tif").read_bytes() == before


def cut_short(part: Path) -> None:
    part.write_bytes(part.read_bytes()[:-2500])


def another_profile(part: Path) -> None:
    image = pyvips.Image.new_from_file(str(part)).copy_memory()
    image.set_type(pyvips.GValue.blob_type, "icc-profile-data", cast(Any, oprgb()))
    image.write_to_file(str(part.with_suffix(".tif")))
    part.with_suffix(".tif").replace(part)


def another_density(part: Path) -> None:
    image = pyvips.Image.new_from_file(str(part)).copy_memory().copy(xres=11.0, yres=11.0)
    image.write_to_file(str(part.with_suffix(".tif")))
    part.with_suffix(".tif").replace(part)


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (cut_short, "it cannot be read back"),
        (another_profile, "it has another ICC profile"),
        (another_density, "it has 279.40 ppi, not 254.00"),
    ],
)
def test_a_file_spoilt_while_written_is_found_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, spoil: Callable[[Path], None], said: str
) -> None:
    write = encode.write_file

    def write_and_spoil(plan: Any, part: Path, identity: str) -> None:
        write(plan, part, identity)
        spoil(part)

    monkeypatch.setattr(deliver, "write_file", write_and_spoil)
    planned = one_print(tmp_path)
    (outcome,) = make(planned)
    assert outcome.status == "failed"
    assert f"not written as planned: {said}" in outcome.message
    assert files(planned.output) == []


# Killed in the middle.


def larger(pixels: Pixels) -> Pixels:
    return np.kron(pixels, np.ones((8, 8, 1), np.uint8))


def kill_while_writing(planned: Job, delay: float) -> list[str]:
    """Start the job, wait for a file being written, kill -9; return the part files left."""
    process = subprocess.Popen(
        [sys.executable, "-m", "sightsize", "make", str(planned.path), "--workers", "2"],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    until = time.monotonic() + 20
    while process.poll() is None and time.monotonic() < until:
        if planned.output.is_dir() and any(n.endswith(".part") for n in files(planned.output)):
            time.sleep(delay)
            break
        time.sleep(0.002)
    process.send_signal(signal.SIGKILL)
    process.wait()
    return [name for name in files(planned.output) if name.startswith(".")]


@pytest.mark.slow
def test_killed_at_any_moment_only_whole_files_have_names(tmp_path: Path) -> None:
    save(tmp_path / "a.tif", larger(SCENE))
    pictures = {f"p{at}": {"source": "a.tif", "centre_on": [at / 6, 0.5]} for at in range(6)}
    planned = job(tmp_path, pictures, (1000, 1000), sharpen={"gain": 0.8})
    plans = {each.name: each.plan for each in plan_prints(planned, arrange(planned))}
    delays = random.Random(9)
    left = 0
    for turn in range(4):
        left += len(kill_while_writing(planned, 0 if turn == 0 else delays.uniform(0, 0.5)))
        for name in files(planned.output):
            if not name.startswith(".") and name != "docket.toml":
                plan = plans[name]
                assert plan is not None
                assert verify_file(planned.output / name, plan).differences == ()
    assert left > 0, "no kill fell into the writing of a file"
    done = command(planned)
    assert done.returncode == 0, done.stdout + done.stderr
    assert files(planned.output) == [".docket.json", "docket.toml", *sorted(plans)]
    assert {outcome.status for outcome in make(planned)} == {"kept"}


def test_leftovers_of_a_running_process_stay(tmp_path: Path) -> None:
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    theirs, not_numbers = (
        f".a.tif.{os.getppid()}-00ff.part",
        [".a.²-0.part", f".a.{'9' * 30}-0.part"],
    )
    for process in (gone.pid, os.getpid()):  # whose number came round again
        (tmp_path / f".a.tif.{process}-00ff.part").write_bytes(b"")
    for name in (theirs, *not_numbers, ".notes.part", "a.part"):
        (tmp_path / name).write_bytes(b"")
    (tmp_path / f".b.tif.{gone.pid}-00ff.part").mkdir()
    remove_leftovers(tmp_path)
    kept = [theirs, *not_numbers, ".notes.part", "a.part", f".b.tif.{gone.pid}-00ff.part"]
    assert files(tmp_path) == sorted(kept)
