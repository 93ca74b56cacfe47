"""Modules: what imports what, in one direction; no libvips before it is needed; none too long."""

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

import sightsize

PACKAGE = Path(sightsize.__file__).parent
PURE = (
    "cli",
    "job.load",
    "model.settings",
    "base.units",
    "plan.picture",
    "plan.arrange",
    "checks.run",
    "docket.store",
)

ARROWS: dict[str, set[str]] = {
    "errors": set(),
    "base": {"errors"},
    "model": {"base"},
    "numbers": {"errors", "model"},
    "job": {"errors", "base", "model", "numbers"},
    "plan": {"errors", "base", "model", "numbers"},
    "checks": {"base", "model", "numbers", "job", "plan"},
    "imaging.raster": set(),
    "imaging.colour": {"base", "model", "numbers", "imaging.raster"},
    "imaging.source": {"errors", "base", "model", "numbers", "imaging.raster", "imaging.colour"},
    "imaging.retouch": {"errors", "model", "numbers", "plan", "imaging.raster", "imaging.colour"},
    "imaging.stages": {"base", "model", "numbers", "plan", "imaging.raster", "imaging.colour"},
    "imaging.analysis": {
        *("errors", "base", "model", "numbers", "plan"),
        *("imaging.raster", "imaging.colour", "imaging.source"),
        *("imaging.retouch", "imaging.stages"),
    },
    "imaging": {
        *("model", "plan", "imaging.raster", "imaging.colour", "imaging.source"),
        *("imaging.retouch", "imaging.stages", "imaging.analysis"),
    },
    "delivery": {
        *("errors", "base", "model", "plan", "checks"),
        *("imaging", "imaging.analysis", "imaging.colour", "imaging.raster", "imaging.source"),
    },
    "docket": {"errors", "base", "model", "plan", "imaging.colour", "delivery"},
    "run": {"errors", "base", "model", "plan", "checks", "imaging.source", "delivery", "docket"},
    "archive": {
        *("errors", "base", "model", "job", "plan", "checks", "docket", "run"),
        "imaging.source",  # the one opener of picture files
    },
    "report": {"errors", "base", "model", "job", "plan", "checks", "run"},
    "commands": {
        *("errors", "base", "model", "job", "plan", "checks", "delivery", "docket", "run"),
        *("archive", "report"),
    },
    "ending": {"errors", "base"},
    "cli": {"errors", "base", "ending", "commands"},
}
"""Which folders each folder may import from; a folder comes after all that it needs."""

MOST_LINES = 300
LONGER: dict[str, str] = {}
"""Modules that may be longer, each with its reason."""


def module_name(path: Path) -> str:
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


MODULES = {module_name(path): path for path in sorted(PACKAGE.rglob("*.py"))}


def folder_of(module: str) -> str:
    """The room a module stands in: a folder, one of imaging's, or a module at the top."""
    parts = module.split(".")[1:]
    if parts[:1] == ["imaging"] and len(parts) > 2:
        return ".".join(parts[:2])
    return parts[0] if parts else ""


def runtime_statements(tree: ast.AST) -> Iterator[ast.AST]:
    """Yield what runs at some time; what only type checkers read does not."""
    for child in ast.iter_child_nodes(tree):
        if isinstance(child, ast.If) and ast.unparse(child.test).endswith("TYPE_CHECKING"):
            continue
        yield child
        yield from runtime_statements(child)


def imported_modules(source: str, *, anywhere: bool = False) -> set[str]:
    """Return the package's modules that a module imports at its own level, or anywhere in it."""
    tree = ast.parse(source)
    found = set()
    for statement in runtime_statements(tree) if anywhere else tree.body:
        if isinstance(statement, ast.Import):
            found |= {alias.name for alias in statement.names}
        elif isinstance(statement, ast.ImportFrom) and statement.module:
            names = {f"{statement.module}.{alias.name}" for alias in statement.names}
            found |= {name if name in MODULES else statement.module for name in names}
    return found & set(MODULES)


def test_module_level_imports_have_no_cycle() -> None:
    graph = {name: imported_modules(path.read_text("utf-8")) for name, path in MODULES.items()}
    assert graph["sightsize.job.load"] >= {"sightsize.job.validate", "sightsize.job.toml_file"}
    order = list(TopologicalSorter(graph).static_order())
    assert order.index("sightsize.base.units") < order.index("sightsize.plan.picture")


def test_folders_import_only_from_those_in_the_table() -> None:
    found: dict[str, set[str]] = {folder: set() for folder in ARROWS}
    for name, path in MODULES.items():
        folder = folder_of(name)
        if folder in ("", "__main__"):  # which only loads cli, late
            continue
        there = {
            folder_of(each) for each in imported_modules(path.read_text("utf-8"), anywhere=True)
        }
        found[folder] |= there - {folder, ""}
    assert found == ARROWS


def test_the_table_of_folders_points_one_way() -> None:
    order = list(TopologicalSorter(ARROWS).static_order())
    assert order[0] == "errors" or order.index("errors") < order.index("base")
    assert order[-1] == "cli"


def test_no_module_is_too_long_to_be_read() -> None:
    lines = {name: len(path.read_text("utf-8").splitlines()) for name, path in MODULES.items()}
    assert {name for name, count in lines.items() if count > MOST_LINES} == LONGER.keys()


def test_the_import_reader_sees_what_it_should() -> None:
    source = (
        "import sightsize.base.units\nfrom sightsize.plan import crop\n"
        "from sightsize.model.settings import Job\n"
        "if TYPE_CHECKING:\n    from sightsize.cli import app\n"
        "def later():\n    import sightsize.run.batch\n"
    )
    own_level = {"sightsize.base.units", "sightsize.plan.crop", "sightsize.model.settings"}
    assert imported_modules(source) == own_level
    assert imported_modules(source, anywhere=True) == {*own_level, "sightsize.run.batch"}


OPENERS = re.compile(r"new_from_(file|source|buffer)|[a-z]+load(_source|_buffer)?|mmap|mapfile")
"""What opens a picture file through libvips, or maps one; its own profiles are no files."""


def openers_in(source: str) -> set[str]:
    """Names and texts in a module that open or map files."""
    words = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import | ast.ImportFrom):
            words |= {alias.name for alias in node.names} | {getattr(node, "module", None) or ""}
        elif isinstance(node, ast.Attribute | ast.Name | ast.Constant):
            words.add(str(getattr(node, "attr", getattr(node, "id", getattr(node, "value", "")))))
    return {word for word in words if OPENERS.fullmatch(word)}


def test_picture_files_are_opened_in_one_way() -> None:
    """By its name, or mapped into memory, a stranger's file could end the process."""
    assert {name for name, path in MODULES.items() if openers_in(path.read_text("utf-8"))} == set()


@pytest.mark.parametrize(
    "line",
    [
        'pyvips.Image.new_from_file("a.jpg")', "image = Image.new_from_buffer(held, '')",
        "from mmap import mmap", "import mmap", "pyvips.Image.tiffload(name, page=1)",
        'pyvips.Operation.call("svgload_source", source)', "load = pyvips.Image.new_from_source",
    ],
)  # fmt: skip
def test_the_reader_of_openers_sees_what_it_should(line: str) -> None:
    assert openers_in(line)


@pytest.mark.parametrize("module", PURE)
def test_pure_modules_do_not_load_libvips(module: str) -> None:
    program = (
        f"import sys, sightsize.{module}\n"
        "heavy = {'pyvips', '_libvips', 'numpy', 'scipy'} & set(sys.modules)\n"
        "sys.exit(', '.join(heavy) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (0, "")


def test_a_check_without_pictures_does_not_load_libvips() -> None:
    job = Path(__file__).parent / "jobs" / "valid" / "shortest.toml"
    program = (
        "import sys\nfrom sightsize.cli import app\n"
        f"app(['check', '--no-pictures', {str(job)!r}], standalone_mode=False)\n"
        "sys.exit(bool({'pyvips', 'numpy', 'scipy'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (0, "")
    assert "valid, 1 print" in done.stdout


NAMED = [
    *(path for path in PACKAGE.rglob("__init__.py") if path.parent != PACKAGE),
    *PACKAGE.rglob("DECISIONS.md"),
]


@pytest.mark.parametrize("page", NAMED, ids=lambda page: str(page.relative_to(PACKAGE)))
def test_modules_that_a_folder_names_are_there(page: Path) -> None:
    """A folder's guide says what to read; names that have moved since would mislead."""
    text = page.read_text(encoding="utf-8")
    if page.suffix == ".py":
        found = re.findall(r"``([a-z_]+)``", ast.get_docstring(ast.parse(text)) or "")
    else:
        found = re.findall(r"`((?:[a-z_]+/)*[a-z_]+)\.py`", text)
    for name in found:
        places = (page.parent, page.parent.parent, PACKAGE, PACKAGE.parents[1])
        assert any((place / f"{name}.py").is_file() for place in places), name
