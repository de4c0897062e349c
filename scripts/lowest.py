"""The lowest versions that pyproject.toml allows, installed and used.

``python3 scripts/lowest.py FOLDER`` makes a venv in the folder, installs the package
with every library that it names itself at its lower bound (extras ``cloud``, ``desk``,
``e57`` and ``cluster`` too), and surveys with it: a rod sheet, a scan, a record with
its wear, and the desk with one reading typed.  Nothing is installed anywhere else.

When all of it works, the bounds are written to ``scripts/lowest.json`` with the day and
a digest of what they were read from.  ``tests/test_lowest_versions.py`` fails while
pyproject.toml has others; ``.ci/run`` calls this with ``--if-changed`` before the
tests, so that it runs, some ten minutes, only after a change of the dependencies.
"""

from __future__ import annotations

import argparse
import datetime
import http.client
import json
import os
import re
import shutil
import subprocess
import sys
import tomllib
from hashlib import sha256
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
TRIED = ROOT / "scripts" / "lowest.json"
EXTRAS = ("cloud", "desk", "e57", "cluster")
_BOUND = re.compile(r"([A-Za-z0-9_.-]+)(?:\[[^\]]*\])?>=([0-9.]+)")
_SCANS = ROOT / "scans"
DESIGN, SHEET = _SCANS / "cupola-2.toml", _SCANS / "cupola-2-heat-41.csv"
SCAN = _SCANS / "cupola-2-heat-41-scan.laz"


def asked_for() -> list[str]:
    """What the package and these extras ask for, as pyproject.toml says it."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    wanted = list(project["dependencies"])
    for extra in EXTRAS:
        wanted += project["optional-dependencies"][extra]
    return wanted


def digest() -> str:
    """Of what is asked for, in any order."""
    return sha256("\n".join(sorted(asked_for())).encode()).hexdigest()


def tried() -> str:
    """Digest of what was asked for when all of it last worked; empty if never."""
    if not TRIED.exists():
        return ""
    return str(json.loads(TRIED.read_text("utf-8")).get("digest", ""))


def bounds() -> dict[str, str]:
    """Lower bounds of what the package and its extras ask for, by name."""
    wanted = asked_for()
    found = [_BOUND.fullmatch(line) for line in wanted]
    without = [line for line, at in zip(wanted, found, strict=True) if at is None]
    if without:
        sys.exit(f"no lower bound alone: {', '.join(without)}")
    return dict(sorted(at.groups() for at in found if at is not None))


def make(folder: Path) -> Path:
    """Make the venv, the lowest versions in it; give its Python."""
    shutil.rmtree(folder, ignore_errors=True)
    run(sys.executable, "-m", "venv", str(folder))
    python = folder / ("Scripts" if os.name == "nt" else "bin") / "python"
    pinned = folder / "lowest.txt"
    lines = (f"{name}=={version}" for name, version in bounds().items())
    pinned.write_text("\n".join(lines) + "\n", "utf-8")
    what = f"{ROOT}[{','.join(EXTRAS)}]"
    run(
        python,
        "-m",
        "pip",
        "install",
        "--quiet",
        "--only-binary",
        "numpy,pye57,h5py",
        "--constraint",
        pinned,
        what,
    )
    return python


def run(*command: object) -> str:
    """Run a command, and say it; stop with what it said where it fails."""
    words = [str(word) for word in command]
    print("+", " ".join(words), flush=True)
    done = subprocess.run(
        words, cwd=ROOT.parent, text=True, check=False,
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
    )  # fmt: skip
    if done.returncode:
        sys.exit(f"{done.stdout}\nexit code {done.returncode}: {' '.join(words)}")
    return done.stdout


def use(python: Path, out: Path) -> None:
    """Survey a rod sheet, a scan and a record, and type a reading at the desk."""
    shutil.rmtree(out, ignore_errors=True)
    # -P: the checkout is not to stand in for what was installed
    daubline = (python, "-P", "-W", "error::DeprecationWarning:geom", "-m", "geom.cli")
    run(*daubline, "survey", DESIGN, SHEET, "--stills", "svg", "--out", out / "rod")
    targets = _SCANS / "cupola-2-heat-41-targets.csv"
    run(
        *daubline, "survey", DESIGN, SCAN, "--cloud-unit", "mm", "--scanner", "0,0,0",
        "--targets", targets, "--out", out / "scan",
    )  # fmt: skip
    log = _SCANS / "cupola-2-campaign.csv"
    run(*daubline, "record", "log", out / "record", log, "--design", DESIGN, "--quiet")
    run(*daubline, "wear", out / "record", "--out", out / "wear")
    run(*daubline, "sheet", DESIGN, "--out", out / "sheet", "--title", "lowest")
    desk(daubline, out / "desk.csv")


def desk(
    daubline: tuple[object, ...],
    sheet: Path,
    *,
    design: Path = DESIGN,
    cwd: Path = ROOT.parent,
) -> None:
    """Open the desk, ask for its page and type one reading."""
    words = [str(word) for word in (*daubline, "desk", design, "--sheet", sheet)]
    print("+", " ".join(words), flush=True)
    opened = subprocess.Popen(
        [*words, "--port", "0"], cwd=cwd, text=True, encoding="utf-8",
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
        env=dict(os.environ, PYTHONUNBUFFERED="1", PYTHONUTF8="1"),
    )  # fmt: skip
    try:
        said = ""
        for line in opened.stdout or ():
            said += line
            if address := re.search(r"http://(127\.0\.0\.1:\d+)", said):
                break
        else:
            sys.exit(f"{said}\nthe desk did not open")
        if b"<html" not in asked(address[1], "GET", "/", None).lower():
            sys.exit("the desk has no page")
        key = json.loads(asked(address[1], "GET", "/state", None))["state"]["sheet"]
        reading = {
            "id": "deed-000001", "entry": "reading-000001", "deed": "enter",
            "azimuth": "0", "height": "48", "text": "18 1/4", "note": "",
            "time": "2026-01-05T06:30:00.000Z",
        }  # fmt: skip
        asked(address[1], "POST", "/entries", {"sheet": key, "events": [reading]})
    finally:
        opened.terminate()
        opened.wait()
    if "18 1/4" not in sheet.read_text("utf-8"):
        sys.exit("the desk kept nothing")


def asked(address: str, method: str, path: str, body: object) -> bytes:
    """Answer of the desk; stop where it is not 200."""
    link = http.client.HTTPConnection(address, timeout=60)
    origin = {"Origin": f"http://{address}", "Content-Type": "application/json"}
    link.request(method, path, None if body is None else json.dumps(body), origin)
    answer = link.getresponse()
    content = answer.read()
    if answer.status != 200:
        sys.exit(f"the desk answers {answer.status}: {content[:300]!r}")
    return content


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path, help="for the venv and what it writes")
    parser.add_argument("--keep", action="store_true", help="use the venv in it again")
    parser.add_argument("--if-changed", action="store_true",
                        help="do nothing where these bounds worked before")  # fmt: skip
    options = parser.parse_args()
    if options.if_changed and digest() == tried():
        return
    venv = options.folder.resolve() / "venv"
    python = venv / "bin" / "python" if options.keep else make(venv)
    use(python, options.folder.resolve() / "out")
    frozen = run(python, "-m", "pip", "freeze").lower().replace("_", "-")
    for name, version in bounds().items():
        if f"\n{name.lower()}=={version}" not in "\n" + frozen:
            sys.exit(f"{name} {version} is not what was installed")
    today = datetime.datetime.now(datetime.UTC).date().isoformat()
    record = {"digest": digest(), "passed": today, "bounds": bounds()}
    TRIED.write_text(json.dumps(record, indent=1) + "\n", "utf-8")
    print("all of it works with the lowest versions")


if __name__ == "__main__":
    main()
