"""How results show themselves, in a terminal, a notebook and other libraries.

A `Shown` has a repr of a few lines, whatever it holds.  Pictures, meshes and datasets
of it are made by the views, which the rooms before them do not know: the face says
which module they are, and `views` brings it when it is first asked for one.
"""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import Field, fields, is_dataclass
from importlib import import_module
from importlib.machinery import ModuleSpec
from importlib.util import find_spec
from types import ModuleType
from typing import TYPE_CHECKING, Any, ClassVar, Protocol, cast

if TYPE_CHECKING:
    import pyvista as pv
    import trimesh
    import xarray as xr
    from matplotlib.figure import Figure

#: Most lines of a repr, and most letters in one.
_LINES, _LETTERS = 5, 88


class Views(Protocol):
    """What the views make of a result."""

    def html(self, result: Any) -> str | None:
        """For a notebook; None where its repr says as much."""

    def plot(self, surface: Any) -> Figure:
        """The wall unrolled."""

    def plot_section(self, surface: Any, height: float) -> Figure:
        """A level section."""

    def plot_profile(self, surface: Any, azimuth: float) -> Figure:
        """An upright section."""

    def to_xarray(self, surface: Any) -> xr.Dataset:
        """The gridded wall."""

    def to_pyvista(self, surface: Any) -> pv.PolyData:
        """The mesh with its fields."""

    def to_trimesh(self, surface: Any) -> trimesh.Trimesh:
        """The mesh with its colours."""

    def lining(self, data: Any) -> Any:
        """What ``data.lining`` is, of a dataset."""


_MADE_BY: list[str] = []


def shown_by(module: str) -> None:
    """Say which module the views are; nothing is loaded.

    Datasets of xarray have ``lining`` from then on, whichever is imported first.
    """
    _MADE_BY[:] = [module]
    if "xarray" in sys.modules:
        _register(sys.modules["xarray"])
    elif not any(isinstance(finder, _OnImport) for finder in sys.meta_path):
        sys.meta_path.insert(0, _OnImport())


def views() -> Views:
    """What makes pictures and other libraries' objects of results."""
    return cast(Views, import_module(_MADE_BY[0]))


def _register(xarray: ModuleType) -> None:
    if not hasattr(xarray.Dataset, "lining"):
        xarray.register_dataset_accessor("lining")(lambda data: views().lining(data))


class _OnImport:
    """Waits for xarray to be imported, to register the accessor then."""

    def __init__(self) -> None:
        self._searching = False

    def find_spec(self, name: str, *_: Any) -> ModuleSpec | None:
        """The spec of xarray as all others find it, which registers once it has run."""
        if name != "xarray" or self._searching:
            return None
        self._searching = True
        try:
            spec = find_spec(name)
        finally:
            self._searching = False
        loader = spec.loader if spec is not None else None
        if loader is not None:
            run = loader.exec_module

            def run_and_register(module: ModuleType) -> None:
                run(module)
                _register(module)

            with suppress(AttributeError):
                vars(loader)["exec_module"] = run_and_register
        return spec


class Shown:
    """A result whose repr is a few lines, with units."""

    #: Of the numbers that its fields hold.
    _units: ClassVar[str] = "mm, degrees"

    def __init_subclass__(cls) -> None:
        """Keep `dataclass` from making a repr of every number."""
        super().__init_subclass__()
        cls.__repr__ = Shown.__repr__  # type: ignore[method-assign]

    def __repr__(self) -> str:
        lines = [
            piece
            for line in self._lines()
            for piece in textwrap.wrap(line, _LETTERS - 2, subsequent_indent="  ")
        ]
        if len(lines) > _LINES:
            lines = [*lines[: _LINES - 1], f"{lines[_LINES - 1][: _LETTERS - 6]} ..."]
        return "<" + "\n  ".join(lines) + ">"

    def _repr_html_(self) -> str | None:
        return views().html(self)

    def _lines(self) -> Iterator[str]:
        """What its repr says: unless a class says otherwise, its fields shortly."""
        known: tuple[Field[Any], ...] = fields(cast(Any, self))
        parts = [f"{part.name} {_short(getattr(self, part.name))}" for part in known]
        yield f"{type(self).__name__} ({self._units}): {'; '.join(parts)}"


def _short(value: Any) -> str:
    """A value in a few letters: of arrays, shape and range.

    Examples
    --------
    >>> _short(1.23456789), _short((1, 2)), _short({"a": 1}), _short("rod.csv")
    ('1.23457', '2 x int', '1 x int', "'rod.csv'")
    """
    if isinstance(value, float):
        text = f"{value:.6g}"
    elif isinstance(value, str):
        text = repr(value if len(value) <= 40 else value[:39] + "…")
    elif hasattr(value, "dtype"):
        text = _array(value)
    elif isinstance(value, Mapping | Sequence):
        parts = value.values() if isinstance(value, Mapping) else value
        text = f"{len(value)} x {type(next(iter(parts))).__name__}" if value else "none"
    elif is_dataclass(value) and not hasattr(value, "low95"):
        text = type(value).__name__
    else:
        text = str(value).split("\n", maxsplit=1)[0][:60]
    return text


def _array(value: Any) -> str:
    import numpy as np

    shape = " x ".join(map(str, value.shape)) or "1"
    known = value[~np.isnan(value)] if value.dtype.kind in "fiu" else value[:0]
    if not known.size:
        return f"[{shape}]"
    return f"[{shape}] {known.min():.6g} to {known.max():.6g}"
