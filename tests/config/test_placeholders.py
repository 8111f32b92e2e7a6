"""Every place left in a text is filled where the text is said: nobody meets a KeyError in words."""

import ast
import string
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.conf import settings

APPS = ("config", "herd", "feed", "milk")
SAYING = {"_", "_l", "N_", "ngettext", "pgettext"}


def modules() -> Iterator[tuple[str, ast.Module]]:
    """Every module of ours by its dotted name."""
    root = Path(settings.BASE_DIR)
    for app in APPS:
        for path in sorted((root / app).rglob("*.py")):
            if "migrations" not in path.parts:
                name = ".".join(path.relative_to(root).with_suffix("").parts)
                yield name.removesuffix(".__init__"), ast.parse(path.read_text())


def words_in(call: ast.AST) -> list[str]:
    """The literal texts of ``_("…")``, ``ngettext("…", "…", n)``."""
    if not isinstance(call, ast.Call) or not isinstance(call.func, ast.Name):
        return []
    if call.func.id not in SAYING:
        return []
    return [
        word.value
        for word in call.args
        if isinstance(word, ast.Constant) and isinstance(word.value, str)
    ]


def constants(tree: ast.Module) -> dict[str, str]:
    """The marked texts of a module by their names: ``HELD = N_("…")``, alone or in a tuple."""
    found = {}
    for assign in (one for one in tree.body if isinstance(one, ast.Assign)):
        target, value = assign.targets[0], assign.value
        pairs: list[tuple[Any, Any]] = [(target, value)]
        if isinstance(target, ast.Tuple) and isinstance(value, ast.Tuple):
            pairs = list(zip(target.elts, value.elts, strict=False))
        for name, text in pairs:
            if isinstance(name, ast.Name) and len(words := words_in(text)) == 1:
                found[name.id] = words[0]
    return found


def known_in(tree: ast.Module, of_all: dict[str, dict[str, str]], own: str) -> dict[str, str]:
    """The marked texts a module can name, its own and those it imports."""
    known = dict(of_all[own])
    for statement in (one for one in tree.body if isinstance(one, ast.ImportFrom)):
        there = of_all.get(statement.module or "", {})
        known |= {a.asname or a.name: there[a.name] for a in statement.names if a.name in there}
    return known


def places(text: str) -> set[str]:
    """The names of the places left in a text."""
    return {name.partition(".")[0] for _, name, _, _ in string.Formatter().parse(text) if name}


def texts_of(value: ast.AST, known: dict[str, str]) -> list[str]:
    """Every text said within an expression, as far as it can be read off."""
    found = []
    for call in (one for one in ast.walk(value) if isinstance(one, ast.Call)):
        if getattr(call.func, "id", "") in SAYING:
            named = [one.id for one in call.args if isinstance(one, ast.Name)]
            found += [*words_in(call), *(known[name] for name in named if name in known)]
    return found


def said_in(tree: ast.Module, known: dict[str, str]) -> Iterator[tuple[Any, str]]:
    """Every ``….format(…)`` with each text it is called on; by a name that holds it, too."""
    for scope in (one for one in ast.walk(tree) if isinstance(one, ast.FunctionDef)):
        held: dict[str, list[tuple[int, list[str]]]] = defaultdict(list)
        for assign in (one for one in ast.walk(scope) if isinstance(one, ast.Assign)):
            if isinstance(assign.targets[0], ast.Name):
                texts = [] if formats(assign.value) else texts_of(assign.value, known)
                held[assign.targets[0].id].append((assign.lineno, texts))
        formatted: list[Any] = [one for one in ast.walk(scope) if formats(one)]
        for call in formatted:
            told = call.func.value
            texts = texts_of(told, known)
            if isinstance(told, ast.Name):
                before = [one for one in held[told.id] if one[0] < told.lineno]
                texts = max(before, default=(0, []))[1]
            yield from ((call, text) for text in texts)


def formats(call: ast.AST) -> bool:
    """Whether it is ``….format(…)`` with places by name."""
    return (
        isinstance(call, ast.Call)
        and isinstance(call.func, ast.Attribute)
        and call.func.attr == "format"
        and not call.args
        and all(keyword.arg for keyword in call.keywords)
    )


def test_every_place_in_a_text_is_filled_where_it_is_said() -> None:
    trees = dict(modules())
    of_all = {name: constants(tree) for name, tree in trees.items()}
    looked_at, wrong = 0, []
    for name, tree in trees.items():
        for call, text in said_in(tree, known_in(tree, of_all, name)):
            looked_at += 1
            if missing := places(text) - {keyword.arg for keyword in call.keywords}:
                wrong.append(f"{name}:{call.lineno}: {sorted(missing)} in “{text}”")
    assert looked_at > 500
    assert not wrong, "\n".join(wrong)
