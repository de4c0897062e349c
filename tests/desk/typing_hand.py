"""A process that types readings into a sheet and says each that is kept.

``python -m tests.desk.typing_hand SHEET FIRST COUNT``
"""

from __future__ import annotations

import sys
from pathlib import Path

from geom.desk.sheet import SheetFile
from tests.desk.events import event
from tests.walls import plain_design


def main() -> None:
    path, first, count = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
    sheet = SheetFile(path, plain_design())
    print("ready", flush=True)
    for k in range(first, first + count):
        one = event(k, azimuth=str(k % 360), text=f"{450 + k % 90}")
        if all(verdict.kept for verdict in sheet.take([one])):
            print(one.entry, flush=True)


if __name__ == "__main__":
    main()
