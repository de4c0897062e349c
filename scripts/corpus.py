"""Foreign and spoiled files through the real command, and what became of each.

``python scripts/corpus.py make FOLDER [ARCHIVE ...]`` fills a folder with files:
mutants of the demo inputs in every format that is read (seeded, the same every time),
and every file with an ending that is read out of archives, such as the source
distributions of libraries with test data.  ``python scripts/corpus.py run FOLDER``
surveys each of them in a process of its own, with limits on time and memory, and sorts
what came out::

    refused     exit 2, one message, no output
    accepted    exit 0, the whole output
    traceback   any other exit, or a traceback or a warning of Python's among the words
    hang        past the time limit
    memory      past the memory limit
    half        something left behind although it was refused, or less than all of it

The last four are faults; the script ends with 1 if there are any, and names them.  Run
it in ``.venv``, by hand; a second a file that is refused.
"""

from __future__ import annotations

import argparse
import collections
import io
import os
import random
import resource
import shutil
import subprocess
import sys
import tarfile
import zipfile
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
DESIGN = ROOT / "scans" / "cupola-2.toml"
SHEET = ROOT / "scans" / "cupola-2-heat-41.csv"
WIDE = ROOT / "scans" / "cupola-2-heat-52.csv"
SCAN = ROOT / "scans" / "cupola-2-heat-41-scan.laz"
ENDINGS = (".csv", ".tsv", ".xlsx", ".xyz", ".txt", ".ply", ".las", ".laz", ".e57",
           ".npy", ".toml")  # fmt: skip
#: Files of archives larger than this are left out, bytes.
LARGEST = 8_000_000
SECONDS, BYTES = 180, 6 << 30
FAULTS = ("traceback", "hang", "memory", "half")
#: Bits that are typed into texts.
BITS = (b",", b";", b'"', b"\n", b"\r", b"\x00", b"-", b"/", b"e308", b"1e-400", b"nan",
        b"inf", b"9" * 400, "⅜".encode(), b"\xff\xfe", b"#", b"[", b"=", b"'",
        b"2000000000")  # fmt: skip


def sound() -> dict[str, bytes]:
    """A small file of every format, by name, from the demo inputs."""
    import laspy
    import numpy as np
    import openpyxl

    with laspy.open(SCAN) as opened:
        points = next(opened.chunk_iterator(3000))
    las = laspy.LasData(laspy.LasHeader(point_format=3, version="1.2"))
    las.x, las.y, las.z = points.x, points.y, points.z
    xyz = np.stack([points.x, points.y, points.z], axis=1).astype(np.float64)
    files = {
        "design.toml": DESIGN.read_bytes(),
        "long.csv": SHEET.read_bytes(),
        "wide.csv": WIDE.read_bytes(),
    }
    for compressed, name in ((False, "cloud.las"), (True, "cloud.laz")):
        out = io.BytesIO()
        las.write(out, do_compress=compressed)
        files[name] = out.getvalue()
    held = io.BytesIO()
    np.save(held, xyz)
    files["cloud.npy"] = held.getvalue()
    files["cloud.xyz"] = "\n".join(
        f"{x} {y} {z}" for x, y, z in xyz.round(3).tolist()
    ).encode()
    header = (
        f"ply\nformat binary_little_endian 1.0\nelement vertex {len(xyz)}\n"
        "property double x\nproperty double y\nproperty double z\nend_header\n"
    )
    files["cloud.ply"] = header.encode() + xyz.astype("<f8").tobytes()
    book = openpyxl.Workbook()
    for line in SHEET.read_text("utf-8").splitlines():
        if line and not line.startswith("#"):
            book.active.append(line.split(","))
    held = io.BytesIO()
    book.save(held)
    files["sheet.xlsx"] = held.getvalue()
    files["cloud.e57"] = _e57(xyz)
    return files


def _e57(xyz) -> bytes:
    import tempfile

    import pye57

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "cloud.e57"
        with pye57.E57(str(path), mode="w") as file:
            file.write_scan_raw(
                {f"cartesian{a}": c for a, c in zip("XYZ", xyz.T, strict=True)}
            )
        return path.read_bytes()


def spoiled(content: bytes, rng: random.Random) -> bytes:
    """A mutant: bytes changed, typed in, cut out, doubled, swapped or cut short."""
    data = bytearray(content)
    # headers are where readers go wrong: half of all places lie in the first part
    for _ in range(rng.choice((1, 1, 2, 4, 16))):
        end = len(data) if rng.random() < 0.5 else min(len(data), 600)
        at, to = sorted(rng.randrange(end + 1) for _ in range(2))
        match rng.randrange(7):
            case 0:
                data[at : at + 1] = bytes([rng.randrange(256)])
            case 1:
                data[at:at] = rng.choice(BITS)
            case 2:
                del data[at : min(to, at + 40)]
            case 3:
                data[at:at] = data[at : min(to, at + 400)]
            case 4:
                data[at : at + 4] = rng.choice(
                    (b"\xff\xff\xff\xff", b"\x00\x00\x00\x00", b"\xff\xff\xff\x7f")
                )
            case 5:
                data[at : at + 8] = rng.choice(
                    (b"\x00\x00\x00\x00\x00\x00\xf8\x7f", b"\xff" * 8)
                )
            case _:
                del data[rng.randrange(len(data) + 1) :]
    return bytes(data)


def make(folder: Path, archives: list[Path], each: int) -> int:
    """Fill a folder; give how many files there are."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in sound().items():
        (folder / f"sound-{name}").write_bytes(content)
        stem, ending = name.split(".")
        for number in range(each):
            mutant = spoiled(content, random.Random(f"{name} {number}"))
            (folder / f"mutant-{stem}-{number:03d}.{ending}").write_bytes(mutant)
    for archive in archives:
        for name, content in members(archive):
            if name.lower().endswith(ENDINGS) and 0 < len(content) <= LARGEST:
                flat = name.replace("/", "-").replace(" ", "-")
                (folder / f"foreign-{flat[-150:]}").write_bytes(content)
    return len(list(folder.iterdir()))


def members(archive: Path) -> Iterator[tuple[str, bytes]]:
    """Name and content of every file of an archive."""
    if zipfile.is_zipfile(archive):
        with zipfile.ZipFile(archive) as opened:
            for name in opened.namelist():
                if not name.endswith("/") and name.lower().endswith(ENDINGS):
                    yield name, opened.read(name)
        return
    with tarfile.open(archive) as opened:
        for member in opened:
            if member.isfile() and member.name.lower().endswith(ENDINGS):
                file = opened.extractfile(member)
                yield member.name, file.read() if file else b""


def surveyed(path: Path, out: Path) -> tuple[str, str]:
    """What became of one file, and the last words of the command."""
    shutil.rmtree(out, ignore_errors=True)
    design, readings = (path, SHEET) if path.suffix == ".toml" else (DESIGN, path)
    more = [] if readings is SHEET else ["--cloud-unit", "mm"]
    if path.suffix in {".csv", ".tsv", ".xlsx"}:
        more = []
    command = [
        sys.executable, "-W", "always", "-m", "geom.cli", "survey", str(design),
        str(readings), *more, "--quiet", "--out", str(out),
    ]  # fmt: skip
    process = subprocess.Popen(
        command, cwd=ROOT, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT, preexec_fn=_limited,  # noqa: PLW1509
        env=dict(os.environ, OMP_NUM_THREADS="1"),
    )  # fmt: skip
    try:
        said = process.communicate(timeout=SECONDS)[0].decode("utf-8", "replace")
    except subprocess.TimeoutExpired:
        process.kill()
        return "hang", process.communicate()[0].decode("utf-8", "replace")[-300:]
    left = sorted(p.name for p in out.parent.glob("*out*"))
    words = said.strip().splitlines()
    last = words[-1][:300] if words else ""
    if "MemoryError" in said or "std::bad_alloc" in said:
        return "memory", last
    if "Traceback" in said or "Warning:" in said or process.returncode not in {0, 2}:
        return "traceback", f"exit {process.returncode}: {last}"
    if process.returncode == 2:
        return ("half", f"left {left}") if left else ("refused", last)
    whole = (out / "findings.json").is_file() and (out / "repair-sheet.pdf").is_file()
    return ("accepted", last) if whole and left == [out.name] else ("half", str(left))


def _limited() -> None:
    resource.setrlimit(resource.RLIMIT_AS, (BYTES, BYTES))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def run(folder: Path, log: Path | None) -> int:
    """Survey every file; print a table of outcomes, and the faults."""
    import tempfile

    table: dict[str, collections.Counter[str]] = {}
    faults = []
    known = {}
    if log and log.exists():
        for line in log.read_text("utf-8").splitlines():
            became, name, words = line.split("\t", 2)
            known[name] = became, words
    with tempfile.TemporaryDirectory() as scratch:
        paths = sorted(folder.iterdir())
        # in any order, so that a part of a run says something of all
        random.Random(0).shuffle(paths)
        for path in paths:
            if path.name not in known:
                became, words = surveyed(path, Path(scratch) / "out")
                words = " ".join(words.split())
                if log:
                    with log.open("a", encoding="utf-8") as file:
                        file.write(f"{became}\t{path.name}\t{words}\n")
            else:
                became, words = known[path.name]
            kind = f"{path.name.split('-')[0]} {path.suffix.lower()}"
            table.setdefault(kind, collections.Counter())[became] += 1
            if became in FAULTS:
                faults.append(f"{became}: {path}: {words}")
    names = ("refused", "accepted", *FAULTS)
    print(f"{'files':16}" + "".join(f"{name:>11}" for name in names))
    for kind, counts in sorted(table.items()):
        print(f"{kind:16}" + "".join(f"{counts[name]:11d}" for name in names))
    total = sum(table.values(), collections.Counter())
    print(f"{'all':16}" + "".join(f"{total[name]:11d}" for name in names))
    print(*faults, sep="\n")
    return 1 if faults else 0


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("do", choices=("make", "run"))
    parser.add_argument("folder", type=Path)
    parser.add_argument("archives", nargs="*", type=Path)
    parser.add_argument("--each", type=int, default=40, help="mutants of each format")
    parser.add_argument(
        "--log",
        type=Path,
        help="a line for every file, as it goes; a file that has one is not run again",
    )
    options = parser.parse_args()
    if options.do == "make":
        count = make(options.folder, options.archives, options.each)
        print(f"{count} files in {options.folder}")
        return 0
    return run(options.folder, options.log)


if __name__ == "__main__":
    sys.exit(main())
