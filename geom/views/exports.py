"""Results for other programs: tables for spreadsheets, outlines for CAD, more meshes.

Zones are outlined on the wall unrolled and cut at azimuth 0.  A drawing in DXF lies as
the wall is seen from inside, x the arc along the mean design radius and y the height,
both in mm; an outline in GeoJSON keeps azimuth in degrees as x, and is no place on
earth.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from geom.atomic import atomic_write
from geom.compare.assess import maps_of
from geom.compare.extent import opening_outline, outline
from geom.compare.findings import Findings, Zone
from geom.design import Design
from geom.design.text_file import join_words
from geom.document import as_document
from geom.errors import InputError
from geom.frame import clock_time
from geom.quantity import Quantity
from geom.repair.plan.result import RepairPlan
from geom.surface.radial import RadialSurface
from geom.units import LITRE, SQUARE_METRE
from geom.views.meshes.formats import glb_bytes, ply_bytes, vtp_bytes, vtu_bytes
from geom.views.meshes.mesh import wall_mesh
from geom.views.paper.rod_workbook import without_times
from geom.views.paper.strickle import (
    DxfGroup,
    Words,
    dxf_bytes,
    dxf_polygon,
    dxf_words,
)
from geom.views.say import plain

#: Height of words in a drawing, mm.
_WORDS = 30.0

Row = Sequence[str | float | int | None]


def export(
    result: RadialSurface | Findings | RepairPlan | Design,
    path: Path | str,
    *,
    overwrite: bool = False,
) -> None:
    """Write a result for another program, as the ending of the file says.

    Parameters
    ----------
    result : RadialSurface, Findings, RepairPlan or Design
        Of a surface the mesh (``.vtp``, ``.vtu``, ``.ply``, ``.glb``); of findings the
        zones (``.csv``, ``.xlsx``, ``.geojson``, ``.dxf``); of a plan the order list
        (``.csv``, ``.xlsx``); of a design the drawn profile (``.dxf``).
    overwrite : bool
        Put it in the place of a file that is there.

    Raises
    ------
    InputError
        If the ending is none of these, or the file is there or cannot be written.
    """
    path = Path(path)
    makers = _MAKERS[type(result)]
    if path.suffix.lower() not in makers:
        raise InputError(
            f"a {type(result).__name__} is written as {join_words(makers)}",
            file=path,
            cure="Let its name end so",
        )
    if path.exists() and not overwrite:
        cure = "Name another file, or allow it with overwrite"
        raise InputError("is there already", file=path, cure=cure)
    try:
        atomic_write(path, makers[path.suffix.lower()](result))
    except OSError as fault:
        cure = "Name a file in a folder that is there and may be written"
        raise InputError("cannot be written", file=path, cure=cure) from fault


def _mesh(form: str) -> Callable[[RadialSurface], bytes]:
    def make(surface: RadialSurface) -> bytes:
        mesh, design = wall_mesh(surface), surface.design
        if form == "glb":
            return glb_bytes(mesh, surface, title=design.name)
        write = {"vtp": vtp_bytes, "vtu": vtu_bytes, "ply": ply_bytes}[form]
        return write(mesh, surface, maps=maps_of(surface, design))

    return make


# --- tables --------------------------------------------------------------------------


def _zone_table(findings: Findings) -> list[Row]:
    """One zone a row; a quantity has four columns."""
    sense = _surface(findings).design.azimuth_sense
    heads = [
        "zone", "action", "azimuth_from_deg", "azimuth_to_deg", "clock_from",
        "clock_to", "height_from_mm", "height_to_mm", "area_m2",
        *_quantity_heads("volume_L", "cutback_max_mm", "cutback_mean_mm"),
    ]  # fmt: skip

    def row(zone: Zone) -> Row:
        ends = zone.azimuth_from, zone.azimuth_to
        return [
            zone.id, zone.action, *ends, *(clock_time(end, sense) for end in ends),
            zone.height_from, zone.height_to, zone.area / SQUARE_METRE,
            *_parts(zone.volume.times(1.0 / LITRE)),
            *_parts(zone.cutback_max), *_parts(zone.cutback_mean),
        ]  # fmt: skip

    return [heads, *map(row, findings.zones)]


def _quantity_heads(*names: str) -> list[str]:
    return [
        f"{name}{part}" for name in names for part in ("", "_sd", "_low95", "_high95")
    ]


def _parts(quantity: Quantity) -> list[float]:
    return list(quantity.to_dict().values())


def _order_table(plan: RepairPlan) -> list[Row]:
    heads = [
        "material",
        "unit",
        "needed",
        "sd",
        "enough",
        "in_stock",
        "pack",
        "buy_packs",
    ]
    return [
        heads,
        *(
            [
                plain(line.material), line.unit, line.best, line.sd, line.enough,
                line.stock, line.pack, line.packs,
            ]
            for line in plan.order
        ),
    ]  # fmt: skip


def _csv(rows: Iterable[Row]) -> bytes:
    """With a mark that spreadsheets know UTF-8 by; numbers as they are held."""
    out = io.StringIO()
    csv.writer(out).writerows([_harmless(cell) for cell in row] for row in rows)
    return out.getvalue().encode("utf-8-sig")


def _harmless(cell: str | float | int | None) -> str | float | int | None:
    """A text that a spreadsheet would take for a formula, marked as text."""
    formula = isinstance(cell, str) and cell.startswith(("=", "+", "-", "@"))
    return f"'{cell}" if formula else cell


def _xlsx(rows: Iterable[Row]) -> bytes:
    """One sheet, heads fixed; a text is never a formula."""
    import openpyxl
    from openpyxl.styles import Font

    book = openpyxl.Workbook()
    sheet: Any = book.active
    for number, row in enumerate(rows, 1):
        for column, value in enumerate(row, 1):
            cell = sheet.cell(number, column, value)
            if isinstance(value, str):
                cell.data_type = "s"
            if number == 1:
                cell.font = Font(bold=True)
    sheet.freeze_panes = "A2"
    out = io.BytesIO()
    book.save(out)
    return without_times(out.getvalue())


# --- outlines ------------------------------------------------------------------------


def _geojson(findings: Findings) -> bytes:
    """A FeatureCollection: azimuth in degrees and height in mm."""
    from shapely.geometry import mapping

    design = _surface(findings).design
    features = [
        {
            "type": "Feature",
            "id": zone.id,
            "properties": as_document(zone),
            "geometry": mapping(_outline(findings, zone)),
        }
        for zone in findings.zones
    ]
    document = {
        "type": "FeatureCollection",
        "lining": plain(findings.lining),
        "title": plain(findings.title),
        "coordinates": "azimuth in degrees, height in mm; no place on earth",
        "azimuth_zero": plain(design.azimuth_zero),
        "azimuth_sense": f"{design.azimuth_sense} seen from above",
        "height_zero": plain(design.height_zero),
        "features": features,
    }
    return (json.dumps(document, ensure_ascii=False, indent=1) + "\n").encode()


def _zones_dxf(findings: Findings) -> bytes:
    """Zones on a layer for each action, openings, and what the drawing shows."""
    design = _surface(findings).design
    groups: list[DxfGroup] = []
    layers = ["OPENING", "WORDS"]
    for zone in findings.zones:
        layer = zone.action.upper().replace(" ", "_")
        layers += [layer] * (layer not in layers)
        area = _outline(findings, zone)
        groups += _area(layer, area, design)
        middle = max(_polygons(area), key=lambda one: one.area).representative_point()
        (at,) = _unrolled(np.array([[middle.x, middle.y]]), design)
        words = f"{zone.id} {zone.action}"
        groups += dxf_words("WORDS", Words(at[0], at[1], words, _WORDS))
    for hole in design.openings:
        groups += _area("OPENING", opening_outline(hole, design), design)
    profile = design.profile
    for row, line in enumerate(
        (
            "Wall unrolled, SEEN FROM INSIDE, cut at azimuth 0: "
            f"{plain(design.azimuth_zero, most=40)}",
            f"In millimetres, round the mean radius {profile.mean_radius:.1f}; azimuth "
            f"grows {design.azimuth_sense} seen from above",
        )
    ):
        at = profile.bottom - (2 + 1.6 * row) * _WORDS
        groups += dxf_words("WORDS", Words(0.0, at, line, _WORDS))
    size = 2.0 * np.pi * profile.mean_radius, profile.top
    return dxf_bytes(groups, layers, size)


def _profile_dxf(design: Design) -> bytes:
    """The hot face as drawn, the axis, and the shell; x is the radius."""
    profile = design.profile
    ends = np.array([profile.bottom, profile.top])
    face = np.stack([profile.radius, profile.height], axis=1)
    groups = dxf_polygon("FACE", face, closed=False)
    most = float(profile.radius.max())
    uprights = {"AXIS": 0.0}
    if design.shell_radius is not None:
        uprights["SHELL"] = most = design.shell_radius
    for layer, radius in uprights.items():
        line = np.stack([np.full(2, radius), ends], axis=1)
        groups += dxf_polygon(layer, line, closed=False)
    return dxf_bytes(groups, ("FACE", *uprights), (most, profile.top))


def _surface(findings: Findings) -> RadialSurface:
    if findings.surface is None:
        raise InputError("these findings do not hold their surface", cure="Assess anew")
    return findings.surface


def _outline(findings: Findings, zone: Zone) -> Any:
    return outline(findings.maps.zone == zone.id, _surface(findings).grid)


def _polygons(area: Any) -> list[Any]:
    return list(getattr(area, "geoms", [area]))


def _unrolled(points: Any, design: Design) -> Any:
    """Azimuth and height as arc and height, mm; the arc grows right, from inside."""
    azimuth, height = points.T
    onward = azimuth if design.azimuth_sense == "clockwise" else 360.0 - azimuth
    arc = np.deg2rad(onward) * design.profile.mean_radius
    return np.stack([arc, height], axis=1)


def _area(layer: str, area: Any, design: Design) -> list[DxfGroup]:
    """Every ring of an area, holes among them, as a closed polyline."""
    return [
        group
        for polygon in _polygons(area)
        for ring in (polygon.exterior, *polygon.interiors)
        for group in dxf_polygon(layer, _unrolled(np.asarray(ring.coords)[:-1], design))
    ]


_MAKERS: dict[type, dict[str, Callable[[Any], bytes]]] = {
    RadialSurface: {f".{form}": _mesh(form) for form in ("vtp", "vtu", "ply", "glb")},
    Findings: {
        ".csv": lambda findings: _csv(_zone_table(findings)),
        ".xlsx": lambda findings: _xlsx(_zone_table(findings)),
        ".geojson": _geojson,
        ".dxf": _zones_dxf,
    },
    RepairPlan: {
        ".csv": lambda plan: _csv(_order_table(plan)),
        ".xlsx": lambda plan: _xlsx(_order_table(plan)),
    },
    Design: {".dxf": _profile_dxf},
}
