"""All files in one go."""

import ast
import hashlib
import json
import os
import re
import resource
import subprocess
import sys
from pathlib import Path

import pytest
from PIL import Image
from pypdf import PdfReader

import geom
import geom.views
from geom.atomic import atomic_directory
from geom.errors import InputError
from geom.views.names import FILES, STILL_VIEWS
from geom.views.outputs import write_files, write_stills

TWICE = """
import hashlib, json, pathlib, sys, tempfile
sys.path.insert(0, sys.argv[1])
from conftest import make_furnace
from geom.views.outputs import write_files
f = make_furnace(spacing=40.0)
folder = pathlib.Path(tempfile.mkdtemp(dir=sys.argv[2]))
paths = write_files(folder, f.readings, f.surface, f.findings, f.works)
print(json.dumps({p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in paths}))
"""


def write(furnace, folder, **options):
    made = (furnace.readings, furnace.surface, furnace.findings, furnace.works)
    return write_files(folder, *made, **options)


@pytest.fixture(scope="module")
def small(build):
    return build(spacing=40.0)


@pytest.fixture(scope="module")
def written(small, tmp_path_factory):
    """The paths, and what was ticked."""
    ticks = []
    made = (small.readings, small.surface, small.findings)
    folder = tmp_path_factory.mktemp("outputs")
    paths = geom.write_survey(folder, *made, works=small.works, tick=ticks.append)
    return paths, ticks


def test_every_file_is_written_and_ticked_once(written):
    paths, ticks = written
    assert [path.name for path in paths] == list(FILES)
    # what is drawn last is written last
    last = ["masonry.glb", "report.html", "repair-sheet.pdf"]
    assert ticks == [name for name in FILES if name not in last] + last
    assert sorted(p.name for p in paths[0].parent.iterdir()) == sorted(FILES)
    assert all(path.stat().st_size > 1000 for path in paths)


@pytest.mark.parametrize("limit", [2_000, 60_000, 300_000, 900_000])
def test_a_disk_that_takes_no_more_leaves_nothing(small, tmp_path, limit):
    """HDF5 ended the program where a file could not grow; others left half a file."""
    _ = small.works  # on the disk as it was
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, before[1]))
    try:
        with (
            pytest.raises(InputError, match="File too large"),
            atomic_directory(tmp_path / "out") as folder,
        ):
            write(small, folder)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert list(tmp_path.iterdir()) == []


def test_the_same_input_gives_the_same_bytes_in_another_process(written, tmp_path):
    here = {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in written[0]
    }
    there = subprocess.run(
        [sys.executable, "-c", TWICE, str(Path(__file__).parent), str(tmp_path)],
        env=os.environ | {"PYTHONHASHSEED": "77", "TZ": "Asia/Tokyo"},
        capture_output=True,
        text=True,
        check=True,
    )
    assert json.loads(there.stdout) == here


def test_no_picture_needs_a_screen():
    """No pyplot and no 3D rendering anywhere in the room but the window itself."""
    room = Path(geom.views.__file__).parent
    for path in {*room.glob("*.py")} - {room / "window.py"}:
        tree = ast.parse(path.read_text(encoding="utf-8"))
        named = {
            getattr(node, "attr", None) or getattr(node, "id", None)
            for node in ast.walk(tree)
        }
        imported = {
            name
            for node in ast.walk(tree)
            if isinstance(node, ast.Import | ast.ImportFrom)
            for name in [getattr(node, "module", None), *(a.name for a in node.names)]
        }
        assert not {"Plotter", "screenshot", "show"} & named, path
        assert not any(name and "pyplot" in name for name in imported), path


def test_a_survey_is_not_written_over_another_by_chance(small, written):
    folder = written[0][0].parent
    made = (small.readings, small.surface, small.findings)
    before = (folder / "findings.json").read_bytes()
    with pytest.raises(InputError, match="already holds files"):
        geom.write_survey(folder, *made, works=small.works)
    assert (folder / "findings.json").read_bytes() == before


def test_every_still_opens_in_every_form(furnace, tmp_path):
    ticked = []
    write_stills(
        tmp_path, furnace.readings, furnace.surface, furnace.findings,
        forms=("svg", "pdf", "svg"), tick=ticked.append,
    )  # fmt: skip
    assert ticked == ["drawing stills, svg", "drawing stills, pdf"]
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(
        f"still-{name}.{form}" for name in STILL_VIEWS for form in ("svg", "pdf")
    )
    for name in STILL_VIEWS:
        (page,) = PdfReader(tmp_path / f"still-{name}.pdf").pages
        assert page.mediabox.width > 500
        text = (tmp_path / f"still-{name}.svg").read_text()
        assert text.count("<path") > 50
        assert not re.search(r'(href|src)="(?!#|data:)', text)


def test_png_stills_are_named_apart_from_the_map_of_the_survey(furnace, tmp_path):
    write_stills(
        tmp_path, furnace.readings, furnace.surface, furnace.findings,
        forms=("png",), tick=str,
    )  # fmt: skip
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(
        f"still-{name}.png" for name in STILL_VIEWS
    )
    with Image.open(tmp_path / "still-map.png") as picture:
        assert picture.size[0] > 1000
