"""A sheet and its deeds in one text: nothing typed is lost, nothing counts twice."""

from __future__ import annotations

from dataclasses import replace

import pytest

from geom import InputError, load_readings
from geom.desk.entries import escape_formula, read_event
from geom.desk.sheet import SheetFile, read_sheet
from tests.desk.events import TIME, event, message, spread
from tests.walls import plain_design, tapered_design

DESIGN = plain_design()


def texts(sheet) -> list[tuple[str, ...]]:
    return [entry.texts for entry in sheet.active]


def test_a_new_sheet_is_what_the_reader_of_rod_sheets_reads(tmp_path):
    path = tmp_path / "a.csv"
    sheet = SheetFile(path, DESIGN)
    assert not path.exists()
    sheet.take(
        [event(1, "0", "600", "455", "soft, wet"), event(2, "30", "600", "456.5")]
    )
    readings = load_readings(path, DESIGN)
    assert readings.value.tolist() == [455.0, 456.5]
    assert readings.azimuth.tolist() == [0.0, 30.0]
    assert readings.note == ("soft, wet", "")
    assert readings.kind == ("radius", "radius")


def test_fractions_are_kept_as_typed(tmp_path):
    path = tmp_path / "a.csv"
    design = plain_design(length_unit="in")
    SheetFile(path, design).take(
        [event(1, "0", "24", "17-5/8"), event(2, "15", "24", "18⅜")]
    )
    rows = [line for line in path.read_text("utf-8").split("\n") if line[:1] != "#"]
    assert rows[:3] == [
        "azimuth_deg,height_in,radius_in,note",
        "0,24,17-5/8,",
        "15,24,18⅜,",
    ]
    assert load_readings(path, design).value == pytest.approx([447.675, 466.725])


def test_the_desks_readings_are_those_of_the_file(tmp_path):
    path = tmp_path / "a.csv"
    sheet = SheetFile(path, DESIGN)
    sheet.take([*spread(20), event(99, kind="withdraw", entry=3)])
    _, ours = sheet.readings()
    theirs = load_readings(path, DESIGN)
    for name in ("azimuth", "height", "value", "step"):
        assert getattr(ours, name).tolist() == getattr(theirs, name).tolist()
    assert (ours.place, ours.note) == (theirs.place, theirs.note)
    assert "reading-0003" not in sheet.readings()[0]


def test_a_deed_sent_twice_is_done_once_also_after_a_restart(tmp_path):
    path = tmp_path / "a.csv"
    one, two = event(1), event(2, "30")
    sheet = SheetFile(path, DESIGN)
    sheet.take([one, two])
    before = path.read_bytes()
    assert all(verdict.kept for verdict in sheet.take([two, one, one]))
    again = SheetFile(path, DESIGN)
    assert all(verdict.kept for verdict in again.take([one, two]))
    assert path.read_bytes() == before
    assert len(load_readings(path, DESIGN)) == 2


def test_correcting_and_withdrawing_keep_the_order(tmp_path):
    path = tmp_path / "a.csv"
    sheet = SheetFile(path, DESIGN)
    sheet.take([event(k, str(30 * k)) for k in range(4)])
    sheet.take([
        event(10, "30", text="470", note="again", kind="correct", entry=1),
        event(11, "60", kind="withdraw", entry=2),
    ])  # fmt: skip
    assert load_readings(path, DESIGN).value.tolist() == [455.0, 470.0, 455.0]
    again = read_sheet(path, DESIGN)
    assert [e.id for e in again.entries] == [f"reading-{k:04d}" for k in range(4)]
    assert [e.withdrawn for e in again.entries] == [False, False, True, False]
    # Taken back again, it stands where it stood.
    back = SheetFile(path, DESIGN)
    back.take([event(12, "60", text="461", kind="correct", entry=2)])
    assert load_readings(path, DESIGN).value.tolist() == [455.0, 470.0, 461.0, 455.0]


def test_what_was_typed_first_stays_to_be_read(tmp_path):
    path = tmp_path / "a.csv"
    sheet = SheetFile(path, DESIGN)
    sheet.take([event(1, text="455"), event(2, text="470", kind="correct", entry=1)])
    assert [event.text for event in read_sheet(path, DESIGN).events] == ["455", "470"]


def test_a_sheet_of_which_all_was_withdrawn_can_be_continued(tmp_path):
    path = tmp_path / "a.csv"
    SheetFile(path, DESIGN).take([event(1), event(2, kind="withdraw", entry=1)])
    again = SheetFile(path, DESIGN)
    assert again.readings() == ((), None)
    again.take([event(3, "90")])
    assert load_readings(path, DESIGN).azimuth.tolist() == [90.0]


HAND = """\
# rod 2, read by hand
note,radius_mm,azimuth_deg,height_mm,sd_mm
"loose, wet",455,0,600,
# from here on with the other rod
,456.5,30,600,3
,457,60,600,

"""


def test_a_sheet_written_by_hand_is_continued_as_it_is(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text(HAND)
    sheet = SheetFile(path, DESIGN)
    sheet.take([event(1, "90", "600", "458", "new")])
    lines = path.read_text("utf-8").split("\n")
    assert lines[:6] == HAND.split("\n")[:6]
    assert lines[6] == "new,458,90,600,"
    # The second reading is corrected; its stated sd and the comment over it stay.
    mark = sheet.sheet.active[1].id
    SheetFile(path, DESIGN).take(
        [event(2, "30", text="460", kind="correct", entry=mark)]
    )
    lines = path.read_text("utf-8").split("\n")
    assert lines[3:5] == ["# from here on with the other rod", ",460,30,600,3"]
    assert load_readings(path, DESIGN).value.tolist() == [455.0, 460.0, 457.0, 458.0]


def test_rows_changed_by_hand_hold(tmp_path):
    path = tmp_path / "a.csv"
    SheetFile(path, DESIGN).take([event(k, str(30 * k)) for k in range(3)])
    text = path.read_text("utf-8")
    changed = text.replace("\n30,600,455,\n", "\n30,600,466,\n")
    changed = changed.replace("\n60,600,455,\n", "\n")
    path.write_text(changed, encoding="utf-8")
    sheet = SheetFile(path, DESIGN)
    assert [t[2] for t in texts(sheet.sheet)] == ["455", "466"]
    # What was typed is not put back when the page sends it again.
    sheet.take([event(2, "60"), event(9, "120")])
    assert [t[:3] for t in texts(read_sheet(path, DESIGN))] == [
        ("0", "600", "455"),
        ("30", "600", "466"),
        ("120", "600", "455"),
    ]


def test_a_row_written_by_hand_has_the_same_mark_at_every_opening(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("azimuth_deg,height_mm,radius_mm\n0,600,455\n0,600,455\n")
    entry_ids = [entry.id for entry in SheetFile(path, DESIGN).sheet.active]
    assert len(set(entry_ids)) == 2
    assert entry_ids == [entry.id for entry in SheetFile(path, DESIGN).sheet.active]
    SheetFile(path, DESIGN).take([event(1, kind="withdraw", entry=entry_ids[0])])
    assert [e.id for e in SheetFile(path, DESIGN).sheet.active] != []
    assert len(load_readings(path, DESIGN)) == 1


def test_a_sheet_with_decimal_commas_keeps_them(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("azimuth_deg;height_mm;radius_mm;note\n0;600;455,5;\n")
    SheetFile(path, DESIGN).take([event(1, "30", "600", "456.5", "a; b, c")])
    assert path.read_text("utf-8").split("\n")[2] == '30;600;456,5;"a; b, c"'
    assert load_readings(path, DESIGN).value.tolist() == [455.5, 456.5]
    again = SheetFile(path, DESIGN)
    assert "deed-000001" in again.sheet.applied
    # On a sheet with commas between the columns it is the other way round.
    other = tmp_path / "b.csv"
    SheetFile(other, DESIGN).take([event(1, "30", "600", "456,5")])
    assert load_readings(other, DESIGN).value.tolist() == [456.5]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("azimuth_deg,height_mm,radius_mm\n0,600,nonsense\n", "not a number"),
        ("azimuth_deg,height_mm,radius_mm\n0,600,4550\n", "past the shell"),
        ("azimuth_deg,height_in,radius_in\n0,24,18\n", "but the drawing"),
        ("azimuth_deg,height_mm,diameter_mm\n0,600,900\n", "no column for the radius"),
        ("azimuth_deg,height_mm\n", "no column for the radius"),
        ("# radius, mm\nheight_mm,0,30\n600,455,456\n", "row"),
        ("x", "holds no readings|column"),
        ("", "empty"),
        ("\x00\x01", "plain text"),
    ],
)
def test_an_unreadable_sheet_is_refused_and_left_as_it_is(tmp_path, content, said):
    path = tmp_path / "a.csv"
    path.write_bytes(content.encode())
    with pytest.raises(InputError, match=said):
        SheetFile(path, DESIGN)
    assert path.read_bytes() == content.encode()


def test_a_sheet_that_became_unreadable_is_not_overwritten(tmp_path):
    path = tmp_path / "a.csv"
    sheet = SheetFile(path, DESIGN)
    sheet.take([event(1)])
    path.write_text("spoiled by somebody else\n1,2\n")
    with pytest.raises(InputError):
        sheet.take([event(2)])
    assert path.read_text() == "spoiled by somebody else\n1,2\n"
    path.unlink()
    sheet.take([event(2, "30")])
    assert len(load_readings(path, DESIGN)) == 2


def test_no_place_for_a_sheet_is_said_at_once(tmp_path):
    with pytest.raises(InputError, match=r"ends in \.csv"):
        SheetFile(tmp_path / "a.xlsx", DESIGN)
    with pytest.raises(InputError, match="no folder"):
        SheetFile(tmp_path / "none" / "a.csv", DESIGN)


def test_an_event_of_another_make_is_refused():
    sent = message(event(1)) | {"id": "0123456789abcdef", "entry": "fedcba9876543210"}
    assert read_event(sent) == replace(
        event(1), id="0123456789abcdef", entry="fedcba9876543210"
    )
    spoiled = [
        None,
        [],
        {},
        sent | {"more": "x"},
        sent | {"text": 455},
        sent | {"id": "no such/mark"},
        sent | {"id": "x" * 65},
        sent | {"deed": "delete"},
        sent | {"time": "yesterday"},
        sent | {"text": "4" * 41},
        {name: sent[name] for name in sent if name != "note"},
    ]
    for one in spoiled:
        with pytest.raises(InputError):
            read_event(one)


def test_what_is_typed_stays_on_its_line(tmp_path):
    sent = message(event(1)) | {
        "note": 'a\nb\r"c",\x00d',
        "text": "455\n",
        "time": TIME,
    }
    read = read_event(sent)
    assert (read.note, read.text) == ('a b "c",d', "455")
    path = tmp_path / "a.csv"
    SheetFile(path, DESIGN).take([read])
    assert load_readings(path, DESIGN).note == ('a b "c",d',)
    assert "deed-000001" in read_sheet(path, DESIGN).applied


@pytest.mark.parametrize("note", ["=1+1", "+1", "-1", "@A1", "=cmd|' /C calc'!A0"])
def test_no_note_is_a_formula_of_a_spreadsheet(note):
    assert escape_formula(note) == "'" + note


def test_readings_that_cannot_be_right_are_refused_in_words(tmp_path):
    design = tapered_design(length_unit="in")
    path = tmp_path / "a.csv"
    sheet = SheetFile(path, design)
    said = {
        ("0", "30", "36"): "past the shell",
        ("0", "30", "460"): "Is this in millimetres",
        ("0", "30", "35"): "Is this a diameter",
        ("0", "30", "18 3/"): "is not a number. Write 18 3/8",
        ("0", "30", ""): "Nothing is typed",
        ("400", "30", "18"): "0 to 360",
        ("0", "300", "18"): "outside the profile",
        ("0", "17 1/2", "17 1/2"): "where there is no wall",
        ("0", "30", "-18"): "not greater than 0",
    }
    for k, (where, words) in enumerate(said.items()):
        (verdict,) = sheet.take([event(k, *where)])
        assert (verdict.kept, words in verdict.why) == (False, True), verdict
        assert "column" not in verdict.why
    assert not path.exists()
    (verdict,) = sheet.take([event(50, "0", "30", "18")])
    assert verdict.kept


def test_one_refused_reading_does_not_hold_up_the_others(tmp_path):
    sheet = SheetFile(tmp_path / "a.csv", DESIGN)
    verdicts = sheet.take([event(1), event(2, text="9000"), event(3, "60")])
    assert [verdict.kept for verdict in verdicts] == [True, False, True]
    assert len(load_readings(tmp_path / "a.csv", DESIGN)) == 2
