"""Run the tests, preparing what is missing: `python3 tools/check.py [PYTEST OPTIONS]`.

With `--all` the linter, the formatter's check and the type checker run before the tests; .ci/run does this. Same
environment and same rules as start.py. The exit status is 0 only when every check passed.
"""

import subprocess
import sys
from typing import TYPE_CHECKING, Sequence  # noqa: UP035 (as in start.py)

if TYPE_CHECKING:
    from tools import start
else:
    import start  # lies beside this script, which is where Python looks first

TEST_EXTRAS = ("heic", "test")
ALL_EXTRAS = ("heic", "test", "develop")
STATIC_CHECKS = (("ruff", "check"), ("ruff", "format", "--check"), ("mypy",))


def split_words(words: "Sequence[str]") -> "tuple[bool, list[str]]":
    """Return whether `--all` was among the words, and the words for pytest."""
    return "--all" in words, [word for word in words if word != "--all"]


def run_module(environment: "start.Environment", words: "Sequence[str]") -> bool:
    """Run a module of the environment in the checkout, announced on standard error; tell whether it passed."""
    start.tell("$ " + " ".join(words))
    return subprocess.call([str(environment.python), "-m", *words], cwd=str(environment.root)) == 0


def main(words: "Sequence[str]") -> int:
    """Prepare, run the checks, the tests last, and name what failed."""
    everything, rest = split_words(words)
    environment = start.prepare_or_exit(ALL_EXTRAS if everything else TEST_EXTRAS)
    checks = [*(STATIC_CHECKS if everything else ()), ("pytest", *rest)]
    failed = [" ".join(check[:2]) for check in checks if not run_module(environment, check)]
    if failed:
        start.tell("Failed: " + ", ".join(failed))
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
