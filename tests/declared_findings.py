"""Which findings a module can give, read from its source: so that a new one cannot be forgotten."""

from __future__ import annotations

import ast
from collections.abc import Iterator, Mapping
from pathlib import Path

from django.conf import settings

MAKERS = {"Finding", "stop", "look"}
"""What makes a finding; its first argument is the slug."""


def declared(module: str, expanded: Mapping[str, frozenset[str]]) -> frozenset[str]:
    """The slugs of a module's findings.

    Args:
        module: its path from the root of the project.
        expanded: what each slug that is put together stands for, by its expression as it is written.

    Raises:
        KeyError: an expression is not among those expanded.
    """
    tree = ast.parse((Path(settings.BASE_DIR) / module).read_text())
    calls = (node for node in ast.walk(tree) if isinstance(node, ast.Call) and _name(node.func) in MAKERS)
    return frozenset(slug for call in calls for slug in _texts(call.args[0], tree, expanded))


def _name(node: ast.expr) -> str:
    return node.id if isinstance(node, ast.Name) else ""


def _texts(node: ast.expr, tree: ast.Module, expanded: Mapping[str, frozenset[str]]) -> Iterator[str]:
    match node:
        case ast.Constant(value=str(text)):
            yield text
        case ast.IfExp(body=one, orelse=other):
            yield from _texts(one, tree, expanded)
            yield from _texts(other, tree, expanded)
        case ast.Name(id=name):
            for value in _assigned(name, tree):
                yield from _texts(value, tree, expanded)
        case _:
            yield from expanded[ast.unparse(node)]


def _assigned(name: str, tree: ast.Module) -> list[ast.expr]:
    found = [
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Assign) and name in [_name(target) for target in node.targets]
    ]
    if not found:
        raise KeyError(name)
    return found
