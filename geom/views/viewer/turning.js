"use strict";
/** The wall in three dimensions, to be turned and cut open.
 *
 * Only faces that look at the viewer from the inside are drawn, so the near side is
 * always open; "whole" draws both.  Depth can be stretched, and the wall above a height
 * lifted off.  Where a whole frame takes long, a thinned wall is drawn while something
 * moves, and all of it once that rests.  Out of sight nothing is drawn.
 */

const PROXY = 4; // every so many columns and rows, for pointing and while it moves
const SLOW = 40; // ms of a whole frame past which the thinned wall is drawn while moving
const REST = 150; // ms without a move after which it rests

function makeModel(canvas, wall, place, controls) {
  THREE.ColorManagement.enabled = false; // colours are meant as they are
  let renderer;
  try {
    renderer = new THREE.WebGLRenderer({ canvas, antialias: true, alpha: true });
  } catch {
    canvas.hidden = true;
    controls.sorry.hidden = false;
    return null;
  }
  renderer.outputColorSpace = THREE.LinearSRGBColorSpace;
  renderer.localClippingEnabled = true;
  const scene = new THREE.Scene();
  const camera = new THREE.PerspectiveCamera(35, 1, 10, 50000);
  const middle = 0.5 * (wall.top + wall.bottom);
  const size = Math.max(wall.top - wall.bottom, 2 * wall.outer);
  camera.up.set(0, 0, 1);
  const home = () => {
    camera.position.set(-1.75 * size, 0, middle + 0.75 * size);
    orbit.target.set(0, 0, middle);
    orbit.update();
  };
  const orbit = new THREE.OrbitControls(camera, canvas);
  orbit.enablePan = false;
  orbit.minDistance = 0.6 * size;
  orbit.maxDistance = 5 * size;
  const lid = new THREE.Plane(new THREE.Vector3(0, 0, -1), wall.top + 1);
  const material = strokedMaterial(lid);
  const state = { stretch: 1 };
  const radiusAt = (heat, row, column) => {
    const depth = heat.cutback[cellOf(wall, row, column)];
    return wall.design[row] + (Number.isNaN(depth) ? 0 : depth * state.stretch);
  };
  const hand = wall.clockwise ? -1 : 1;
  const cartesian = (azimuth, radius, height) => {
    const angle = (azimuth * Math.PI) / 180;
    return [radius * Math.cos(angle), hand * radius * Math.sin(angle), height];
  };

  /** Vertices at the cells' middles, thinned by a step; the faces look inwards. */
  function shell(step) {
    const rows = [];
    for (let row = 0; row < wall.rows; row += step) rows.push(row);
    if (rows[rows.length - 1] !== wall.rows - 1) rows.push(wall.rows - 1);
    const columns = Math.floor(wall.columns / step);
    const faces = new Uint32Array(6 * (rows.length - 1) * columns);
    let at = 0;
    for (let i = 0; i + 1 < rows.length; i += 1) {
      for (let j = 0; j < columns; j += 1) {
        const [a, b] = [i * columns + j, i * columns + ((j + 1) % columns)];
        const [c, d] = [a + columns, b + columns];
        faces[at] = faces[at + 3] = a;
        faces[at + 1] = wall.clockwise ? b : d;
        faces[at + 2] = wall.clockwise ? d : b;
        faces[at + 4] = wall.clockwise ? d : c;
        faces[at + 5] = wall.clockwise ? c : d;
        at += 6;
      }
    }
    const geometry = new THREE.BufferGeometry();
    geometry.setIndex(new THREE.BufferAttribute(faces, 1));
    const count = rows.length * columns;
    geometry.setAttribute("position", new THREE.BufferAttribute(new Float32Array(3 * count), 3));
    geometry.setAttribute("color", new THREE.BufferAttribute(new Uint8Array(3 * count), 3, true));
    geometry.setAttribute("stroke", new THREE.BufferAttribute(new Float32Array(count), 1));
    return { geometry, rows, columns, step, placed: "", coloured: "" };
  }

  /** Put the vertices of a shell where the wall of the heat is, its depth stretched. */
  function setVertices(shape) {
    const heat = wall.heats[place.heat];
    const { position } = shape.geometry.attributes;
    const to = position.array;
    const turn = (wall.sector * shape.step * Math.PI) / 180;
    const across = Float64Array.from({ length: shape.columns }, (_, j) => Math.cos(j * turn));
    const along = Float64Array.from({ length: shape.columns }, (_, j) => hand * Math.sin(j * turn));
    let at = 0;
    for (const row of shape.rows) {
      for (let j = 0; j < shape.columns; j += 1) {
        const radius = radiusAt(heat, row, j * shape.step);
        to[at] = radius * across[j];
        to[at + 1] = radius * along[j];
        to[at + 2] = wall.height[row];
        at += 3;
      }
    }
    position.needsUpdate = true;
    shape.geometry.boundingSphere = null; // for pointing; three.js works it out anew
  }

  const fine = shell(1);
  const coarse = shell(PROXY);
  const mesh = new THREE.Mesh(fine.geometry, material);
  mesh.frustumCulled = false;
  const proxy = new THREE.Mesh(coarse.geometry, material);
  const bricks = wall.bricks ? makeBricks(wall, lid, cartesian) : null;
  if (bricks) scene.add(bricks.mesh);
  else controls.bricks.parentElement.hidden = true;
  scene.add(mesh, rings());
  const tip = marker();
  scene.add(tip);

  /** Level rings of the drawing, for the eye to hold on to. */
  function rings() {
    const group = new THREE.Group();
    const line = new THREE.LineBasicMaterial({ color: 0x777780, clippingPlanes: [lid] });
    for (const height of [wall.bottom, ...wall.heightTicks, wall.top]) {
      const row = rowAt(wall, height);
      const points = [];
      for (let a = 0; a < 360; a += 4) points.push(...cartesian(a, wall.design[row], height));
      const geometry = new THREE.BufferGeometry();
      geometry.setAttribute("position", new THREE.BufferAttribute(new Float32Array(points), 3));
      group.add(new THREE.LineLoop(geometry, line));
    }
    return group;
  }

  function marker() {
    const ball = new THREE.SphereGeometry(0.012 * size, 16, 12);
    const dark = new THREE.Mesh(ball, new THREE.MeshBasicMaterial({ color: 0x000000, depthTest: false }));
    const bright = new THREE.Mesh(ball, new THREE.MeshBasicMaterial({ color: 0xffffff, depthTest: false }));
    dark.scale.setScalar(1.5);
    dark.renderOrder = 1;
    bright.renderOrder = 2;
    const group = new THREE.Group();
    group.add(dark, bright);
    return group;
  }

  /** Colours and strokes of a shell's vertices. */
  function colour(shape) {
    const heat = wall.heats[place.heat];
    const bytes = paintField(wall, heat, place.field, wall.heats[place.base]);
    const { color, stroke } = shape.geometry.attributes;
    const chip = wall.actions.indexOf("chip");
    let at = 0;
    for (const row of shape.rows) {
      for (let j = 0; j < shape.columns; j += 1) {
        const cell = row * wall.columns + j * shape.step;
        color.array[3 * at] = bytes[4 * cell];
        color.array[3 * at + 1] = bytes[4 * cell + 1];
        color.array[3 * at + 2] = bytes[4 * cell + 2];
        const past = heat.action[cell] >= 0 && heat.cutback[cell] > wall.threshold;
        stroke.array[at] = past ? 1 : heat.action[cell] === chip ? -1 : 0;
        at += 1;
      }
    }
    color.needsUpdate = true;
    stroke.needsUpdate = true;
  }

  /** Bring a shell up to the heat, the stretch and the field. */
  function refresh(shape) {
    const placed = `${place.heat} ${state.stretch}`;
    if (shape.placed !== placed) setVertices(shape);
    shape.placed = placed;
    const coloured = `${place.heat} ${place.base} ${place.field}`;
    if (shape.coloured !== coloured) colour(shape);
    shape.coloured = coloured;
  }

  let [scheduled, drawn, slow, sized, near, resting] = [false, false, true, "", false, 0];
  /** Draw with the next frame of the screen, if it is to be seen; once in any case, so
   * that all is ready when it comes into sight. */
  const draw = () => {
    if (scheduled || !sized || (drawn && !near)) return;
    scheduled = drawn = true;
    requestAnimationFrame(() => {
      scheduled = false;
      const shape = slow && resting ? coarse : fine;
      refresh(shape);
      mesh.geometry = shape.geometry;
      if (bricks && bricks.mesh.visible) {
        bricks.place(state.stretch);
        bricks.show(camera.position, controls.whole.checked);
      }
      renderer.render(scene, camera);
      if (shape === fine) time();
    });
  };
  /** Draw while something moves: thinned if need be, and all of it once that rests. */
  const move = () => {
    clearTimeout(resting);
    resting = setTimeout(() => { resting = 0; draw(); }, REST);
    draw();
  };
  /** Find how long a whole frame takes, without waiting for it. */
  function time() {
    const pen = renderer.getContext();
    const fence = pen.fenceSync(pen.SYNC_GPU_COMMANDS_COMPLETE, 0);
    if (!fence) return; // the picture is lost, until the browser gives it back
    pen.flush();
    const started = performance.now();
    const look = () => {
      const taken = performance.now() - started;
      if (pen.getSyncParameter(fence, pen.SYNC_STATUS) !== pen.SIGNALED && taken < 1000) {
        setTimeout(look, 4);
        return;
      }
      slow = taken > SLOW;
      pen.deleteSync(fence);
    };
    setTimeout(look, 0);
  }

  function markPlace() {
    const radius = radiusAt(wall.heats[place.heat], place.row, place.column);
    tip.position.set(...cartesian(place.column * wall.sector, radius, wall.height[place.row]));
    move();
  }

  new IntersectionObserver((seen) => {
    near = seen[seen.length - 1].isIntersecting;
    draw();
  }, { rootMargin: "100%" }).observe(canvas);

  new ResizeObserver(() => {
    const width = canvas.clientWidth;
    if (!width) return;
    const height = Math.min(Math.round(width * 0.95), 520);
    const sharp = Math.min(window.devicePixelRatio || 1, 2);
    if (sized === `${width} ${height} ${sharp}`) return; // its own height was observed
    sized = `${width} ${height} ${sharp}`;
    canvas.style.height = `${height}px`;
    renderer.setPixelRatio(sharp);
    renderer.setSize(width, height, false);
    camera.aspect = width / height;
    camera.updateProjectionMatrix();
    draw();
  }).observe(canvas);

  const ray = new THREE.Raycaster();
  let pressed = null;
  const point = (event) => {
    const where = new THREE.Vector2(
      (2 * event.offsetX) / canvas.clientWidth - 1, 1 - (2 * event.offsetY) / canvas.clientHeight);
    ray.setFromCamera(where, camera);
    refresh(coarse);
    const hit = ray.intersectObject(proxy).find((found) => found.point.z <= lid.constant);
    if (!hit) return;
    const angle = (Math.atan2(hit.point.y, hit.point.x) * 180) / Math.PI;
    place.move({ column: columnAt(wall, wall.clockwise ? -angle : angle), row: rowAt(wall, hit.point.z) });
  };
  canvas.addEventListener("pointermove", (event) => { if (!event.buttons && !place.held) point(event); });
  canvas.addEventListener("pointerdown", (event) => { pressed = [event.offsetX, event.offsetY]; });
  canvas.addEventListener("pointerup", (event) => {
    if (!pressed || Math.hypot(event.offsetX - pressed[0], event.offsetY - pressed[1]) > 6) return;
    place.held = event.pointerType !== "mouse" || !place.held;
    point(event);
  });
  canvas.addEventListener("keydown", (event) => turnByKeys(event, orbit, camera));
  orbit.addEventListener("change", move);
  controls.whole.addEventListener("change", () => {
    material.side = controls.whole.checked ? THREE.DoubleSide : THREE.FrontSide;
    material.needsUpdate = true;
    draw();
  });
  controls.bricks.addEventListener("change", () => {
    if (bricks) bricks.mesh.visible = controls.bricks.checked;
    draw();
  });
  controls.stretch.addEventListener("input", () => { state.stretch = Number(controls.stretch.value); markPlace(); });
  controls.lid.addEventListener("input", () => {
    lid.constant = wall.bottom + (Number(controls.lid.value) / 100) * (wall.top + 1 - wall.bottom);
    move();
  });
  controls.home.addEventListener("click", home);
  place.listen(markPlace);
  home();
  markPlace();
  return { renderer, draw };
}

/** Colours with strokes over them, for those who see none: slanted past the brick line,
 * upright where to chip, as in the unrolled picture. */
function strokedMaterial(lid) {
  const material = new THREE.MeshBasicMaterial({ vertexColors: true, clippingPlanes: [lid] });
  material.onBeforeCompile = (shader) => {
    shader.vertexShader = shader.vertexShader
      .replace("#include <common>", "#include <common>\nattribute float stroke;\nvarying float vStroke;")
      .replace("#include <begin_vertex>", "#include <begin_vertex>\nvStroke = stroke;");
    shader.fragmentShader = shader.fragmentShader
      .replace("#include <common>", "#include <common>\nvarying float vStroke;")
      .replace("#include <color_fragment>", `#include <color_fragment>
        if (vStroke > 0.5 && mod(gl_FragCoord.x + gl_FragCoord.y, 9.0) < 2.0)
          diffuseColor.rgb = mix(diffuseColor.rgb, vec3(1.0), 0.75);
        if (vStroke < -0.5 && mod(gl_FragCoord.x, 9.0) < 2.0)
          diffuseColor.rgb = vec3(0.06, 0.17, 0.33);`);
  };
  return material;
}

/** Arrow keys turn, plus and minus come nearer and go away. */
function turnByKeys(event, orbit, camera) {
  const turns = { ArrowLeft: [-0.12, 0], ArrowRight: [0.12, 0], ArrowUp: [0, -0.08], ArrowDown: [0, 0.08] };
  const near = { "+": 0.9, "=": 0.9, "-": 1 / 0.9 };
  const away = camera.position.clone().sub(orbit.target);
  if (turns[event.key]) {
    const [aside, up] = turns[event.key];
    const flat = Math.hypot(away.x, away.y);
    const angle = Math.atan2(away.y, away.x) + aside;
    const lift = Math.min(Math.max(Math.atan2(away.z, flat) - up, -1.4), 1.4);
    const far = away.length();
    away.set(far * Math.cos(lift) * Math.cos(angle), far * Math.cos(lift) * Math.sin(angle), far * Math.sin(lift));
  } else if (near[event.key]) away.multiplyScalar(near[event.key]);
  else return;
  event.preventDefault();
  camera.position.copy(orbit.target).add(away);
  orbit.update();
}
