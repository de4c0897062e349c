"use strict";
/** The bricks of the plan, in their places: boxes of eight corners each.
 *
 * Like the wall, those on the near side are left off unless the whole is shown, and their
 * depth is stretched with the wall's.
 */

/** Sides of a brick by its corners, and how light each is drawn. */
const BRICK_SIDES = [
  [[0, 3, 2, 1], 1.0], [[4, 5, 6, 7], 0.45], [[0, 1, 5, 4], 0.55],
  [[3, 7, 6, 2], 0.8], [[0, 4, 7, 3], 0.65], [[1, 2, 6, 5], 0.65]];
const BRICK_WHOLE = [196, 92, 52];
const BRICK_CUT = [236, 190, 110];
const CORNER = 3; // height, azimuth, radius

/** A mesh of all bricks that `show` draws from where the camera stands. */
function makeBricks(wall, lid, cartesian) {
  const corners = unpacked(wall.bricks.corners, Float32Array);
  const cut = unpacked(wall.bricks.cut, Uint8Array);
  const count = cut.length;
  const geometry = new THREE.BufferGeometry();
  const positions = new THREE.BufferAttribute(new Float32Array(count * 24 * 3), 3);
  const colours = new Uint8Array(count * 24 * 3);
  const order = new THREE.BufferAttribute(new Uint32Array(count * 36), 1);
  geometry.setAttribute("position", positions);
  geometry.setAttribute("color", new THREE.BufferAttribute(colours, 3, true));
  geometry.setIndex(order);
  for (let brick = 0; brick < count; brick += 1) {
    const base = cut[brick] ? BRICK_CUT : BRICK_WHOLE;
    BRICK_SIDES.forEach(([, light], side) => {
      for (let k = 0; k < 4; k += 1) {
        const at = 3 * (24 * brick + 4 * side + k);
        for (let c = 0; c < 3; c += 1) colours[at + c] = Math.round(base[c] * light);
      }
    });
  }
  const mesh = new THREE.Mesh(
    geometry, new THREE.MeshBasicMaterial({ vertexColors: true, clippingPlanes: [lid] }));
  mesh.frustumCulled = false;

  let stretched = 0;
  /** Put every corner where it is, the depth stretched. */
  function place(stretch) {
    if (stretched === stretch) return;
    stretched = stretch;
    for (let brick = 0; brick < count; brick += 1) {
      BRICK_SIDES.forEach(([side], number) => {
        side.forEach((corner, k) => {
          const at = CORNER * (8 * brick + corner);
          const [height, azimuth, radius] = corners.subarray(at, at + CORNER);
          const drawn = wall.design[rowAt(wall, height)];
          positions.setXYZ(24 * brick + 4 * number + k,
            ...cartesian(azimuth, drawn + (radius - drawn) * stretch, height));
        });
      });
    }
    positions.needsUpdate = true;
  }

  const shown = new Uint8Array(count).fill(2);
  /** Draw the bricks whose face looks at the camera, or all. */
  function show(eye, all) {
    let changed = false;
    for (let brick = 0; brick < count; brick += 1) {
      const first = 3 * 24 * brick;
      const [x, y] = [positions.array[first], positions.array[first + 1]];
      const seen = all || (eye.x - x) * x + (eye.y - y) * y <= 0 ? 1 : 0;
      changed = changed || shown[brick] !== seen;
      shown[brick] = seen;
    }
    if (!changed) return;
    const to = order.array;
    let used = 0;
    for (let brick = 0; brick < count; brick += 1) {
      if (!shown[brick]) continue;
      for (let side = 0; side < 6; side += 1) {
        const a = 24 * brick + 4 * side;
        for (const corner of wall.clockwise ? [0, 2, 1, 0, 3, 2] : [0, 1, 2, 0, 2, 3]) {
          to[used] = a + corner;
          used += 1;
        }
      }
    }
    geometry.setDrawRange(0, used);
    order.needsUpdate = true;
  }

  place(1);
  return { mesh, place, show };
}
