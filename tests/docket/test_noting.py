"""Prints noted one by one, and the docket written when a run ends, in whatever way it ends."""

import json
import os
import tomllib
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
import tomli_w
from hypothesis import given
from hypothesis import strategies as st

from docket_records import Record, whole_record
from sightsize.docket import docket_file, hidden_file
from sightsize.docket.store import Docket
from sightsize.errors import DocketError, SightsizeError

MEASURED = {"on": "2026-05-04", "width": "190.2 mm"}


def record(name: str, **facts: Any) -> Record:
    """A record without what a person adds, nor masters."""
    kept = whole_record(f"{name}.jpg", **facts)
    return {key: each for key, each in kept.items() if key not in ("measured", "masters")}


def noted(folder: Path, *names: str) -> Docket:
    """Prints noted by a run that ends like the power."""
    docket = Docket(folder / "docket.toml")
    for name in names:
        docket.note(record(name))
    return docket


def folded(folder: Path, *names: str) -> None:
    with noted(folder, *names):
        pass


def names_of(folder: Path) -> list[str]:
    return [name.removesuffix(".jpg") for name in Docket(folder / "docket.toml").records]


def in_toml(folder: Path) -> list[str]:
    values = tomllib.loads((folder / "docket.toml").read_text(encoding="utf-8"))
    return [each["file"].removesuffix(".jpg") for each in values["prints"]]


def without_mirror(folder: Path) -> dict[str, Record]:
    contents = docket_file.parse(folder / "docket.toml", (folder / "docket.toml").read_text())
    assert contents.faults == ()
    return contents.records


def rewrite(folder: Path, change: Callable[[str], str]) -> None:
    path = folder / "docket.toml"
    path.write_text(change(path.read_text(encoding="utf-8")), encoding="utf-8")


# A print is noted.


def test_a_print_is_noted_before_the_docket_is_written(tmp_path: Path) -> None:
    noted(tmp_path, "a", "b")
    assert sorted(each.name for each in tmp_path.iterdir()) == [".docket.json"]
    assert names_of(tmp_path) == ["a", "b"]


def test_a_note_costs_the_same_in_a_long_docket(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folded(tmp_path, *(f"p{at}" for at in range(60)))
    docket = Docket(tmp_path / "docket.toml")

    def forbidden(*_: object) -> None:
        raise AssertionError("the whole docket was read or written")

    for module in ("docket.store", "docket.hidden_file"):
        monkeypatch.setattr(f"sightsize.{module}.write_whole", forbidden)
    for module in ("docket.docket_file", "docket.hidden_file"):
        monkeypatch.setattr(f"sightsize.{module}.read_plain", forbidden)
    hidden = tmp_path / ".docket.json"
    sizes = [hidden.stat().st_size]
    for at in range(3):
        docket.note(record(f"q{at}"))
        sizes.append(hidden.stat().st_size)
    steps = {after - before for before, after in pairwise(sizes)}
    assert steps == {len('\n{"noted": }') + len(json.dumps(record("q0")))}


def test_a_note_that_was_cut_off_spoils_no_other(tmp_path: Path) -> None:
    noted(tmp_path, "a", "d")
    hidden = tmp_path / ".docket.json"
    whole = hidden.read_bytes()
    last = whole.rindex(b"\n")
    for cut in range(last, len(whole)):
        hidden.write_bytes(whole[:cut])
        assert names_of(tmp_path) == ["a"]
    for cut in (last, last + 1, last + 20, len(whole) - 1):
        hidden.write_bytes(whole[:cut])
        noted(tmp_path, "b", "c")
        assert names_of(tmp_path) == ["a", "b", "c"]


def test_a_hidden_file_that_is_gone_is_begun_anew(tmp_path: Path) -> None:
    folded(tmp_path, "a")
    docket = noted(tmp_path, "b")
    (tmp_path / ".docket.json").unlink()
    docket.note(record("c"))
    assert names_of(tmp_path) == ["a", "b", "c"]


@pytest.mark.parametrize("text", ["", "[2, 1, 2, []]", '{"docket": 1}', '{"do'])
def test_a_hidden_file_of_another_kind_is_begun_anew(tmp_path: Path, text: str) -> None:
    folded(tmp_path, "a")
    (tmp_path / ".docket.json").write_text(text)
    noted(tmp_path, "b")
    assert names_of(tmp_path) == ["a", "b"]


def test_a_record_that_could_not_be_read_again_is_not_noted(tmp_path: Path) -> None:
    docket = noted(tmp_path, "a")
    spoilt = record("b")
    spoilt["sources"][0]["path"] = "a\nb.jpg"
    with pytest.raises(DocketError, match=r"^sources\[1\]\.path: found 'a\\nb\.jpg'; it takes"):
        docket.note(spoilt)
    assert names_of(tmp_path) == ["a"]


# The docket is written.


def test_the_docket_is_written_in_the_order_of_the_prints(tmp_path: Path) -> None:
    folded(tmp_path, "a", "b", "c")
    assert in_toml(tmp_path) == ["a", "b", "c"]
    folded(tmp_path, "b", "d")
    assert in_toml(tmp_path) == ["a", "c", "b", "d"]
    assert without_mirror(tmp_path) == Docket(tmp_path / "docket.toml").records
    # As if it had been written at once, comments and all.
    blocks = map(docket_file.block_of, without_mirror(tmp_path).values())
    assert (tmp_path / "docket.toml").read_text() == docket_file.docket_text(blocks).text


@pytest.mark.parametrize("error", [KeyboardInterrupt, ValueError, SystemExit])
def test_a_run_that_is_broken_off_writes_the_docket(
    tmp_path: Path, error: type[BaseException]
) -> None:
    def broken_off() -> None:
        with Docket(tmp_path / "docket.toml") as docket:
            docket.note(record("a"))
            raise error

    with pytest.raises(error):
        broken_off()
    assert in_toml(tmp_path) == ["a"]


def test_a_run_that_was_killed_is_written_down_by_the_next(tmp_path: Path) -> None:
    folded(tmp_path, "a")
    noted(tmp_path, "b")
    assert (in_toml(tmp_path), names_of(tmp_path)) == (["a"], ["a", "b"])
    with Docket(tmp_path / "docket.toml"):
        pass
    assert in_toml(tmp_path) == ["a", "b"]
    assert (tmp_path / ".docket.json").read_text().count('{"noted"') == 0


def test_a_run_that_dies_between_docket_and_mirror(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folded(tmp_path, "a")
    with monkeypatch.context() as patch:
        patch.setattr(hidden_file, "write_hidden", lambda *_: None)
        folded(tmp_path, "b", "a")
    assert in_toml(tmp_path) == ["b", "a"]
    assert names_of(tmp_path) == ["b", "a"]
    folded(tmp_path)
    assert names_of(tmp_path) == in_toml(tmp_path) == ["b", "a"]


def test_a_run_that_notes_nothing_writes_nothing(tmp_path: Path) -> None:
    folded(tmp_path)
    assert list(tmp_path.iterdir()) == []
    folded(tmp_path, "a")
    before = {path: path.stat() for path in tmp_path.iterdir()}
    folded(tmp_path)
    assert {path: path.stat() for path in tmp_path.iterdir()} == before


def test_a_docket_edited_by_hand_gets_a_mirror_again(tmp_path: Path) -> None:
    folded(tmp_path, "a")
    rewrite(tmp_path, lambda text: text + "[prints.measured]\nremark = 'dry'\n")
    hidden = tmp_path / ".docket.json"
    assert "dry" not in hidden.read_text()
    folded(tmp_path)
    assert "dry" in hidden.read_text()
    assert (tmp_path / "docket.toml").read_text().endswith("remark = 'dry'\n")


def test_a_mirror_that_lacks_a_print_is_not_read(tmp_path: Path) -> None:
    folded(tmp_path, "a", "b")
    hidden = tmp_path / ".docket.json"
    lines = hidden.read_text().split("\n")
    for spoilt in (lines[:2], [*lines, lines[1]], [lines[0], lines[1], lines[1]]):
        hidden.write_text("\n".join(spoilt))
        assert names_of(tmp_path) == ["a", "b"]


def test_what_stands_is_written_as_it_stands(tmp_path: Path) -> None:
    folded(tmp_path, "a", "b")
    by_hand = "\n[prints.measured]   # by daylight\nwidth = '190.2 mm'\n"
    rewrite(tmp_path, lambda text: text + by_hand.rstrip())
    folded(tmp_path, "c")
    assert by_hand in (tmp_path / "docket.toml").read_text()
    assert without_mirror(tmp_path) == Docket(tmp_path / "docket.toml").records
    assert names_of(tmp_path) == ["a", "b", "c"]


@pytest.mark.parametrize(
    "change",
    [
        lambda text: text.replace("\n", "\r\n"),
        lambda text: text.replace("[[prints]]", "[[ prints ]]", 1),
        lambda text: (
            f"{text}\n[prints.measured]\nremark = '''\n[[prints]]\nfile = \"b.jpg\"\n'''\n"
        ),
        lambda text: text.replace('file = "a.jpg"', 'file  =  "a.jpg"'),
        lambda text: text.replace("docket = 2", "docket=2"),
        lambda text: "\ufeff" + text,
        lambda text: text.rstrip("\n"),
        lambda text: text.replace("\n\n[[prints]]", "\n[[prints]]"),
    ],
)
def test_a_docket_written_by_hand_in_another_way_loses_nothing(
    tmp_path: Path, change: Callable[[str], str]
) -> None:
    folded(tmp_path, "a", "b")
    with (tmp_path / "docket.toml").open("r+", encoding="utf-8", newline="") as file:
        text = change(file.read())
        file.seek(0)
        file.write(text)
        file.truncate()
    before = Docket(tmp_path / "docket.toml").records
    assert list(before) == ["a.jpg", "b.jpg"]
    folded(tmp_path, "c")
    after = without_mirror(tmp_path)
    assert after == Docket(tmp_path / "docket.toml").records
    assert {name: after[name] for name in before} == before
    assert list(after) == ["a.jpg", "b.jpg", "c.jpg"]


# What people do meanwhile.


def test_what_is_measured_while_prints_are_made_is_kept(tmp_path: Path) -> None:
    folded(tmp_path, "a", "b")
    with Docket(tmp_path / "docket.toml") as docket:
        docket.note(record("a"))
        values = tomllib.loads((tmp_path / "docket.toml").read_text())
        for each in values["prints"]:
            each["measured"] = MEASURED
        (tmp_path / "docket.toml").write_text(tomli_w.dumps(values))
        docket.note(record("c"))
    records = without_mirror(tmp_path)
    assert list(records) == ["b.jpg", "a.jpg", "c.jpg"]
    assert [each.get("measured") for each in records.values()] == [MEASURED, MEASURED, None]
    assert docket.records == records


def test_a_docket_broken_by_hand_meanwhile_is_not_written_over(tmp_path: Path) -> None:
    folded(tmp_path, "a")
    path = tmp_path / "docket.toml"
    whole = path.read_text()
    with pytest.raises(SightsizeError) as told, noted(tmp_path, "b"):
        path.write_text(f"{whole}measured\n")
    assert told.value.exit_code == 1
    line = whole.count("\n") + 1
    assert str(told.value) == (
        f"{path}:{line}:9: found 'measured', not TOML; fix it, or move it away; what was made "
        "stays noted in .docket.json, and the next run writes it down"
    )
    assert path.read_text() == f"{whole}measured\n"
    path.write_text(whole)
    assert names_of(tmp_path) == ["a", "b"]
    folded(tmp_path)
    assert in_toml(tmp_path) == ["a", "b"]


def test_a_docket_that_is_gone_meanwhile_is_written_again(tmp_path: Path) -> None:
    folded(tmp_path, "a")
    with noted(tmp_path, "b"):
        (tmp_path / "docket.toml").unlink()
    assert in_toml(tmp_path) == ["a", "b"]


def test_a_docket_moved_away_before_is_begun_anew(tmp_path: Path) -> None:
    folded(tmp_path, "a")
    (tmp_path / "docket.toml").unlink()
    assert names_of(tmp_path) == []
    folded(tmp_path, "b")
    assert in_toml(tmp_path) == ["b"]


def test_a_full_disk_loses_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folded(tmp_path, "a")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr("sightsize.docket.store.write_whole", full)
        with pytest.raises(SightsizeError) as told, noted(tmp_path, "b"):
            pass
    assert told.value.exit_code == 1
    assert str(told.value) == (
        f"{tmp_path / 'docket.toml'} cannot be written (no space left on device); what "
        "was made stays noted in .docket.json, and the next run writes it down"
    )
    assert (in_toml(tmp_path), names_of(tmp_path)) == (["a"], ["a", "b"])
    folded(tmp_path)
    assert in_toml(tmp_path) == ["a", "b"]


def test_a_docket_too_long_to_be_read_is_not_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folded(tmp_path, "a")
    limit = (tmp_path / "docket.toml").stat().st_size + 100
    monkeypatch.setattr(docket_file, "MOST_BYTES", limit)
    with pytest.raises(SightsizeError, match="too many prints"), noted(tmp_path, "b"):
        pass
    assert in_toml(tmp_path) == ["a"]


def test_fifty_thousand_prints_fit() -> None:
    assert 50_000 * len(docket_file.block_of(whole_record())) < docket_file.MOST_BYTES


# Links and other things.


@pytest.mark.parametrize("name", ["docket.toml", ".docket.json"])
@pytest.mark.parametrize("kind", ["symbolic", "hard", "nowhere", "pipe"])
def test_a_link_is_refused_and_never_written_through(tmp_path: Path, name: str, kind: str) -> None:
    folder, elsewhere = tmp_path / "prints", tmp_path / "elsewhere"
    folder.mkdir()
    folded(folder, "a")
    path = folder / name
    path.replace(elsewhere)
    before = elsewhere.read_bytes()
    match kind:
        case "symbolic":
            path.symlink_to(elsewhere)
        case "hard":
            path.hardlink_to(elsewhere)
        case "nowhere":
            path.symlink_to(tmp_path / "nowhere")
        case "pipe":
            os.mkfifo(path)
    with pytest.raises(DocketError) as told, Docket(path.with_name("docket.toml")) as docket:
        docket.note(record("b"))
    if kind != "pipe":
        assert str(told.value) == f"{path} is a link to another file; remove the link"
    assert elsewhere.read_bytes() == before
    assert not (tmp_path / "nowhere").exists()


@pytest.mark.parametrize("name", ["docket.toml", ".docket.json"])
def test_a_link_that_comes_while_prints_are_made(tmp_path: Path, name: str) -> None:
    folder, elsewhere = tmp_path / "prints", tmp_path / "elsewhere"
    folder.mkdir()
    folded(folder, "a")
    docket = noted(folder, "b")
    (folder / name).replace(elsewhere)
    (folder / name).symlink_to(elsewhere)
    before = elsewhere.read_bytes()
    if name == ".docket.json":
        with pytest.raises(OSError, match=r"\.docket\.json"):
            docket.note(record("c"))
    with pytest.raises(SightsizeError, match="is a link to another file"):
        docket.close()
    assert elsewhere.read_bytes() == before


def test_a_docket_that_may_be_a_link_is_read(tmp_path: Path) -> None:
    (tmp_path / "first").mkdir()
    folded(tmp_path / "first", "a")
    (tmp_path / "docket.toml").symlink_to(tmp_path / "first" / "docket.toml")
    assert names_of(tmp_path) == ["a"]


# Any course of things.


@given(
    st.lists(
        st.tuples(st.sampled_from("abcd"), st.sampled_from(["note", "close", "die", "edit", "cut"]))
    )
)
def test_nothing_is_lost_in_any_course(
    tmp_path_factory: pytest.TempPathFactory, course: list[tuple[str, str]]
) -> None:
    folder = tmp_path_factory.mktemp("course")
    docket, wanted = Docket(folder / "docket.toml"), dict[str, int]()
    for at, (name, step) in enumerate(course):
        if step == "note":
            docket.note(record(name, seconds=at))
            wanted.pop(name, None)
            wanted[name] = at
            continue
        if step == "close":
            docket.close()
            assert list(wanted) == (in_toml(folder) if wanted else [])
        elif step == "edit" and (folder / "docket.toml").exists():
            rewrite(folder, lambda text: f"{text}# {len(text)}\n")
        elif step == "cut" and (folder / ".docket.json").exists():
            with (folder / ".docket.json").open("a") as file:
                file.write('\n{"noted": {"file": "d.jp')
        docket = Docket(folder / "docket.toml")
    for found in (docket, Docket(folder / "docket.toml")):
        assert [(name[0], each["seconds"]) for name, each in found.records.items()] == [
            *wanted.items()
        ]
