"""README and docs: what they print is what comes out, what they name is there."""

from __future__ import annotations

import argparse
import doctest
import importlib
import re
import shlex
import shutil
import sys
import tomllib
from pathlib import Path
from types import ModuleType

import pytest

import geom
from geom.cli.main import main, parser

ROOT = Path(__file__).resolve().parents[1]
DOCS = ROOT / "docs"
PAGES = [
    ROOT / "README.md",
    ROOT / "DEVELOPERS.md",
    ROOT / "scans" / "README.md",
    *sorted(DOCS.rglob("*.md")),
]
TEXT = {page.relative_to(ROOT).as_posix(): page.read_text("utf-8") for page in PAGES}
FOREMAN = TEXT["docs/tutorials/foreman.md"]

every_page = pytest.mark.parametrize("page", TEXT)


def script(name: str) -> ModuleType:
    """A program of scripts/ as a module."""
    sys.path.insert(0, str(ROOT / "scripts"))
    try:
        return importlib.import_module(name)
    finally:
        sys.path.remove(str(ROOT / "scripts"))


@pytest.fixture(scope="module")
def printed() -> ModuleType:
    """Reads commands and files out of a page's text; runs all of them, in minutes."""
    return script("printed")


# --- paths ---------------------------------------------------------------------------


def nowhere(text: str, folder: Path) -> list[str]:
    """Links and paths of a page in a folder that lead nowhere."""
    links = (link for link in re.findall(r"\]\(([^)#]+)\)", text) if "://" not in link)
    named = re.findall(
        r"(?<![\w/.-])(?:scans|docs|scripts|tests|geom)/[\w./-]*\w", text
    )
    return [link for link in links if not (folder / link).exists()] + [
        path for path in named if not (ROOT / path).exists()
    ]


@every_page
def test_every_path_a_page_prints_is_there(page: str) -> None:
    assert nowhere(TEXT[page], (ROOT / page).parent) == []


def test_a_path_that_leads_nowhere_is_seen() -> None:
    text = TEXT["README.md"]
    for old in ("scripts/demo.py", "docs/howto/install.md)", "docs/pictures/map.png"):
        assert nowhere(text.replace(old, "docs/no.md" + old[-1:]), ROOT) != []


def test_anchors_of_links_are_headings() -> None:
    def slug(heading: str) -> str:
        return re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-")

    heads = {
        page: {slug(h) for h in re.findall(r"^#+ (.+)$", text, re.MULTILINE)}
        for page, text in TEXT.items()
    }
    wrong = [
        f"{page}: {target}#{anchor}"
        for page, text in TEXT.items()
        for target, anchor in re.findall(r"\]\(([^)#:]*\.md)?#([^)]+)\)", text)
        if anchor not in heads[led_to(page, target)]
    ]
    assert wrong == []
    assert "the-shops-numbers" in heads["docs/file-formats.md"]


def led_to(page: str, target: str) -> str:
    """Name of the page that a link of a page leads to."""
    if not target:
        return page
    return (ROOT / page).parent.joinpath(target).resolve().relative_to(ROOT).as_posix()


def test_every_extra_that_is_printed_is_one() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    shown = {
        extra
        for text in TEXT.values()
        for names in re.findall(r"'\.\[([\w,]+)\]'", text)
        for extra in names.split(",")
    }
    assert {"desk", "e57"} <= shown
    told = set(
        re.findall(r"^\| ((?:`\w+`, )*`\w+`) \|", TEXT["docs/howto/install.md"], re.M)
    )
    every = {name.strip("`") for row in told for name in row.split(", ")}
    assert shown <= every == set(project["optional-dependencies"])


# --- the site ------------------------------------------------------------------------


def test_every_page_is_in_the_menu_once() -> None:
    menus = re.findall(r"```\{toctree\}\n(.*?)```", TEXT["docs/index.md"], re.DOTALL)
    listed = [
        line
        for menu in menus
        for line in menu.splitlines()
        if line and not line.startswith(":")
    ]
    made = {"gallery/index", "api/index", "developers"}
    pages = {
        page.relative_to(DOCS).with_suffix("").as_posix() for page in DOCS.rglob("*.md")
    }
    assert sorted(listed) == sorted(pages - {"index"} | made)


def test_every_name_of_the_face_has_one_entry() -> None:
    entries = [
        name
        for page in sorted((DOCS / "api").glob("*.rst"))
        for name in re.findall(r"^\.\. auto\w+:: geom\.(\w+)$", page.read_text(), re.M)
    ]
    assert sorted(entries) == sorted(set(geom.__all__) - {"__version__"})
    menu = (DOCS / "api" / "index.rst").read_text("utf-8")
    assert all(f"   {page.stem}\n" in menu for page in (DOCS / "api").glob("[!i]*.rst"))


def test_the_site_is_built_from_a_copy_and_nothing_lands_beside_the_pages(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    builder = script("docs")
    copy = builder.copied(tmp_path / "copy")
    assert {page.relative_to(DOCS) for page in DOCS.rglob("*.md")} < {
        page.relative_to(copy) for page in copy.rglob("*.md")
    }
    assert (copy / "developers.md").read_text("utf-8") == TEXT["DEVELOPERS.md"]
    assert (copy / "../scans/cupola-5.toml").is_file()
    with pytest.raises(SystemExit):
        builder.docs(["--here", "--out", str(DOCS / "site")])
    assert "under .docs alone" in capsys.readouterr().err
    assert not (DOCS / "site").exists()


# --- programs ------------------------------------------------------------------------


def test_programs_of_the_python_page_run_and_print_what_is_said(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
) -> None:
    text = TEXT["docs/python.md"]
    found = re.search(r"```python\n(.*?)```\n\n```\n(.*?)```", text, re.DOTALL)
    assert found is not None
    monkeypatch.chdir(ROOT)
    names: dict[str, object] = {}
    exec(compile(found[1], "python.md", "exec"), names)
    assert capsys.readouterr().out == found[2]
    monkeypatch.chdir(tmp_path)
    for block in re.findall(r"```python\n(.*?)```", text[found.end() :], re.DOTALL):
        exec(compile(block, "python.md", "exec"), names)
    printed = capsys.readouterr().out.splitlines()
    assert re.fullmatch(r"[\d.]+ mm \+- [\d.]+ \([\d.]+ to [\d.]+\)", printed[0])
    assert printed[2:] == ["tap hole clockwise", "3:30"]
    made = {file.name for file in tmp_path.iterdir()}
    assert made == {"wall.png", "lining.vtu", "zones.xlsx", "zones.dxf", "profile.dxf"}


@pytest.mark.parametrize("page", [page for page in TEXT if ">>> " in TEXT[page]])
def test_sessions_of_a_page_say_what_comes_out(
    page: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(ROOT)
    failed, tried = doctest.testfile(str(ROOT / page), module_relative=False)
    assert tried > 0
    assert failed == 0


def test_every_file_that_is_told_to_be_written_is() -> None:
    from geom.views.names import FILES

    text = TEXT["docs/howto/survey-options.md"]
    table = text.split("| file | what |")[1].split("\n\n")[0]
    told = {
        name if name.startswith("l") or name[0] != "." else f"lining{name}"
        for name in re.findall(r"`([\w.-]+\.\w+|\.\w+)`", table)
    }
    assert told == set(FILES)


# --- commands ------------------------------------------------------------------------

#: Run here as they are printed; ``scripts/printed.py`` runs all of them, in minutes.
RUN_HERE = (
    ("README.md", ("design", "check")),
    ("docs/tutorials/foreman.md", ("design", "sheet", "check", "strickle")),
    ("docs/howto/plan-repair.md", ("day", "strickle")),
)


def files_of(options: argparse.Namespace) -> tuple[set[Path], set[Path]]:
    """What a command needs to be there, and what is there after it."""
    starts = options.command == "survey" or getattr(options, "of_record", "") in (
        "start",
        "log",
    )
    written = {"new", "out", "sheet", *(["record"] if starts else [])}
    needed, made = set(), set()
    for key, value in vars(options).items():
        paths = {
            path
            for path in (value if isinstance(value, list) else [value])
            if isinstance(path, Path)
        }
        (made if key in written else needed).update(paths)
    return needed, made


def lacking(text: str, printed: ModuleType) -> list[str]:
    """What the commands of a page need that is not there when their turn comes."""
    made = {Path(name) for name in printed.saved(text)}
    lacks = []
    for words in printed.commands(text):
        options = parser().parse_args(words[1:])
        needed, new = files_of(options)
        for path in sorted(needed):
            by_command = any(path.is_relative_to(one) for one in made)
            if not (by_command or (ROOT / path).is_file()):
                lacks.append(f"{path} for {shlex.join(words)}")
        if getattr(options, "out", None) in made:
            lacks.append(f"{options.out} is not new for {shlex.join(words)}")
        made |= new
    return lacks


@every_page
def test_every_command_a_page_prints_is_one_and_has_its_files(
    page: str, printed: ModuleType
) -> None:
    assert lacking(TEXT[page], printed) == []


@pytest.mark.parametrize(
    ("old", "new", "count"),
    [
        ("Save it as `cupola-7-heat-12.csv`", "Here it is", 3),
        ("--new cupola-7.toml", "--new cupola-8.toml", 9),
        ("--out heat-12-settled", "--out heat-12-after", 1),
        ("--before heat-12 \\\n    --out heat-12-after", "--before h --out h-after", 1),
    ],
)
def test_a_command_without_its_files_or_out_of_its_order_is_seen(
    printed: ModuleType, old: str, new: str, count: int
) -> None:
    assert old in FOREMAN
    assert len(lacking(FOREMAN.replace(old, new), printed)) == count


def test_a_command_that_is_none_is_seen(
    printed: ModuleType, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit):
        lacking(FOREMAN.replace("--before heat-12", "--befor-e heat-12"), printed)
    assert "required: --before" in capsys.readouterr().err


def test_the_pages_show_every_command_that_a_clone_can_run(printed: ModuleType) -> None:
    shown = {words[1] for text in TEXT.values() for words in printed.commands(text)}
    every = set(parser()._subparsers._group_actions[0].choices)
    assert every - shown == {"view"}  # which opens a window, and stands in the text
    assert "`daubline view DESIGN DIR`" in TEXT["docs/howto/survey-options.md"]


def test_what_a_page_says_is_printed_is_held_against_its_command(
    printed: ModuleType, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    page = "```\ndaubline record list x\n```\n\n```text\nSurveys  0\n```\n"
    assert printed.said(page) == {
        ("daubline", "record", "list", "x"): ["Surveys  0"],
    }
    assert len(printed.said(FOREMAN)) == 3
    assert printed.run(["daubline", "--version"], tmp_path, ["daubline  0"]) == 1
    assert "not said: daubline  0" in capfd.readouterr().out
    version = f"daubline {geom.__version__}"
    assert printed.run(["daubline", "--version"], tmp_path, [version]) == 0


@pytest.mark.parametrize(("page", "wanted"), RUN_HERE, ids=[p for p, _ in RUN_HERE])
def test_the_quick_commands_of_a_page_run_as_printed(
    page: str,
    wanted: tuple[str, ...],
    printed: ModuleType,
    tmp_path: Path,
    request: pytest.FixtureRequest,
) -> None:
    shutil.copytree(ROOT / "scans", tmp_path / "scans")
    if "day" in wanted:
        demo = request.getfixturevalue("demo_survey")
        (tmp_path / "heat-41").symlink_to(demo)
    for name, content in printed.saved(TEXT[page]).items():
        (tmp_path / name).write_text(content, "utf-8")
    request.getfixturevalue("monkeypatch").chdir(tmp_path)
    ran = []
    for words in printed.commands(TEXT[page]):
        needed, made = files_of(parser().parse_args(words[1:]))
        if words[1] in wanted and all(path.exists() for path in needed):
            assert main(words[1:]) == 0
            assert all(path.exists() for path in made)
            ran.append(words[1])
    assert set(ran) == set(wanted)
