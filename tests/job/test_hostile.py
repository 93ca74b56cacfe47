"""Jobs made to hang or to break the program: each is answered in sentences, and soon."""

import os
import random
import re
from collections.abc import Callable
from pathlib import Path
from time import monotonic

import pytest

from sightsize.commands.shared import load
from sightsize.errors import JobError
from sightsize.job import bounds
from sightsize.job.bounds import MOST_BYTES, MOST_ITEMS, MOST_PRINTS
from sightsize.job.validate import MOST_FINDINGS
from sightsize.run.planner import plan_prints

JOBS = Path(__file__).parents[1] / "jobs"
SEEDS = sorted(JOBS.glob("*/*.toml"))
HEAD = 'sightsize = 1\naperture = { width = "7 in", height = "9 in" }\npaper.size = "12x8 in"\n'
PRINT = '[[prints]]\nsource = "cox.jpg"\n'
SECONDS = 60
"""Far more than any takes on a machine that is not busy."""


def answer(content: str | bytes, folder: Path) -> list[str]:
    """The sentences about a job; none when it is one. Anything but JobError is a fault."""
    job = folder / "job.toml"
    job.write_bytes(content if isinstance(content, bytes) else content.encode())
    started = monotonic()
    try:
        loaded, files = load(job)
    except JobError as error:
        findings = list(error.findings)
        assert findings
    else:
        findings = [each for planned in plan_prints(loaded, files) for each in planned.findings]
    assert monotonic() - started < SECONDS
    assert len(findings) <= MOST_FINDINGS + 1
    sentences = [each.sentence().replace(str(folder), "") for each in findings]
    for each in sentences:
        assert len(each) < 2500
        assert not re.search(r"Traceback|Error\b|set_int_max|<class|object at 0x", each), each
    return sentences


LITTLE = {
    "a number without digits": ("sightsize = 0x", "no digits after its 0x"),
    "hexadecimal": (f"sightsize = 0x{'f' * 5000}\n{PRINT}", "sightsize: this number is too"),
    "binary": (f"{HEAD}{PRINT}copies = 0b{'1' * 65}", "copies: this number is too large"),
    "decimal": (f"{HEAD}{PRINT}copies = {'9' * 5000}", ":6:1: refuse [toml] a number has too"),
    "just too large": (f"{HEAD}{PRINT}copies = {2**63}", "copies: this number is too large"),
    "as large as may be": (f"{HEAD}{PRINT}copies = {2**63 - 1}", "the range is 1 to 9999"),
    "in a list": (f"{HEAD}tone.curve = [[0x{'f' * 9999}, 1]]", "tone.curve[1][1]: this number"),
    "in a length": (f"{HEAD}aperture.overlap = '{'9' * 5000} mm'", "already set on line 2"),
    "in a long length": (HEAD.replace("7 in", "9" * 900 + " in") + PRINT, "is too long; write"),
    "in a size": (HEAD.replace("12x8", "9" * 5000 + "x8") + PRINT, "this text has 5005 char"),
    "as a key": (f"{HEAD}{'9' * 5000} = 1\n{PRINT}", "a name has 5000 characters; the limit"),
    "a key of many parts": (f"{HEAD}{'a.' * 900}a = 1\n{PRINT}", ":4:1: refuse [toml] this key"),
    "a table of many parts": (f"{HEAD}{PRINT}[{'a . ' * 9000}a]\n", "more than 100 parts"),
    "quoted parts": (HEAD + PRINT + "[" + '"a".' * 9000 + "a]", "more than 100 parts"),
    "a key of some parts": (f"{HEAD}{'a.' * 40}a = 1\n{PRINT}", "nested 17 deep"),
    "nested lists": (f"{HEAD}x = {'[' * 300}{']' * 300}\n{PRINT}", "nested 17 deep"),
    "nested tables": (f"{HEAD}x = {'{a=' * 90}1{'}' * 90}\n{PRINT}", "nested 17 deep"),
    "very nested lists": (f"{HEAD}x = {'[' * 10**5}\n{PRINT}", "nested too deeply"),
    "very nested tables": (f"{HEAD}x = {'{a=' * 10**5}\n{PRINT}", "nested too deeply"),
    "spaces in a length": (HEAD.replace("7 in", "7" + " " * 900 + "!") + PRINT, "is too long"),
    "spaces in a size": (HEAD.replace("12x8", " " * 450 + "x" * 450), "'x' does not start"),
    "a long text": (f"{HEAD}job.title = '{'a' * 10**6}'\n{PRINT}", "has 1000000 characters"),
    "a long list": (f"{HEAD}checks.accept = [{'1,' * 5000}]\n", "has 5000 entries; the limit"),
    "a long list of anything": (
        HEAD + PRINT + "ladder.exposure = [" + '1, "a", [1], {a = 1}, ' * 500 + "]",
        "found 2000 entries, but this takes 1 to 15",
    ),
    "a number far too small": (f"{HEAD}tone.grade = 1e-999999\n{PRINT}", "there is no file"),
    "a number far too large": (f"{HEAD}tone.grade = 1e999999\n{PRINT}", "found inf"),
    "times": (f"{HEAD}tone.curve = [07:32:00, 1979-05-27]\n{PRINT}", "found 07:32:00"),
    "half a character": (f'{HEAD}{PRINT}frame = "\\ud800"', "not a Unicode scalar value"),
    "no character": (f"{HEAD}{PRINT}frame = '\0'", "contains a control character"),
    "two marks at the start": (f"\ufeff\ufeff{HEAD}{PRINT}", ":1:1: refuse [toml]"),
    "lines of an old Macintosh": ((HEAD + PRINT).replace("\n", "\r"), "this line has more"),
    "nothing": ("", "sightsize = 1"),
    "a key of nothing": (f'{HEAD}{PRINT}"" = 1', 'prints[1]."": unknown key'),
    "a key of two lines": (f'{HEAD}{PRINT}"a\\n.b" = 1', r'prints[1]."a\n.b": unknown key'),
}


@pytest.mark.parametrize("name", LITTLE)
def test_what_asks_too_much_is_told_so(name: str, tmp_path: Path) -> None:
    text, said = LITTLE[name]
    assert said in "\n".join(answer(text, tmp_path))


def keys(count: int) -> str:
    return "".join(f"key{number} = 1\n" for number in range(count))


def test_of_many_mistakes_the_first_are_told(tmp_path: Path) -> None:
    sentences = answer(HEAD + PRINT + keys(300), tmp_path)
    assert len(sentences) == MOST_FINDINGS + 1
    assert [f"prints[1].key{number}" in each for number, each in enumerate(sentences)][-2:] == [
        True,
        False,
    ]
    assert "250 more mistakes from here on; mend the others first." in sentences[-1]
    assert sentences[-1].startswith("/job.toml:56:")


def test_as_many_mistakes_as_are_told_are_told(tmp_path: Path) -> None:
    sentences = answer(HEAD + PRINT + keys(MOST_FINDINGS), tmp_path)
    assert len(sentences) == MOST_FINDINGS
    assert "more mistake" not in sentences[-1]


def test_mistakes_between_keys_are_no_more(tmp_path: Path) -> None:
    entries = "".join(f'[[prints]]\nsource = "c.jpg"\nframe = "f{n}"\n' for n in range(500))
    assert len(answer(HEAD + entries, tmp_path)) == MOST_FINDINGS


def test_prints_have_an_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sightsize.job.load.MOST_PRINTS", 20)
    steps = ", ".join(f"0.{number}" for number in range(10, 21))
    text = f"{HEAD}{PRINT}{PRINT}ladder.exposure = [{steps}]\n{PRINT}ladder.exposure = [{steps}]\n"
    assert len(re.findall("comes to more than", "\n".join(answer(text, tmp_path)))) == 1


@pytest.mark.slow
@pytest.mark.parametrize(
    "text",
    [
        HEAD + PRINT + keys(300_000),
        HEAD + "[[prints]]\n" * 300_000,
        HEAD + f"prints = [{'1,' * 1_000_000}]",
        HEAD + f"prints = [{'{},' * (MOST_PRINTS - 1)}]",
        HEAD + "".join(f"[frames.f{n}]\nx = 1\n" for n in range(100_000)) + PRINT,
        HEAD + "".join(f'[[prints]]\nframe = "f{n}"\n' for n in range(MOST_PRINTS)),
        HEAD + PRINT + "a = '" + "=' = " * 10**6,
        HEAD + PRINT + "# " + ". " * 10**6,
        HEAD + PRINT + "x = " + '"' * 10**6,
        HEAD + PRINT + "x." * 10**6,
        HEAD + PRINT + "x" * 10**6,
        HEAD + PRINT + "é = { " + "é = 1, " * 10**5 + "}",
        HEAD + f"[[prints]]\nsource = 'a.jpg'\nx = [{'[0],' * (MOST_ITEMS - 1)}]\n" * 300,
        "[" * 10**6,
        "{" * 10**6,
        "\n" * (MOST_BYTES - 1),
        "a" * (MOST_BYTES + 1),
        "\x00" * MOST_BYTES,
    ],
    ids=range(18),
)
def test_large_files_are_answered_soon(text: str, tmp_path: Path) -> None:
    assert answer(text, tmp_path)


def test_no_more_of_a_file_is_read_than_a_job_has(tmp_path: Path) -> None:
    (sentence,) = answer(b"#" * (MOST_BYTES + 1), tmp_path)
    assert sentence == (
        "/job.toml: refuse [toml] cannot read the file: it has more than 8 MiB; name a job file "
        "that can be read."
    )


def refused(path: Path) -> str:
    with pytest.raises(JobError) as caught:
        load(path)
    (finding,) = caught.value.findings
    return finding.sentence()


def test_what_is_no_plain_file_is_not_waited_for(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe.toml"
    os.mkfifo(pipe)
    assert "it is not a plain file" in refused(pipe)
    assert "it is not a plain file" in refused(Path("/dev/zero"))
    assert "cannot read the file" in refused(Path("/proc/self/mem"))
    assert "no such file" in refused(tmp_path / "nothing.toml")
    assert "name a job file" in refused(tmp_path / ("x" * 300))
    assert "name a job file" in refused(Path("a\0b"))


def test_a_file_of_the_system_without_end_is_left(tmp_path: Path) -> None:
    assert refused(Path("/proc/self/maps"))
    (tmp_path / "loop.toml").symlink_to("loop.toml")
    assert "cannot read the file" in refused(tmp_path / "loop.toml")


def test_reading_has_an_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bounds, "_LEAST_SECONDS", 0.2)
    monkeypatch.setattr(bounds, "_SECONDS_A_MIB", 0)
    entries = "".join(f'[[prints]]\nsource = "c{n}.jpg"\n' for n in range(5000))
    (sentence,) = answer(HEAD + entries, tmp_path)
    assert "took more than 0 s; split it." in sentence


# Jobs that were right, changed at random.

TOKENS = [
    *("= ", "[", "]", "[[", "]]", "{", "}", ",", ".", '"', "'", '"""', "#", "\\", "\n", "\r\n"),
    *("\0", "\x1b[2J", "\u202e", "\ufeff", "é", "🚣", "\ud7ff", "\u2028", "\x85", "\t", "−", "½"),
    *("true", "nan", "-inf", "1e999", "0x", "0xff", "1_000", "1979-05-27", "07:32:00", "-0.0"),
    *("1979-05-27T07:32:00Z", "9" * 30, "1" * 4301, "[]", "{}", "[[]]", '""', "[1, 'a', {}]"),
    *('"3 mm"', '"1/0 in"', '"-1 mm"', '"12x10 in"', '"auto"', '"**/*.jpg"', '"/dev/zero"'),
    *('"../.."', '"~"', '"["', '"{picture!r}"', '"{0.x}"', '"a\\u0000b"', '"crop-loss"', "a.b.c"),
    *("prints", "frames", "pictures", "[[prints]]", "[prints]", "[frames.x]", "sightsize"),
]


def _replace_token(text: str, chosen: random.Random) -> str:
    tokens = list(re.finditer(r'"[^"\n]*"|[\w.-]+|[\[\]{}=,]', text))
    each = chosen.choice(tokens) if tokens else re.search("", text)
    assert each
    return text[: each.start()] + chosen.choice(TOKENS) + text[each.end() :]


def _insert_token(text: str, chosen: random.Random) -> str:
    at = chosen.randint(0, len(text))
    return text[:at] + chosen.choice(TOKENS) + text[at:]


def _drop_characters(text: str, chosen: random.Random) -> str:
    at = chosen.randint(0, len(text))
    return text[:at] + text[at + chosen.randint(1, 9) :]


def _move_line(text: str, chosen: random.Random) -> str:
    lines = text.split("\n")
    line = chosen.choice(lines)
    if chosen.random() < 0.5:
        lines.remove(line)
    lines.insert(chosen.randint(0, len(lines)), line)
    return "\n".join(lines)


def _swap_values(text: str, chosen: random.Random) -> str:
    lines = text.split("\n")
    pairs = [number for number, line in enumerate(lines) if "=" in line]
    if len(pairs) > 1:
        one, other = chosen.sample(pairs, 2)
        key, value = lines[one].split("=", 1)[0], lines[other].split("=", 1)[1]
        lines[one] = f"{key}={value}"
    return "\n".join(lines)


def _nest(text: str, chosen: random.Random) -> str:
    count = chosen.choice([1, 2, 20, 400])
    return re.sub(r"= (.*)", lambda each: f"= {'[' * count}{each[1]}{']' * count}", text, count=1)


def _repeat_line(text: str, chosen: random.Random) -> str:
    lines = text.split("\n")
    at = chosen.randrange(len(lines))
    return "\n".join([*lines[:at], *[lines[at]] * chosen.choice([2, 60]), *lines[at:]])


CHANGES: list[Callable[[str, random.Random], str]] = [
    _replace_token,
    _replace_token,
    _insert_token,
    _drop_characters,
    _move_line,
    _swap_values,
    _nest,
    _repeat_line,
]


def changed(number: int) -> str:
    """A job that stands in tests/jobs with one to four changes, by its number."""
    chosen = random.Random(number)
    text = chosen.choice(SEEDS).read_text(encoding="utf-8")
    for _ in range(chosen.choice([1, 1, 2, 4])):
        text = chosen.choice(CHANGES)(text, chosen)
    return text


def test_some_changed_jobs_are_taken_or_answered(tmp_path: Path) -> None:
    for number in range(150):
        answer(changed(number), tmp_path)


@pytest.mark.slow
def test_a_thousand_changed_jobs_are_taken_or_answered(tmp_path: Path) -> None:
    answers = [answer(changed(number), tmp_path) for number in range(1000)]
    assert sum(bool(each) for each in answers) > 500
