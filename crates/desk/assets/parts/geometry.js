// Plane projective maps, as nested rows [[a, b, c], [d, e, f], [g, h, i]].
//
// In: matrices and points, no unit of their own. Out: the same. Never here: the page, a picture.
// Frames as everywhere in the program: x right, y down. In millimetres the origin is the face's
// top-left corner; in pixels (0, 0) is the *centre* of the top-left pixel. A browser counts from
// the pixel's edge, so `EDGE_FROM_CENTRE` stands between the two.

/** From pixel coordinates counted from centres to those counted from the picture's edge. */
export const EDGE_FROM_CENTRE = [[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1]];
export const CENTRE_FROM_EDGE = [[1, 0, -0.5], [0, 1, -0.5], [0, 0, 1]];

/** The map that does `b` first and `a` after it. */
export function multiply(a, b) {
  return a.map((row) => [0, 1, 2].map((j) => row[0] * b[0][j] + row[1] * b[1][j] + row[2] * b[2][j]));
}

/** Where a point goes; `null` where it goes to infinity or behind the viewer. */
export function apply(h, [x, y]) {
  const w = h[2][0] * x + h[2][1] * y + h[2][2];
  if (!(w > 1e-12)) return null;
  return [(h[0][0] * x + h[0][1] * y + h[0][2]) / w, (h[1][0] * x + h[1][1] * y + h[1][2]) / w];
}

/** The map back; `null` for one that has none. */
export function invert(m) {
  const [[a, b, c], [d, e, f], [g, h, i]] = m;
  const adjugate = [
    [e * i - f * h, c * h - b * i, b * f - c * e],
    [f * g - d * i, a * i - c * g, c * d - a * f],
    [d * h - e * g, b * g - a * h, a * e - b * d],
  ];
  const det = a * adjugate[0][0] + b * adjugate[1][0] + c * adjugate[2][0];
  if (!Number.isFinite(det) || det === 0) return null;
  return adjugate.map((row) => row.map((value) => value / det));
}

/** The same map, its homogeneous scale chosen so that `point` lies before the viewer (w = 1). */
export function facing(h, [x, y]) {
  const w = h[2][0] * x + h[2][1] * y + h[2][2];
  return h.map((row) => row.map((value) => value / w));
}

export function scaling(factor) {
  return [[factor, 0, 0], [0, factor, 0], [0, 0, 1]];
}

/** Lengths one unit long along x and along y at a point, after the map; the larger of the two. */
export function magnification(h, point) {
  const at = apply(h, point);
  const step = 0.5;
  const right = apply(h, [point[0] + step, point[1]]);
  const down = apply(h, [point[0], point[1] + step]);
  if (!at || !right || !down) return 0;
  return Math.max(Math.hypot(right[0] - at[0], right[1] - at[1]), Math.hypot(down[0] - at[0], down[1] - at[1])) / step;
}

/** Square root of how much an area grows at a point: the scale of the likest similarity. */
export function meanScale(h, point) {
  const at = apply(h, point);
  const right = apply(h, [point[0] + 0.01, point[1]]);
  const down = apply(h, [point[0], point[1] + 0.01]);
  if (!at || !right || !down) return 0;
  const [ax, ay] = [right[0] - at[0], right[1] - at[1]];
  const [bx, by] = [down[0] - at[0], down[1] - at[1]];
  return Math.sqrt(Math.abs(ax * by - ay * bx)) / 0.01;
}

/** The map that takes the rectangle 0..width × 0..height onto four corners, clockwise from the
 *  top left; `null` when three of them lie on a line.
 *  By the closed form for the unit square (Heckbert 1989, Fundamentals of texture mapping, 2.2). */
export function fromCorners(width, height, [p0, p1, p2, p3]) {
  const sx = p0[0] - p1[0] + p2[0] - p3[0];
  const sy = p0[1] - p1[1] + p2[1] - p3[1];
  const [dx1, dy1] = [p1[0] - p2[0], p1[1] - p2[1]];
  const [dx2, dy2] = [p3[0] - p2[0], p3[1] - p2[1]];
  const det = dx1 * dy2 - dx2 * dy1;
  if (Math.abs(det) < 1e-9) return null;
  const g = (sx * dy2 - dx2 * sy) / det;
  const h = (dx1 * sy - sx * dy1) / det;
  const square = [
    [p1[0] - p0[0] + g * p1[0], p3[0] - p0[0] + h * p3[0], p0[0]],
    [p1[1] - p0[1] + g * p1[1], p3[1] - p0[1] + h * p3[1], p0[1]],
    [g, h, 1],
  ];
  return multiply(square, [[1 / width, 0, 0], [0, 1 / height, 0], [0, 0, 1]]);
}

/** Whether four corners, clockwise on the screen (y down), bound a convex shape. */
export function isConvex(corners) {
  return corners.every((at, index) => {
    const next = corners[(index + 1) % 4];
    const after = corners[(index + 2) % 4];
    const turn = (next[0] - at[0]) * (after[1] - next[1]) - (next[1] - at[1]) * (after[0] - next[0]);
    return turn > 1e-6;
  });
}

/** The map as a CSS transform with its origin at 0 0. The browser divides by w for every pixel,
 *  so a photo taken at a slant comes out right. */
export function css(h) {
  const [[a, b, c], [d, e, f], [g, i, w]] = h;
  return `matrix3d(${[a, d, 0, g, b, e, 0, i, 0, 0, 1, 0, c, f, 0, w].map(plain).join(",")})`;
}

/** A number as CSS reads it (no 1e-7, which old parsers refuse), to 12 digits. */
function plain(value) {
  return Number.isFinite(value) ? value.toFixed(12).replace(/\.?0+$/, "") || "0" : "0";
}
