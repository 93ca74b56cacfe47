"""Words that travel with a picture: caption, creator, copyright, and what stays behind.

The three words are read from XMP, Exif or TIFF tags and IPTC, the first that has one. They are
written to XMP, and to Exif in a JPEG. Camera facts, position and serial numbers are left behind
unless the job asks for the last two.
"""

import struct
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from xml.sax.saxutils import escape

from sightsize.base.plain_text import plain_text
from sightsize.base.reading import open_plain
from sightsize.base.tiff_words import decoded_text, text_places, texts
from sightsize.delivery.xmp_words import xmp_words

_TIFF_TAGS = {0x010E: "caption", 0x013B: "creator", 0x8298: "copyright"}
_IPTC_RECORDS = {120: "caption", 80: "creator", 116: "copyright"}
_MOST_DATA_SETS = 10_000
_LONGEST_KEPT = 16_000
"""Bytes of one word in XML: all three must fit the one segment of 64 KiB that a JPEG has."""
_EXIF_WITHIN = 2**17


@dataclass(frozen=True)
class Captions:
    """The words of a picture; an empty text means none."""

    caption: str = ""
    creator: str = ""
    copyright: str = ""


def read_captions(path: Path, exif: bytes, xmp: bytes, iptc: bytes) -> Captions:
    """Return the words found in a file and in its metadata blocks (empty bytes for none)."""
    sources = [xmp_words(xmp), texts(BytesIO(exif.removeprefix(b"Exif\0\0")), _TIFF_TAGS)]
    with open_plain(path) as file:
        sources.append(texts(file, _TIFF_TAGS))
    sources.append(_from_iptc(iptc))
    words: dict[str, str] = {}
    for source in sources:
        for name, text in source.items():
            if tidy := _tidy(text):
                words.setdefault(name, tidy)
    return Captions(**words)


def _tidy(text: str) -> str:
    """Text as XML can hold it, cut where it would not fit a JPEG."""
    text = plain_text(text[:_LONGEST_KEPT]).strip()
    while len(escape(text).encode()) > _LONGEST_KEPT:
        text = text[: len(text) * 9 // 10]
    return text


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
        for name, offset, length in text_places(BytesIO(head[start:]), _TIFF_TAGS):
            file.seek(start + offset)
            file.write(getattr(captions, name).encode().ljust(length, b"\0"))


def _from_iptc(iptc: bytes) -> dict[str, str]:
    """Application record 2 of IPTC-IIM: marker 1C, record, data set, 16-bit length, text."""
    words: dict[str, list[str]] = {}
    at = iptc.find(b"\x1c\x02")
    for _ in range(_MOST_DATA_SETS):
        if not 0 <= at <= len(iptc) - 5 or iptc[at : at + 1] != b"\x1c":
            break
        record, data_set, length = struct.unpack_from(">BBH", iptc, at + 1)
        if length & 0x8000:
            break
        if record == 2 and data_set in _IPTC_RECORDS:
            text = decoded_text(iptc[at + 5 : at + 5 + length])
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
