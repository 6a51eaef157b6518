"""Nothing grows past what one reader takes in at a sitting, and nothing hides where a reader would not look."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

from tests.architecture import tree

FILE_LINES = 400
FUNCTION_LINES = 40
TEMPLATE_LINES = 120
DEVELOPERS_LINES = 250

type_of_function = (ast.FunctionDef, ast.AsyncFunctionDef)


def lines_of(path: Path) -> int:
    return len(path.read_text().splitlines())


def functions(path: Path) -> Iterator[tuple[str, int]]:
    """Each function of a file with its length in lines, the docstring left out."""
    for node in ast.walk(tree.parsed(path)):
        if not isinstance(node, type_of_function):
            continue
        first = node.body[0]
        is_docstring = ast.get_docstring(node, clean=False) is not None
        words = (first.end_lineno or 0) - first.lineno + 1 if is_docstring else 0
        yield node.name, (node.end_lineno or 0) - node.lineno + 1 - words


def test_files_are_short() -> None:
    kept = tree.files(".py", ".js", ".css", ".html", ".md", ".toml", ".yml")
    assert len(kept) > 50
    assert {tree.short(path): lines_of(path) for path in kept if lines_of(path) > FILE_LINES} == {}


def test_functions_are_short() -> None:
    long = [
        f"{tree.short(path)}: {name} has {length} lines"
        for path in tree.files(".py")
        for name, length in functions(path)
        if length > FUNCTION_LINES
    ]
    assert long == []


def test_templates_are_short() -> None:
    assert {tree.short(path): lines_of(path) for path in tree.files(".html") if lines_of(path) > TEMPLATE_LINES} == {}


def test_length_is_counted_without_the_docstring(tmp_path: Path) -> None:
    path = tmp_path / "three.py"
    path.write_text('def three():\n    """One.\n\n    Two.\n    """\n    x = 1\n    return x\n')
    assert list(functions(path)) == [("three", 3)]


def test_no_model_overrides_save_or_delete() -> None:
    found = [
        f"{tree.short(path)}: {owner.name}.{node.name}"
        for path in tree.files(".py")
        if "models" in path.parts or path.name == "models.py"
        for owner in ast.walk(tree.parsed(path))
        if isinstance(owner, ast.ClassDef)
        for node in owner.body
        if isinstance(node, ast.FunctionDef) and node.name in {"save", "delete", "__init__", "refresh_from_db"}
    ]
    assert found == []


def test_one_signal_only() -> None:
    """Guards return after every migrate; nothing else happens behind a reader's back."""
    connected = [
        f"{tree.short(path)}: {line.strip()}"
        for path in tree.files(".py")
        if path.parts[-2] != "architecture"
        for line in path.read_text().splitlines()
        if re.search(r"@receiver\b|\b(pre|post)_(save|delete|init|migrate)\.connect\(|m2m_changed", line)
    ]
    assert {place.split(":")[0] for place in connected} == {"journal/apps.py"}


def test_pages_do_not_scold() -> None:
    """A sentence says what was found and what to do; the two words below say neither."""
    found = [
        f"{tree.short(path)}: {text.strip()}"
        for path in tree.files(".html")
        for text in re.findall(r"[^<>{}%]+", re.sub(r"(?s){[%{#].*?[%}#]}|<[^>]*>", "<>", path.read_text()))
        if re.search(r"\b(invalid|error)\b", text, re.IGNORECASE)
    ]
    assert found == []


def test_developers_page_is_short() -> None:
    page = tree.ROOT / "DEVELOPERS.md"
    assert not page.exists() or lines_of(page) <= DEVELOPERS_LINES
