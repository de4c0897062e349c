"use strict";
/** The level section at the marked height, seen from above, true to scale. */

function makeRing(canvas, wall, place) {
  const bearing = (azimuth) => ((wall.clockwise ? azimuth : -azimuth) * Math.PI) / 180;
  const shape = (width) => Math.min(width, 430);
  const centre = (width) => ({ x: width / 2, y: shape(width) / 2, scale: (shape(width) / 2 - 24) / wall.outer });

  const redraw = sharpCanvas(canvas, shape, (pen, width, height) => {
    const { x, y, scale } = centre(width);
    const ink = getComputedStyle(canvas).color;
    const heat = wall.heats[place.heat];
    const drawn = wall.design[place.row];
    const at = (azimuth, radius) => [
      x + radius * scale * Math.sin(bearing(azimuth)), y - radius * scale * Math.cos(bearing(azimuth))];
    const depth = (column) => heat.cutback[cellOf(wall, place.row, column)];
    const open = (column) => heat.action[cellOf(wall, place.row, column)] < 0;
    pen.clearRect(0, 0, width, height);
    band(pen);
    circle(pen, x, y, drawn * scale, ink, [6, 4], 1.3);
    circle(pen, x, y, (drawn + wall.threshold) * scale, ink, [1.5, 3.5], 1.3);
    if (wall.shell !== null) circle(pen, x, y, wall.shell * scale, ink, [], 2.5);
    pen.strokeStyle = ink;
    pen.lineWidth = 2.2;
    pen.beginPath();
    let drawing = false;
    for (let column = 0; column <= wall.columns; column += 1) {
      if (Number.isNaN(depth(column)) || open(column)) { drawing = false; continue; }
      const [px, py] = at(column * wall.sector, drawn + depth(column));
      if (drawing) pen.lineTo(px, py); else pen.moveTo(px, py);
      drawing = true;
    }
    pen.stroke();
    clock(pen, at, ink);
    mark(pen, at, ink);

    /** Where the wall lies with 95 % probability, coloured by which side it is. */
    function band(to) {
      for (let column = 0; column < wall.columns; column += 1) {
        const value = depth(column);
        if (Number.isNaN(value) || open(column)) continue;
        const half = K95 * heat.sd[cellOf(wall, place.row, column)];
        const from = (column - 0.5) * wall.sector;
        const till = (column + 0.5) * wall.sector + 0.2;
        slice(to, at, from, till, drawn, drawn + value, value > 0 ? "#f0a044" : "#6aaacb");
        slice(to, at, from, till, drawn + value - half, drawn + value + half, "rgba(120,120,130,0.45)");
      }
    }

    function mark(to, point, colour) {
      const value = depth(place.column);
      const radius = Number.isNaN(value) ? drawn : drawn + value;
      const azimuth = place.column * wall.sector;
      to.strokeStyle = colour;
      to.lineWidth = 1.4;
      to.beginPath();
      to.moveTo(...point(azimuth, 0.15 * wall.outer));
      to.lineTo(...point(azimuth, wall.outer));
      to.stroke();
      to.beginPath();
      to.arc(...point(azimuth, radius), 7, 0, 7);
      to.stroke();
    }
  });

  pointAndHold(canvas, place, (event) => {
    const { x, y } = centre(canvas.clientWidth);
    const turned = (Math.atan2(event.offsetX - x, y - event.offsetY) * 180) / Math.PI;
    place.move({ column: columnAt(wall, wall.clockwise ? turned : -turned) });
  });
  steerByKeys(canvas, wall, place);
  place.listen(redraw);

  function clock(pen, at, ink) {
    pen.fillStyle = ink;
    pen.font = "13px system-ui, sans-serif";
    pen.textAlign = "center";
    pen.textBaseline = "middle";
    for (let hour = 0; hour < 12; hour += 1) {
      const azimuth = wall.clockwise ? hour * 30 : -hour * 30;
      pen.fillText(String(hour || 12), ...at(azimuth, 1.07 * wall.outer));
    }
  }
}

function circle(pen, x, y, radius, colour, dash, wide) {
  pen.setLineDash(dash);
  pen.strokeStyle = colour;
  pen.lineWidth = wide;
  pen.beginPath();
  pen.arc(x, y, radius, 0, 7);
  pen.stroke();
  pen.setLineDash([]);
}

/** A piece of ring between two azimuths and two radii. */
function slice(pen, at, from, till, inner, outer, colour) {
  pen.fillStyle = colour;
  pen.beginPath();
  pen.moveTo(...at(from, inner));
  pen.lineTo(...at(till, inner));
  pen.lineTo(...at(till, outer));
  pen.lineTo(...at(from, outer));
  pen.fill();
}
