"""What is handed out: a wheel that works alone, one version, and the packages it names."""

import importlib.util
import json
import re
import subprocess
import sys
import tarfile
import tomllib
import zipfile
from importlib.metadata import distributions, version
from pathlib import Path
from typing import Any

import pytest
from packaging.requirements import Requirement

ROOT = Path(__file__).parents[1]
AUDIT = ROOT / ".ci" / "audit.py"
SETTINGS = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
PROJECT = SETTINGS["project"]
CONSTRAINTS = (ROOT / "constraints.txt").read_text(encoding="utf-8")
PINS = dict(re.findall(r"^(\S+)==([^\s;]+)", CONSTRAINTS, re.MULTILINE))


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The project's wheel, built with the build backend that is installed here."""
    pytest.importorskip("hatchling")
    folder = tmp_path_factory.mktemp("wheel")
    options = ["--no-deps", "--no-build-isolation", "--no-index", "--quiet"]
    command = [sys.executable, "-m", "pip", "wheel", *options, "-w", str(folder), str(ROOT)]
    subprocess.run(command, check=True, capture_output=True)
    (built,) = folder.glob("*.whl")
    return built


def test_the_wheel_holds_the_package_and_its_schemas_and_nothing_else(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as held:
        names = set(held.namelist())
        for schema in ("job", "docket"):
            packed = held.read(f"sightsize/schemas/{schema}.schema.json")
            assert packed == (ROOT / "schemas" / f"{schema}.schema.json").read_bytes()
    metadata = f"sightsize-{PROJECT['version']}.dist-info/"
    held_beside = {name for name in names if not name.startswith(metadata)}
    assert held_beside == modules() | schemas() | {"sightsize/py.typed"}
    assert {metadata + each for each in ("METADATA", "entry_points.txt")} <= names


def modules() -> set[str]:
    """The package's modules by their place in a wheel."""
    package = ROOT / "pipeline"
    return {path.relative_to(package).as_posix() for path in package.rglob("*.py")}


def schemas() -> set[str]:
    """The schemas by their place in a wheel."""
    return {f"sightsize/schemas/{path.name}" for path in (ROOT / "schemas").iterdir()}


def test_records_of_decisions_go_with_the_source_alone(wheel: Path, tmp_path: Path) -> None:
    kept = {path.relative_to(ROOT).as_posix() for path in (ROOT / "pipeline").rglob("*.md")}
    assert "pipeline/sightsize/plan/DECISIONS.md" in kept
    with zipfile.ZipFile(wheel) as held:
        assert not [name for name in held.namelist() if name.endswith(".md")]
    command = [sys.executable, "-m", "hatchling", "build", "-t", "sdist", "-d", str(tmp_path)]
    subprocess.run(command, check=True, capture_output=True, cwd=ROOT)
    (built,) = tmp_path.glob("*.tar.gz")
    with tarfile.open(built) as held_source:
        inside = {name.partition("/")[2] for name in held_source.getnames()}
    assert kept <= inside


def test_the_wheel_works_away_from_the_checkout(wheel: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(wheel) as held:
        held.extractall(tmp_path / "site")
    job = tmp_path / "job.toml"
    job.write_bytes((ROOT / "tests" / "jobs" / "valid" / "shortest.toml").read_bytes())
    program = (
        f"import sys; sys.path.insert(0, {str(tmp_path / 'site')!r})\n"
        "import sightsize.cli, sightsize.docket.store, sightsize.base.schemas\n"
        f"assert sightsize.__file__.startswith({str(tmp_path)!r}), sightsize.__file__\n"
        "assert sightsize.base.schemas.schema_file('docket')['title'] == 'sightsize docket'\n"
        f"sightsize.cli.app(['check', '--no-pictures', {str(job)!r}], standalone_mode=False)\n"
    )
    command = [sys.executable, "-I", "-c", program]
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "valid, 1 print" in done.stdout


def test_the_version_stands_in_one_place() -> None:
    assert version("sightsize") == PROJECT["version"]
    source = "".join(path.read_text(encoding="utf-8") for path in (ROOT / "pipeline").rglob("*.py"))
    assert PROJECT["version"] not in source
    assert f"## {PROJECT['version']}" in (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")


def asked_for() -> list[tuple[str, str]]:
    """Name and least version of each package that the project asks for."""
    extras = (*PROJECT["optional-dependencies"].values(), *SETTINGS["dependency-groups"].values())
    built_by = SETTINGS["build-system"]["requires"]
    wanted = [*PROJECT["dependencies"], *built_by, *(each for extra in extras for each in extra)]
    parts = [re.fullmatch(r"([A-Za-z0-9-]+)(?:\[\w+\])?(?:>=([\d.]+))?", each) for each in wanted]
    return [(part[1].lower(), part[2] or "0") for part in parts if part]


def numbers(text: str) -> tuple[int, ...]:
    return tuple(int(each) for each in re.findall(r"\d+", text))


def test_the_tested_versions_are_those_that_may_be_installed() -> None:
    wanted = dict(asked_for())
    assert len(wanted) > 15
    assert wanted.keys() <= PINS.keys()
    for name, least in wanted.items():
        assert numbers(PINS[name]) >= numbers(least), name


def test_every_tested_version_has_the_hashes_of_its_files() -> None:
    pin = r"[a-z0-9-]+==[0-9.]+(?:post\d+)?(?: ; [^\\\n]+)?"
    comments = r"(?: *#.*\n)*"
    package = rf"{pin}(?: \\\n    --hash=sha256:[0-9a-f]{{64}})+\n{comments}"
    assert re.fullmatch(rf"{comments}(?:{package})+", CONSTRAINTS)
    assert len(PINS) == len(re.findall("==", re.sub(" ;.*", "", CONSTRAINTS)))


def test_the_tested_versions_name_no_place() -> None:
    assert not re.search(r"://|\s/", CONSTRAINTS)


def test_what_a_tested_version_needs_is_pinned_too() -> None:
    """Of those tested versions that are installed here: a user's own may be newer."""
    names = {audit().plain(each.name): each for each in distributions()}
    needed = {
        audit().plain(need.name): name
        for name, each in names.items()
        if PINS.get(name) == each.version
        for need in map(Requirement, each.requires or [])
        if need.marker is None or need.marker.evaluate({"extra": ""})
    }
    assert {need: by for need, by in needed.items() if need not in PINS} == {}


def test_ci_tells_what_is_installed_in_another_version_or_unpinned() -> None:
    held = {"pip": "23.2", "scull": "1.0", "tern": "1.1", "wherry": "2"}
    assert audit().unlike(held, {"scull": "1.0", "tern": "1.0"}) == [
        "audit: tern 1.1 is installed, 1.0 is pinned",
        "audit: wherry 2 is installed, no version is pinned",
    ]
    assert "pytest" in audit().installed()


AUDITED = {"name": "tern", "version": "1.0", "vulns": []}
FAULTY = {**AUDITED, "vulns": [{"id": "PYSEC-0-1", "fix_versions": ["1.1", "2.0"]}]}
UNKNOWN = {"name": "wherry", "skip_reason": "not found"}


@pytest.mark.parametrize(
    ("packages", "accepted", "said", "left"),
    [
        ([AUDITED], {}, ["known faults looked up for 1 of 1 packages"], False),
        (
            [AUDITED, FAULTY],
            {"PYSEC-0-2": "another"},
            [
                "tern 1.0: PYSEC-0-1, mended in 1.1, 2.0",
                "known faults looked up for 2 of 2 packages",
            ],
            True,
        ),
        (
            [FAULTY],
            {"PYSEC-0-1": "never called"},
            [
                "tern 1.0: PYSEC-0-1, accepted: never called",
                "known faults looked up for 1 of 1 packages",
            ],
            False,
        ),
        (
            [AUDITED, UNKNOWN],
            {},
            [
                "known faults looked up for 1 of 2 packages: "
                "the registry tells nothing about the others"
            ],
            False,
        ),
    ],
)
def test_a_known_fault_fails_the_audit_unless_it_is_accepted(
    packages: list[dict[str, Any]], accepted: dict[str, str], said: list[str], left: bool
) -> None:
    # The form of pip-audit's own JSON (its _format/json.py).
    assert audit().judge(packages, accepted) == ([f"audit: {line}" for line in said], left)


def audit() -> Any:
    """CI's audit, which is no part of a package."""
    spec = importlib.util.spec_from_file_location("audit", AUDIT)
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize(
    ("answer", "left", "said"),
    [
        (f"print({json.dumps(json.dumps({'dependencies': [FAULTY]}))}); sys.exit(1)", True, "1.0:"),
        (f"print({json.dumps(json.dumps({'dependencies': [UNKNOWN]}))})", False, "for 0 of 1 "),
        ("sys.exit('requests.exceptions.ProxyError: refused')", False, "NOT looked up"),
        ("sys.exit('requirement wherry>=3 does not contain a hash')", True, "contain a hash"),
    ],
)
def test_an_audit_without_an_answer_says_so_and_any_other_failure_fails(
    answer: str, left: bool, said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "pip_audit.py").write_text(f"import sys\n{answer}\n", encoding="utf-8")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    lines, fails = audit().known_faults()
    assert fails == left
    assert said in lines[0]


def test_every_package_of_the_program_has_its_licence_written_down() -> None:
    table = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").partition("## Licences")[2]
    runtime = [re.split(r"[\[>]", each)[0] for each in PROJECT["dependencies"]]
    for name in (*runtime, "pyvips-binary", "rawpy"):
        assert re.search(rf"^\|[^|\n]*\b{re.escape(name)}\b[^|\n]*\|", table, re.MULTILINE), name
