"use strict";
/** What each field is called and coloured; colours and limits stand in the page. */

/** The fields that the wall can be coloured by. */
const FIELDS = [
  { name: "cutback", words: "Cut-back" },
  { name: "left", words: "Lining left" },
  { name: "sd", words: "How sure" },
  { name: "chance", words: "Chance of brick" },
  { name: "action", words: "What to do" },
  { name: "change", words: "Change" },
];
const UNCHANGED = [214, 214, 216]; // change that the surveys cannot tell from none

/** Red, green and blue of a "#rrggbb". */
function rgbOf(code) {
  return [1, 3, 5].map((at) => parseInt(code.slice(at, at + 2), 16));
}

/** Whether a cell's change since another survey is past its level of detection. */
function hasChanged(heat, base, cell) {
  const sd = Math.hypot(heat.sd[cell], base.sd[cell]);
  return Math.abs(heat.cutback[cell] - base.cutback[cell]) > K95 * sd;
}

/** Colours of a whole field as bytes, four a cell; `base` is what change counts from. */
function paintField(wall, heat, field, base) {
  const size = wall.rows * wall.columns;
  const out = new Uint8ClampedArray(4 * size);
  const blank = rgbOf(wall.notSurveyed);
  const hole = rgbOf(wall.opening);
  const fills = wall.actions.map((action) => rgbOf(wall.looks[action].fill));
  const scale = field === "action" ? null : wall.scales[field === "change" ? "cutback" : field];
  const last = scale ? scale.table.length / 3 - 1 : 0;
  for (let cell = 0; cell < size; cell += 1) {
    let colour = blank;
    const depth = field === "change" ? heat.cutback[cell] - base.cutback[cell] : heat.cutback[cell];
    if (!Number.isNaN(depth)) {
      if (heat.action[cell] < 0) colour = hole;
      else if (field === "change" && !hasChanged(heat, base, cell)) colour = UNCHANGED;
      else if (!scale) colour = fills[heat.action[cell]];
      else {
        const share = (valueOf(wall, heat, field, cell, base) - scale.low) / (scale.high - scale.low);
        const at = 3 * Math.round(Math.min(Math.max(share, 0), 1) * last);
        colour = [scale.table[at], scale.table[at + 1], scale.table[at + 2]];
      }
    } else if (wall.openCell[cell]) colour = hole;
    out[4 * cell] = colour[0];
    out[4 * cell + 1] = colour[1];
    out[4 * cell + 2] = colour[2];
    out[4 * cell + 3] = 255;
  }
  return out;
}

/** The number that a field has in a cell. */
function valueOf(wall, heat, field, cell, base) {
  if (field === "cutback") return heat.cutback[cell];
  if (field === "change") return heat.cutback[cell] - base.cutback[cell];
  if (field === "sd") return heat.sd[cell];
  if (field === "chance") return heat.chance[cell];
  return wall.shell - wall.design[Math.floor(cell / wall.columns)] - heat.cutback[cell];
}

/** The bar below the pictures: colours, their ends in words, and the line of brick. */
function drawColourBar(box, wall, field) {
  box.replaceChildren();
  if (field === "action") {
    for (const action of wall.actions) {
      const chip = document.createElement("span");
      chip.className = `chip do ${action.replace(" ", "-")}`;
      chip.textContent = wall.looks[action].word;
      box.append(chip);
    }
    return;
  }
  const scale = wall.scales[field === "change" ? "cutback" : field];
  const bar = document.createElement("canvas");
  bar.width = scale.table.length / 3;
  bar.height = 1;
  const pen = bar.getContext("2d");
  const strip = pen.createImageData(bar.width, 1);
  for (let i = 0; i < bar.width; i += 1) {
    strip.data.set([scale.table[3 * i], scale.table[3 * i + 1], scale.table[3 * i + 2], 255], 4 * i);
  }
  pen.putImageData(strip, 0, 0);
  const ends = [scale.low, scale.high].map((value) =>
    field === "chance" ? `${value} in 100` : sayBoth(value, wall.unit));
  const words = (text) => Object.assign(document.createElement("span"), { textContent: text });
  box.append(words(ends[0]), bar, words(ends[1]));
  const remark = { cutback: `below 0 stands proud; white is the drawing; brick line at ${sayBoth(wall.threshold, wall.unit)}`,
    left: "to the inside of the shell", sd: "standard uncertainty; dark is least sure",
    chance: "that the cut-back is past the brick line",
    change: "red is lost, blue put back or built up; grey: no change that these surveys can tell" }[field];
  const small = words(remark);
  small.className = "quiet";
  box.append(small);
}
