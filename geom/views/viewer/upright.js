"use strict";
/** The upright section at the marked azimuth, axis to the left, radius stretched. */

const TALL = { left: 46, right: 12, top: 10, bottom: 40 };

function makeUpright(canvas, wall, place) {
  const inner = Math.min(...wall.design) - 1.6 * wall.threshold;
  const shape = (width) => Math.min(Math.max(width * 1.15, 300), 430);

  const redraw = sharpCanvas(canvas, shape, (pen, width, height) => {
    const wide = width - TALL.left - TALL.right;
    const tall = height - TALL.top - TALL.bottom;
    const x = (radius) => TALL.left + ((radius - inner) / (wall.outer - inner)) * wide;
    const y = (up) => TALL.top + ((wall.top - up) / (wall.top - wall.bottom)) * tall;
    const ink = getComputedStyle(canvas).color;
    const heat = wall.heats[place.heat];
    const azimuth = place.column * wall.sector;
    pen.clearRect(0, 0, width, height);
    for (let row = 0; row < wall.rows; row += 1) {
      const cell = cellOf(wall, row, place.column);
      const value = heat.cutback[cell];
      if (Number.isNaN(value) || heat.action[cell] < 0) continue;
      const [top, foot] = [y(wall.edge[row + 1]), y(wall.edge[row]) + 0.3];
      const half = K95 * heat.sd[cell];
      const drawn = wall.design[row];
      const bar = (from, till, colour) => {
        pen.fillStyle = colour;
        pen.fillRect(x(from), top, x(till) - x(from), foot - top);
      };
      bar(drawn, drawn + value, value > 0 ? "#f0a044" : "#6aaacb");
      bar(drawn + value - half, drawn + value + half, "rgba(120,120,130,0.45)");
    }
    const line = (radiusOf, dash, thick) => {
      pen.setLineDash(dash);
      pen.strokeStyle = ink;
      pen.lineWidth = thick;
      pen.beginPath();
      let drawing = false;
      for (let row = 0; row < wall.rows; row += 1) {
        const radius = radiusOf(row);
        if (Number.isNaN(radius)) { drawing = false; continue; }
        if (drawing) pen.lineTo(x(radius), y(wall.edge[row])); else pen.moveTo(x(radius), y(wall.edge[row]));
        pen.lineTo(x(radius), y(wall.edge[row + 1]));
        drawing = true;
      }
      pen.stroke();
      pen.setLineDash([]);
    };
    line((row) => wall.design[row], [6, 4], 1.3);
    line((row) => wall.design[row] + wall.threshold, [1.5, 3.5], 1.3);
    line((row) => {
      const cell = cellOf(wall, row, place.column);
      return heat.action[cell] < 0 ? NaN : wall.design[row] + heat.cutback[cell];
    }, [], 2.2);
    if (wall.shell !== null) line(() => wall.shell, [], 2.5);
    for (const hole of wall.openings) {
      const away = Math.abs(((((azimuth - hole.azimuth) % 360) + 540) % 360) - 180);
      if (away > hole.half) continue;
      pen.fillStyle = wall.opening;
      const top = y(hole.height + 0.5 * hole.tall);
      pen.fillRect(x(wall.design[rowAt(wall, hole.height)]), top, wide, y(hole.height - 0.5 * hole.tall) - top);
    }
    uprightAxes(pen, wall, { x, y, wide, tall, ink, inner });
    const up = wall.height[place.row];
    const value = heat.cutback[cellOf(wall, place.row, place.column)];
    pen.strokeStyle = ink;
    pen.lineWidth = 1.4;
    pen.beginPath();
    pen.moveTo(TALL.left, y(up));
    pen.lineTo(TALL.left + wide, y(up));
    pen.stroke();
    pen.beginPath();
    pen.arc(x(wall.design[place.row] + (Number.isNaN(value) ? 0 : value)), y(up), 7, 0, 7);
    pen.stroke();
  });

  pointAndHold(canvas, place, (event) => {
    const tall = shape(canvas.clientWidth) - TALL.top - TALL.bottom;
    const down = Math.min(Math.max((event.offsetY - TALL.top) / tall, 0), 1);
    place.move({ row: rowAt(wall, wall.top - down * (wall.top - wall.bottom)) });
  });
  steerByKeys(canvas, wall, place);
  place.listen(redraw);
}

/** Heights at the left, radii below. */
function uprightAxes(pen, wall, { x, y, wide, tall, ink, inner }) {
  pen.strokeStyle = ink;
  pen.fillStyle = ink;
  pen.lineWidth = 1;
  pen.strokeRect(TALL.left, TALL.top, wide, tall);
  pen.font = "13px system-ui, sans-serif";
  pen.textAlign = "right";
  pen.textBaseline = "middle";
  for (const height of wall.heightTicks) {
    pen.fillText(sayLength(height, wall.unit).replace(` ${wall.unit}`, ""), TALL.left - 6, y(height));
  }
  pen.textAlign = "center";
  pen.textBaseline = "top";
  for (const radius of wall.radiusTicks) {
    if (radius < inner || radius > wall.outer) continue;
    pen.fillText(sayLength(radius, wall.unit).replace(` ${wall.unit}`, ""), x(radius), TALL.top + tall + 5);
    pen.fillRect(x(radius) - 0.5, TALL.top + tall, 1, 4);
  }
  pen.fillText(`radius in ${UNIT_WORDS[wall.unit]}, stretched`, TALL.left + wide / 2, TALL.top + tall + 21);
}
