"""Pictures for papers: map, sections and the wall in the round, one file each."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from geom.compare.findings import Findings
from geom.readings import CloudReadings, RodReadings
from geom.surface.radial import RadialSurface
from geom.views.charts import style as chart
from geom.views.charts.cutback_map import map_figure
from geom.views.charts.round import round_still
from geom.views.charts.sections import level_still, upright_still

#: Dots per inch of what is not drawn as lines.
_DPI = 180


def stills(
    readings: RodReadings | CloudReadings,
    surface: RadialSurface,
    findings: Findings,
    form: chart.Form,
) -> Iterator[tuple[str, bytes]]:
    """Every still of a survey in one form.

    Parameters
    ----------
    readings : RodReadings or CloudReadings
    surface : RadialSurface
    findings : Findings
    form : {'png', 'svg', 'pdf'}

    Yields
    ------
    name : str
        Of the file.
    content : bytes
        The same survey gives the same bytes.
    """
    made: dict[str, Callable[[], bytes]] = {
        "map": lambda: _map(readings, surface, findings, form),
        "level-sections": lambda: level_still(surface, findings, form, dpi=_DPI),
        "upright-sections": lambda: upright_still(surface, findings, form, dpi=_DPI),
        "round": lambda: round_still(surface, findings, form, dpi=_DPI),
    }
    for name, draw in made.items():
        yield f"still-{name}.{form}", draw()


def _map(
    readings: RodReadings | CloudReadings,
    surface: RadialSurface,
    findings: Findings,
    form: chart.Form,
) -> bytes:
    with chart.drawing():
        return chart.drawn(map_figure(readings, surface, findings), form, dpi=_DPI)


def write_stills(
    folder: Path,
    readings: RodReadings | CloudReadings,
    surface: RadialSurface,
    findings: Findings,
    *,
    forms: Sequence[chart.Form],
    tick: Callable[[str], None],
) -> None:
    """Write the stills of each form, ``still-...``; none if none is asked for.

    Parameters
    ----------
    folder : Path
    readings : RodReadings or CloudReadings
    surface : RadialSurface
    findings : Findings
    forms : sequence of {'png', 'svg', 'pdf'}
    tick : callable
        Told the form that is drawn next.
    """
    for form in dict.fromkeys(forms):
        tick(f"drawing stills, {form}")
        for name, content in stills(readings, surface, findings, form):
            (folder / name).write_bytes(content)
