"""Words that travel with a picture: caption, creator, copyright, and what stays behind.

The three words are read from XMP, Exif or TIFF tags and IPTC, the first that has one. They are
written to XMP, and to Exif in a JPEG. Camera facts, position and serial numbers are left behind
unless the job asks for the last two.
"""

import re
import struct
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import BinaryIO
from xml.sax.saxutils import escape

_TIFF_TAGS = {0x010E: "caption", 0x013B: "creator", 0x8298: "copyright"}
_IPTC_RECORDS = {120: "caption", 80: "creator", 116: "copyright"}
_XMP_NAMES = {"description": "caption", "creator": "creator", "rights": "copyright"}
_DC = "{http://purl.org/dc/elements/1.1/}"
_RDF = "{http://www.w3.org/1999/02/22-rdf-syntax-ns#}"
_TEXT_KINDS = (2, 129)
"""ASCII of TIFF 6.0 and UTF-8 of Exif 3.0 (the latter from memory)."""
_MOST_ENTRIES = 1000
_LONGEST_READ = 2**20
_LONGEST_KEPT = 16_000
"""Bytes of one word in XML: all three must fit the one segment of 64 KiB that a JPEG has."""
_EXIF_WITHIN = 2**17
_NOT_IN_XML = re.compile(r"[^\t\n\r\x20-\uD7FF\uE000-\uFFFD\U00010000-\U0010FFFF]")


@dataclass(frozen=True)
class Captions:
    """The words of a picture; an empty text means none."""

    caption: str = ""
    creator: str = ""
    copyright: str = ""


def read_captions(path: Path, exif: bytes, xmp: bytes, iptc: bytes) -> Captions:
    """Return the words found in a file and in its metadata blocks (empty bytes for none)."""
    sources = [_from_xmp(xmp), _from_tiff(BytesIO(exif.removeprefix(b"Exif\0\0")))]
    with path.open("rb") as file:
        sources.append(_from_tiff(file))
    sources.append(_from_iptc(iptc))
    words: dict[str, str] = {}
    for source in sources:
        for name, text in source.items():
            if tidy := _tidy(text):
                words.setdefault(name, tidy)
    return Captions(**words)


def _tidy(text: str) -> str:
    """Text as XML can hold it, cut where it would not fit a JPEG."""
    text = _NOT_IN_XML.sub("", text).strip()
    while len(escape(text).encode()) > _LONGEST_KEPT:
        text = text[: len(text) * 9 // 10]
    return text


def _from_tiff(file: BinaryIO) -> dict[str, str]:
    words = {}
    for name, offset, length in _places_in_tiff(file):
        file.seek(offset)
        words[name] = _text(file.read(length))
    return words


def _places_in_tiff(file: BinaryIO) -> Iterator[tuple[str, int, int]]:
    """Name, offset and length of each word in the first directory of a TIFF structure.

    TIFF 6.0; the body of an Exif block is such a structure too.
    """
    head = file.read(8)
    order = {b"II*\0": "<", b"MM\0*": ">"}.get(head[:4])
    if order is None:
        return
    try:
        (directory,) = struct.unpack(order + "I", head[4:])
        file.seek(directory)
        (count,) = struct.unpack(order + "H", file.read(2))
        entries = file.read(12 * min(count, _MOST_ENTRIES))
        for index, entry in enumerate(struct.iter_unpack(order + "HHII", entries)):
            tag, kind, length, offset = entry
            if tag in _TIFF_TAGS and kind in _TEXT_KINDS and 0 < length <= _LONGEST_READ:
                # A text of up to four bytes stands in the entry itself.
                inline = directory + 2 + 12 * index + 8
                yield _TIFF_TAGS[tag], inline if length <= 4 else offset, length
    except struct.error:
        return


def exif_placeholder(text: str) -> str:
    """Return ASCII that takes up as many bytes as ``text`` does in UTF-8."""
    return "?" * len(text.encode())


def write_exif_words(path: Path, captions: Captions) -> None:
    """Put the words, as UTF-8, over their placeholders in the Exif block of a JPEG.

    Written by libvips itself they would lose every letter beyond ASCII and whatever stands in
    brackets at their end.
    """
    with path.open("r+b") as file:
        head = file.read(_EXIF_WITHIN)
        start = head.index(b"Exif\0\0") + 6
        for name, offset, length in _places_in_tiff(BytesIO(head[start:])):
            file.seek(start + offset)
            file.write(getattr(captions, name).encode().ljust(length, b"\0"))


def _text(raw: bytes) -> str:
    """Text of a tag: UTF-8 as most programs write, Latin-1 where it is not."""
    raw = raw.split(b"\0")[0]
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError:
        return raw.decode("latin-1")


def _from_xmp(xmp: bytes) -> dict[str, str]:
    words: dict[str, str] = {}
    if not xmp or b"<!DOCTYPE" in xmp or b"<!ENTITY" in xmp:
        return words
    try:
        root = ET.fromstring(xmp.decode("utf-8", "replace").strip("\0 \t\r\n\ufeff"))
    except ET.ParseError:
        return words
    for name, word in _XMP_NAMES.items():
        for node in root.iter(_DC + name):
            items = [item.text or "" for item in node.iter(_RDF + "li")]
            words[word] = ", ".join(filter(None, items[:1] if name != "creator" else items))
    return words


def _from_iptc(iptc: bytes) -> dict[str, str]:
    """Application record 2 of IPTC-IIM: marker 1C, record, data set, 16-bit length, text."""
    words: dict[str, list[str]] = {}
    at = iptc.find(b"\x1c\x02")
    while 0 <= at <= len(iptc) - 5 and iptc[at : at + 1] == b"\x1c":
        record, data_set, length = struct.unpack_from(">BBH", iptc, at + 1)
        if length & 0x8000:
            break
        if record == 2 and data_set in _IPTC_RECORDS:
            text = _text(iptc[at + 5 : at + 5 + length])
            words.setdefault(_IPTC_RECORDS[data_set], []).append(text)
        at += 5 + length
    return {name: ", ".join(texts) for name, texts in words.items()}


def xmp_packet(captions: Captions, tool: str, identity: str) -> bytes:
    """Return an XMP packet (ISO 16684-1) with the words, the tool and the print's identity."""

    def alternative(name: str, text: str) -> str:
        item = f'<rdf:li xml:lang="x-default">{escape(text)}</rdf:li>'
        return f"<dc:{name}><rdf:Alt>{item}</rdf:Alt></dc:{name}>" if text else ""

    creator = f"<rdf:Seq><rdf:li>{escape(captions.creator)}</rdf:li></rdf:Seq>"
    body = (
        alternative("description", captions.caption)
        + (f"<dc:creator>{creator}</dc:creator>" if captions.creator else "")
        + alternative("rights", captions.copyright)
        + f"<dc:identifier>{escape(identity)}</dc:identifier>"
        + f"<xmp:CreatorTool>{escape(tool)}</xmp:CreatorTool>"
    )
    return (
        '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>'
        '<x:xmpmeta xmlns:x="adobe:ns:meta/">'
        '<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
        '<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/" '
        f'xmlns:xmp="http://ns.adobe.com/xap/1.0/">{body}</rdf:Description>'
        '</rdf:RDF></x:xmpmeta><?xpacket end="w"?>'
    ).encode()


def identity_in_xmp(xmp: bytes) -> str:
    """Return the identity that ``xmp_packet`` wrote, or nothing."""
    begin, end = xmp.find(b"<dc:identifier>"), xmp.find(b"</dc:identifier>")
    if begin < 0 or end < begin:
        return ""
    return xmp[begin + len(b"<dc:identifier>") : end].decode("ascii", "replace")
