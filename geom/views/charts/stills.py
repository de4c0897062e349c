"""Pictures for papers: map, sections and the wall in the round, one file each."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path

from geom.compare.findings import Findings
from geom.readings import CloudReadings, RodReadings
from geom.surface.radial import RadialSurface
from geom.views.charts.cutback_map import map_png
from geom.views.charts.round import round_view
from geom.views.charts.sections import level_sections, upright_sections
from geom.views.charts.style import Form
from geom.views.names import STILL_VIEWS

#: Dots per inch of what is not drawn as lines.
_DPI = 180


def stills(
    readings: RodReadings | CloudReadings,
    surface: RadialSurface,
    findings: Findings,
    form: Form,
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
    drawings: tuple[Callable[..., bytes], ...] = (
        partial(map_png, readings),
        level_sections,
        upright_sections,
        round_view,
    )
    for name, draw in zip(STILL_VIEWS, drawings, strict=True):
        content = draw(surface, findings, form=form, dpi=_DPI)
        yield f"still-{name}.{form}", content


def write_stills(
    folder: Path,
    readings: RodReadings | CloudReadings,
    surface: RadialSurface,
    findings: Findings,
    *,
    forms: Sequence[Form],
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
        Called with the form that is drawn next.
    """
    for form in dict.fromkeys(forms):
        tick(f"drawing stills, {form}")
        for name, content in stills(readings, surface, findings, form):
            (folder / name).write_bytes(content)
