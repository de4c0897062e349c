"""Where tuned numbers stand: one frozen dataclass a sub-package, each of them read."""

from __future__ import annotations

import ast
import dataclasses
import importlib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
CODE = sorted((ROOT / "geom").rglob("*.py"))


#: Numbers that stand at the head of the module that uses them: they change no result
#: past rounding, or are published.  Every other is in its sub-package's assumptions.
AT_HEADS = {
    "rounding and what is as good as nothing": """
        _CERTAIN _CONVERGED _EXACT EXACT _FLAT _JITTER _LEAST _LEAST_ANGLE _LEAST_CURVE
        _LEAST_LENGTH _LEAST_SD _LEAST_VOLUME _LENGTH_TOLERANCE _LITRES _MANY
        _NEAR _NONE _POLISHED _RIDGE _ROUNDING _SAME _SAME_ANGLE _SAME_UNIT
        _SAME_X _SILENT _SINGULAR _STRAIGHT _TINY _TOLERANCE _TOUCH _FOLLOWS
        NO_CALL ALL_ROUND""",
    "sizes of pieces of work and of files": """
        _ASKED _AT_ONCE _BLOCK CHUNK CHUNK_SPELLS _HELD _LIKE_CAMPAIGN _LINE MANY
        _LONGEST _SHORT_RUN SOONEST _TRIES _CHUNK _CHUNK_BYTES FARTHEST _FARTHEST
        LONGEST_LINE _LARGEST _LARGEST_UNPACKED _LONGEST_LINE MAX_BYTES _MAX_BYTES
        _MAX_CELLS _MAX_COMMENTS _MAX_CHUNK _MAX_HEAD _MAX_HEADER _MAX_JSON _MAX_LENGTH
        _MAX_NUMBER _MAX_PER_BYTE _MAX_READ _MAX_RECORD _MAX_VLRS _MAX_WORDS _MAX_XML
        MOST_CELLS MOST_COLUMNS MOST_READINGS MOST_ROWS MOST_SET_UPS _MOST
        _MOST_AZIMUTHS _MOST_THREADS _MOST_ENTRIES _MOST_HEIGHTS _MOST_HOLDS
        _MOST_LAYERS _MOST_STATIONS _MOST_TITLES _MOST_TUYERES PART PLACES _PIECES
        PORTION RUN _RUN SAMPLE _SAMPLE _SAMPLE_ROWS _COMPARED _WHOLE""",
    "nets, draws and rounds: finer ones change nothing that is printed": """
        ACROSS _APART _AZIMUTHS BIN _BLOCKS DRAWS _HALVINGS HORIZON _LAST PERMUTATIONS
        _PLENTY _SINGLY _SURE _BINNINGS _CANDIDATES _COLUMNS _COURSE_GAP
        _DIRECTIONS _DRAWS _FAR _FEW_TURNS _FIFTHS _FINE _FITS _HEIGHTS _LEARNED
        _LEAST_PATCHES _LOOSE_ANGLE _LOOSE_RADIUS _NEAREST_ONLY _NET_COLUMNS
        _NET_ROW _PAIRS _ROUNDS _ROW _ROW_HEIGHT _ROWS _SAMPLED _SETTLED SHIFTS
        _SLICES _SLOT _STARTS _STEP _STEPS _STEPPED_NODES _TABULATED _TARGET_ROUNDS
        _THIN _TRIAL UP""",
    "units, published numbers, things of one kind": """
        _AN_HOUR BRICK_FACE _CUBIC_METRE EFFICIENT _MAD_TO_SD ORDERS TONNE _EVLR_BYTES
        _FACTORIAL _GOLDEN HOURS _INCH _LAYERED _MM2 _MM3 ONES _ONE_SIDED _PAGE _PAYLOAD
        _POINTWISE TUNING UNKNOWNS _VARIABLE _VLR_BYTES ZEROS""",
}
ASSUMING = (
    *("compare", "datum", "design", "readings", "record"),
    *("repair", "sampling", "stats", "surface"),
)


def is_number(node: ast.expr) -> bool:
    """Whether an expression is a number or numbers, written out."""
    if isinstance(node, ast.Constant):
        return isinstance(node.value, int | float) and not isinstance(node.value, bool)
    if isinstance(node, ast.Tuple):
        return bool(node.elts) and all(is_number(each) for each in node.elts)
    if isinstance(node, ast.BinOp):
        return is_number(node.left) and is_number(node.right)
    return isinstance(node, ast.UnaryOp) and is_number(node.operand)


def numbers_at_the_head(source: str) -> list[str]:
    """Names that a module gives numbers to, outside of functions and classes."""
    found = []
    for each in ast.parse(source).body:
        if isinstance(each, ast.Assign) and is_number(each.value):
            named = each.targets[0]
            names = named.elts if isinstance(named, ast.Tuple) else [named]
            found += [name.id for name in names if isinstance(name, ast.Name)]
    return found


@pytest.mark.parametrize("room", ASSUMING)
def test_tuned_numbers_are_one_frozen_dataclass_a_sub_package(room):
    module = importlib.import_module(f"geom.{room}.assumptions")
    numbers = module.ASSUMED
    assert type(numbers).__dataclass_params__.frozen
    text = "".join(f.read_text("utf-8") for f in CODE if f.name != "assumptions.py")
    names = [each.name for each in dataclasses.fields(numbers)]
    idle = [name for name in names if f".{name}" not in text]
    assert idle == []  # a number that nothing reads
    kept = {name for kind in AT_HEADS.values() for name in kind.split()}
    for file in (ROOT / "geom" / room).rglob("*.py"):
        more = set(numbers_at_the_head(file.read_text("utf-8"))) - kept
        assert not more, f"{file}: {more} belong into {room}/assumptions.py"


def test_a_number_at_the_head_of_a_module_is_seen():
    source = "A = 3.0\nB, _C = 1, -2.5\nD = (1, 2)\nE = 'x'\nF = f(3)\nG = 2.0 * 3\n"
    assert numbers_at_the_head(source) == ["A", "B", "_C", "D", "G"]
