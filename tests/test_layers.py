"""The order of the apps, pure modules, short modules and short functions: kept by reading them."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
MAY_IMPORT = {
    "config": set[str](),
    "herd": {"config"},
    "feed": {"config", "herd"},
    "milk": {"config", "herd", "feed"},
}
PURE = (
    "config/saying.py",
    "herd/withdrawal.py",
    "herd/planned.py",
    "herd/tags.py",
    "herd/countries.py",
    "herd/before_calving.py",
    "herd/breeding.py",
    "herd/breeding_rates.py",
    "herd/udder.py",
    "herd/fresh_cows.py",
    "herd/tank_share.py",
    "herd/lactation.py",
    "feed/window.py",
    "feed/ration.py",
    "feed/appetite.py",
    "feed/cutting.py",
    "milk/limits.py",
    "milk/blend.py",
    "milk/shares.py",
    "milk/age.py",
    "milk/chance.py",
    "milk/shipping.py",
    "milk/order_lines.py",
    "milk/dispatch_data.py",
    "config/backup/rotation.py",
    "config/seals/lines.py",
    "milk/gs1.py",
)
FRAMEWORKS = {"django", "rest_framework", "celery", "psycopg", "pgtrigger"}
LONGEST_MODULE, LONGEST_FUNCTION = 400, 50


def modules(*folders: str) -> Iterator[Path]:
    """Every module of ours below the folders, migrations left out."""
    for folder in folders:
        for path in sorted((ROOT / folder).rglob("*.py")):
            if "migrations" not in path.parts:
                yield path


def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"), filename=str(path))


def imported(tree: ast.AST) -> Iterator[tuple[str, ast.stmt]]:
    """(top-level package, statement) of every import in a tree."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for name in node.names:
                yield name.name.partition(".")[0], node
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module.partition(".")[0], node


OURS = list(modules(*MAY_IMPORT))
ALL = [*OURS, *modules("tests")]


def named(paths: list[Path]) -> list[str]:
    return [str(path.relative_to(ROOT)) for path in paths]


@pytest.mark.parametrize("app", MAY_IMPORT)
def test_app_imports_only_what_stands_above_it(app: str) -> None:
    wrong = {
        f"{path.relative_to(ROOT)} imports {package}"
        for path in modules(app)
        for package, _ in imported(tree_of(path))
        if package in {*MAY_IMPORT, "tests"} and package != app and package not in MAY_IMPORT[app]
    }
    assert not wrong


@pytest.mark.parametrize("name", PURE)
def test_rule_module_is_pure(name: str) -> None:
    pure = {path.removesuffix(".py").replace("/", ".") for path in PURE}
    packages = {
        package
        for package, statement in imported(tree_of(ROOT / name))
        if getattr(statement, "module", None) not in pure
    }
    assert not packages & (FRAMEWORKS | set(MAY_IMPORT)), f"{name} imports a framework or an app"
    text = (ROOT / name).read_text(encoding="utf-8")
    assert ".now(" not in text, f"{name} reads a clock: the moment is an argument"
    assert ".today(" not in text, f"{name} reads a clock: the moment is an argument"


@pytest.mark.parametrize("path", ALL, ids=named(ALL))
def test_module_is_short_and_imports_at_the_top(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    tree = tree_of(path)
    assert text.count("\n") <= LONGEST_MODULE
    for node in ast.walk(tree):
        if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            continue
        assert node.end_lineno is not None
        lines = node.end_lineno - node.lineno + 1
        assert lines <= LONGEST_FUNCTION, f"{node.name} has {lines} lines"
        hidden = [statement.lineno for _, statement in imported(node)]
        assert not hidden, f"{node.name} imports at line {hidden}"


@pytest.mark.parametrize("path", OURS, ids=named(OURS))
def test_functions_are_annotated(path: Path) -> None:
    bare = [
        node.name
        for node in ast.walk(tree_of(path))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and node.returns is None
    ]
    assert not bare
