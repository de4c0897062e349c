"""The docs as a site: ``python3 scripts/docs.py [--out DIR] [--here] [--quick]``.

Needs only Python and pip: the first run makes ``.venv`` and installs what the site
needs.  The site is written to ``.docs/html`` in the checkout, or to DIR; ``--here``
builds it with the Python that runs this script, which has to have the package and its
extra ``docs``.  Warnings are errors; nothing is fetched.  A minute or two: every
example is run, but with ``--quick``, which shows them without their pictures.
"""

import argparse
import os
import shutil
import sys
from pathlib import Path

import own_venv

#: What the pages lead to, copied beside them.
BESIDE = ("README.md", "scans")


def copied(folder: Path) -> Path:
    """Copy the pages and what they lead to; give the folder of the copied pages."""
    shutil.rmtree(str(folder), ignore_errors=True)
    folder.mkdir(parents=True)
    for name in ("docs", *BESIDE):
        source = own_venv.ROOT / name
        if source.is_dir():
            passed = shutil.ignore_patterns("__pycache__")
            shutil.copytree(str(source), str(folder / name), ignore=passed)
        else:
            shutil.copy2(str(source), str(folder / name))
    page = folder / "docs" / "developers.md"
    shutil.copy2(str(own_venv.ROOT / "DEVELOPERS.md"), str(page))
    return folder / "docs"


def docs(arguments: list) -> int:
    asked = argparse.ArgumentParser(prog="docs.py", description=__doc__.split("\n")[0])
    asked.add_argument("--out", metavar="DIR", type=Path)
    asked.add_argument("--here", action="store_true")
    asked.add_argument("--quick", action="store_true")
    told = asked.parse_args(arguments)
    work = own_venv.ROOT / ".docs"
    out = told.out.absolute() if told.out else work / "html"
    if own_venv.ROOT in out.parents and work not in out.parents:
        asked.error(f"{told.out}: in the checkout the site goes under .docs alone")
    python = Path(sys.executable) if told.here else own_venv.own_python("docs")
    pages = copied(work / "copy")
    shutil.rmtree(str(work / "html"), ignore_errors=True)
    paths = [str(own_venv.ROOT), *filter(None, [os.environ.get("PYTHONPATH")])]
    os.environ["PYTHONPATH"] = os.pathsep.join(paths)
    code = own_venv.run(
        python, "-m", "sphinx", "-b", "html", "-W", "--keep-going", "-n", "-q", "-E",
        "-D", f"plot_gallery={int(not told.quick)}", "-d", work / "doctrees",
        pages, out,
    )  # fmt: skip
    print(f"Look at {out / 'index.html'}" if code == 0 else "The site has faults.")
    return code


if __name__ == "__main__":
    own_venv.main(docs)
