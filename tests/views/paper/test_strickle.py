"""The template of the drawn face, read back from each form to a tenth of a millimetre.

The DXF is read by a strict reader written out here, by the published group codes of
release 12 (from memory): pairs of lines, code and value; sections and tables that end;
a polyline with its vertices and SEQEND; nothing that is not ASCII.
"""

from __future__ import annotations

import io
import re
from dataclasses import replace
from itertools import pairwise
from xml.etree import ElementTree

import numpy as np
import pypdf
import pytest
from pypdf.generic import ContentStream

from geom.design import Design, Profile
from geom.errors import InputError
from geom.views.paper.strickle import face_points, sheets, strickle_bytes
from tests.walls import plain_design

#: Tapered, stepped, straight, tapered.
PROFILE = Profile(
    np.array([0.0, 400.0, 700.0, 700.0, 1500.0]),
    np.array([460.0, 420.0, 420.0, 445.0, 470.0]),
)
DESIGN = plain_design(profile=PROFILE)
LOW, HIGH = 100.0, 1300.0
#: By hand: the taper falls 40 mm in 400, then rises 25 in 800 over a step of 25.
FACE = np.array(
    [
        [100.0, 450.0],
        [400.0, 420.0],
        [700.0, 420.0],
        [700.0, 445.0],
        [1300.0, 463.75],
    ]
)
#: A whole step of 10 mm that leaves 80 mm of board: 420 - 80.
BACK = 340.0
FINE = 0.1  # mm


def shape(points: np.ndarray, scale: float = 1.0) -> np.ndarray:
    """Corners of a board as read, moved to its back edge and lower end, full size."""
    points = np.asarray(points, dtype=float)
    return (points - points.min(axis=0)) / scale


def expected() -> np.ndarray:
    tall = HIGH - LOW
    edge = np.column_stack([FACE[:, 1] - BACK, FACE[:, 0] - LOW])
    return np.vstack([[0.0, 0.0], edge, [0.0, tall]])


def assert_is_the_face(found: np.ndarray, scale: float = 1.0) -> None:
    wanted = expected()
    assert found.shape == wanted.shape
    assert np.abs(shape(found, scale) - wanted).max() <= FINE / 2


# --- SVG -----------------------------------------------------------------------------


def svg_board(content: bytes) -> np.ndarray:
    """Corners in mm, y up, by the file's own size and view box."""
    root = ElementTree.fromstring(content)
    assert root.attrib["width"].endswith("mm")
    wide, tall = (float(root.attrib[n].removesuffix("mm")) for n in ("width", "height"))
    left, top, across, down = (float(part) for part in root.attrib["viewBox"].split())
    assert (left, top) == (0.0, 0.0)
    (board,) = (each for each in root.iter() if each.attrib.get("id") == "board")
    points = [pair.split(",") for pair in board.attrib["points"].split()]
    drawn = np.array(points, dtype=float)
    assert drawn.min() >= 0.0
    assert (drawn <= (across, down)).all()
    return np.column_stack([drawn[:, 0] * wide / across, -drawn[:, 1] * tall / down])


@pytest.mark.parametrize("scale", [1.0, 0.125, 0.4])
def test_an_svg_has_the_drawn_face_to_size(scale: float) -> None:
    content = strickle_bytes(DESIGN, LOW, HIGH, form="svg", scale=scale)
    found = svg_board(content)
    # three decimals of a millimetre on paper
    wanted = expected()
    assert np.abs(shape(found, scale) - wanted).max() <= max(FINE / 2, 0.002 / scale)
    assert np.ptp(found[:, 1]) == pytest.approx(1200.0 * scale, abs=0.01)


def test_the_face_between_two_heights_is_the_profile_there() -> None:
    assert face_points(PROFILE, LOW, HIGH) == pytest.approx(FACE)
    # at a step, what lies between the heights is meant
    assert face_points(PROFILE, 700.0, 900.0)[0].tolist() == [700.0, 445.0]
    assert face_points(PROFILE, 500.0, 700.0)[-1].tolist() == [700.0, 420.0]
    assert len(face_points(PROFILE, 500.0, 700.0)) == 2


def labels(design: object = DESIGN, **options: float) -> list[str]:
    content = strickle_bytes(design, LOW, HIGH, form="svg", **options)
    texts = (each.text or "" for each in ElementTree.fromstring(content).iter())
    return [text for text in texts if ": rod " in text]


def test_the_rod_is_set_to_the_drawn_radius_at_every_tick() -> None:
    found = {}
    for text in labels():
        height, radius = re.fullmatch(r"(\d+) mm: rod (\d+) mm", text).groups()
        found.setdefault(float(height), []).append(float(radius))
    assert {100.0, 150.0, 225.0, 400.0, 1275.0, 1300.0} <= set(found)
    assert sorted(found[700.0]) == [420.0, 445.0]
    for height, radii in found.items():
        for side, radius in zip(("below", "above"), sorted(radii), strict=False):
            wanted = PROFILE.radius_at(
                height, side=side if height == 700.0 else "above"
            )
            assert radius == pytest.approx(float(wanted), abs=0.51)


def test_an_inch_shop_reads_sixteenths_and_what_daub_stands_proud() -> None:
    inches = replace(DESIGN, length_unit="in")
    text = strickle_bytes(inches, LOW, HIGH, form="svg").decode()
    assert re.search(r"15 in: rod 16 5/8 in", text)  # 381 mm: 421.9
    # 1/24 lost on drying: 1/23 of an inch for every inch, to 1/32
    assert "wet daub stands 1/32 in proud of it for each inch of thickness" in text
    assert "Back edge stands 13 in from the axis" in text  # 330.2 of 340 mm
    metric = strickle_bytes(DESIGN, LOW, HIGH, form="svg").decode()
    assert "Back edge stands 340 mm from the axis" in metric
    assert " in" not in re.sub(r" in(vented|side)", "", metric.split("</title>")[1])


# --- DXF -----------------------------------------------------------------------------


class Dxf:
    """A strict reader of what a template in DXF may hold."""

    def __init__(self, content: bytes) -> None:
        lines = content.decode("ascii").split("\r\n")
        assert lines.pop() == ""
        assert len(lines) % 2 == 0
        assert not any("\n" in line or "\r" in line for line in lines)
        codes = [int(code) for code in lines[::2]]
        assert all(len(code) == 3 for code in lines[::2])
        self.pairs = list(zip(codes, lines[1::2], strict=True))
        assert self.pairs[-1] == (0, "EOF")
        self.sections = self._sections()
        assert list(self.sections) == ["HEADER", "TABLES", "ENTITIES"]
        self.layers = self._layers()
        self.entities = self._entities()

    def _sections(self) -> dict[str, list[tuple[int, str]]]:
        found, open_one = {}, None
        pairs = iter(self.pairs[:-1])
        for code, value in pairs:
            if (code, value) == (0, "SECTION"):
                assert open_one is None
                named, open_one = next(pairs)
                assert named == 2
                found[open_one] = []
            elif (code, value) == (0, "ENDSEC"):
                assert open_one is not None
                open_one = None
            else:
                assert open_one is not None
                found[open_one].append((code, value))
        assert open_one is None
        return found

    def _layers(self) -> set[str]:
        table = self.sections["TABLES"]
        assert table[0] == (0, "TABLE")
        assert table[1] == (2, "LAYER")
        assert table[-1] == (0, "ENDTAB")
        starts = [k for k, pair in enumerate(table) if pair == (0, "LAYER")]
        assert int(dict(table[:3])[70]) == len(starts)
        return {dict(table[k : k + 5])[2] for k in starts}

    def _entities(self) -> list[tuple[str, dict[int, str]]]:
        found: list[tuple[str, dict[int, str]]] = []
        for code, value in self.sections["ENTITIES"]:
            if code == 0:
                found.append((value, {}))
            else:
                assert code not in found[-1][1], "a code comes twice"
                found[-1][1][code] = value
        for kind, groups in found:
            assert kind in {"POLYLINE", "VERTEX", "SEQEND", "LINE", "TEXT"}
            assert groups[8] in self.layers
        return found

    def board(self) -> np.ndarray:
        kinds = [kind for kind, _ in self.entities]
        start, end = kinds.index("POLYLINE"), kinds.index("SEQEND")
        assert kinds.count("POLYLINE") == kinds.count("SEQEND") == 1
        head = self.entities[start][1]
        assert (head[66], head[70]) == ("1", "1")
        inside = self.entities[start + 1 : end]
        assert {kind for kind, _ in inside} == {"VERTEX"}
        return np.array([[float(g[10]), float(g[20])] for _, g in inside])


@pytest.mark.parametrize("scale", [1.0, 0.25])
def test_a_dxf_has_the_drawn_face_to_size(scale: float) -> None:
    read = Dxf(strickle_bytes(DESIGN, LOW, HIGH, form="dxf", scale=scale))
    assert_is_the_face(read.board(), scale)
    header = read.sections["HEADER"]
    assert header[:2] == [(9, "$ACADVER"), (1, "AC1009")]
    ends = [float(value) for code, value in header if code in (10, 20)]
    assert (read.board() >= ends[:2]).all()
    assert (read.board() <= ends[2:]).all()


def test_a_dxf_has_its_ticks_on_the_face_and_its_words() -> None:
    read = Dxf(strickle_bytes(DESIGN, LOW, HIGH, form="dxf"))
    board = read.board()
    corner = board.min(axis=0)
    words = [groups[1] for kind, groups in read.entities if kind == "TEXT"]
    assert "Drawn in millimetres" in words
    assert "700 mm: rod 420 mm" in words
    ticks = [groups for kind, groups in read.entities if kind == "LINE"]
    assert len(ticks) >= 15
    for tick in ticks:
        height = float(tick[20]) - corner[1] + LOW
        radius = float(tick[10]) - corner[0] + BACK
        sides = [float(PROFILE.radius_at(height, side=s)) for s in ("above", "below")]
        if height == pytest.approx(700.0):
            sides = [420.0, 445.0]
        assert min(abs(radius - side) for side in sides) <= FINE / 2
        assert tick[20] == tick[21]


def test_letters_that_release_12_has_not_are_written_plainly() -> None:
    odd = replace(DESIGN, name="Öfen №2 <b>& 炉")
    read = Dxf(strickle_bytes(odd, LOW, HIGH, form="dxf"))
    words = " ".join(groups[1] for kind, groups in read.entities if kind == "TEXT")
    assert "Ofen No2 <b>& ?" in words


# --- PDF -----------------------------------------------------------------------------

MM = 25.4 / 72.0
#: What a sheet shows, and what two share, mm.
STEP = (176.0, 231.4)


class Sheet:
    """Paths of one page, in mm on paper."""

    def __init__(self, page: pypdf.PageObject) -> None:
        assert float(page.mediabox.width) * MM <= 210.01
        assert float(page.mediabox.height) * MM <= 279.41
        matrix, kept = np.eye(3), []
        self.paths: list[np.ndarray] = []
        path: list[np.ndarray] = []
        for operands, operator in ContentStream(page["/Contents"], page.pdf).operations:
            numbers = [float(o) for o in operands if isinstance(o, int | float)]
            match operator:
                case b"q":
                    kept.append(matrix)
                case b"Q":
                    matrix = kept.pop()
                case b"cm":
                    a, b, c, d, e, f = numbers
                    matrix = np.array([[a, b, 0], [c, d, 0], [e, f, 1]]) @ matrix
                case b"m" | b"l":
                    path.append((np.array([*numbers, 1.0]) @ matrix)[:2] * MM)
                case b"S" | b"s" | b"n":
                    if path:
                        self.paths.append(np.array(path))
                    path = []
        self.text = page.extract_text()

    @property
    def board(self) -> np.ndarray:
        return max(self.paths, key=len)

    @property
    def crosses(self) -> set[tuple[float, float]]:
        """Middles of crosses."""
        level = {self._middle(p) for p in self.paths if self._runs(p, 0, 8.0)}
        upright = {self._middle(p) for p in self.paths if self._runs(p, 1, 8.0)}
        return level & upright

    @staticmethod
    def _runs(path: np.ndarray, axis: int, size: float) -> bool:
        along = np.ptp(path, axis=0)
        return len(path) == 2 and abs(along[axis] - size) < 0.01 > along[1 - axis]

    @staticmethod
    def _middle(path: np.ndarray) -> tuple[float, float]:
        x, y = path.mean(axis=0)
        return round(float(x), 2), round(float(y), 2)

    @property
    def bars(self) -> list[float]:
        return [
            float(np.ptp(p[:, 0]))
            for p in self.paths
            if len(p) == 2 and np.ptp(p[:, 1]) < 0.01 and np.ptp(p[:, 0]) > 50.0
        ]


def pdf_sheets(design: Design = DESIGN, **options: float) -> list[Sheet]:
    content = strickle_bytes(design, LOW, HIGH, form="pdf", **options)
    return [Sheet(page) for page in pypdf.PdfReader(io.BytesIO(content)).pages]


@pytest.mark.parametrize("scale", [1.0, 0.1])
def test_a_pdf_has_the_drawn_face_to_size_on_every_sheet(scale: float) -> None:
    found = pdf_sheets(scale=scale)
    assert len(found) == (6 if scale == 1.0 else 1)
    for sheet in found:
        # paper to 1e-4 mm: at a tenth the full size is told to 0.05 mm at best
        assert_is_the_face(sheet.board, scale)
        assert [
            round(bar, 3) for bar in sheet.bars if bar == pytest.approx(100.0)
        ] != []
        assert "bar 100 mm; print at 100 %" in sheet.text


def test_an_inch_shop_holds_its_rule_to_a_bar_of_inches() -> None:
    (sheet,) = pdf_sheets(plain_design(profile=PROFILE, length_unit="in"), scale=0.1)
    assert "bar 4 in; print at 100 %" in sheet.text
    assert [bar for bar in sheet.bars if bar == pytest.approx(101.6, abs=1e-3)]


def test_every_setting_stands_whole_on_a_sheet() -> None:
    on_sheets = " ".join(sheet.text for sheet in pdf_sheets())
    settings = labels()
    assert len(settings) > 20
    assert all(words in on_sheets for words in settings)


def test_sheets_join_where_their_crosses_lie_on_each_other() -> None:
    found = pdf_sheets()
    for below, above in pairwise(found):
        shift = (below.board - above.board).mean(axis=0)
        assert shift == pytest.approx([0.0, STEP[1]], abs=0.01)
        # the lower sheet shows up to 267.4 mm, the upper one from 26 mm on
        shared = {(x, y) for x, y in below.crosses if 257.4 < y < 267.4}
        assert len({x for x, _ in shared if 12.0 < x < 198.0}) >= 2
        moved = {(x, round(y - STEP[1], 2)) for x, y in shared}
        assert moved <= above.crosses
        assert all(26.0 < y < 36.0 for _, y in moved)


def test_as_few_sheets_as_it_takes() -> None:
    # a sheet shows 186 by 241.4 mm; the next adds 176 by 231.4
    assert sheets(186.0, 241.4) == (1, 1)
    assert sheets(186.1, 241.5) == (2, 2)
    assert sheets(362.0, 472.8) == (2, 2)
    assert sheets(362.1, 472.9) == (3, 3)


# --- all of them ---------------------------------------------------------------------


@pytest.mark.parametrize("form", ["pdf", "svg", "dxf"])
def test_same_input_same_bytes(form: str) -> None:
    one, other = (strickle_bytes(DESIGN, LOW, HIGH, form=form) for _ in range(2))
    assert one == other


def test_markup_in_names_stays_text() -> None:
    evil = replace(DESIGN, name="<b>A</b> & Co", height_zero='"x" <y>')
    content = strickle_bytes(evil, LOW, HIGH, form="svg")
    texts = [each.text or "" for each in ElementTree.fromstring(content).iter()]
    assert any("<b>A</b> & Co" in text for text in texts)
    assert any('"x" <y>' in text for text in texts)


def test_the_whole_profile_may_be_drawn_and_no_more() -> None:
    whole = svg_board(strickle_bytes(DESIGN, 0.0, 1500.0, form="svg"))
    assert np.ptp(whole[:, 1]) == pytest.approx(1500.0, abs=0.01)
    for low, high in ((-1.0, 900.0), (0.0, 1501.0), (900.0, 300.0), (5.0, 5.0)):
        with pytest.raises(InputError, match="no part of the profile"):
            strickle_bytes(DESIGN, low, high, form="svg")
    with pytest.raises(InputError, match="less than 10 mm tall"):
        strickle_bytes(DESIGN, 300.0, 305.0, form="svg")
    for scale in (0.0, 1.5, float("nan"), -1.0):
        with pytest.raises(InputError, match="scale"):
            strickle_bytes(DESIGN, LOW, HIGH, form="svg", scale=scale)
