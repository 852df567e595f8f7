"""What lies in the repository: its top level, its README files, its version, and nothing of a developer's machine."""

from __future__ import annotations

import functools
import os
import re
import subprocess
import tomllib
from collections import Counter
from importlib import metadata
from pathlib import Path, PurePosixPath
from urllib.parse import urlsplit

import pytest

ROOT = Path(__file__).resolve().parent.parent

TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "reader",
    "pipelines",
    "tests",
    "sample_images",
    "tools",
}

# The patterns are put together from pieces, so that this file does not hold what it forbids.
REGISTRY_HOSTS = [
    ".".join(parts)
    for parts in (
        ("pypi", "org"),
        ("python" + "hosted", "org"),
        ("piwheels", "org"),
        ("anaconda", "org"),
        ("npmjs", "org"),
        ("npmjs", "com"),
        ("crates", "io"),
        ("ghcr", "io"),
        ("docker", "io"),
        ("pkg", "dev"),
        ("deb", "debian", "org"),
        ("archive", "ubuntu", "com"),
    )
]
MACHINE_PATHS = [
    r"(?<![\w.~-])/(?:home|Users)/" + r"[A-Za-z]\w*",
    r"(?<![\w.~-])/" + r"root/[\w.]",
    r"(?<![\w.~-])/" + r"work/(?:main|shared|venv)\b",
    r"\b[A-Za-z]:" + r"\\+Users\\",
    r"file:" + r"///",
]
INDEX_SETTINGS = ("PIP_INDEX_URL", "PIP_EXTRA_INDEX_URL", "UV_INDEX_URL", "UV_DEFAULT_INDEX", "UV_INDEX")


@functools.cache
def tracked_files() -> tuple[str, ...]:
    """Return what git knows, with slashes, relative to the checkout."""
    try:
        words = ["git", "-C", str(ROOT), "ls-files", "-z"]
        listing = subprocess.run(words, capture_output=True, check=True, text=True, encoding="utf-8").stdout
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("needs git and a checkout made by git")
    return tuple(name for name in listing.split("\0") if name)


def forbidden() -> re.Pattern[bytes]:
    """Return the pattern of everything that no tracked file may hold."""
    urls = " ".join(os.environ.get(name, "") for name in INDEX_SETTINGS).split()
    hosts = [*REGISTRY_HOSTS, *filter(None, (urlsplit(url).hostname for url in urls))]
    here = [re.escape(str(ROOT))] if len(ROOT.parts) > 2 else []
    return re.compile("|".join([*map(re.escape, hosts), *MACHINE_PATHS, *here]).encode(), re.IGNORECASE)


def needs_readme(files: tuple[str, ...]) -> set[str]:
    """Return the folders that hold more than one file of Python code, and the gallery."""
    code = [PurePosixPath(name) for name in files if name.endswith(".py")]
    counts = Counter(str(file.parent) for file in code if file.parts[0] in {"reader", "pipelines", "tools"})
    return {folder for folder, count in counts.items() if count > 1} | {"sample_images"}


def test_top_level_holds_what_it_should() -> None:
    tops = {name.split("/", maxsplit=1)[0] for name in tracked_files()}
    assert {top for top in tops if not top.startswith(".")} == TOP_LEVEL


def test_no_file_names_a_registry_or_a_path_of_a_machine() -> None:
    pattern = forbidden()
    found = {name: pattern.findall((ROOT / name).read_bytes()) for name in tracked_files() if (ROOT / name).is_file()}
    assert {name: hits for name, hits in found.items() if hits} == {}


@pytest.mark.parametrize(
    "text",
    [
        "--index-url https://" + "pypi" + ".org/simple",
        "see /" + "home/someone/photos",
        "'/" + "Users/Someone'",
        "cd /" + "root/.cache",
        "C:" + "\\Users\\Someone",
        "rakelight @ file:" + "///srv/copy",
        str(ROOT / "reader"),
    ],
)
def test_the_pattern_finds_planted_ones(text: str) -> None:
    assert forbidden().search(text.encode())


@pytest.mark.parametrize(
    "text", ["photos/home/page.html", "see network/rooted", "frame/" + "work/in/progress", "an /" + "rootless"]
)
def test_the_pattern_lets_others_pass(text: str) -> None:
    assert not forbidden().search(text.encode())


def test_every_folder_of_code_and_the_gallery_has_a_readme() -> None:
    files = tracked_files()
    assert sorted(folder for folder in needs_readme(files) if f"{folder}/README.md" not in files) == []


def test_which_folders_need_a_readme() -> None:
    files = ("reader/a/__init__.py", "reader/a/one.py", "reader/b/one.py", "tests/a.py", "tests/b.py", "tools/x.py")
    assert needs_readme(files) == {"reader/a", "sample_images"}


def test_the_version_is_the_installed_one() -> None:
    try:
        installed = metadata.version("rakelight")
    except metadata.PackageNotFoundError:
        pytest.skip("rakelight is not installed; python3 tools/check.py installs it")
    assert tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["version"] == installed
