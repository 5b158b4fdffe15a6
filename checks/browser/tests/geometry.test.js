// The browser's plane maps against another way to the same numbers, and against themselves.

import assert from "node:assert/strict";
import { test } from "node:test";
import * as g from "../../../crates/desk/assets/parts/geometry.js";
import { demoPhoto } from "../lib/harness.js";

/** Four-point homography by Gaussian elimination on the eight equations (direct linear transform,
 *  Hartley & Zisserman, chapter 4): no step in common with the closed form under test. */
function byElimination(from, to) {
  const rows = from.flatMap(([x, y], i) => {
    const [u, v] = to[i];
    return [[x, y, 1, 0, 0, 0, -u * x, -u * y, u], [0, 0, 0, x, y, 1, -v * x, -v * y, v]];
  });
  for (let c = 0; c < 8; c += 1) {
    const pivot = rows.slice(c).reduce((best, row, i) => (Math.abs(row[c]) > Math.abs(rows[best][c]) ? c + i : best), c);
    [rows[c], rows[pivot]] = [rows[pivot], rows[c]];
    for (let r = 0; r < 8; r += 1) {
      if (r === c) continue;
      const factor = rows[r][c] / rows[c][c];
      for (let k = c; k < 9; k += 1) rows[r][k] -= factor * rows[c][k];
    }
  }
  const s = rows.map((row, i) => row[8] / row[i]);
  return [[s[0], s[1], s[2]], [s[3], s[4], s[5]], [s[6], s[7], 1]];
}

const near = (a, b, within, words) => assert.ok(Math.abs(a - b) <= within, `${words ?? ""} ${a} is not ${b}`);

test("four corners give the map that elimination gives", () => {
  const shapes = [
    [[100, 50], [700, 80], [650, 900], [120, 850]],
    [[0, 0], [65, 0], [65, 112], [0, 112]],
    [[-40.5, 3], [900, -220], [1210, 1400], [77, 630]],
  ];
  for (const corners of shapes) {
    const ours = g.fromCorners(65, 112, corners);
    const other = byElimination([[0, 0], [65, 0], [65, 112], [0, 112]], corners);
    for (let i = 0; i < 9; i += 1) near(ours[Math.trunc(i / 3)][i % 3], other[Math.trunc(i / 3)][i % 3], 1e-9 * (1 + Math.abs(other[Math.trunc(i / 3)][i % 3])));
  }
});

test("a map and the map back meet; three corners on a line have none", async () => {
  const { mm_to_px } = await demoPhoto("pf-2055", "01.jpg");
  const back = g.invert(mm_to_px.photo);
  for (const point of [[0, 0], [65, 112], [12.5, 80]]) {
    const there = g.apply(back, g.apply(mm_to_px.photo, point));
    near(there[0], point[0], 1e-9);
    near(there[1], point[1], 1e-9);
  }
  assert.equal(g.fromCorners(10, 10, [[0, 0], [5, 0], [10, 0], [15, 0]]), null);
  assert.equal(g.invert([[1, 2, 3], [2, 4, 6], [0, 0, 1]]), null);
});

test("a point behind the viewer has no place, and its side does not depend on the matrix's sign", () => {
  const slanted = [[1, 0, 0], [0, 1, 0], [0, -0.01, 1]];
  assert.equal(g.apply(slanted, [0, 200]), null);
  const turned = slanted.map((row) => row.map((value) => -value));
  assert.deepEqual(g.apply(g.facing(turned, [0, 50]), [0, 50]), g.apply(slanted, [0, 50]));
});

test("corners are convex only clockwise on the screen", () => {
  const square = [[0, 0], [10, 0], [10, 10], [0, 10]];
  assert.equal(g.isConvex(square), true);
  assert.equal(g.isConvex([...square].reverse()), false);
  assert.equal(g.isConvex([[0, 0], [10, 10], [10, 0], [0, 10]]), false);
  assert.equal(g.isConvex([[0, 0], [10, 0], [3, 3], [0, 10]]), false);
});

test("scales: a similarity's is its own, a homography's is that of its derivative", () => {
  near(g.meanScale([[3, 0, 5], [0, 3, 7], [0, 0, 1]], [1, 2]), 3, 1e-6);
  near(g.meanScale([[0, -2, 0], [2, 0, 0], [0, 0, 1]], [9, 9]), 2, 1e-6);
  // x' = x / (1 + k x): derivative 1 / (1 + k x)², y' = y / (1 + k x): 1 / (1 + k x).
  const k = 0.01;
  near(g.meanScale([[1, 0, 0], [0, 1, 0], [k, 0, 1]], [50, 0]), (1 + k * 50) ** -1.5, 1e-4);
});
