"use strict";
/** The marked place through all surveys: how deep it was in each, and how sure that is. */

const CURVE = { left: 46, right: 12, top: 12, bottom: 40 };

function makeCurve(canvas, wall, place) {
  const count = wall.heats.length;
  const numbers = wall.heats.map((heat) => (/\d+/.exec(heat.name) || [""])[0]);
  const isRepaired = wall.heats.map((heat) => heat.name.includes("after repair"));
  const shape = (width) => Math.min(Math.max(width * 0.62, 240), 420);
  const across = (width) => (at) =>
    CURVE.left + ((at + 0.5) / count) * (width - CURVE.left - CURVE.right);

  const redraw = sharpCanvas(canvas, shape, (pen, width, height) => {
    const cell = cellOf(wall, place.row, place.column);
    const depth = wall.heats.map((heat) => (heat.action[cell] < 0 ? NaN : heat.cutback[cell]));
    const half = wall.heats.map((heat) => K95 * heat.sd[cell]);
    const ends = depth.flatMap((value, at) => [value - half[at], value + half[at]]).filter((end) => !Number.isNaN(end));
    const low = Math.min(0, ...ends);
    const high = Math.max(1.15 * wall.threshold, ...ends);
    const x = across(width);
    const y = (mm) => CURVE.top + ((high - mm) / (high - low)) * (height - CURVE.top - CURVE.bottom);
    const ink = getComputedStyle(canvas).color;
    pen.clearRect(0, 0, width, height);
    curveAxes(pen, wall, { x, y, width, height, low, high, ink, numbers });
    pen.strokeStyle = pen.fillStyle = ink;
    pen.lineWidth = 1;
    pen.globalAlpha = 0.45;
    pen.beginPath();
    let drawing = false;
    depth.forEach((value, at) => {
      if (Number.isNaN(value)) { drawing = false; return; }
      if (drawing) pen.lineTo(x(at), y(value)); else pen.moveTo(x(at), y(value));
      drawing = true;
    });
    pen.stroke();
    pen.globalAlpha = 1;
    depth.forEach((value, at) => {
      if (Number.isNaN(value)) return;
      pen.lineWidth = at === place.heat ? 2.4 : 1.2;
      pen.beginPath();
      pen.moveTo(x(at), y(value - half[at]));
      pen.lineTo(x(at), y(value + half[at]));
      pen.stroke();
      pen.beginPath();
      pen.arc(x(at), y(value), at === place.heat ? 6.5 : 4, 0, 7);
      pen.fillStyle = isRepaired[at] ? getComputedStyle(canvas.parentElement).backgroundColor : ink;
      pen.fill();
      pen.stroke();
    });
    canvas.dataset.step = String(ruleStep(wall.threshold, wall.unit));
    canvas.dataset.depths = JSON.stringify(depth.map((value) => (Number.isNaN(value) ? null : Math.round(10 * value) / 10)));
  });

  canvas.addEventListener("pointerdown", (event) => {
    const wide = canvas.clientWidth - CURVE.left - CURVE.right;
    const at = Math.floor(((event.offsetX - CURVE.left) / wide) * count);
    place.move({ heat: Math.min(Math.max(at, 0), count - 1) });
  });
  canvas.addEventListener("keydown", (event) => {
    const step = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (!step) return;
    event.preventDefault();
    place.move({ heat: Math.min(Math.max(place.heat + step, 0), count - 1) });
  });
  place.listen(redraw);
}

/** A whole step of the rule, of which some three reach the brick line; mm. */
function ruleStep(threshold, unit) {
  const unitMm = unit === "in" ? MM_PER.in / 8 : 1;
  const least = (0.3 * threshold) / unitMm;
  const power = unit === "in" ? 2 ** Math.floor(Math.log2(least)) : 10 ** Math.floor(Math.log10(least));
  const steps = unit === "in" ? [1, 2] : [1, 2, 5, 10];
  return unitMm * Math.max(1, power * steps.find((step) => step * power >= least * (1 - 1e-9)));
}

/** Cut-back at the left, heats below; the brick line dashed. */
function curveAxes(pen, wall, { x, y, width, height, low, high, ink, numbers }) {
  const right = width - CURVE.right;
  pen.strokeStyle = pen.fillStyle = ink;
  pen.lineWidth = 1;
  pen.strokeRect(CURVE.left, CURVE.top, right - CURVE.left, height - CURVE.top - CURVE.bottom);
  pen.font = "13px system-ui, sans-serif";
  pen.textAlign = "right";
  pen.textBaseline = "middle";
  const step = ruleStep(wall.threshold, wall.unit);
  for (let mm = 0; mm <= high; mm += step) {
    pen.fillText(sayLength(mm, wall.unit).replace(` ${wall.unit}`, ""), CURVE.left - 6, y(mm));
    pen.fillRect(CURVE.left - 4, y(mm) - 0.5, 4, 1);
  }
  const line = (mm, dash, thick) => {
    if (mm < low || mm > high) return;
    pen.setLineDash(dash);
    pen.lineWidth = thick;
    pen.beginPath();
    pen.moveTo(CURVE.left, y(mm));
    pen.lineTo(right, y(mm));
    pen.stroke();
    pen.setLineDash([]);
  };
  line(0, [], 1);
  line(wall.threshold, [6, 4], 2);
  pen.textAlign = "left";
  pen.fillText("brick line", CURVE.left + 6, y(wall.threshold) - 9);
  pen.textAlign = "center";
  pen.textBaseline = "top";
  let last = -100;
  numbers.forEach((number, at) => {
    if (number === numbers[at - 1] || x(at) - last < 30) return;
    last = x(at);
    pen.fillText(number, x(at), height - CURVE.bottom + 5);
  });
  pen.fillText(`heat; cut-back in ${UNIT_WORDS[wall.unit]}`, 0.5 * (CURVE.left + right), height - CURVE.bottom + 21);
}
