"""Imports point one way: tools -> pipelines -> reader, and inside the reader no stage knows another.

The checker reads the source with ast, so an import inside a function, a relative one and one by name count as well.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent

LAYERS = ("reader", "pipelines", "tools", "tests")
"""Each may import itself and what stands before it."""

SHARED = frozenset({"results", "errors", "geometry", "settings", "weights"})
"""Modules of the reader that every stage may import; they import no stage."""

JOINING = "reader.answer"
"""The one module of the reader that calls every stage."""

WITHOUT_PICTURES = frozenset({"dating", "sort", "locations"})
"""Stages that work on text and numbers."""

IMAGE_LIBRARIES = frozenset({"cv2", "skimage", "PIL", "scipy", "tifffile", "imageio", "pillow_heif"})


def module_files(root: Path) -> dict[str, Path]:
    """Return every module of the four layers by its dotted name."""
    files = (file for layer in LAYERS for file in sorted((root / layer).rglob("*.py")))
    return {module_name(file.relative_to(root)): file for file in files}


def module_name(file: Path) -> str:
    parts = file.with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imported_names(name: str, file: Path) -> Iterator[tuple[int, str]]:
    """Yield line number and dotted name of everything that a module imports; `from a import b` gives a.b."""
    package = name.split(".") if file.name == "__init__.py" else name.split(".")[:-1]
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            above = package[: len(package) - node.level + 1] if node.level else []
            start = ".".join([*above, *([node.module] if node.module else [])])
            yield from ((node.lineno, f"{start}.{alias.name}".removesuffix(".*")) for alias in node.names)
        elif isinstance(node, ast.Call) and called_name(node) in {"import_module", "__import__"} and node.args:
            target = node.args[0]
            if isinstance(target, ast.Constant) and isinstance(target.value, str):
                dots = len(target.value) - len(target.value.lstrip("."))
                above = package[: len(package) - dots + 1] if dots else []
                yield node.lineno, ".".join([*above, target.value.lstrip(".")])


def called_name(node: ast.Call) -> str:
    return node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")


def nearest_module(name: str, modules: dict[str, Path]) -> str:
    """Return the module that an imported name is or lies in, or the name where it is none of ours."""
    parts = name.split(".")
    longest_first = (".".join(parts[:count]) for count in range(len(parts), 0, -1))
    return next((candidate for candidate in longest_first if candidate in modules), name)


def stage_of(module: str, stages: frozenset[str]) -> str | None:
    """Return the stage that a module of the reader belongs to."""
    parts = module.split(".")
    return parts[1] if parts[0] == "reader" and len(parts) > 1 and parts[1] in stages else None


def find_breaches(root: Path) -> list[str]:
    """Return every breach of the import rules, one line each."""
    modules = module_files(root)
    stages = frozenset(folder.name for folder in (root / "reader").iterdir() if any(folder.glob("*.py")))
    breaches = []
    for module, file in modules.items():
        reached: set[str] = set()
        for line, name in imported_names(module, file):
            target = nearest_module(name, modules)
            stage = stage_of(target, stages)
            reached |= {stage} if stage else set()
            breaches += [f"{module}, line {line}: {why}" for why in judge(module, target, stages)]
        if module.startswith("reader") and stage_of(module, stages) is None and module != JOINING and len(reached) > 1:
            breaches.append(f"{module}: imports several stages ({', '.join(sorted(reached))})")
    return breaches


def judge(module: str, target: str, stages: frozenset[str]) -> Iterator[str]:
    """Yield what one import of a module breaks."""
    layer, other = module.partition(".")[0], target.partition(".")[0]
    if other in LAYERS and LAYERS.index(other) > LAYERS.index(layer):
        yield f"{layer} imports {target}"
    stage, other_stage = stage_of(module, stages), stage_of(target, stages)
    if stage is not None:
        if other_stage is not None and other_stage != stage:
            yield f"stage {stage} imports stage {other_stage}"
        elif other == "reader" and other_stage is None and target != "reader" and target.split(".")[1] not in SHARED:
            yield f"stage {stage} imports {target}"
        if stage in WITHOUT_PICTURES and other in IMAGE_LIBRARIES:
            yield f"stage {stage} imports the image library {other}"
    elif layer == "reader" and module.removeprefix("reader.") in SHARED and other_stage is not None:
        yield f"shared module imports stage {other_stage}"


def find_cycle(root: Path) -> list[str]:
    """Return the modules of one import cycle, or nothing."""
    modules = module_files(root)
    graph = {
        module: {nearest_module(name, modules) for _, name in imported_names(module, file)} & modules.keys() - {module}
        for module, file in modules.items()
    }
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        return list(error.args[1])
    return []


def test_imports_point_one_way() -> None:
    assert find_breaches(ROOT) == []


def test_no_import_cycle() -> None:
    assert find_cycle(ROOT) == []


def test_the_checker_sees_the_project() -> None:
    modules = module_files(ROOT)
    joined = {
        nearest_module(name, modules).split(".")[1]
        for _, name in imported_names(JOINING, modules[JOINING])
        if name.startswith("reader.")
    }
    assert {"photo", "enhance", "locate", "recognize", "sort", "dating"} <= joined
    assert {"reader.results", "pipelines.command", "tools.start", "tests.test_layers"} <= modules.keys()


CLEAN = {
    "reader/__init__.py": "",
    "reader/results.py": "import numpy",
    "reader/settings.py": "from reader import results",
    "reader/answer.py": "from reader.photo.load import load\nfrom reader.sort import choose\nimport reader.dating",
    "reader/photo/__init__.py": "",
    "reader/photo/load.py": "import cv2\nfrom reader import results, settings\nfrom . import kinds\n",
    "reader/photo/kinds.py": "def f():\n    from ..results import Photo\n    import scipy.ndimage",
    "reader/sort/__init__.py": "",
    "reader/sort/choose.py": "import numpy\nfrom reader.sort.rules import rule",
    "reader/sort/rules.py": "import re",
    "reader/dating/__init__.py": "",
    "pipelines/command.py": "from reader.answer import read_photo\nfrom importlib import import_module\n"
    "import_module('pipelines.batch')",
    "pipelines/batch.py": "import reader.photo.load",
    "tools/check.py": "from pipelines import command\nimport tools.start",
    "tools/start.py": "import sys",
}


def write_tree(root: Path, files: dict[str, str]) -> Path:
    for name, text in files.items():
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_text(text, encoding="utf-8")
    return root


def test_a_clean_tree_passes(tmp_path: Path) -> None:
    root = write_tree(tmp_path, CLEAN)
    assert find_breaches(root) == []
    assert find_cycle(root) == []


@pytest.mark.parametrize(
    ("file", "text", "expected"),
    [
        ("reader/sort/rules.py", "from reader.photo import load", "stage sort imports stage photo"),
        ("reader/sort/rules.py", "import re, reader.photo.load", "stage sort imports stage photo"),
        ("reader/sort/rules.py", "from reader import photo", "stage sort imports stage photo"),
        ("reader/sort/rules.py", "from ..photo.load import load", "stage sort imports stage photo"),
        ("reader/sort/rules.py", "from .. import photo", "stage sort imports stage photo"),
        ("reader/sort/__init__.py", "from ..photo import *", "stage sort imports stage photo"),
        ("reader/sort/rules.py", "def f():\n    import reader.photo.load as x", "stage sort imports stage photo"),
        ("reader/sort/rules.py", "import importlib\nimportlib.import_module('reader.photo')", "imports stage photo"),
        ("reader/sort/rules.py", "__import__('reader.photo.load')", "stage sort imports stage photo"),
        ("reader/sort/rules.py", "from reader.answer import read_photo", "stage sort imports reader.answer"),
        ("reader/sort/rules.py", "from importlib import import_module\nimport_module('..photo')", "stage photo"),
        ("reader/sort/rules.py", "from pipelines.command import main", "reader imports pipelines.command"),
        ("reader/results.py", "def f():\n    import tools.start", "reader imports tools.start"),
        ("reader/photo/load.py", "if False:\n    from tests import anything", "reader imports tests"),
        ("pipelines/batch.py", "from tools import start", "pipelines imports tools.start"),
        ("pipelines/batch.py", "try:\n    import tools\nexcept ImportError:\n    pass", "pipelines imports tools"),
        ("reader/many.py", "import reader.photo.load\nfrom . import sort", "imports several stages (photo, sort)"),
        ("reader/__init__.py", "from reader import photo, sort", "imports several stages (photo, sort)"),
        ("reader/geometry.py", "from reader.photo import load", "shared module imports stage photo"),
        ("reader/sort/rules.py", "from PIL.Image import open", "image library PIL"),
        ("reader/dating/tables.py", "def f():\n    import cv2", "image library cv2"),
        ("reader/locations/guide.py", "from skimage import draw", "image library skimage"),
        ("reader/dating/tables.py", "import scipy.stats as s", "image library scipy"),
    ],
)
def test_a_planted_breach_is_found(tmp_path: Path, file: str, text: str, expected: str) -> None:
    breaches = find_breaches(write_tree(tmp_path, {**CLEAN, file: text}))
    assert len([breach for breach in breaches if expected in breach]) == 1
    assert all(breach.startswith(module_name(Path(file))) for breach in breaches)


@pytest.mark.parametrize(
    "planted",
    [
        {"reader/sort/rules.py": "from reader.sort import choose"},
        {"reader/sort/rules.py": "def f():\n    from .choose import g"},
        {"reader/results.py": "import reader.settings"},
        {
            "pipelines/a.py": "from pipelines import b",
            "pipelines/b.py": "from . import c",
            "pipelines/c.py": "import pipelines.a",
        },
    ],
)
def test_a_planted_cycle_is_found(tmp_path: Path, planted: dict[str, str]) -> None:
    cycle = find_cycle(write_tree(tmp_path, {**CLEAN, **planted}))
    assert cycle[0] == cycle[-1]
    assert {module_name(Path(file)) for file in planted} <= set(cycle)
