"""The house keeps its own rules: floors, sizes, documentation, the cost of a start."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from gaugelog import errors, plugins

TOP = Path(__file__).resolve().parents[2]
SOURCES = sorted((TOP / "gaugelog").rglob("*.py"))
LONGEST = 500
HEAVY = ("numpy", "pandas", "scipy", "plotly", "bleak", "serial", "rich.table", "jinja2", "sqlite3", "asyncio")


def test_imports_point_down_and_pure_rooms_stay_pure() -> None:
    from importlinter.cli import lint_imports

    assert lint_imports(config_filename=str(TOP / "pyproject.toml")) == 0


@pytest.mark.parametrize("path", [*SOURCES, *sorted((TOP / "tests").rglob("*.py"))], ids=lambda path: path.name)
def test_no_file_outgrows_its_room(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= LONGEST


def _public(tree: ast.AST, name: str) -> Iterator[tuple[str, ast.AST]]:
    for node in getattr(tree, "body", []):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            yield f"{name}.{node.name}", node
            if isinstance(node, ast.ClassDef):
                yield from _public(node, f"{name}.{node.name}")


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(TOP)))
def test_every_public_name_is_documented(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert ast.get_docstring(tree), "the file's head says what belongs here"
    bare = [name for name, node in _public(tree, path.stem) if not ast.get_docstring(node)]  # type: ignore[arg-type]
    assert bare == []


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys; from gaugelog.cli.main import main; main(['--help']);"
        f"print([name for name in {HEAVY!r} if name in sys.modules], file=sys.stderr)"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stderr.strip() == "[]"


def test_one_event_loop_is_started_in_one_place() -> None:
    starts = [path for path in SOURCES if "asyncio.run(" in path.read_text(encoding="utf-8")]
    assert [path.parent.name for path in starts] == ["cli"]


def _leaves(root: type[errors.GaugelogError]) -> Iterator[type[errors.GaugelogError]]:
    for child in root.__subclasses__():
        if not child.__name__.startswith("_"):
            yield child
        yield from _leaves(child)


def test_every_error_has_a_slug_of_its_own_and_a_heading_in_the_docs() -> None:
    slugs = [leaf.slug for leaf in _leaves(errors.GaugelogError)]
    assert len(slugs) == len(set(slugs))
    headings = re.findall(r"^## (\S+)$", (TOP / "docs" / "errors.md").read_text(encoding="utf-8"), re.MULTILINE)
    assert sorted(headings) == sorted(set(slugs) - {"faulty-file", "unknown-name"})


@pytest.mark.parametrize("group", sorted(plugins.BUILT_IN))
def test_every_name_in_the_plugin_table_resolves(group: str) -> None:
    for name in plugins.providers(group):
        assert callable(plugins.load(group, name))


def test_pages_link_only_to_what_is_there() -> None:
    pages = [*TOP.glob("*.md"), *(TOP / "docs").glob("*.md"), *(TOP / "recordings").glob("*.md")]
    links = [
        (page, target)
        for page in pages
        for target in re.findall(r"\]\(([^)#\s]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8"))
        if "://" not in target
    ]
    assert links
    broken = [f"{page.name}: {target}" for page, target in links if not (page.parent / target).exists()]
    assert broken == []
