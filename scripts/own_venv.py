"""The checkout's own Python: a ``.venv`` that is made, filled and kept in step.

Only the standard library, and only syntax that older Pythons read too, so that a
Python that is too old is told so instead of failing on a line of code.
"""

import hashlib
import importlib.util
import json
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
STAMP = VENV / "installed.json"
LOG = VENV / "pip.log"
OLDEST = (3, 11)


class SetupError(Exception):
    """The environment cannot be made; the message is one sentence with a cure."""


def own_python(*extras: str) -> Path:
    """Give the interpreter of ``.venv``, with the package and these extras installed.

    What point clouds need is always there.

    Parameters
    ----------
    *extras : str
        Extras of pyproject.toml.  What an earlier call installed stays.

    Raises
    ------
    SetupError
        If Python is too old, venv is missing or pip fails.
    """
    if sys.version_info < OLDEST:
        needed = ".".join(map(str, OLDEST))
        found = sys.version.split()[0]
        raise SetupError(
            f"Python {needed} or newer is needed; this is {found} ({sys.executable})."
        )
    wanted = {"cloud", *extras} | (_stamped() or set())
    if not _runs(tool("python")):
        _make()
    if _stamped() != wanted:
        _install(sorted(wanted))
    return tool("python")


def tool(name: str) -> Path:
    """Give the path of a program of ``.venv``."""
    if os.name == "nt":
        return VENV / "Scripts" / (name + ".exe")
    return VENV / "bin" / name


def run(*command) -> int:
    """Run a program in the checkout, with no display; its exit code."""
    env = dict(os.environ, MPLBACKEND="Agg")
    return subprocess.call([str(part) for part in command], cwd=ROOT, env=env)


def main(job) -> None:
    """Run a script's job; leave with its exit code, or 1 and one line on stderr."""
    try:
        sys.exit(job(sys.argv[1:]))
    except SetupError as fault:
        sys.exit(str(fault))
    except KeyboardInterrupt:
        sys.exit(130)


def _stamped():
    """Extras installed from the pyproject.toml of today, or None."""
    try:
        stamp = json.loads(STAMP.read_text("utf-8"))
        extras = set(stamp.pop("extras"))
    except (OSError, ValueError, KeyError):
        return None
    return extras if stamp == _today() else None


def _today() -> dict:
    digest = hashlib.sha256((ROOT / "pyproject.toml").read_bytes()).hexdigest()
    return {"pyproject": digest, "checkout": str(ROOT)}


def _runs(python: Path) -> bool:
    """Whether an interpreter is there, starts (its base may be gone), is new enough."""
    question = f"import sys; sys.exit(sys.version_info < {OLDEST})"
    try:
        return (
            subprocess.run([str(python), "-c", question], check=False).returncode == 0
        )
    except OSError:
        return False


def _make() -> None:
    print("Making .venv ...", flush=True)
    without = [] if importlib.util.find_spec("ensurepip") else ["--without-pip"]
    no_pip = bool(without) and not _has_pip(sys.executable)
    if no_pip or importlib.util.find_spec("venv") is None:
        raise SetupError(
            "This Python has no venv, or neither ensurepip nor pip. "
            "On Debian and Ubuntu: apt-get install python3-venv; then try again."
        )
    made = _quietly([sys.executable, "-m", "venv", "--clear", *without, str(VENV)])
    if made.returncode:
        raise SetupError("python -m venv failed: " + _last_line(made.stdout))


def _install(extras: list) -> None:
    print("Installing into .venv (once; a few minutes on a slow line) ...", flush=True)
    STAMP.unlink(missing_ok=True)
    what = str(ROOT) + ("[{}]".format(",".join(extras)) if extras else "")
    pip = [sys.executable, "-m", "pip", "--python", str(tool("python"))]
    if _has_pip(tool("python")):
        pip = [str(tool("python")), "-m", "pip"]
    done = _quietly([*pip, "install", "--no-input", "--editable", what])
    LOG.write_text(done.stdout, "utf-8")
    if done.returncode:
        raise SetupError(f"pip failed: {_last_line(done.stdout)} (All of it: {LOG})")
    print("Compiling the inner loops (once) ...", flush=True)
    loops = "from geom.surface.clouds.kernels import compile_all; compile_all()"
    done = _quietly([str(tool("python")), "-c", loops])
    if done.returncode:
        raise SetupError(f"compiling failed: {_last_line(done.stdout)}")
    STAMP.write_text(json.dumps(dict(_today(), extras=extras)), "utf-8")


def _has_pip(python) -> bool:
    asked = _quietly([str(python), "-m", "pip", "--version"])
    return asked.returncode == 0


def _quietly(command: list) -> subprocess.CompletedProcess:
    return subprocess.run(
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        errors="replace",
        check=False,
    )


def _last_line(output: str) -> str:
    """Pick the line of a failed command's output that says most: its last error."""
    lines = [line.strip() for line in output.splitlines() if line.strip()]
    errors = [line for line in lines if "Error: " in line or line.startswith("ERROR")]
    return (errors or lines or ["(no output)"])[-1]
