"use strict";
/** The clock that lies on the furnace: where to turn the rod to. */

function svgPart(name, attributes, words) {
  const part = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes)) part.setAttribute(key, String(value));
  if (words !== undefined) part.textContent = words;
  return part;
}

/** Draw the face with its hand `onward` degrees past 12. */
function drawClock(face, onward) {
  face.replaceChildren(svgPart("circle", { r: 56, fill: "none", stroke: "currentColor", "stroke-width": 3 }));
  for (let hour = 0; hour < 12; hour += 1) {
    const turn = (hour * Math.PI) / 6;
    const [x, y] = [Math.sin(turn), -Math.cos(turn)];
    face.append(svgPart("line", { x1: 50 * x, y1: 50 * y, x2: 56 * x, y2: 56 * y, stroke: "currentColor", "stroke-width": 2.5 }));
    face.append(svgPart("text", { x: 41 * x, y: 41 * y, "font-size": hour % 3 ? 12 : 16, "font-weight": hour % 3 ? 400 : 700,
      "text-anchor": "middle", "dominant-baseline": "central", fill: "currentColor" }, String(hour || 12)));
  }
  const turn = (onward * Math.PI) / 180;
  const [x, y] = [Math.sin(turn), -Math.cos(turn)];
  face.append(svgPart("line", { x1: 0, y1: 0, x2: 25 * x, y2: 25 * y, stroke: "currentColor", "stroke-width": 7, "stroke-linecap": "round" }));
  face.append(svgPart("circle", { cx: 57 * x, cy: 57 * y, r: 6, fill: "currentColor" }));
  face.append(svgPart("circle", { r: 4.5, fill: "currentColor" }));
}
