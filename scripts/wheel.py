"""The built wheel, installed and used as its users have it: not the checkout.

``python3 scripts/wheel.py FOLDER`` makes the source distribution, makes the wheel from
that alone, installs it with its extra ``desk`` in a venv of its own in the folder, and
uses it from an empty folder beside copies of the demo's files: a survey, a recheck, a
record with its wear, and the desk with one reading typed.  It stops where a file of the
package is missing, where a command leaves something out, and where what runs is not
what was installed.

``--beside SITE`` takes the libraries from a folder of packages that is there already in
place of installing them.  ``.ci/run`` calls this after the tests.
"""

from __future__ import annotations

import argparse
import importlib.util
import os
import shutil
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import lowest
import own_venv

ROOT = Path(__file__).resolve().parent.parent
#: What a source distribution must hold besides the package.
_WITH_SOURCE = {
    "README.md", "DEVELOPERS.md", "pyproject.toml", "docs", "scans", "scripts", "tests",
    "geom",
}  # fmt: skip
SURVEY = {
    "findings.json", "surface.nc", "lining.glb", "lining.ply", "lining.vtp",
    "rebuild.stl", "masonry.glb", "map.png", "report.html", "repair-sheet.pdf",
}  # fmt: skip
WEAR = {"wear.json", "wear.nc", "wear-map.png", "wear.html", "heats.html"}


def build(folder: Path) -> Path:
    """The wheel, made from the source distribution."""
    has = importlib.util.find_spec("hatchling")
    python = sys.executable if has else own_venv.own_python("test")
    dist, source = folder / "dist", folder / "source"
    called(python, "-m", "hatchling", "build", "-t", "sdist", "-d", dist, cwd=ROOT)
    (packed,) = dist.glob("*.tar.gz")
    with tarfile.open(packed) as archive:
        archive.extractall(source, filter="data")
    (inside,) = source.iterdir()
    if lacking := _WITH_SOURCE - {path.name for path in inside.iterdir()}:
        sys.exit(f"the source distribution lacks {', '.join(sorted(lacking))}")
    called(python, "-m", "hatchling", "build", "-t", "wheel", "-d", dist, cwd=inside)
    (wheel,) = dist.glob("*.whl")
    return wheel


def in_package(folder: Path) -> set[str]:
    """Files of the package under a folder, as a wheel names them."""
    files = (path for path in (folder / "geom").rglob("*") if path.is_file())
    names = {path.relative_to(folder).as_posix() for path in files}
    return {name for name in names if "__pycache__" not in name}


def install(wheel: Path, folder: Path, beside: Path | None) -> Path:
    """A venv with the wheel and what it asks for; its Python."""
    called(sys.executable, "-m", "venv", folder, cwd=folder.parent)
    python = program(folder, "python")
    pip = (python, "-m", "pip", "install", "--quiet", "--disable-pip-version-check")
    if beside is None:
        called(*pip, f"{wheel}[desk]", cwd=folder)
    else:
        asked = "import sysconfig; print(sysconfig.get_path('purelib'))"
        site = Path(called(python, "-c", asked, cwd=folder).strip())
        (site / "zz_beside.pth").write_text(f"{beside.resolve()}\n", "utf-8")
        called(*pip, "--no-deps", "--force-reinstall", wheel, cwd=folder)
    return python


def program(venv: Path, name: str) -> Path:
    """A program of a venv."""
    if os.name == "nt":
        return venv / "Scripts" / f"{name}.exe"
    return venv / "bin" / name


def called(*command: object, cwd: Path) -> str:
    """What a command says; stop where it fails.  The checkout is on no path."""
    words = [str(word) for word in command]
    print("+", " ".join(words), flush=True)
    env = {k: v for k, v in os.environ.items() if k != "PYTHONPATH"}
    done = subprocess.run(
        words, cwd=cwd, env=env | {"PYTHONUTF8": "1"}, text=True, encoding="utf-8",
        check=False, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
    )  # fmt: skip
    if done.returncode:
        sys.exit(f"{done.stdout}\nexit code {done.returncode}: {' '.join(words)}")
    return done.stdout


def must_hold(folder: Path, names: set[str]) -> None:
    """Stop where a folder does not hold just these files, none of them empty."""
    there = {path.name for path in folder.iterdir() if path.stat().st_size}
    if there != names:
        odd = ", ".join(sorted(there ^ names))
        sys.exit(f"{folder.name}: not as it should be: {odd}")


def use(venv: Path, shop: Path) -> None:
    """Work with the installed command in a folder that holds the demo's files alone."""
    shutil.copytree(ROOT / "scans", shop)
    daubline = program(venv, "daubline")
    where = "import geom; print(geom.__file__, geom.document_schema('wear')['title'])"
    said = called(program(venv, "python"), "-c", where, cwd=shop)
    if not said.startswith(str(venv)):
        sys.exit(f"what runs is not what was installed: {said}")
    design, sheet, after = (
        f"cupola-2{end}" for end in (".toml", "-heat-41.csv", "-heat-41-after.csv")
    )
    called(daubline, "survey", design, sheet, "--out", "found", cwd=shop)
    must_hold(shop / "found", SURVEY)
    called(
        daubline, "recheck", design, after, "--before", "found", "--out", "back",
        cwd=shop,
    )  # fmt: skip
    must_hold(shop / "back", {"recheck.json", "certificate.pdf"})
    log = (shop / "cupola-2-campaign-2.csv").read_text("utf-8").splitlines()
    few = [line for line in log if not line.startswith("#")][:5]
    (shop / "few.csv").write_text("\n".join(few) + "\n", "utf-8")
    told = ("record", "log", "record", "few.csv", "--design", design)
    called(daubline, *told, cwd=shop)
    listed = called(daubline, "record", "list", "record", cwd=shop)
    if "82" not in listed.split():
        sys.exit(f"the record does not list its last heat:\n{listed}")
    called(daubline, "wear", "record", "--out", "worn", cwd=shop)
    must_hold(shop / "worn", WEAR)
    lowest.desk((daubline,), shop / "typed.csv", design=shop / design, cwd=shop)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path, help="for all of it; emptied first")
    parser.add_argument("--beside", type=Path, metavar="SITE",
                        help="a folder of packages that has the libraries")  # fmt: skip
    options = parser.parse_args()
    folder = options.folder.resolve()
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    wheel = build(folder)
    with zipfile.ZipFile(wheel) as held:
        names = set(held.namelist())
    if lacking := in_package(ROOT) - names:
        sys.exit(f"the wheel lacks {', '.join(sorted(lacking))}")
    if more := {name.split("/")[0] for name in names if ".dist-info/" not in name} - {
        "geom"
    }:
        sys.exit(f"the wheel holds more than the package: {', '.join(sorted(more))}")
    install(wheel, folder / "venv", options.beside)
    use(folder / "venv", folder / "shop")
    print(f"{wheel.name} works")


if __name__ == "__main__":
    main()
