"""Prepare Rakelight on first use, then run it: `python3 tools/start.py read PHOTO...`.

The first start makes a private virtual environment, `.venv` in the checkout, and installs Rakelight and its packages
into it; every word after the script's name goes to the command `rakelight` unchanged. A stamp, written last, says what
was installed for what; while it fits, a start only compares two hashes. A start that was cut off leaves no stamp, and
the next one begins again. Messages go to standard error: standard output carries Rakelight's data alone.

Only the standard library, and only what Python 3.6 can load, so that an old Python gets a sentence and no traceback:
that is why some types stand in quotes. check.py builds on this file.
"""

import contextlib
import errno
import hashlib
import json
import os
import sys
import time
from pathlib import Path
from typing import IO, Any, Iterable, Iterator, Sequence  # noqa: UP035 (Python 3.8 cannot index collections.abc's)

ROOT = Path(__file__).resolve().parent.parent
NEEDED_PYTHON = (3, 11)
"""As requires-python in pyproject.toml; a test compares them."""

RUN_EXTRAS = ("heic",)
COMMAND_EXTRAS = {
    "archive": ("archive",),
    "cases": ("casebook",),
    "decide": ("casebook",),
    "export": ("casebook", "export"),
    "review": ("review",),
}
"""What a command needs besides, installed on its first use: reading and dating alone stay small."""
OPTIONAL_EXTRA = "heic"
OPTIONAL_PACKAGE = "pillow-heif"
"""What the optional extra installs. Only its wheel is tried: to compile it needs libraries that few machines have."""

LAST_LINES = 12
"""Lines of a failed command that are shown; the log has them all."""

OFFLINE_SIGNS = (
    "connection broken by",
    "Failed to establish a new connection",
    "Failed to connect",
    "Name or service not known",
    "name resolution",
    "Network is unreachable",
    "Read timed out",
)
"""What pip and the standard library print when the network fails."""

NO_VENV = (
    "Rakelight needs Python's venv module, and this Python came without it. "
    "On Debian and Ubuntu install it with: sudo apt install python3-venv"
)
NO_HEIC = "Going on without HEIC: its package does not install here. Every other kind of photo can be read."
PREPARING = "Preparing Rakelight, once: about a minute..."
UPDATING = "Preparing Rakelight again, because its needs or its place have changed..."
ADDING = "Adding what the checks need, once: less than a minute..."
WAITING = "Another start is preparing Rakelight; waiting for it..."


class PrepareError(Exception):
    """Why Rakelight cannot be prepared, and what to do; the text is ready to show."""


class Environment:
    """Where the parts of one checkout's private environment lie."""

    def __init__(self, root: Path) -> None:
        windows = os.name == "nt"
        self.root = root
        self.folder = root / ".venv"
        self.config = self.folder / "pyvenv.cfg"
        self.python = self.folder / ("Scripts/python.exe" if windows else "bin/python")
        self.command = self.folder / ("Scripts/rakelight.exe" if windows else "bin/rakelight")
        self.stamp = self.folder / "rakelight-stamp.json"
        self.log = self.folder / "rakelight-setup.log"
        self.lock = self.folder / "rakelight-lock"

    def starts(self) -> bool:
        """Tell whether the environment's Python and the one it was made from are still there."""
        try:
            lines = self.config.read_text(encoding="utf-8").splitlines()
        except (OSError, UnicodeDecodeError):
            return False
        homes = [line.partition("=")[2].strip() for line in lines if line.partition("=")[0].strip() == "home"]
        return self.python.exists() and all(Path(home).is_dir() for home in homes)


def tell(text: str) -> None:
    """Say one line on standard error."""
    print(text, file=sys.stderr, flush=True)


def version_problem(version: "tuple[int, ...]", executable: str) -> str:
    """Return why this Python is too old, or an empty text."""
    if tuple(version[:2]) >= NEEDED_PYTHON:
        return ""
    found, needed = (".".join(str(part) for part in numbers) for numbers in (version, NEEDED_PYTHON))
    return (
        f"Rakelight needs Python {needed} or newer, and {executable} is {found}. Install a newer Python and start "
        f"with it, for example: python{needed} tools/start.py"
    )


def make_stamp(root: Path, extras: "Iterable[str]") -> "dict[str, Any]":
    """Return what decides whether there is anything to do: two hashes, and the extras installed.

    `foundation` changes when the checkout moves or Python changes, and then the environment is made anew; `packages`
    changes with what is to be installed, and then pip runs again.
    """
    foundation = f"{root}\n{sys.implementation.cache_tag}\n{sys.platform}".encode("utf-8", "surrogateescape")
    needs = [(root / name).read_bytes() for name in ("pyproject.toml", "tools/constraints.txt")]
    return {
        "foundation": hashlib.sha256(foundation).hexdigest(),
        "packages": hashlib.sha256(b"\0".join(needs)).hexdigest(),
        "extras": sorted(extras),
    }


def read_stamp(environment: Environment) -> "dict[str, Any]":
    """Return the stamp, or an empty one where there is none or it cannot be read."""
    try:
        stamp = json.loads(environment.stamp.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return stamp if isinstance(stamp, dict) and isinstance(stamp.get("extras"), list) else {}


def write_stamp(environment: Environment, stamp: "dict[str, Any]") -> None:
    """Write the stamp in one step, so that it is there whole or not at all."""
    draft = environment.stamp.with_suffix(".draft")
    draft.write_text(json.dumps(stamp), encoding="utf-8")
    draft.replace(environment.stamp)


def is_ready(environment: Environment, extras: "Iterable[str]") -> bool:
    """Tell whether everything wanted is installed for this checkout, this Python and these needs."""
    found, wanted = read_stamp(environment), make_stamp(environment.root, extras)
    same = all(found.get(part) == wanted[part] for part in ("foundation", "packages"))
    covered = set(wanted["extras"]) <= set(found.get("extras", ()))
    return same and covered and environment.command.exists() and environment.starts()


def prepare(environment: Environment, extras: "Sequence[str]") -> None:
    """Install what is missing; return at once where nothing is. Raises PrepareError."""
    try:
        if is_ready(environment, extras):
            return
        claim_folder(environment)
        with locked(environment.lock) as lock:
            if not is_ready(environment, extras):  # or another start made it ready while this one waited
                build(environment, extras, lock)
    except OSError as error:
        raise PrepareError(
            f"Rakelight cannot be prepared in {environment.root}: {error}. "
            "Put the checkout where you may write, with about 1 GB free."
        ) from error


def claim_folder(environment: Environment) -> None:
    """Make the folder, or refuse one that somebody else made: it is not ours to clear."""
    if environment.config.exists() and not environment.lock.exists():
        raise PrepareError(
            f"{environment.folder} was not made by tools/start.py. Remove or rename it, then start again."
        )
    environment.folder.mkdir(exist_ok=True)


@contextlib.contextmanager
def locked(path: Path) -> "Iterator[IO[str]]":
    """Hold the lock, waiting for another start that holds it."""
    with path.open("a", encoding="utf-8") as lock:
        if not take_lock(lock):
            tell(WAITING)
            while not take_lock(lock):
                time.sleep(0.2)
        yield lock


def take_lock(lock: "IO[str]") -> bool:
    """Try to lock an open file; False where another process holds it. A file system without locks has to do without."""
    try:
        if sys.platform == "win32":
            import msvcrt

            lock.seek(0)
            msvcrt.locking(lock.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        return error.errno not in (errno.EACCES, errno.EAGAIN, errno.EDEADLK)
    return True


def build(environment: Environment, extras: "Sequence[str]", lock: "IO[str]") -> None:
    """Make the environment, or bring a finished one up to date; the stamp goes first and comes back last."""
    started = time.monotonic()
    old = read_stamp(environment)
    stamp = make_stamp(environment.root, {*extras, *old.get("extras", ())})
    anew = old.get("foundation") != stamp["foundation"] or not environment.starts()
    if anew:
        require_venv()
    tell(PREPARING if not old else UPDATING if anew or old.get("packages") != stamp["packages"] else ADDING)
    if old:
        environment.stamp.unlink()
    environment.log.write_bytes(b"")
    if anew:
        make_environment(environment, lock)
    install(environment, stamp["extras"], lock)
    write_stamp(environment, stamp)
    tell(f"Ready after {time.monotonic() - started:.0f} s.")


def require_venv() -> None:
    """Raise PrepareError where Python came without what makes virtual environments, as Debian's does."""
    import importlib.util

    if not all(importlib.util.find_spec(name) for name in ("venv", "ensurepip")):
        raise PrepareError(NO_VENV)


def make_environment(environment: Environment, lock: "IO[str]") -> None:
    """Make the environment from nothing; only the lock outlives the clearing. Raises PrepareError."""
    import shutil

    for entry in environment.folder.iterdir():
        if entry.is_dir() and not entry.is_symlink():
            shutil.rmtree(entry)
        elif entry != environment.lock:
            entry.unlink()
    python = getattr(sys, "_base_executable", None) or sys.executable  # the one beneath an active environment
    if not run_logged(environment, [python, "-I", "-m", "venv", str(environment.folder)], lock):
        raise failure(environment, "Python could not make a virtual environment.")


def install(environment: Environment, extras: "Sequence[str]", lock: "IO[str]") -> None:
    """Install Rakelight editable with its extras; without the optional one where that fails. Raises PrepareError."""
    if run_logged(environment, install_words(environment, extras), lock):
        return
    if is_offline(last_lines(environment.log, None)):
        raise PrepareError(
            "Rakelight's packages could not be fetched: no connection. Connect to the internet (behind a proxy, set "
            f"pip's proxy), then start again. Details: {environment.log}"
        )
    fewer = [extra for extra in extras if extra != OPTIONAL_EXTRA]
    if len(fewer) == len(extras) or not run_logged(environment, install_words(environment, fewer), lock):
        raise failure(environment, "pip could not install Rakelight's packages.")
    tell(NO_HEIC)


def install_words(environment: Environment, extras: "Sequence[str]") -> "list[str]":
    """Return pip's command line. The user's own pip settings stay in force; -I keeps stray modules out."""
    words = [str(environment.python), "-I", "-m", "pip", "install", "--disable-pip-version-check", "--no-input"]
    words += ["--no-user", "-c", str(environment.root / "tools" / "constraints.txt")]
    if OPTIONAL_EXTRA in extras:
        words += ["--only-binary", OPTIONAL_PACKAGE]
    # The dot ends the path, so that pip takes no bracket in a folder's name for extras.
    target = os.path.join(str(environment.root), ".")  # noqa: PTH118 (pathlib would drop the dot)
    return [*words, "-e", target + (f"[{','.join(extras)}]" if extras else "")]


def run_logged(environment: Environment, words: "Sequence[str]", lock: "IO[str]") -> bool:
    """Run a command with its output in the log; tell whether it succeeded.

    The command inherits the lock: where this process is killed and the command runs on, the next start waits for it.
    """
    import subprocess

    inherited = () if os.name == "nt" else (lock.fileno(),)
    with environment.log.open("ab") as log:
        log.write(("$ " + " ".join(words) + "\n").encode("utf-8", "surrogateescape"))
        log.flush()
        status = subprocess.call(words, stdin=subprocess.DEVNULL, stdout=log, stderr=log, pass_fds=inherited)
    return status == 0


def last_lines(log: Path, count: "int | None" = LAST_LINES) -> "list[str]":
    """Return the last lines of a log, or all of them."""
    lines = [line.rstrip() for line in log.read_text(encoding="utf-8", errors="replace").splitlines() if line.strip()]
    return lines if count is None else lines[-count:]


def is_offline(lines: "Iterable[str]") -> bool:
    """Tell whether the output of a failed command says that the network failed."""
    return any(sign.lower() in line.lower() for line in lines for sign in OFFLINE_SIGNS)


def failure(environment: Environment, text: str) -> PrepareError:
    """Return the problem with the last lines of the log."""
    shown = "\n".join("  " + line for line in last_lines(environment.log))
    return PrepareError(f"{text} Its last lines, more in {environment.log}:\n{shown}")


def prepare_or_exit(extras: "Sequence[str]") -> Environment:
    """Prepare this checkout and return its environment; where that fails, say why on standard error and exit."""
    problem = version_problem(tuple(sys.version_info[:3]), sys.executable)
    if problem:
        sys.exit(problem)
    environment = Environment(ROOT)
    try:
        prepare(environment, extras)
    except PrepareError as error:
        sys.exit(str(error))
    except KeyboardInterrupt:
        tell("Stopped. The next start prepares Rakelight anew.")
        sys.exit(130)
    return environment


def hand_over(environment: Environment, words: "Sequence[str]") -> int:
    """Become the command `rakelight`; where a process cannot (Windows), run it and return its status."""
    if os.name != "nt":
        # Through Python, not the script's first line: kernels cut that line when the folder's name is long.
        os.execv(str(environment.python), [str(environment.python), str(environment.command), *words])
    import subprocess

    return subprocess.call([str(environment.command), *words])


def main(words: "Sequence[str]") -> int:
    """Prepare what is missing, then run Rakelight with these words."""
    return hand_over(prepare_or_exit((*RUN_EXTRAS, *COMMAND_EXTRAS.get(words[0] if words else "", ()))), words)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
