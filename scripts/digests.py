"""Every command on scans/, and a digest of every file written.

``python scripts/digests.py keep FILE`` runs the commands that README and docs print and
writes what came out, one digest a file, as JSON.  ``python scripts/digests.py compare
FILE`` runs them again and names every file that is other than it was: what a change of
names or of rooms must not do.  Run it in ``.venv``; some four minutes on two cores.

Bytes are compared where bytes are promised (meshes, the solid, workbooks' cells as
text); elsewhere what is read out of them: arrays of NetCDF, pixels of pictures, words
of pages and papers.  Time stamps and the version are left out.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import re
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
DESIGN = "scans/cupola-2.toml"
FIRST = "scans/cupola-2-heat-41.csv"
SECOND = "scans/cupola-2-heat-52.csv"
SCAN = "scans/cupola-2-heat-41-scan.laz"
TARGETS = "scans/cupola-2-heat-41-targets.csv"
LOG = "scans/cupola-2-campaign.csv"
AFTER = "scans/cupola-2-campaign/heat-61-after.csv"

#: Commands in the order in which one needs what another wrote; OUT is a new folder.
COMMANDS: tuple[tuple[str, str], ...] = (
    (
        "design",
        "design --new OUT/c.toml --name Cupola_3 --unit in --shell 27"
        " --azimuth-zero door --azimuth-sense clockwise --height-zero floor"
        " --tuyeres 6 --profile 18_at_0,18_at_96 --tuyere 5_x_3_at_26,1",
    ),
    ("check", f"check {DESIGN} {FIRST} --out OUT/check.png"),
    ("heat-41", f"survey {DESIGN} {FIRST} --out OUT/heat-41"),
    ("stills", f"survey {DESIGN} {FIRST} --stills svg --out OUT/stills"),
    ("json", f"survey {DESIGN} {FIRST} --json --out OUT/json"),
    (
        "scan",
        f"survey {DESIGN} {SCAN} --cloud-unit mm --scanner 0,0,0 --targets {TARGETS}"
        " --out OUT/heat-41-scan",
    ),
    ("past", f"survey {DESIGN} {SECOND} --past OUT/heat-41 --out OUT/heat-52"),
    ("next", f"next {DESIGN} {FIRST} --count 3"),
    ("next-json", f"next {DESIGN} {FIRST} --count 3 --for brick --json"),
    ("sheet", f"sheet {DESIGN} --out OUT/sheet --title digests"),
    (
        "sheet-again",
        f"sheet {DESIGN} --readings {FIRST} --count 6 --out OUT/sheet-again",
    ),
    ("recheck", f"recheck {DESIGN} {AFTER} --before OUT/heat-41 --out OUT/recheck"),
    ("record-log", f"record log OUT/record {LOG} --design {DESIGN} --quiet"),
    ("older", f"record log OUT/older OUT/older.csv --design {DESIGN} --quiet"),
    ("record-list", "record list OUT/record"),
    ("record-check", "record check OUT/record"),
    ("wear", "wear OUT/record --out OUT/wear"),
    ("change", f"change {DESIGN} OUT/heat-41 OUT/heat-52 --out OUT/change"),
    (
        "campaigns",
        "campaigns OUT/older OUT/record --first winter --second spring_2026 --by heat"
        " --out OUT/campaigns",
    ),
    ("view", f"view {DESIGN} OUT/heat-41 --out OUT/view/window.png"),
)

TIME = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(:\d\d)?(Z|[+-]\d\d:?\d\d| UTC)?")
HASHED = re.compile(r"sha256-[A-Za-z0-9+/=]+")
#: What tells of the run and not of the wall.
RUN = ("created", "version", "history", "daubline", "seconds")


def digest(content: bytes) -> str:
    """Give a short digest of bytes."""
    return hashlib.sha256(content).hexdigest()[:20]


def of_text(content: bytes) -> str:
    """Words without the time of the run."""
    text = content.decode("utf-8", "replace")
    return digest(HASHED.sub("HASH", TIME.sub("TIME", text)).encode())


def of_json(content: bytes) -> str:
    """Members without those that tell of the run."""

    def plain(value: object) -> object:
        if isinstance(value, dict):
            return {key: plain(of) for key, of in value.items() if key not in RUN}
        return [plain(of) for of in value] if isinstance(value, list) else value

    return digest(json.dumps(plain(json.loads(content)), sort_keys=True).encode())


def of_netcdf(content: bytes) -> str:
    """Every array and attribute of every group."""
    import h5py
    import numpy as np

    parts: list[str] = []

    def visit(name: str, item: h5py.HLObject) -> None:
        for key in sorted(item.attrs):
            if key not in RUN and not key.startswith(("_Netcdf4", "_NC", "REF", "DIM")):
                value = item.attrs[key]
                text = value if isinstance(value, str) else np.asarray(value).tolist()
                parts.append(f"{name}@{key}={TIME.sub('TIME', str(text))}")
        if isinstance(item, h5py.Dataset):
            values = item[()]
            array = np.asarray(values)
            if array.dtype.kind in "OS":
                held = TIME.sub("TIME", str(array.tolist()))
                with contextlib.suppress(ValueError, TypeError, AttributeError):
                    held = of_json(array.item())
                parts.append(f"{name}={held}")
            else:
                parts.append(
                    f"{name}={array.dtype}{array.shape}{digest(array.tobytes())}"
                )

    with h5py.File(io.BytesIO(content)) as file:
        visit("/", file)
        file.visititems(visit)
    return digest("\n".join(parts).encode())


def of_picture(content: bytes) -> str:
    """Size and pixels."""
    from PIL import Image

    with Image.open(io.BytesIO(content)) as picture:
        pixels = picture.convert("RGBA")
        return digest(repr(pixels.size).encode() + pixels.tobytes())


def of_paper(content: bytes) -> str:
    """Words of every page."""
    import pypdf

    pages = pypdf.PdfReader(io.BytesIO(content)).pages
    return of_text("\f".join(page.extract_text() for page in pages).encode())


def of_workbook(content: bytes) -> str:
    """Cells of every sheet."""
    import openpyxl

    book = openpyxl.load_workbook(io.BytesIO(content))
    cells = [
        f"{sheet.title}!{cell.coordinate}={cell.value!r}"
        for sheet in book
        for row in sheet.iter_rows()
        for cell in row
        if cell.value is not None
    ]
    return of_text("\n".join(cells).encode())


#: How a file is read, by how its name ends; any other by its bytes.
READERS: dict[str, Callable[[bytes], str]] = {
    ".json": of_json,
    ".nc": of_netcdf,
    ".png": of_picture,
    ".pdf": of_paper,
    ".xlsx": of_workbook,
    ".html": of_text,
    ".svg": of_text,
    ".txt": of_text,
}


def written(folder: Path) -> dict[str, str]:
    """Digest of every file in a folder, by its path there."""
    return {
        path.relative_to(folder).as_posix(): READERS.get(path.suffix, digest)(
            path.read_bytes()
        )
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def older_log(folder: Path) -> None:
    """Write a log of the first heats as if they were another campaign's."""
    rows = (ROOT / LOG).read_text("utf-8").splitlines()
    head, *rest = [row for row in rows if not row.startswith("#")]
    older = [
        re.sub(r"^(\d+),2026", lambda m: f"{int(m[1]) - 60},2025", row)
        .replace("spring 2026", "winter")
        .replace("cupola-2-campaign/", f"{ROOT}/scans/cupola-2-campaign/")
        for row in rest[:9]
    ]
    (folder / "older.csv").write_text("\n".join([head, *older]) + "\n", "utf-8")


def run_all(folder: Path) -> dict[str, str]:
    """Run every command; what was printed and what was written."""
    found = {}
    for name, line in COMMANDS:
        words = [w.replace("_", " ") for w in line.split()]
        words = [word.replace("OUT", str(folder)) for word in words]
        done = subprocess.run(
            [sys.executable, "-m", "geom.cli", *words],
            capture_output=True,
            text=True,
            cwd=ROOT,
            check=False,
        )
        if done.returncode:
            sys.exit(f"{name}: exit code {done.returncode}\n{done.stderr}")
        said = TIME.sub("TIME", done.stdout.replace(str(folder), "OUT"))
        try:
            found[f"stdout of {name}"] = of_json(said.encode())
        except ValueError:
            found[f"stdout of {name}"] = digest(said.encode())
        print(f"{name}: done", file=sys.stderr, flush=True)
    return found | written(folder)


def main(arguments: list[str]) -> int:
    if len(arguments) != 2 or arguments[0] not in ("keep", "compare"):
        sys.exit("usage: digests.py keep FILE | digests.py compare FILE")
    with tempfile.TemporaryDirectory(prefix="digests-") as folder:
        (Path(folder) / "view").mkdir()
        older_log(Path(folder))
        found = run_all(Path(folder))
    kept = Path(arguments[1])
    if arguments[0] == "keep":
        kept.write_text(json.dumps(found, indent=1) + "\n", "utf-8")
        print(f"{len(found)} digests in {kept}")
        return 0
    before = json.loads(kept.read_text("utf-8"))
    other = sorted(
        name
        for name in before.keys() | found.keys()
        if before.get(name) != found.get(name)
    )
    print("\n".join(f"differs: {name}" for name in other) or "all equal")
    print(f"{len(found) - len(other)} of {len(before)} equal")
    return 1 if other else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
