"""Dockets that somebody has tampered with: values, texts and mirrors, drawn from a seed."""

import json
import random
from datetime import date, datetime, time
from hashlib import sha256
from pathlib import Path
from typing import Any

import tomli_w

Values = dict[str, Any]

_PATHS = [
    *("../../x.tif", "/etc/passwd", "/dev/zero", "/proc/self/mem", "pipe", "circle", "..", "."),
    *("a\0b.tif", "a\nb.tif", "p1.tif\n", "\x1b[2J.tif", "\u202egnp.tif", "", "con.tif", "p1.png"),
    *("masters/../../p1.tif", "masters/p1.jpg", "x" * 300 + ".tif", "x/" * 3000, "p1--x.tif"),
]
_ODD: list[Any] = [
    *(0, -1, 1, 2**31, 2**63 - 1, 2**63, -(2**63), 10**400, 16**6000),
    *(0.0, -0.0, 1.5, 1e308, 5e-324, float("inf"), float("-inf"), float("nan")),
    *(True, False, "", "nan", "0" * 64, "sha256:" + "0" * 64, "é" * 500, "x" * 100_000),
    *([], {}, [[]], [{}], [None], {"": ""}, {"a.b": 1}, {"\x7f": 1}, [0.5, 0.5], ["p1"]),
    *(date(2026, 5, 4), datetime(2026, 5, 4, 12), time(12), "auto", "jpeg", "raw", "cmyk"),
]
_LADDER = {"ladder": {"exposure": [-0.3, 0, 0.3]}}
_PRINTS: list[Any] = [
    *([], [{}], [{"picture": "p1"}, {"picture": "p2"}], [{"source": "*.tif"}], [{"picture": "zz"}]),
    *([{"picture": "p1", **_LADDER}], [{"picture": "p1", "copies": 10**9}], {"picture": "p1"}),
    [{"picture": "p1", "source": "../p2.tif"}],
]


def _texts(text: str) -> list[bytes]:
    """A docket's text, spoilt as a whole."""
    told, deep = "docket = 2", "[" * 20_000
    texts = [
        *("", "docket = 2\nprints = [1, 2]\n", "docket = 2\n[prints]\n", "\0" * 300),
        "docket = 2\nprints = { file = 'p1.tif' }\n",
        *(text.replace(told, f"docket = {each}") for each in ("0", "1", "3", "true", "2.0", "'2'")),
        text.replace(told, f"docket = 0x{'f' * 6000}"),
        text.replace("bytes = ", f"bytes = 1{'0' * 6000} #"),
        text.replace("bytes = ", f"bytes = 0x1{'0' * 6000} #"),
        text.replace("ppi = ", "ppi = 1e999 #"),
        text.replace("ppi = ", "ppi = nan #"),
        text.replace("\n", "\r\n"),
        f"{text}deep = {deep}{']' * 20_000}\n",
        f"{text}{'a.' * 3000}b = 1\n",
        f"{text}\n[prints.job.{'a.' * 900}b]\nc = 1\n",
        f"{text}\n[prints.job.pictures.p1.x]\ny = {'[' * 60}{']' * 60}\n",
        text + text,
        text + text.partition("docket = 2\n")[2],
        f"{text}[prints.measured]\non = 2026-05-04\nwidth = 190.2\n",
    ]
    coded = [text.encode("utf-16"), text.encode("utf-8-sig"), text.encode() + b"\xff\xfe"]
    return [*coded, *(each.encode() for each in texts)]


def tamper(folder: Path, values: Values, seed: int) -> str:
    """Tamper with the docket of a folder, or with its mirror; return in what way."""
    dice = random.Random(seed)
    way = dice.choice(["text", "cut", "values", "values", "values", "mirror", "noted"])
    docket = folder / "docket.toml"
    if way == "text":
        docket.write_bytes(dice.choice(_texts(docket.read_text(encoding="utf-8"))))
    elif way == "cut":
        data = bytearray(docket.read_bytes()[: dice.randrange(2, 9000)])
        data[dice.randrange(len(data))] ^= 1 << dice.randrange(8)
        docket.write_bytes(data)
    else:
        for _ in range(dice.choice([1, 1, 1, 3])):
            _spoil(values["prints"], dice)
        _write(folder, values["prints"], way)
    return way


def _write(folder: Path, records: list[Any], way: str) -> None:
    docket, hidden = folder / "docket.toml", folder / ".docket.json"
    if way == "values":
        try:
            docket.write_text(_toml(records), encoding="utf-8")
        except (ValueError, TypeError, AttributeError):  # what TOML cannot say
            way = "mirror"
        else:
            return
    head = {
        "docket": 2,
        "mirrors": sha256(docket.read_bytes()).hexdigest(),
        "prints": len(records) if way == "mirror" else 0,
    }
    key = "print" if way == "mirror" else "noted"
    lines = [json.dumps(head), *(_json({key: each}) for each in records)]
    hidden.write_text("\n".join(lines), encoding="utf-8")


def _toml(records: list[Any]) -> str:
    return tomli_w.dumps({"docket": 2, "prints": records})


def _json(value: Any) -> str:
    try:
        return json.dumps(value, default=str)
    except ValueError:  # a number of too many digits for Python, though not for JSON
        return '{"noted": {"seconds": 1' + "0" * 6000 + "}}"


def _spoil(records: list[Any], dice: random.Random) -> None:
    """Put one odd value somewhere in a record, most often where it could do harm."""
    record = dice.choice([each for each in records if isinstance(each, dict)] or [{}])
    places = [*_places(record), *_HARMFUL] if record else []
    if not places:
        return
    way = dice.randrange(8)
    if way == 0:
        records.append(dice.choice([json.loads(json.dumps(record, default=str)), 1, "p1", {}]))
        return
    path = dice.choice(_HARMFUL if way < 5 else places)
    table: Any = record
    for part in path[:-1]:
        table = table[part] if _has(table, part) else None
    if not _has(table, path[-1]) and not isinstance(table, dict):
        return
    odd = _PRINTS if path[-1] == "prints" else _PATHS if dice.random() < 0.5 else _ODD
    if way == 7 and _has(table, path[-1]):
        del table[path[-1]]
    elif isinstance(table, dict | list):
        table[path[-1]] = dice.choice(odd)


def _has(table: Any, part: Any) -> bool:
    if isinstance(table, dict):
        return part in table
    return isinstance(table, list) and isinstance(part, int) and part < len(table)


def _places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    inner = (
        value.items()
        if isinstance(value, dict)
        else enumerate(value)
        if isinstance(value, list)
        else ()
    )
    return [each for key, child in inner for each in [(*path, key), *_places(child, (*path, key))]]


_HARMFUL: list[tuple[Any, ...]] = [
    *(("file",), ("measured",), ("versions",), ("plan",), ("profile",), ("job",), ("masters",)),
    *(("sources", 0, "path"), ("sources", 0, "picture"), ("sources", 0, "sha256")),
    *(("sources", 0, "header", key) for key in ("width_px", "height_px", "format", "colour")),
    *(("sources", 0, "header", key) for key in ("bits", "orientation", "profile", "bytes")),
    *(("masters", 0, key) for key in ("file", "picture", "sharpening", "sha256")),
    *(("job", key) for key in ("prints", "job", "pictures", "delivery", "cameras", "frames")),
    *(("job", "delivery", key) for key in ("name", "format", "profile", "keep_master", "quality")),
    *(("job", "pictures", "p1", key) for key in ("source", "assume_profile", "camera", "burn")),
    *(("job", "job", "output"), ("output", "bytes"), ("output", "changed_ns"), ("identity",)),
]
