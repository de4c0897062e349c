"""The wall by what to do."""

import io

import numpy as np
from PIL import Image

from geom.views.charts import style as chart
from geom.views.charts.work_map import workmap_figure, workmap_png


def words(figure):
    return [text.get_text() for text in figure.axes[0].texts]


def test_every_zone_of_work_has_its_number_inside_it(furnace):
    with chart.drawing_style():
        figure = workmap_figure(furnace.surface, furnace.findings)
    shown = words(figure)
    for zone in furnace.findings.zones:
        if zone.action != "leave":
            assert str(zone.id) in shown


def test_actions_differ_in_a_grey_copy(furnace):
    content = workmap_png(furnace.surface, furnace.findings, dpi=80)
    grey = np.asarray(Image.open(io.BytesIO(content)).convert("L"))
    rows = grey.shape[0]
    brick, above = grey[int(rows * 0.58)], grey[int(rows * 0.30)]
    assert brick.min() < 110
    assert np.median(above) > 240


def test_a_wall_with_nothing_to_do_is_drawn(build):
    def sound(grid):
        return np.zeros(grid.shape), np.ones(grid.shape)

    furnace = build(field=sound, spacing=25.0)
    assert furnace.findings.zones == ()
    assert workmap_png(furnace.surface, furnace.findings, dpi=40)[:4] == b"\x89PNG"
