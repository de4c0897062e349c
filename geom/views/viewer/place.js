"use strict";
/** The one place that all pictures mark, and what they are coloured by. */

/** A place that can be moved; everybody who listens is called. */
function makePlace(wall) {
  const listeners = [];
  const place = {
    row: 0, column: 0, field: "cutback", heat: 0, base: 0, held: false,
    /** Change some of it; calls everybody only for a real change. */
    move(changes) {
      let changed = false;
      for (const [name, value] of Object.entries(changes)) {
        changed = changed || place[name] !== value;
        place[name] = value;
      }
      place.row = Math.min(Math.max(place.row, 0), wall.rows - 1);
      place.column = ((place.column % wall.columns) + wall.columns) % wall.columns;
      if (changed) listeners.forEach((listen) => listen(place));
    },
    listen(listener) { listeners.push(listener); },
  };
  return place;
}

/** Arrow keys move the place: a cell, or ten with Shift. */
function steerByKeys(element, wall, place) {
  element.addEventListener("keydown", (event) => {
    const size = event.shiftKey ? 10 : 1;
    const right = wall.clockwise ? size : -size;
    const steps = { ArrowUp: [size, 0], ArrowDown: [-size, 0], ArrowRight: [0, right], ArrowLeft: [0, -right] };
    const step = steps[event.key];
    if (!step) return;
    event.preventDefault();
    place.move({ row: place.row + step[0], column: place.column + step[1] });
  });
}

/** Draws on a canvas by the processor: a picture is some thousand short strokes, which
 * without a graphics card take ten times as long to hand over as to draw. */
function penOf(canvas) {
  return canvas.getContext("2d", { willReadFrequently: true });
}

/** A canvas as sharp as the screen; calls `draw(pen, width, height)` when it must. */
function sharpCanvas(canvas, shape, draw) {
  let ready = false;
  let seen = ""; // size and sharpness it was drawn for
  const redraw = () => {
    const width = canvas.clientWidth;
    if (width < 80) return; // nothing can be seen in so little
    const height = Math.round(shape(width));
    const sharp = Math.min(window.devicePixelRatio || 1, 2);
    canvas.style.height = `${height}px`;
    canvas.width = Math.round(width * sharp);
    canvas.height = Math.round(height * sharp);
    const pen = penOf(canvas);
    pen.setTransform(sharp, 0, 0, sharp, 0, 0);
    draw(pen, width, height);
    ready = true;
    seen = sizeOf();
  };
  const sizeOf = () => `${canvas.clientWidth} ${canvas.clientHeight} ${window.devicePixelRatio}`;
  new ResizeObserver(() => { if (sizeOf() !== seen) redraw(); }).observe(canvas);
  return () => { if (ready) redraw(); };
}
