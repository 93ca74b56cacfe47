"""What imports what: no cycle, and nothing of a check without pictures loads libvips."""

import ast
import subprocess
import sys
from collections.abc import Iterator
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

import sightsize

PACKAGE = Path(sightsize.__file__).parent
PURE = ("cli", "plan", "load", "job", "units", "checks.run", "arrange")


def module_name(path: Path) -> str:
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


MODULES = {module_name(path): path for path in sorted(PACKAGE.rglob("*.py"))}


def runtime_statements(body: list[ast.stmt]) -> Iterator[ast.stmt]:
    """Yield the statements that run on import; those for type checkers do not."""
    for statement in body:
        if isinstance(statement, ast.If) and ast.unparse(statement.test).endswith("TYPE_CHECKING"):
            yield from runtime_statements(statement.orelse)
        else:
            yield statement


def imported_modules(source: str) -> set[str]:
    """Return the package's modules that a module imports at its own level."""
    found = set()
    for statement in runtime_statements(ast.parse(source).body):
        if isinstance(statement, ast.Import):
            found |= {alias.name for alias in statement.names}
        elif isinstance(statement, ast.ImportFrom) and statement.module:
            names = {f"{statement.module}.{alias.name}" for alias in statement.names}
            found |= {name if name in MODULES else statement.module for name in names}
    return found & set(MODULES)


def test_module_level_imports_have_no_cycle() -> None:
    graph = {name: imported_modules(path.read_text("utf-8")) for name, path in MODULES.items()}
    assert graph["sightsize.load"] >= {"sightsize.validate", "sightsize.document"}
    order = list(TopologicalSorter(graph).static_order())
    assert order.index("sightsize.units") < order.index("sightsize.plan")


def test_the_import_reader_sees_what_it_should() -> None:
    source = (
        "import sightsize.units\nfrom sightsize import names\nfrom sightsize.job import Job\n"
        "if TYPE_CHECKING:\n    from sightsize.cli import app\n"
        "def later():\n    import sightsize.batch\n"
    )
    assert imported_modules(source) == {"sightsize.units", "sightsize.names", "sightsize.job"}


@pytest.mark.parametrize("module", PURE)
def test_pure_modules_do_not_load_libvips(module: str) -> None:
    program = (
        f"import sys, sightsize.{module}\n"
        "heavy = {'pyvips', '_libvips', 'numpy'} & set(sys.modules)\n"
        "sys.exit(', '.join(heavy) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (0, "")


def test_a_check_without_pictures_does_not_load_libvips() -> None:
    job = Path(__file__).parent / "jobs" / "valid" / "shortest.toml"
    program = (
        "import sys\nfrom sightsize.cli import app\n"
        f"app(['check', '--no-pictures', {str(job)!r}], standalone_mode=False)\n"
        "sys.exit('pyvips' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (0, "")
    assert "valid, 1 print" in done.stdout
