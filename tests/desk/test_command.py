"""``daubline desk``: what it says when it opens, and what it refuses before."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from geom.cli import main
from tests.desk.events import event

DEMO = Path(__file__).resolve().parents[2] / "scans" / "cupola-2.toml"


@pytest.fixture
def opened(monkeypatch):
    """The desks that would have been served."""
    desks = []

    def serve(desk, listener, guard):
        desks.append((desk, guard))

    monkeypatch.setattr("geom.desk.server.serve", serve)
    return desks


def desk(sheet: Path, *more: str) -> int:
    return main(["desk", str(DEMO), "--sheet", str(sheet), "--port", "0", *more])


def test_it_stands_on_this_machine_alone_and_says_where(tmp_path, opened, capsys):
    assert desk(tmp_path / "a.csv") == 0
    told = capsys.readouterr().out
    assert "http://127.0.0.1:" in told
    assert "Caution" in told
    assert "Warning" not in told
    assert "key=" not in told
    assert opened[0][1].host == "127.0.0.1"


def test_on_a_network_it_warns_and_gives_the_address_a_new_key(
    tmp_path, opened, capsys
):
    keys = set()
    for _ in range(2):
        assert desk(tmp_path / "a.csv", "--host", "0.0.0.0") == 0
        told = " ".join(capsys.readouterr().out.split())
        guard = opened[-1][1]
        assert "whoever has the address below can read and write this sheet" in told
        assert f":{guard.port}/?key={guard.key} in a browser" in told
        assert "//0.0.0.0" not in told
        keys.add(guard.key)
    assert len(keys) == 2
    assert min(map(len, keys)) >= 16


def test_a_sheet_that_is_there_is_continued(tmp_path, opened, capsys):
    sheet = tmp_path / "a.csv"
    sheet.write_text("azimuth_deg,height_in,radius_in\n0,48,18 1/4\n")
    assert desk(sheet) == 0
    assert "1 reading\n" in capsys.readouterr().out


def test_closed_it_names_a_sheet_only_if_there_is_one(tmp_path, monkeypatch, capsys):
    def typed(desk, listener, guard):
        desk.take([event(1, "0", "48", "18 1/4")])
        raise KeyboardInterrupt

    def closed(desk, listener, guard):
        raise KeyboardInterrupt

    sheet = tmp_path / "a.csv"
    monkeypatch.setattr("geom.desk.server.serve", closed)
    assert desk(sheet) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "Closed. No reading was typed" in told
    assert "is in" not in told.partition("Closed.")[2]
    monkeypatch.setattr("geom.desk.server.serve", typed)
    assert desk(sheet) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "Closed. Every reading that was kept is in" in told
    assert sheet.exists()


def test_without_its_libraries_it_says_what_to_install(
    tmp_path, opened, capsys, monkeypatch
):
    monkeypatch.setitem(sys.modules, "starlette", None)
    assert desk(tmp_path / "a.csv") == 2
    assert "pip install 'daubline[desk]'" in capsys.readouterr().err
    assert opened == []


@pytest.mark.parametrize(
    ("content", "said"),
    [("rubbish\n1\n", "column"), ("azimuth_deg,height_in,radius_in\n0,48,99\n", "99")],
)
def test_a_sheet_that_cannot_be_read_is_refused(
    tmp_path, opened, capsys, content, said
):
    sheet = tmp_path / "a.csv"
    sheet.write_text(content)
    assert desk(sheet) == 2
    assert said in capsys.readouterr().err
    assert sheet.read_text() == content
    assert opened == []


def test_a_port_that_is_none_is_usage():
    with pytest.raises(SystemExit) as left:
        main(["desk", str(DEMO), "--sheet", "a.csv", "--port", "70000"])
    assert left.value.code == 2
