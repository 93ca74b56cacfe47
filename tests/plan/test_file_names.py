"""Names of print files are portable whatever a job, a picture or a frame is called."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest
import tomli_w
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sightsize.errors import JobError
from sightsize.job.load import load_job
from sightsize.job.picture_files import natural_order
from sightsize.plan.arrange import arrange
from sightsize.plan.file_names import FIELDS, LONGEST_NAME, fill_template, paper_slug, slug

# Names that Windows reserves whatever their ending (its own documentation, from memory).
DEVICES = {
    "con",
    "prn",
    "aux",
    "nul",
    *(f"{port}{n}" for port in ("com", "lpt") for n in range(10)),
}
HOSTILE = [
    "../../etc",
    "..\\..\\boathouse",
    "a/b",
    "/root",
    "C:\\prints",
    "con",
    "LPT1",
    "nul.txt",
    "name\nwith\nlines",
    "tab\there",
    "\x00",
    "\x1b[2J",
    "‮gnp.exe",
    "e\u0301",
    "Straße",
    "🚣",
    "ﬁle",
    "Ａ",
    "- -",
    "...",
    "-rf",
    "~",
    "$HOME",
    "*?",
    "a" * 300,
    "",
]
FIELD_TEXTS = st.one_of(st.sampled_from(HOSTILE), st.text('aB1é/\\:*?"<>|. _-\n', max_size=12))
TEMPLATES = st.lists(
    st.one_of(
        st.sampled_from([f"{{{name}}}" for name in FIELDS]),
        st.sampled_from(["-", "_", ".", "/", " ", "print", "con", "é", "{", "}", "{{", "{title}"]),
    ),
    max_size=6,
).map("".join)


def assert_portable(name: str) -> None:
    assert re.fullmatch(r"[A-Za-z0-9](?:[A-Za-z0-9._-]*[A-Za-z0-9])?", name)
    assert len(name) <= LONGEST_NAME
    assert name.split(".")[0].lower() not in DEVICES
    assert Path(name).name == name


@given(TEMPLATES, st.fixed_dictionaries(dict.fromkeys(FIELDS, FIELD_TEXTS)))
def test_a_name_is_portable_or_refused_in_a_sentence(template: str, values: dict[str, str]) -> None:
    try:
        name = fill_template(template, values)
    except ValueError as error:
        sentence = str(error)
    else:
        assert_portable(name)
        return
    assert re.match(r"(the name|\{|a field)", sentence)


@given(st.fixed_dictionaries(dict.fromkeys(FIELDS, FIELD_TEXTS)))
def test_fields_never_break_the_usual_template(values: dict[str, str]) -> None:
    values = {name: text[:8] for name, text in values.items()}
    name = fill_template("TQ-{reference}-{picture}-{frame}-{paper}-{number}", values)
    assert_portable(name)
    assert name.startswith("TQ")


@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=50
)
@given(names=st.lists(st.text("aAbBé -/.1", min_size=1, max_size=4), min_size=2, max_size=6))
def test_names_of_a_job_differ_by_more_than_case_or_it_is_refused(
    names: list[str], tmp_path: Path
) -> None:
    job = tmp_path / "job.toml"
    values = {
        "sightsize": 1,
        "aperture": {"width": "7 in", "height": "9 in"},
        "paper": {"size": "12x8 in"},
        "delivery": {"name": "x{picture}"},
        "pictures": {name: {"source": "cox.jpg"} for name in names},
        "prints": [{"picture": name} for name in names],
    }
    job.write_text(tomli_w.dumps(values), encoding="utf-8")
    try:
        files = arrange(load_job(job))
    except JobError as error:
        messages = {finding.message for finding in error.findings}
    else:
        folded = [each.name.casefold() for each in files]
        assert len(set(folded)) == len(folded) == len(names)
        return
    assert all("would both be named" in message for message in messages)


@pytest.mark.parametrize("hostile", HOSTILE)
def test_hostile_text_in_a_field_stays_in_the_folder(
    hostile: str, tmp_path: Path, write_job: Callable[..., Path]
) -> None:
    values = {
        "sightsize": 1,
        "job": {"reference": hostile[:40]},
        "aperture": {"width": "7 in", "height": "9 in"},
        "paper": {"size": "12x8 in"},
        "frames": {hostile[:30]: {}},
        "prints": [{"source": "cox.jpg", "frame": hostile[:30]}],
    }
    text = tomli_w.dumps(values)
    try:
        (file,) = arrange(load_job(write_job(text)))
    except JobError as error:
        messages = {finding.message for finding in error.findings}
    else:
        assert_portable(file.name.removesuffix(".jpg"))
        assert (tmp_path / file.name).resolve().parent == tmp_path.resolve()
        assert hostile.isprintable()
        return
    (message,) = messages
    assert message.startswith(
        "the name" if hostile.isprintable() else "this text contains a control"
    )


@pytest.mark.parametrize(
    ("template", "values", "name"),
    [
        (
            "{reference}-{picture}-{frame}-{paper}",
            {"picture": "cox", "paper": "12x8in"},
            "cox-12x8in",
        ),
        ("{reference}-{picture}", {"reference": "TQ-026", "picture": "cox"}, "TQ-026-cox"),
        ("{picture}.{frame}", {"picture": "cox"}, "cox"),
        ("{number}_{picture}", {"number": "0007", "picture": "Mädchen"}, "0007_Madchen"),
        ("{{{picture}", {"picture": "cox"}, None),
    ],
)
def test_an_empty_field_takes_its_separator_away(
    template: str, values: dict[str, str], name: str | None
) -> None:
    if name is None:
        with pytest.raises(ValueError, match=r"contains '\{', which some systems reject"):
            fill_template(template, values)
    else:
        assert fill_template(template, values) == name


@pytest.mark.parametrize("device", sorted(DEVICES))
def test_devices_are_refused_with_and_without_more(device: str) -> None:
    for template in (device, device.upper(), f"{device}.{{picture}}"):
        with pytest.raises(ValueError, match="is reserved on some systems"):
            fill_template(template, {"picture": "cox"})
    assert fill_template(f"{device}-{{picture}}", {"picture": "cox"}) == f"{device}-cox"


@pytest.mark.parametrize("ending", ["jpg", "jpeg", "tif", "tiff", "TIF"])
def test_an_ending_is_left_to_the_format(ending: str) -> None:
    with pytest.raises(ValueError, match=r"has a file ending; delivery\.format adds it"):
        fill_template(f"{{picture}}.{ending}", {"picture": "cox"})
    assert fill_template(f"{{picture}}-{ending}", {"picture": "cox"}) == f"cox-{ending}"


def test_the_longest_name_fits_and_one_more_does_not() -> None:
    # 64 characters suit every system and most labs' forms: common practice, no source.
    assert fill_template("a" * 64, {}) == "a" * 64
    with pytest.raises(ValueError, match="has 65 characters; the limit is 64"):
        fill_template("a" * 65, {})


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("cox megaphone", "cox-megaphone"),
        ("Mädchen", "Madchen"),
        ("a/b\\c", "a-b-c"),
        ("--a--", "a"),
        ("🚣", ""),
        ("St. Mary's", "St.-Mary-s"),
    ],
)
def test_slugs(text: str, expected: str) -> None:
    assert slug(text) == expected


@pytest.mark.parametrize(
    ("size", "expected"),
    [
        ("12x10 in", "12x10in"),
        ("304.8 x 254 mm", "304.8x254mm"),
        ("na_govt-letter_8x10in", "8x10in"),
        ('12"x8"', "12inx8in"),
        ("12″x8″", "12inx8in"),
        ("8 1/2 x 11 in", "81-2x11in"),
        ("A4", "A4"),
    ],
)
def test_paper_in_a_name(size: str, expected: str) -> None:
    assert paper_slug(size) == expected


@given(st.lists(st.text("0123459aAz²٣.", max_size=6), max_size=6))
def test_natural_order_never_leaves_two_names_in_the_order_they_came(names: list[str]) -> None:
    backwards = names[::-1]
    assert sorted(names, key=natural_order) == sorted(backwards, key=natural_order)


@given(st.text("aB -.", max_size=4), st.text("aB -.", max_size=4), *[st.integers(0, 99_999)] * 2)
def test_natural_order_of_names_that_differ_in_a_number(
    before: str, after: str, one: int, other: int
) -> None:
    names = [f"{before}{number}{after}" for number in (one, other)]
    in_order = [f"{before}{number}{after}" for number in sorted((one, other))]
    assert sorted(names, key=natural_order) == in_order


def test_natural_order_counts() -> None:
    names = ["b.jpg", "a10.jpg", "10.jpg", "A2.jpg", "a1.jpg", "9.jpg", "09.jpg"]
    assert sorted(names, key=natural_order) == [
        "09.jpg",
        "9.jpg",
        "10.jpg",
        "a1.jpg",
        "A2.jpg",
        "a10.jpg",
        "b.jpg",
    ]
