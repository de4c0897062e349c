"""The main job on the demo survey: ``python3 scripts/demo.py``.

Needs only Python and pip: the first run makes ``.venv`` and installs the package.
"""

import own_venv

DESIGN = "scans/cupola-2.toml"
SHEET = "scans/cupola-2-heat-41.csv"
OUT = "out-demo"


def demo(arguments: list) -> int:
    own_venv.own_python()
    daubline = own_venv.tool("daubline")
    code = own_venv.run(
        daubline, "survey", DESIGN, SHEET, "--out", OUT, "--overwrite", *arguments
    )
    if code == 0:
        folder = own_venv.ROOT / OUT
        print(f"\nLook at {folder / 'report.html'} (any browser, no network),")
        print(f"{folder / 'repair-sheet.pdf'} and {folder / 'map.png'}.")
        print("In this terminal the commands of README and docs run as printed after")
        print(". .venv/bin/activate (on Windows: .venv\\Scripts\\activate)")
        print("The furnace and its readings are invented: see scans/README.md.")
    return code


own_venv.main(demo)
