"""What files say beside their pixels: bounded, not copied, and plain text when it leaves us."""

import io
import os
import struct
import subprocess
import sys
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from icc_profiles import built_in, oprgb
from pictures import job, make, printed, save
from sightsize.base.icc import profile_name, read_profile, tags
from sightsize.base.plain_text import one_line, plain_text
from sightsize.delivery.captions import Captions, read_captions
from sightsize.delivery.xmp_words import xmp_words
from sightsize.errors import JobError, SourceError
from sightsize.imaging.colour.profile_curves import tone_curves
from sightsize.imaging.source.picture_file import read_header

MIB = 2**20
SCENE = np.full((48, 64, 3), 128, np.uint8)
PX = (64, 48)


def chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def png_with(path: Path, *chunks: bytes) -> Path:
    """A PNG (ISO 15948) with chunks of one's own after its header."""
    held = io.BytesIO()
    Image.fromarray(SCENE).save(held, "PNG")
    whole = held.getvalue()
    end_of_header = 8 + 25
    path.write_bytes(whole[:end_of_header] + b"".join(chunks) + whole[end_of_header:])
    return path


def padded_profile(size: int, *, overlapping: bool = False) -> bytes:
    """A profile of a size in bytes, 200 tags of which may each be nearly all of it."""
    whole = bytearray(built_in("srgb").ljust(size, b"\0"))
    if overlapping:
        table = b"".join(
            struct.pack(">4sII", b"x%03d" % each, 4000, size - 4000) for each in range(200)
        )
        whole[128 : 132 + len(table)] = struct.pack(">I", 200) + table
    whole[:4] = struct.pack(">I", size)
    return bytes(whole)


def icc_bomb(path: Path, size: int) -> Path:
    data = zlib.compress(padded_profile(size, overlapping=True), 9)
    return png_with(path, chunk(b"iCCP", b"bomb\0\0" + data))


def xmp_chunk(packet: bytes) -> bytes:
    """An iTXt chunk, compressed, with the keyword under which XMP stands (ISO 16684-3)."""
    return chunk(b"iTXt", b"XML:com.adobe.xmp\0\1\0\0\0" + zlib.compress(packet, 9))


def test_a_profile_too_large_is_refused_and_said(tmp_path: Path) -> None:
    file = icc_bomb(tmp_path / "bomb.png", 17 * MIB)
    assert file.stat().st_size < 100_000
    with pytest.raises(SourceError) as refused:
        read_header(file)
    assert str(refused.value) == (
        "bomb.png carries 17 MiB of colour profile, and at most 16 MiB are read; export it again "
        "without"
    )
    assert read_header(icc_bomb(tmp_path / "large.png", 16 * MIB)).width_px == 64


def test_words_too_large_are_refused_and_said(tmp_path: Path) -> None:
    packet = b"<x>" + b" " * 17 * MIB + b"</x>"
    with pytest.raises(SourceError, match="carries 17 MiB of XMP, and at most 16 MiB are read"):
        read_header(png_with(tmp_path / "bomb.png", xmp_chunk(packet)))


PEAK = """
import sys
from pathlib import Path
from sightsize.errors import SightsizeError
from sightsize.imaging.source.picture_file import read_header
from sightsize.delivery.metadata import captions_of

def peak_kib():
    (line,) = [each for each in open("/proc/self/status") if each.startswith("VmHWM")]
    return int(line.split()[1])

small, file = map(Path, sys.argv[1:])
read_header(small), captions_of(small)
before = peak_kib()
try:
    read_header(file), captions_of(file)
except SightsizeError:
    pass
print((peak_kib() - before) // 1024)
"""
LAUGHS = b"<!DOCTYPE x [<!ENTITY a0 'ha'>%s]><x>&a30;</x>" % b"".join(
    b"<!ENTITY a%d '&a%d;&a%d;'>" % (each, each - 1, each - 1) for each in range(1, 31)
)
BOMBS = {
    "profile": lambda: chunk(
        b"iCCP", b"b\0\0" + zlib.compress(padded_profile(15 * MIB, overlapping=True), 9)
    ),
    "large profile": lambda: chunk(
        b"iCCP", b"b\0\0" + zlib.compress(padded_profile(50 * MIB, overlapping=True), 9)
    ),
    "deep XMP": lambda: xmp_chunk(b"<a>" * (5 * MIB)),
    "flat XMP": lambda: xmp_chunk(b"<x>" + b"<a/>" * (3 * MIB)),
    "attributes": lambda: xmp_chunk(b"<x " + b" ".join(b'a%d=""' % n for n in range(MIB)) + b"/>"),
    "entities": lambda: xmp_chunk(LAUGHS),
    "Exif": lambda: chunk(b"eXIf", b"II*\0\x08\0\0\0\xff\xff" + bytes(15 * MIB)),
}


@pytest.mark.skipif(sys.platform != "linux", reason="the peak is read from Linux' /proc")
@pytest.mark.parametrize("bomb", BOMBS)
def test_what_inflates_stays_in_bounds(tmp_path: Path, bomb: str) -> None:
    small = png_with(tmp_path / "small.png")
    file = png_with(tmp_path / "bomb.png", BOMBS[bomb]())
    command = [sys.executable, "-c", PEAK, str(small), str(file)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=120)
    assert (done.returncode, done.stderr) == (0, "")
    print(f"{bomb}: {done.stdout.strip()} MiB more, of a file of {file.stat().st_size} bytes")
    assert int(done.stdout) < 256


def test_tags_are_not_copied() -> None:
    profile = padded_profile(MIB, overlapping=True)
    assert all(tag.obj is profile for tag in tags(profile).values())
    assert len(tags(profile)) == 200


def test_curves_of_absurd_length_are_left_to_littlecms() -> None:
    """A table for 16 bits has 65,536 entries at most."""
    profile = oprgb()
    curve = tags(profile)[b"rTRC"]
    at = profile.index(bytes(curve))
    many = bytearray(profile.ljust(at + 12 + 2 * 70_000, b"\1"))
    for entry in range(132, 132 + 12 * 20, 12):
        if many[entry : entry + 4] == b"rTRC":
            struct.pack_into(">I", many, entry + 8, 12 + 2 * 70_000)
    struct.pack_into(">I", many, at + 8, 70_000)
    assert tone_curves(profile, "rgb") is not None
    assert tone_curves(bytes(many), "rgb") is None


# Words out of XMP.

DC = 'xmlns:dc="http://purl.org/dc/elements/1.1/"'
RDF = 'xmlns:r="http://www.w3.org/1999/02/22-rdf-syntax-ns#"'
RIGHTS = "<dc:rights><r:Alt><r:li>© Tern Quay</r:li><r:li>other</r:li></r:Alt></dc:rights>"
CREATORS = "<dc:creator><r:Seq><r:li>A. Cox</r:li><r:li/><r:li>B. Cox</r:li></r:Seq></dc:creator>"


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (f"{RIGHTS}{CREATORS}", {"copyright": "© Tern Quay", "creator": "A. Cox, B. Cox"}),
        ("<dc:rights>bare</dc:rights>", {}),
        (f"{RIGHTS}<a>", {"copyright": "© Tern Quay"}),
        (f"{RIGHTS}" + "<a>" * 300_000, {"copyright": "© Tern Quay"}),
        (RIGHTS.replace("©", "&#169;"), {"copyright": "© Tern Quay"}),
        (RIGHTS.replace("Tern", "<b>not</b>Tern"), {"copyright": "© Tern Quay"}),
        (f"{RIGHTS}&nothing;", {"copyright": "© Tern Quay"}),
    ],
)
def test_words_of_a_packet(body: str, words: dict[str, str]) -> None:
    packet = f"<x {DC} {RDF}>{body}</x>".encode()
    assert xmp_words(packet) == words
    assert xmp_words(b"\xef\xbb\xbf" + packet + bytes(40)) == words


def test_entities_are_never_resolved(tmp_path: Path) -> None:
    (tmp_path / "secret").write_text("secret")
    declared = f'<!DOCTYPE x [<!ENTITY s SYSTEM "{tmp_path}/secret">]>'
    assert xmp_words(f"{declared}<x {DC} {RDF}>{RIGHTS.replace('©', '&s;')}</x>".encode()) == {}


# Texts without commands in them.

NASTY = "\x1b[2J\x9b31mKöln\u202egpj\u2066\r\n\tTern\0"


def test_texts_become_plain() -> None:
    assert plain_text(NASTY) == "[2J31mKölngpj\r\n\tTern"
    assert one_line(NASTY) == "[2J31mKölngpj Tern"
    assert len(one_line("x" * 10_000)) == 200


def test_the_name_of_a_profile_is_plain() -> None:
    name = NASTY.encode("utf-16-be")
    tag = b"mluc\0\0\0\0" + struct.pack(">II4sII", 1, 12, b"enUS", len(name), 28) + name
    table = struct.pack(">I4sII", 1, b"desc", 144, len(tag))
    assert profile_name(bytes(128) + table + tag) == "[2J31mKölngpj Tern"


def test_the_name_of_a_camera_is_plain(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[0x0110] = "Regatta\x1b[31m 66"
    save(tmp_path / "a.jpg", SCENE, exif=exif)
    assert read_header(tmp_path / "a.jpg").camera_model == "Regatta[31m 66"


def test_captions_are_plain(tmp_path: Path) -> None:
    file = save(tmp_path / "a.jpg", SCENE)
    packet = f"<x {DC} {RDF}>{RIGHTS.replace('Tern', NASTY.split(chr(0))[0][5:])}</x>"
    found = read_captions(file, b"", packet.replace("\x9b", "&#x9b;").encode(), b"")
    assert found == Captions(copyright="© 31mKölngpj\n\tTern Quay")


# Profiles that a job names.


@pytest.mark.parametrize("where", ["delivery", "picture"])
@pytest.mark.parametrize("what", ["pipe", "too large", "folder"])
def test_a_profile_that_is_no_plain_file_of_a_sensible_size(
    tmp_path: Path, what: str, where: str
) -> None:
    profile = tmp_path / "lab.icc"
    if what == "pipe":
        os.mkfifo(profile)
    elif what == "folder":
        profile.mkdir()
    else:
        profile.write_bytes(built_in("srgb"))
        os.truncate(profile, 3 * 2**30)
    save(tmp_path / "a.png", SCENE)
    facts = {"source": "a.png"} | ({"assume_profile": "lab.icc"} if where == "picture" else {})
    tables = {"delivery": {"profile": "lab.icc"}} if where == "delivery" else {}
    with pytest.raises(JobError) as refused:
        job(tmp_path, {"p": facts}, PX, **tables)
    assert "'lab.icc' is " in str(refused.value.findings[0].message)


def test_a_profile_that_goes_bad_after_the_check_fails_its_print_alone(tmp_path: Path) -> None:
    profile = tmp_path / "lab.icc"
    profile.write_bytes(built_in("p3"))
    save(tmp_path / "a.png", SCENE)
    planned = job(tmp_path, {"p": {"source": "a.png"}}, PX, delivery={"profile": "lab.icc"})
    os.truncate(profile, 3 * 2**30)
    (outcome,) = make(planned)
    said = f"it has more than 16 MiB: {profile}"
    assert (outcome.status, outcome.message) == ("failed", said)


def test_a_profile_is_read_whole(tmp_path: Path) -> None:
    profile = tmp_path / "lab.icc"
    profile.write_bytes(built_in("p3"))
    assert read_profile(profile) == built_in("p3")
    save(tmp_path / "a.png", SCENE)
    made = printed(tmp_path, tmp_path / "a.png", PX, delivery={"profile": "lab.icc"})
    with Image.open(made) as image:
        assert image.info["icc_profile"] == built_in("p3")
