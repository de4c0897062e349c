"use strict";
/** The wall laid flat, seen from inside. */

const FLAT = { left: 46, right: 10, top: 8, bottom: 40 };
const FLAT_ROWS = 480; // lines of the picture before it is stretched

/** A texture to fill brick wall or build-up with, for those who see no colour. */
function hatchOf(pen, draw) {
  const tile = document.createElement("canvas");
  tile.width = tile.height = 8;
  draw(penOf(tile));
  return pen.createPattern(tile, "repeat");
}

/** Make the picture; gives back a function that redraws it. */
function makeUnrolled(canvas, wall, place) {
  const inside = (width) => ({
    wide: width - FLAT.left - FLAT.right,
    tall: Math.min(Math.max(((wall.top - wall.bottom) / wall.around) * (width - FLAT.left), 220), 560),
  });
  const shape = (width) => inside(width).tall + FLAT.top + FLAT.bottom;
  const rowOfLine = Array.from({ length: FLAT_ROWS }, (_, line) =>
    rowAt(wall, wall.top - ((line + 0.5) / FLAT_ROWS) * (wall.top - wall.bottom)));
  const across = 2 * wall.columns; // the picture's ends lie in the middle of a column
  const columnOfPixel = Array.from({ length: across }, (_, x) =>
    columnAt(wall, azimuthAt(wall, (x + 0.5) / across)));
  let painted = { key: "", picture: null, brick: null, chip: null, blank: null, unsure: null };
  const chip = wall.actions.indexOf("chip");

  /** The picture and its masks, one pixel a cell; kept until the field changes. */
  function paint() {
    const key = `${place.field} ${place.heat} ${place.base}`;
    if (painted.key === key) return painted;
    const heat = wall.heats[place.heat];
    const colour = paintField(wall, heat, place.field, wall.heats[place.base]);
    const sheet = () => {
      const blank = document.createElement("canvas");
      blank.width = across;
      blank.height = FLAT_ROWS;
      return blank;
    };
    const layers = { picture: sheet(), brick: sheet(), chip: sheet(), blank: sheet(), unsure: sheet() };
    const images = {};
    for (const name of Object.keys(layers)) {
      images[name] = penOf(layers[name]).createImageData(across, FLAT_ROWS);
    }
    for (let line = 0; line < FLAT_ROWS; line += 1) {
      for (let x = 0; x < across; x += 1) {
        const cell = rowOfLine[line] * wall.columns + columnOfPixel[x];
        const at = 4 * (line * across + x);
        for (let c = 0; c < 4; c += 1) images.picture.data[at + c] = colour[4 * cell + c];
        const depth = heat.cutback[cell];
        if (Number.isNaN(depth)) images.blank.data[at + 3] = wall.openCell[cell] ? 0 : 255;
        else if (heat.action[cell] >= 0) {
          if (depth > wall.threshold) images.brick.data[at + 3] = 255;
          if (heat.action[cell] === chip) images.chip.data[at + 3] = 255;
          if (K95 * heat.sd[cell] > wall.doubt) {
            images.unsure.data[at + 3] = 255;
          }
        }
      }
    }
    for (const name of Object.keys(layers)) penOf(layers[name]).putImageData(images[name], 0, 0);
    painted = { key, ...layers };
    return painted;
  }

  /** Fill a mask with a texture. */
  function texture(pen, mask, pattern, box, sharp) {
    const filled = document.createElement("canvas");
    filled.width = Math.max(1, Math.round(box.wide * sharp));
    filled.height = Math.max(1, Math.round(box.tall * sharp));
    const over = penOf(filled);
    over.imageSmoothingEnabled = false;
    over.drawImage(mask, 0, 0, filled.width, filled.height);
    over.globalCompositeOperation = "source-in";
    over.fillStyle = pattern;
    over.fillRect(0, 0, filled.width, filled.height);
    pen.drawImage(filled, FLAT.left, FLAT.top, box.wide, box.tall);
  }

  const layer = document.createElement("canvas"); // all but the cross
  let laid = "";

  const redraw = sharpCanvas(canvas, shape, (pen, width) => {
    const box = inside(width);
    const x = (azimuth) => FLAT.left + shareOf(wall, azimuth) * box.wide;
    const y = (height) => FLAT.top + ((wall.top - height) / (wall.top - wall.bottom)) * box.tall;
    const ink = getComputedStyle(canvas).color;
    const key = `${place.field} ${place.heat} ${place.base} ${canvas.width} ${canvas.height} ${ink}`;
    if (laid !== key) {
      layer.width = canvas.width;
      layer.height = canvas.height;
      const sharp = canvas.width / width;
      const to = penOf(layer);
      to.setTransform(sharp, 0, 0, sharp, 0, 0);
      lay(to, x, y, box, { sharp, ink });
      laid = key;
    }
    pen.clearRect(0, 0, width, canvas.height);
    pen.drawImage(layer, 0, 0, width, shape(width));
    drawCross(pen, x(place.column * wall.sector), y(wall.height[place.row]), box);
  });

  /** Everything that does not move with the pointer. */
  function lay(pen, x, y, box, { sharp, ink }) {
    const layers = paint();
    pen.imageSmoothingEnabled = false;
    pen.drawImage(layers.picture, FLAT.left, FLAT.top, box.wide, box.tall);
    texture(pen, layers.blank, hatchOf(pen, (t) => strokes(t, "#ffffff", [[0, 0, 8, 8], [8, 0, 0, 8]])), box, sharp);
    if (!["chance", "change"].includes(place.field)) {
      texture(pen, layers.unsure, hatchOf(pen, (t) => dotsOf(t, "rgba(60,60,66,0.75)")), box, sharp);
    }
    texture(pen, layers.brick, hatchOf(pen, (t) => strokes(t, "rgba(255,255,255,0.55)", [[0, 8, 8, 0]])), box, sharp);
    texture(pen, layers.chip, hatchOf(pen, (t) => strokes(t, "rgba(15,44,84,0.8)", [[4, 0, 4, 8]])), box, sharp);
    outlineBrick(pen, x, y, box);
    drawFlatOpenings(pen, wall, x, y, box);
    drawDots(pen, wall.heats[place.heat], x, y);
    flatAxes(pen, wall, x, y, box, ink);
  }

  /** The line of the brick threshold, along edges of cells. */
  function outlineBrick(pen, x, y, box) {
    const heat = wall.heats[place.heat];
    const past = (row, column) => heat.cutback[cellOf(wall, row, column)] > wall.threshold;
    const half = (0.5 * box.wide) / wall.columns;
    pen.beginPath();
    for (let row = 0; row < wall.rows; row += 1) {
      for (let column = 0; column < wall.columns; column += 1) {
        if (!past(row, column)) continue;
        const middle = x(column * wall.sector);
        const [top, foot] = [y(wall.edge[row + 1]), y(wall.edge[row])];
        const step = wall.clockwise ? 1 : -1;
        if (!past(row, column - step)) { pen.moveTo(middle - half, top); pen.lineTo(middle - half, foot); }
        if (!past(row, column + step)) { pen.moveTo(middle + half, top); pen.lineTo(middle + half, foot); }
        if (row === 0 || !past(row - 1, column)) { pen.moveTo(middle - half, foot); pen.lineTo(middle + half, foot); }
        if (row === wall.rows - 1 || !past(row + 1, column)) { pen.moveTo(middle - half, top); pen.lineTo(middle + half, top); }
      }
    }
    pen.save();
    const outline = new Path2D();
    outline.rect(FLAT.left, FLAT.top, box.wide, box.tall);
    pen.clip(outline);
    for (const [colour, wide] of [["#ffffff", 4], ["#000000", 1.8]]) {
      pen.strokeStyle = colour;
      pen.lineWidth = wide;
      pen.stroke();
    }
    pen.restore();
  }

  const point = (event) => {
    const width = canvas.clientWidth;
    const box = inside(width);
    const share = (event.offsetX - FLAT.left) / box.wide;
    const down = (event.offsetY - FLAT.top) / box.tall;
    if (share < 0 || share > 1 || down < 0 || down > 1) return;
    place.move({
      column: columnAt(wall, azimuthAt(wall, share)),
      row: rowAt(wall, wall.top - down * (wall.top - wall.bottom)),
    });
  };
  pointAndHold(canvas, place, point);
  steerByKeys(canvas, wall, place);
  place.listen(redraw);
  return redraw;
}

/** Moving the pointer marks; a click holds the mark until the next click. */
function pointAndHold(canvas, place, point) {
  canvas.addEventListener("pointermove", (event) => {
    if (!place.held || event.buttons) point(event);
  });
  canvas.addEventListener("pointerdown", (event) => {
    place.held = event.pointerType !== "mouse" || !place.held;
    point(event);
  });
}

function strokes(pen, colour, lines) {
  pen.strokeStyle = colour;
  pen.lineWidth = 1.4;
  for (const [a, b, c, d] of lines) {
    pen.beginPath();
    pen.moveTo(a, b);
    pen.lineTo(c, d);
    pen.stroke();
  }
}

function dotsOf(pen, colour) {
  pen.fillStyle = colour;
  for (const [x, y] of [[2, 2], [6, 6]]) pen.fillRect(x, y, 1.2, 1.2);
}

function drawFlatOpenings(pen, wall, x, y, box) {
  for (const hole of wall.openings) {
    const middle = x(hole.azimuth);
    const half = (hole.half / 360) * box.wide;
    const top = y(hole.height + 0.5 * hole.tall);
    const tall = y(hole.height - 0.5 * hole.tall) - top;
    for (const lap of [-box.wide, 0, box.wide]) {
      const left = Math.max(middle + lap - half, FLAT.left);
      const right = Math.min(middle + lap + half, FLAT.left + box.wide);
      if (right <= left) continue;
      pen.fillStyle = wall.opening;
      pen.fillRect(left, top, right - left, tall);
      pen.strokeStyle = "#ffffff";
      pen.lineWidth = 1.5;
      pen.strokeRect(left, top, right - left, tall);
    }
  }
}

function drawDots(pen, heat, x, y) {
  pen.lineWidth = 0.8;
  pen.strokeStyle = "#ffffff";
  pen.fillStyle = "#1c1c20";
  for (const [azimuth, height] of heat.dots) {
    pen.beginPath();
    pen.arc(x(azimuth), y(height), 2, 0, 7);
    pen.fill();
    pen.stroke();
  }
}

/** Heights at the left, hours of the clock below. */
function flatAxes(pen, wall, x, y, box, ink) {
  pen.fillStyle = ink;
  pen.strokeStyle = ink;
  pen.lineWidth = 1;
  pen.strokeRect(FLAT.left, FLAT.top, box.wide, box.tall);
  pen.font = "13px system-ui, sans-serif";
  pen.textAlign = "right";
  pen.textBaseline = "middle";
  for (const height of wall.heightTicks) {
    pen.fillText(sayLength(height, wall.unit).replace(` ${wall.unit}`, ""), FLAT.left - 6, y(height));
    pen.fillRect(FLAT.left - 4, y(height) - 0.5, 4, 1);
  }
  pen.textAlign = "center";
  pen.textBaseline = "top";
  const every = box.wide < 420 ? 3 : 1;
  for (let hour = 0; hour < 12; hour += every) {
    const azimuth = wall.clockwise ? hour * 30 : -hour * 30;
    pen.fillText(String(hour || 12), x(azimuth), FLAT.top + box.tall + 5);
  }
  pen.fillText(`o'clock, ${wall.zero} at 12; heights in ${UNIT_WORDS[wall.unit]}`, FLAT.left + 0.5 * box.wide, FLAT.top + box.tall + 21);
}

function drawCross(pen, x, y, box) {
  for (const [colour, wide] of [["#ffffff", 3.5], ["#000000", 1.4]]) {
    pen.strokeStyle = colour;
    pen.lineWidth = wide;
    pen.beginPath();
    pen.moveTo(x, FLAT.top);
    pen.lineTo(x, FLAT.top + box.tall);
    pen.moveTo(FLAT.left, y);
    pen.lineTo(FLAT.left + box.wide, y);
    pen.stroke();
    pen.beginPath();
    pen.arc(x, y, 7, 0, 7);
    pen.stroke();
  }
}
