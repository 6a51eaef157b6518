"""What one can do, one can do from a page and through the API."""

import ast

import pytest
from django.urls import reverse

from config.urls import urlpatterns
from journal.actions import ACTIONS
from tests.architecture import tree

assert urlpatterns  # the doors register every action


def actions_of(page: ast.Module) -> set[str]:
    """The actions that a module takes from an app's actions, or reaches through them."""
    found: set[str] = set()
    modules: dict[str, str] = {}  # name in this page -> app
    for node in ast.walk(page):
        if isinstance(node, ast.ImportFrom):
            app, *inside = str(node.module).split(".")
            taken = [alias for alias in node.names if "actions" in (*inside, alias.name)]
            modules |= {alias.asname or alias.name: app for alias in taken}
            found |= {f"{app}.{alias.name}" for alias in taken}
        elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id in modules:
            found.add(f"{modules[node.value.id]}.{node.attr}")
    return found


def actions_of_pages() -> set[str]:
    """Every action that a view, a page's table of verbs or a mode of the scan station performs."""
    doors = {"views", "verbs", "station"}
    pages = [path for path in tree.files(".py") if {path.stem, path.parent.name} & doors and not tree.is_test(path)]
    return {action for path in pages for action in actions_of(tree.parsed(path))}


@pytest.mark.parametrize("action", sorted(ACTIONS))
def test_action_has_a_route_of_the_api(action: str) -> None:
    assert reverse("api-" + action.replace(".", "-")).startswith("/api/")


def test_action_has_a_page() -> None:
    assert set(ACTIONS) - actions_of_pages() == set()


def test_actions_are_found_by_what_is_imported() -> None:
    page = ast.parse("from lists import actions as a\nfrom trays.actions import store\na.issue()\nother.free()")
    assert {"lists.issue", "trays.store"} <= actions_of(page)
    assert "lists.free" not in actions_of(page)
