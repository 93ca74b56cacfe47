"""What is handed out: a wheel that works alone, one version, and the packages it names."""

import re
import subprocess
import sys
import tarfile
import tomllib
import zipfile
from importlib.metadata import version
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
PINS = dict(
    line.split("==")
    for line in (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines()
    if not line.startswith("#")
)


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
    extras = PROJECT["optional-dependencies"].values()
    wanted = [*PROJECT["dependencies"], *(each for extra in extras for each in extra)]
    parts = [re.fullmatch(r"([A-Za-z0-9-]+)(?:\[\w+\])?(?:>=([\d.]+))?", each) for each in wanted]
    return [(part[1].lower(), part[2] or "0") for part in parts if part]


def numbers(text: str) -> tuple[int, ...]:
    return tuple(int(each) for each in re.findall(r"\d+", text))


def test_the_tested_versions_are_those_that_may_be_installed() -> None:
    wanted = dict(asked_for())
    assert len(wanted) > 15
    assert wanted.keys() - PINS.keys() <= {"pre-commit"}
    for name, least in wanted.items():
        if name in PINS:
            assert numbers(PINS[name]) >= numbers(least), name


def test_the_tested_versions_name_no_place() -> None:
    assert all(re.fullmatch(r"[a-z0-9-]+", name) for name in PINS)
    assert all(re.fullmatch(r"[0-9.]+", pin) for pin in PINS.values())


def test_every_package_of_the_program_has_its_licence_written_down() -> None:
    table = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").partition("## Licences")[2]
    runtime = [re.split(r"[\[>]", each)[0] for each in PROJECT["dependencies"]]
    for name in (*runtime, "pyvips-binary", "rawpy"):
        assert re.search(rf"^\|[^|\n]*\b{re.escape(name)}\b[^|\n]*\|", table, re.MULTILINE), name
