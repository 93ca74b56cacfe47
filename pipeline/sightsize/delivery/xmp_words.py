"""The three words out of an XMP packet (ISO 16684-1), read as a stream with bounded memory.

Whatever the packet holds, only words and a few open elements are remembered. A packet that is
damaged, or that declares types or entities of its own, is read as far as that.
"""

from codecs import getincrementaldecoder
from contextlib import suppress
from xml.parsers.expat import ExpatError, ParserCreate

_NAMES = {
    "http://purl.org/dc/elements/1.1/ description": "caption",
    "http://purl.org/dc/elements/1.1/ creator": "creator",
    "http://purl.org/dc/elements/1.1/ rights": "copyright",
}
_ITEM = "http://www.w3.org/1999/02/22-rdf-syntax-ns# li"
_CHUNK_BYTES = 2**16
_LONGEST_TOKEN_BYTES = 2**20
"""A tag with its attributes is held whole until it ends."""
_DEEPEST = 200
_MOST_ELEMENTS = 1_000_000
_MOST_ITEMS = 1000
_LONGEST_WORD = 16_000


class _TooMuchError(Exception):
    """What no camera and no program writes into a packet."""


class _Words:
    """What the parser has seen: the items of each word, and where in the packet it is."""

    def __init__(self) -> None:
        self.items: dict[str, list[str]] = {}
        self._depth = self._seen = 0
        self._word, self._word_depth = "", 0
        self._item_depth = 0

    def start(self, name: str, _: object) -> None:
        self._depth += 1
        self._seen += 1
        if self._depth > _DEEPEST or self._seen > _MOST_ELEMENTS:
            raise _TooMuchError
        if not self._word_depth and name in _NAMES:
            self._word, self._word_depth = _NAMES[name], self._depth
        elif self._word_depth and name == _ITEM:
            items = self.items.setdefault(self._word, [])
            if len(items) < _MOST_ITEMS:
                items.append("")
                self._item_depth = self._depth

    def end(self, _: str) -> None:
        if self._depth == self._word_depth:
            self._word_depth = 0
        if self._depth == self._item_depth:
            self._item_depth = 0
        self._depth -= 1

    def text(self, text: str) -> None:
        if self._depth == self._item_depth:
            items = self.items[self._word]
            items[-1] += text[: _LONGEST_WORD - len(items[-1])]


def xmp_words(packet: bytes) -> dict[str, str]:
    """Return caption, creator and copyright of a packet, those that it has.

    Of a caption or copyright in several languages the first counts, which is the default one;
    creators are all named.
    """
    words = _Words()
    parser = ParserCreate(namespace_separator=" ")
    parser.buffer_text = True
    parser.StartElementHandler, parser.EndElementHandler = words.start, words.end
    parser.CharacterDataHandler = words.text
    parser.StartDoctypeDeclHandler = _refuse_declarations
    decoder = getincrementaldecoder("utf-8")("replace")
    body = memoryview(packet.strip(b"\0 \t\r\n").removeprefix(b"\xef\xbb\xbf"))
    with suppress(ExpatError, _TooMuchError):
        for start in range(0, len(body), _CHUNK_BYTES):
            parser.Parse(decoder.decode(body[start : start + _CHUNK_BYTES]))
            if start - parser.CurrentByteIndex > _LONGEST_TOKEN_BYTES:
                break
    return {
        word: ", ".join(filter(None, items if word == "creator" else items[:1]))
        for word, items in words.items.items()
    }


def _refuse_declarations(*_: object) -> None:
    raise _TooMuchError
