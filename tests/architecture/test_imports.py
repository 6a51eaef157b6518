"""Who may import whom; the layers themselves stand in pyproject.toml."""

import functools

import grimp
from importlinter.cli import lint_imports

from tests.architecture import tree

# What no pure module may reach, by whatever way round: the framework, the queue, the database, the network.
WORLDLY = {"django", "rest_framework", "celery", "kombu", "redis", "psycopg", "weasyprint", "drf_spectacular"}


@functools.cache
def graph() -> grimp.ImportGraph:
    return grimp.build_graph(*tree.APPS, include_external_packages=True, cache_dir=None)


def test_layers_are_kept() -> None:
    assert lint_imports(config_filename=str(tree.ROOT / "pyproject.toml"), no_cache=True) == 0


def test_pure_modules_know_nothing_of_the_world() -> None:
    pure = tree.pure_modules()
    assert {"journal.findings", "instruments.identity", "reprocessing.lethality"} <= set(pure)
    ways = [
        graph().find_shortest_chain(module, other)
        for module in pure
        for other in sorted(graph().find_upstream_modules(module) & WORLDLY)
    ]
    assert ways == []
