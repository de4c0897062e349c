"use strict";
/** The wall in three dimensions, to be turned and cut open.
 *
 * Only faces that look at the viewer from the inside are drawn, so the near side is
 * always open; "whole" draws both.  Depth can be stretched, and the wall above a height
 * lifted off.
 */

const PROXY = 4; // every so many columns and rows, for pointing

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
  const state = { stretch: 1, key: "" };
  const radiusAt = (heat, row, column) => {
    const depth = heat.cutback[cellOf(wall, row, column)];
    return wall.design[row] + (Number.isNaN(depth) ? 0 : depth * state.stretch);
  };
  const cartesian = (azimuth, radius, height) => {
    const angle = (azimuth * Math.PI) / 180;
    const hand = wall.clockwise ? -1 : 1;
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
        const inward = wall.clockwise ? [a, b, d, a, d, c] : [a, d, b, a, c, d];
        faces.set(inward, at);
        at += 6;
      }
    }
    const geometry = new THREE.BufferGeometry();
    geometry.setIndex(new THREE.BufferAttribute(faces, 1));
    const count = rows.length * columns;
    geometry.setAttribute("position", new THREE.BufferAttribute(new Float32Array(3 * count), 3));
    geometry.setAttribute("color", new THREE.BufferAttribute(new Uint8Array(3 * count), 3, true));
    geometry.setAttribute("stroke", new THREE.BufferAttribute(new Float32Array(count), 1));
    return { geometry, rows, columns, step };
  }

  function setVertices(shape) {
    const heat = wall.heats[place.heat];
    const to = shape.geometry.attributes.position;
    shape.rows.forEach((row, i) => {
      for (let j = 0; j < shape.columns; j += 1) {
        const column = j * shape.step;
        to.setXYZ(i * shape.columns + j, ...cartesian(column * wall.sector, radiusAt(heat, row, column), wall.height[row]));
      }
    });
    to.needsUpdate = true;
    shape.geometry.computeBoundingSphere();
  }

  const fine = shell(1);
  const coarse = shell(PROXY);
  const mesh = new THREE.Mesh(fine.geometry, material);
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

  function colour() {
    const bytes = paintField(wall, wall.heats[place.heat], place.field, wall.heats[place.base]);
    const to = fine.geometry.attributes.color.array;
    for (let cell = 0; cell < wall.rows * wall.columns; cell += 1) {
      for (let c = 0; c < 3; c += 1) to[3 * cell + c] = bytes[4 * cell + c];
    }
    fine.geometry.attributes.color.needsUpdate = true;
    const { cutback, action } = wall.heats[place.heat];
    const stroke = fine.geometry.attributes.stroke;
    const chip = wall.actions.indexOf("chip");
    for (let cell = 0; cell < wall.rows * wall.columns; cell += 1) {
      const past = action[cell] >= 0 && cutback[cell] > wall.threshold;
      stroke.array[cell] = past ? 1 : action[cell] === chip ? -1 : 0;
    }
    stroke.needsUpdate = true;
  }

  let scheduled = false;
  const draw = () => {
    if (scheduled) return;
    scheduled = true;
    requestAnimationFrame(() => {
      scheduled = false;
      if (bricks && bricks.mesh.visible) bricks.show(camera.position, controls.whole.checked);
      renderer.render(scene, camera);
    });
  };

  function update() {
    const shape = `${place.heat} ${state.stretch}`;
    if (state.shape !== shape) {
      setVertices(fine);
      setVertices(coarse);
      if (bricks) bricks.place(state.stretch);
      state.shape = shape;
    }
    const key = `${place.heat} ${place.base} ${place.field}`;
    if (state.key !== key) {
      colour();
      state.key = key;
    }
    const radius = radiusAt(wall.heats[place.heat], place.row, place.column);
    tip.position.set(...cartesian(place.column * wall.sector, radius, wall.height[place.row]));
    draw();
  }

  new ResizeObserver(() => {
    const width = canvas.clientWidth;
    if (!width) return;
    const height = Math.min(Math.round(width * 0.95), 520);
    canvas.style.height = `${height}px`;
    renderer.setPixelRatio(Math.min(window.devicePixelRatio || 1, 2));
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
  canvas.addEventListener("keydown", (event) => turnByKeys(event, orbit, camera, draw));
  orbit.addEventListener("change", draw);
  controls.whole.addEventListener("change", () => {
    material.side = controls.whole.checked ? THREE.DoubleSide : THREE.FrontSide;
    material.needsUpdate = true;
    draw();
  });
  controls.bricks.addEventListener("change", () => {
    if (bricks) bricks.mesh.visible = controls.bricks.checked;
    draw();
  });
  controls.stretch.addEventListener("input", () => { state.stretch = Number(controls.stretch.value); update(); });
  controls.lid.addEventListener("input", () => {
    lid.constant = wall.bottom + (Number(controls.lid.value) / 100) * (wall.top + 1 - wall.bottom);
    draw();
  });
  controls.home.addEventListener("click", home);
  place.listen(update);
  home();
  update();
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
function turnByKeys(event, orbit, camera, draw) {
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
  draw();
}
