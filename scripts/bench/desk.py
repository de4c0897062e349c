"""How long a typed reading takes to its call: the whole way through `daubline desk`.

``python scripts/bench/desk.py`` opens the desk on sheets of 24, 96, 150 and 240
readings of an invented wall and sends twelve more as the page does, one by one, with
two hands: a quick one, and one so slow that a full fit is under way whenever the next
reading comes.  Told are milliseconds from sending a reading to the answer that holds
its call, and the seconds of one full fit.
"""

from __future__ import annotations

import argparse
import http.client
import json
import os
import re
import subprocess
import sys
import time
import uuid
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

import geom

ROOT = Path(__file__).resolve().parents[2]
DESIGN = ROOT / "scans" / "cupola-2.toml"
#: Azimuths and heights of each sheet.
SHEETS = {24: (6, 4), 96: (12, 8), 150: (15, 10), 240: (20, 12)}
MORE = 12
#: Seconds between two readings of each hand.
HANDS = {"quick": 0.15, "slow": 1.6}


def radius_text(design: geom.Design, azimuth: float, height: float) -> str:
    """What a rod reads on the invented wall, to 1/8 in; azimuth deg, height in."""
    burn = 1.6 * np.exp(-(((height - 38.0) / 9.0) ** 2))
    side = 1.0 + 0.4 * np.cos(np.deg2rad(azimuth - 200.0))
    drawn = float(design.profile.radius_at(height * 25.4)) / 25.4
    return f"{round((drawn + burn * side) * 8) / 8:.3f}"


def write_sheet(path: Path, design: geom.Design, count: int) -> None:
    around, up = SHEETS[count]
    rows = ["azimuth_deg,height_in,radius_in,note"]
    for height in np.round(np.linspace(30.0, 90.0, up), 1):
        for azimuth in np.round(np.arange(around) * 360.0 / around, 1):
            text = radius_text(design, float(azimuth), float(height))
            rows.append(f"{azimuth},{height},{text},")
    path.write_text("\n".join(rows) + "\n")


class Hand:
    """Sends readings as the page does."""

    def __init__(self, address: str) -> None:
        self.home = re.sub(r"http://|/", "", address)
        self.line = http.client.HTTPConnection(self.home, timeout=120)
        self.key = self.state()["sheet"]

    def state(self) -> dict:
        """The desk as the page is told it."""
        self.line.request("GET", "/state")
        return json.loads(self.line.getresponse().read())["state"]

    def until_full(self) -> float:
        """Seconds until the full fit is in."""
        start = time.perf_counter()
        while self.state()["fit"] != "full":
            time.sleep(0.05)
        return time.perf_counter() - start

    def send(self, azimuth: float, height: float, text: str) -> float:
        """Milliseconds to the call of a reading."""
        figures = {
            "id": uuid.uuid4().hex, "entry": uuid.uuid4().hex, "deed": "enter",
            "azimuth": f"{azimuth:g}", "height": f"{height:g}", "text": text,
            "note": "", "time": "2026-01-05T06:30:00Z",
        }  # fmt: skip
        body = json.dumps({"sheet": self.key, "events": [figures]})
        head = {"Content-Type": "application/json", "Origin": f"http://{self.home}"}
        start = time.perf_counter()
        self.line.request("POST", "/entries", body, head)
        answer = json.loads(self.line.getresponse().read())
        taken = 1000.0 * (time.perf_counter() - start)
        assert answer["verdicts"][0]["kept"], answer["verdicts"]
        assert answer["state"]["fit"] in ("quick", "full")
        return taken


def measured(count: int, pause: float, folder: Path) -> tuple[float, float, float]:
    """Median and worst milliseconds, and seconds of a full fit with its pause."""
    design = geom.load_design(DESIGN)
    sheet = folder / f"{count}.csv"
    write_sheet(sheet, design, count)
    called = [sys.executable, "-m", "geom.cli", "desk", str(DESIGN)]
    called += ["--sheet", str(sheet), "--port", "0"]
    with subprocess.Popen(
        called, cwd=ROOT, stdout=subprocess.PIPE, text=True, env=os.environ
    ) as server:
        try:
            assert server.stdout is not None
            found = (re.search(r"http://\S+", line) for line in server.stdout)
            hand = Hand(next(one.group() for one in found if one))
            hand.until_full()
            taken = []
            for k in range(MORE):
                azimuth, height = 5.0 + 28.0 * k, 33.0 + 4.5 * k
                text = radius_text(design, azimuth, height)
                taken.append(hand.send(azimuth, height, text))
                time.sleep(pause)
            fit = hand.until_full() if pause < 1.0 else float("nan")
        finally:
            server.terminate()
    return float(np.median(taken)), max(taken), fit


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--counts", default=",".join(map(str, SHEETS)))
    counts = [int(word) for word in parser.parse_args().counts.split(",")]
    load = ", ".join(f"{part:.1f}" for part in os.getloadavg())
    print(f"{os.cpu_count()} processors, load {load}")
    print("readings  hand   median ms  worst ms  to the full fit s")
    with TemporaryDirectory() as folder:
        for count in counts:
            for name, pause in HANDS.items():
                median, worst, fit = measured(count, pause, Path(folder))
                remark = "" if np.isnan(fit) else f"{fit:17.2f}"
                print(f"{count:8d}  {name:5s}  {median:9.0f}  {worst:8.0f}  {remark}")


if __name__ == "__main__":
    main()
