"""Names that mean harm, in JSON, JUnit XML and the progress bar."""

import json
import xml.etree.ElementTree as ET
from typing import Any
from xml.dom import minidom

from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console
from rich.text import Text

from sightsize.base.findings import Finding
from sightsize.base.plain_text import visible
from sightsize.report.data import as_json
from sightsize.report.junit import junit_xml
from sightsize.report.progress import NAME_COLUMN

ANY_TEXT = st.text(st.characters(exclude_categories=()))
ANY_DATA = st.recursive(
    ANY_TEXT | st.integers() | st.booleans(), lambda each: st.dictionaries(ANY_TEXT, each)
)


@given(ANY_TEXT, ANY_TEXT, ANY_TEXT)
def test_junit_is_xml_whatever_the_names(job: str, name: str, message: str) -> None:
    finding = Finding(level="refuse", check="source", message=message, file=job)
    text = junit_xml({job: [(name, [finding])]})
    data = text.encode("utf-8")
    case: Any = ET.fromstring(data).find("testsuite/testcase")
    again: Any = minidom.parseString(data).getElementsByTagName("testcase")[0]
    failure, failed = case.find("failure"), again.getElementsByTagName("failure")[0]
    assert case.get("classname") == again.getAttribute("classname") == visible(job)
    assert case.get("name") == again.getAttribute("name") == visible(name)
    assert failure.get("message") == failed.getAttribute("message") == visible(message)
    assert failure.text == failed.firstChild.data == finding.sentence()


def test_junit_has_no_character_that_xml_forbids() -> None:
    """Char of XML 1.0 (https://www.w3.org/TR/xml/#charsets), for every character there is."""
    every = "".join(map(chr, range(0x110000)))
    text = junit_xml({every: [(every, [Finding(level="refuse", check="x", message=every)])]})
    allowed = {
        0x9,
        0xA,
        0xD,
        *range(0x20, 0xD800),
        *range(0xE000, 0xFFFE),
        *range(0x10000, 0x110000),
    }
    assert {*map(ord, text)} <= allowed
    ET.fromstring(text.encode("utf-8"))


@given(ANY_DATA)
def test_json_is_json_whatever_the_names(data: Any) -> None:
    text = as_json(data)
    assert json.loads(text) == data
    assert all(0x20 <= ord(each) < 0x7F or each == "\n" for each in text)


@given(ANY_TEXT)
def test_a_name_in_the_bar_is_no_markup(name: str) -> None:
    class Task:
        description = visible(name)

    shown: Any = NAME_COLUMN.render(Task)  # type: ignore[arg-type]
    assert isinstance(shown, Text)
    assert shown.plain == visible(name)
    assert shown.spans == []
    Console(file=None, quiet=True).print(shown)
