"use strict";
/** How numbers and places are said; the same words as everywhere else in the report. */

const MM_PER = { in: 25.4, mm: 1, cm: 10, m: 1000 };
const UNIT_WORDS = { in: "inches", mm: "mm", cm: "cm", m: "metres" };
const K95 = 1.959963984540054;

/** Half-way cases go to the even neighbour, as Python rounds. */
function roundEven(value) {
  const below = Math.floor(value);
  const rest = value - below;
  if (rest < 0.5) return below;
  if (rest > 0.5) return below + 1;
  return below % 2 === 0 ? below : below + 1;
}

/** Inches in eighths: "1 1/4". */
function asFraction(inches) {
  const steps = roundEven(Math.abs(inches) * 8);
  const whole = Math.floor(steps / 8);
  let top = steps % 8;
  let bottom = 8;
  while (top && top % 2 === 0) {
    top /= 2;
    bottom /= 2;
  }
  const words = whole || !top ? [String(whole)] : [];
  if (top) words.push(`${top}/${bottom}`);
  return (inches < 0 && steps ? "-" : "") + words.join(" ");
}

/** A length in the shop's unit. */
function sayLength(mm, unit) {
  if (unit === "in") return `${asFraction(mm / MM_PER.in)} in`;
  const digits = { mm: 0, cm: 1, m: 3 }[unit];
  const size = 10 ** digits;
  return `${(roundEven((mm / MM_PER[unit]) * size) / size + 0).toFixed(digits)} ${unit}`;
}

/** A length in the shop's unit and in mm. */
function sayBoth(mm, unit) {
  const said = sayLength(mm, unit);
  return unit === "mm" ? said : `${said} (${sayLength(mm, "mm")})`;
}

/** From one length to another, in the shop's unit alone. */
function sayBetween(low, high, unit) {
  return `${sayLength(low, unit).replace(` ${unit}`, "")} to ${sayLength(high, unit)}`;
}

/** The interval of a depth or a change, counted the way that its word counts. */
function sayInterval(value, half, unit) {
  const size = Math.abs(value);
  return sayBetween(size - half, size + half, unit);
}

/** Where an azimuth is on a clock laid on the furnace, seen from above. */
function sayClock(azimuth, clockwise) {
  const onward = (((clockwise ? azimuth : -azimuth) % 360) + 360) % 360;
  const halves = roundEven(onward / 15) % 24;
  const hour = Math.floor(halves / 2) || 12;
  return halves % 2 ? `half past ${hour}` : `${hour} o'clock`;
}

/** How a place has changed since another survey. */
function sayChange(wall, heat, base, cell) {
  const change = heat.cutback[cell] - base.cutback[cell];
  if (heat === base || Number.isNaN(change)) return null;
  const half = K95 * Math.hypot(heat.sd[cell], base.sd[cell]);
  const sure = Math.abs(change) > half;
  const side = change > 0 ? "lost" : "put back or built up";
  return [
    `Since ${base.name}`,
    sure ? `${sayBoth(Math.abs(change), wall.unit)} ${side}` : "no change to be told",
    sure
      ? `95 %: ${sayInterval(change, half, wall.unit)}`
      : `95 %: ${sayBetween(change - half, change + half, wall.unit)}; plus is lost`,
  ];
}

/** Everything to be said of one cell: name, words and remark of each line. */
function sayCell(wall, heat, row, column, base) {
  const cell = cellOf(wall, row, column);
  const azimuth = column * wall.sector;
  const unit = wall.unit;
  const where =
    `${sayClock(azimuth, wall.clockwise)} (${Math.round(azimuth)}°), ` +
    `${sayBoth(wall.height[row], unit)} above ${wall.heightZero}`;
  const depth = heat.cutback[cell];
  if (Number.isNaN(depth)) {
    return { where, lines: [["Here", "nobody measured this wall"]], call: "" };
  }
  if (heat.action[cell] < 0) {
    return { where, lines: [["Here", "an opening: no lining"]], call: "" };
  }
  const half = K95 * heat.sd[cell];
  const lines = [[
    depth < 0 ? "Stands proud here" : "Cut back here",
    sayBoth(Math.abs(depth), unit),
    `95 %: ${sayInterval(depth, half, unit)}` +
      (unit === "mm" ? "" : ` (${sayInterval(depth, half, "mm")})`),
  ]];
  if (wall.shell !== null) {
    const left = wall.shell - wall.design[row] - depth;
    lines.push(["Lining left here", sayBoth(left, unit), `95 %: ${sayBetween(left - half, left + half, unit)}`]);
  }
  lines.push(["Needs brick", `${heat.chance[cell]} in 100`, "the chance that it is past the brick line"]);
  const change = base ? sayChange(wall, heat, base, cell) : null;
  if (change) lines.push(change);
  const look = wall.looks[wall.actions[heat.action[cell]]];
  const zone = heat.zone[cell];
  return { where, lines, call: look.word, action: wall.actions[heat.action[cell]], zone };
}
