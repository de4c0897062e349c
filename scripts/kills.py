"""Killed at any moment: nothing reported saved is lost, nothing is mixed or left.

``python scripts/kills.py FOLDER [--kills N]`` starts ``survey``, ``recheck``,
``change``, ``record add`` and ``desk`` in turn, kills each with SIGKILL or SIGTERM at a
random moment (seeded), and looks at what stands there:

- an output folder holds every file of the run before or every file of this one;
- a record passes ``record check`` and holds every survey that was reported saved;
- a sheet holds every reading that the desk said it kept;
- SIGTERM leaves with 143 (or 0, if it was done) and nothing hidden behind;
- after one more whole run into the same place nothing hidden is left at all; a record,
  which others may be writing to over a network, clears what is older than an hour.

The furnace is a low one that is invented here.

It prints a table, and ends with 1 if anything was not so.  Run it in ``.venv``, by
hand.
"""

from __future__ import annotations

import argparse
import collections
import http.client
import json
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from hashlib import sha256
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
#: A low furnace: seconds a survey, so that a few hundred kills are an hour or two.
LOW = """[lining]
name = "Low cupola (invented)"
length_unit = "mm"
azimuth_zero = "tap hole"
azimuth_sense = "clockwise"
height_zero = "bottom plate"
[shell]
radius = 350
[[profile]]
height = 0
radius = 230
[[profile]]
height = 240
radius = 230
"""
#: Files of which only the name is compared, and how the others write a time.
PACKED = {".nc", ".html", ".pdf"}
TIME = re.compile(rb"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\+00:00|Z)?")
#: Titles of the two runs that are told apart.
TITLES = ("the run before", "this run")


class Faulty(Exception):
    """Something is not as it has to be."""


def low_furnace(base: Path) -> tuple[Path, Path, Path]:
    """Its drawing, a sheet of it, and one from after a repair."""
    design = base / "low.toml"
    design.write_text(LOW, "utf-8")
    sheets = []
    for name, back in (("before", 14), ("after", 3)):
        rows = ["azimuth_deg,height_mm,radius_mm"]
        for place, height in enumerate((10, 85, 155, 230)):
            for azimuth in range(0, 360, 45):
                deep = back + (azimuth // 45 * 5 + place * 3) % 7
                rows.append(f"{azimuth},{height},{230 + deep}")
        sheets.append(base / f"{name}.csv")
        sheets[-1].write_text("\n".join(rows) + "\n", "utf-8")
    return design, *sheets


def command(*words: object) -> list[str]:
    return [sys.executable, "-m", "geom.cli", *map(str, words)]


def started(words: list[str], log: Path | None = None):
    out = subprocess.DEVNULL if log is None else log.open("wb")
    env = dict(os.environ, OMP_NUM_THREADS="1")
    return subprocess.Popen(
        words, cwd=ROOT, env=env, stdout=out, stderr=subprocess.STDOUT,
        start_new_session=True,
    )  # fmt: skip


def whole(words: list[str]) -> float:
    """Run to the end; seconds."""
    begun = time.monotonic()
    if code := started(words).wait():
        raise Faulty(f"exit {code}: {' '.join(words)}")
    return time.monotonic() - begun


def digest(folder: Path) -> str:
    """Of every file below a folder by name, and by content but for the time of it.

    Of pages, papers and NetCDF, which pack their time away, the name alone.
    """
    total = sha256()
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        content = b"" if path.suffix in PACKED else TIME.sub(b"", path.read_bytes())
        total.update(str(path.relative_to(folder)).encode() + content)
    return total.hexdigest()


def hidden(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir() if p.name.startswith("."))


def ended(process: subprocess.Popen[bytes], how: int, after: float) -> int:
    """Kill a command so long after its start; its exit code."""
    try:
        process.wait(after)
    except subprocess.TimeoutExpired:
        process.send_signal(how)
    return process.wait(120)


class OutputFolder:
    """A command that replaces an output folder."""

    def __init__(self, base: Path, words: Callable[[Path], list[str]]) -> None:
        self.base, self.words = base, words
        base.mkdir(parents=True)
        self.out = base / "out"
        self.known = {}
        for title in TITLES:
            self.lasts = whole([*words(self.out), "--title", title])
            self.known[digest(self.out)] = title

    def kill(self, how: int, rng: random.Random) -> str:
        """Start it, kill it at some moment, and look."""
        title, before = TITLES[rng.randrange(2)], set(hidden(self.base))
        said = self.base / "said.txt"
        process = started([*self.words(self.out), "--title", title], log=said)
        code = ended(process, how, rng.uniform(0.0, 1.1 * self.lasts))
        stands = self.out
        if not stands.exists():
            # between the two renames of the swap: the old one waits, whole
            old = [p for p in self.base.iterdir() if p.suffix == ".old"]
            if how == signal.SIGTERM or len(old) != 1:
                raise Faulty("the folder is gone")
            (stands,) = old
        if digest(stands) not in self.known:
            raise Faulty("the folder holds neither the old run nor the new one")
        if code == 0 and self.known[digest(stands)] != title:
            raise Faulty("done, and the old run stands there")
        # -15: before Python could ask for the signal, when nothing was done yet
        gone = how == signal.SIGTERM
        left = set(hidden(self.base)) - before
        if gone and (code not in {0, 143, -15} or left):
            words = said.read_text("utf-8", "replace")[-2000:]
            raise Faulty(f"SIGTERM: exit {code}, left {sorted(left)}, said {words}")
        return "done" if code == 0 else "killed"

    def close(self) -> None:
        """See what is left in the end."""
        whole([*self.words(self.out), "--title", TITLES[0]])
        if hidden(self.base):
            raise Faulty(f"left behind: {hidden(self.base)}")


class RecordFolder:
    """Surveys added to a record."""

    def __init__(self, base: Path, design: Path, survey: Path) -> None:
        base.mkdir(parents=True)
        self.base, self.survey, self.heat = base, survey, 0
        self.record = base / "record"
        whole(command("record", "start", self.record, design))
        self.lasts = whole(self.words(0))
        self.saved = {0}

    def words(self, heat: int) -> list[str]:
        """Of the command that adds a heat."""
        return command(
            "record", "add", "--heat", heat, "--date", "2026-01-05",
            "--stage", "before-repair", self.record, self.survey,
        )  # fmt: skip

    def kill(self, how: int, rng: random.Random) -> str:
        """Start it, kill it at some moment, and look."""
        self.heat += 1
        log = self.base / "said.txt"
        process = started(self.words(self.heat), log=log)
        code = ended(process, how, rng.uniform(0.0, 1.1 * self.lasts))
        if code == 0:
            self.saved.add(self.heat)
        held = self.held()
        if missing := self.saved - held:
            raise Faulty(f"reported saved and not there: {sorted(missing)}")
        self.saved |= held
        return "done" if code == 0 else "killed"

    def held(self) -> set[int]:
        """Heats in the record, which is sound."""
        from geom.record.store.store import check_record, open_record

        if faults := check_record(self.record):
            raise Faulty(str(faults))
        return {one.heat for one in open_record(self.record).occasions}

    def close(self) -> None:
        """See what is left in the end."""
        whole(command("record", "check", self.record))


class Desk:
    """Readings typed at the desk while it is killed."""

    def __init__(self, base: Path, design: Path) -> None:
        base.mkdir(parents=True)
        self.sheet, self.base, self.design = base / "rod.csv", base, design
        self.number, self.kept = 0, set()
        self.lasts = 3.0

    def kill(self, how: int, rng: random.Random) -> str:
        """Start it, kill it at some moment, and look."""
        log = self.base / "said.txt"
        log.unlink(missing_ok=True)
        words = command("desk", self.design, "--sheet", self.sheet, "--port", 0)
        process = started(words, log=log)
        try:
            until = None
            for address, key in opened(log, process):
                until = until or time.monotonic() + rng.uniform(0.0, self.lasts)
                if time.monotonic() > until:
                    # a last one, which is on its way when the desk is killed
                    self.type(address, key, wait=rng.uniform(0.0, 0.02))
                    break
                self.type(address, key)
        except (OSError, http.client.HTTPException) as fault:
            raise Faulty(f"the desk does not answer: {fault}") from fault
        finally:
            code = ended(process, how, 0.0)
        self.look()
        if how == signal.SIGTERM and code not in {0, 143, -15}:
            raise Faulty(f"SIGTERM: exit {code}")
        return "killed"

    def type(self, address: str, key: str, *, wait: float | None = None) -> None:
        """Type one reading, and note whether it is said to be kept.

        With ``wait``, s, the answer is not waited for, but so long.
        """
        self.number += 1
        text = str(232 + self.number % 14)
        height = f"{20 + self.number / 100:.2f}"
        event = {
            "id": f"deed-{self.number:06d}", "entry": f"reading-{self.number:06d}",
            "deed": "enter", "azimuth": str(self.number * 7 % 360), "height": height,
            "text": text, "note": "", "time": "2026-01-05T06:30:00.000Z",
        }  # fmt: skip
        link = http.client.HTTPConnection(address, timeout=60)
        head = {"Origin": f"http://{address}", "Content-Type": "application/json"}
        body = json.dumps({"sheet": key, "events": [event]})
        link.request("POST", "/entries", body, head)
        if wait is not None:
            time.sleep(wait)
            return
        answer = json.loads(link.getresponse().read())
        if answer["verdicts"][0]["kept"]:
            self.kept.add((event["azimuth"], height, text))

    def look(self) -> None:
        """See whether all that was said to be kept stands in the sheet."""
        text = self.sheet.read_text("utf-8") if self.sheet.exists() else ""
        held = {tuple(line.split(",")[:3]) for line in text.splitlines()}
        if missing := self.kept - held:
            raise Faulty(f"said to be kept and not there: {sorted(missing)[:3]}")

    def close(self) -> None:
        """See that anything was kept at all."""
        if len(self.kept) < 10:
            raise Faulty(f"only {len(self.kept)} readings were kept")
        print(f"readings that the desk said it kept: {len(self.kept)}")
        from geom.design import load_design
        from geom.desk.sheet import SheetFile

        SheetFile(self.sheet, load_design(self.design))
        if hidden(self.base):
            raise Faulty(f"left beside the sheet: {hidden(self.base)}")


def opened(log: Path, process: subprocess.Popen[bytes]) -> Iterator[tuple[str, str]]:
    """Address and key of a desk once it is open, again and again."""
    found = None
    for _ in range(600):
        said = log.read_text("utf-8") if log.exists() else ""
        if found := re.search(r"http://(127\.0\.0\.1:\d+)", said):
            break
        if process.poll() is not None:
            raise Faulty(f"the desk did not open: {said[-300:]}")
        time.sleep(0.1)
    if found is None:
        raise Faulty("the desk did not open within a minute")
    link = http.client.HTTPConnection(found[1], timeout=60)
    link.request("GET", "/state", headers={"Host": found[1]})
    key = json.loads(link.getresponse().read())["state"]["sheet"]
    while True:
        yield found[1], key


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=0)
    options = parser.parse_args()
    base = options.folder.resolve()
    shutil.rmtree(base, ignore_errors=True)
    base.mkdir(parents=True)
    design, before, after = low_furnace(base)
    one, two = base / "one", base / "two"
    whole(command("survey", design, before, "--quiet", "--out", one))
    whole(command("survey", design, after, "--quiet", "--out", two))
    words = {
        "survey": ("survey", design, before),
        "recheck": ("recheck", design, after, "--before", one),
        "change": ("change", design, one, two),
    }
    jobs: dict[str, OutputFolder | RecordFolder | Desk] = {
        name: OutputFolder(
            base / name,
            lambda out, do=do: command(*do, "--quiet", "--overwrite", "--out", out),
        )
        for name, do in words.items()
    }
    jobs["record"] = RecordFolder(base / "record", design, one)
    jobs["desk"] = Desk(base / "desk", design)
    rng = random.Random(options.seed)
    table = {name: collections.Counter() for name in jobs}
    faults = []
    for number in range(options.kills):
        name = list(jobs)[number % len(jobs)]
        how = (signal.SIGKILL, signal.SIGTERM)[rng.randrange(2)]
        try:
            became = jobs[name].kill(how, rng)
        except Faulty as fault:
            became = "FAULT"
            faults.append(f"{name}, {how.name}, kill {number}: {fault}")
        table[name][became] += 1
        said = faults[-1:] if became == "FAULT" else ()
        print(number, name, how.name, became, *said, flush=True)
    for name, job in jobs.items():
        try:
            job.close()
        except Faulty as fault:
            faults.append(f"{name}, at the end: {fault}")
    for name, counts in table.items():
        print(f"{name:10}", dict(counts))
    print(*faults, sep="\n")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
