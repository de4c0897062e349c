"use strict";
/** What the page knows of the wall: numbers on a grid of heights and azimuths. */

/** A base64 text as numbers of one kind. */
function unpacked(text, Kind) {
  const plain = atob(text);
  const bytes = new Uint8Array(plain.length);
  for (let i = 0; i < plain.length; i += 1) bytes[i] = plain.charCodeAt(i);
  return new Kind(bytes.buffer);
}

/** Whole numbers with a step, as lengths in mm; the least of them means "no number". */
function lengths(packed) {
  const steps = unpacked(packed.data, Int16Array);
  const values = new Float32Array(steps.length);
  for (let i = 0; i < steps.length; i += 1) {
    values[i] = steps[i] === -32768 ? NaN : steps[i] * packed.step;
  }
  return values;
}

/** One survey's fields; each runs over azimuth fastest. */
function fieldsOf(heat) {
  return {
    name: heat.name,
    cutback: lengths(heat.cutback),
    sd: lengths(heat.sd),
    chance: unpacked(heat.chance, Uint8Array), // percent, 255 = no number
    action: unpacked(heat.action, Int8Array),
    zone: unpacked(heat.zone, Uint16Array),
    zones: heat.zones,
    dots: heat.dots,
  };
}

/** The wall from the page's own data. */
function readWall(data) {
  const wall = { ...data, heats: data.heats.map(fieldsOf) };
  wall.rows = data.height.length;
  wall.openCell = unpacked(data.open, Uint8Array);
  wall.scales = Object.fromEntries(Object.entries(data.scales)
    .filter(([, scale]) => scale !== null)
    .map(([name, scale]) => [name, { ...scale, table: unpacked(scale.table, Uint8Array) }]));
  wall.sector = 360 / data.columns;
  wall.clockwise = data.sense === "clockwise";
  wall.bottom = data.edge[0];
  wall.top = data.edge[data.edge.length - 1];
  wall.outer = Math.max(...data.design) + 2 * data.threshold;
  if (data.shell !== null) wall.outer = Math.max(wall.outer, data.shell);
  const mean = data.design.reduce((sum, radius) => sum + radius, 0) / wall.rows;
  wall.around = 2 * Math.PI * mean; // mm, once round
  return wall;
}

/** Place of a cell in every field. */
function cellOf(wall, row, column) {
  const turned = ((column % wall.columns) + wall.columns) % wall.columns;
  return row * wall.columns + turned;
}

/** Row whose slice holds a height, mm. */
function rowAt(wall, height) {
  let low = 0;
  let high = wall.rows - 1;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (height < wall.edge[middle + 1]) high = middle;
    else low = middle + 1;
  }
  return low;
}

/** Column nearest to an azimuth, degrees. */
function columnAt(wall, azimuth) {
  return ((Math.round(azimuth / wall.sector) % wall.columns) + wall.columns) % wall.columns;
}

/** Share of the way from the left edge of the unrolled wall, which azimuth 0 is in the
 * middle of; seen from inside, clockwise reads left to right. */
function shareOf(wall, azimuth) {
  const onward = wall.clockwise ? azimuth : -azimuth;
  return ((((onward + 180) % 360) + 360) % 360) / 360;
}

/** Azimuth at a share of the way from the left edge. */
function azimuthAt(wall, share) {
  const onward = share * 360 - 180;
  return (((wall.clockwise ? onward : -onward) % 360) + 360) % 360;
}
