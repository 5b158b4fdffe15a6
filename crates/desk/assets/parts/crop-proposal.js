// Where the photo lies in a screenshot: the largest picture between uniform borders.
//
// In: RGBA pixels. Out: a rectangle in pixels. Never here: the page.
//
// The screenshot is cut along rows and columns of one colour, again and again (recursive X-Y cuts,
// Nagy & Seth 1984), until pieces have none left. Text falls apart into lines, a photo does not;
// the piece that holds the most that is not of one colour is proposed. The person adjusts it.

/** Codes by which pixels of one surface may differ: compression of screenshots, no more. */
const TOLERANCE = 10;
/** Bands narrower than this part of the picture's shorter side do not cut. */
const LEAST_GAP = 0.008;
const LEAST_GAP_PX = 3;
/** A row counts as uniform when this part of it is of one colour: a scroll bar may cross it. */
const UNIFORM = 0.985;
/** A drawn surface repeats its colour exactly in at least this part of its pixels, also after compression;
 *  the plain background of a photo does not, because of its noise. */
const REPEATED = 0.6;
const DEPTH = 12;

/** `pixels`: RGBA, row by row. Result: x, y, width, height; all of it when nothing stands out. */
export function propose(pixels, width, height) {
  const whole = { x: 0, y: 0, width, height };
  const gap = Math.max(LEAST_GAP_PX, Math.round(LEAST_GAP * Math.min(width, height)));
  let best = null;
  const visit = (box, depth) => {
    const trimmed = trim(pixels, width, height, box);
    if (!trimmed) return;
    const parts = depth > 0 ? cut(pixels, width, trimmed, gap) : null;
    if (parts) {
      for (const part of parts) visit(part, depth - 1);
      return;
    }
    const weight = busy(pixels, width, trimmed);
    if (!best || weight > best.weight) best = { box: trimmed, weight };
  };
  visit(whole, DEPTH);
  const enough = best && best.box.width * best.box.height >= 0.01 * width * height;
  return enough ? best.box : whole;
}

function close(pixels, a, b) {
  return Math.abs(pixels[a] - pixels[b]) <= TOLERANCE && Math.abs(pixels[a + 1] - pixels[b + 1]) <= TOLERANCE
    && Math.abs(pixels[a + 2] - pixels[b + 2]) <= TOLERANCE;
}

/** Whether a line of `count` pixels from index `from` on, `step` apart, is one drawn surface: has the
 *  colour of its middle pixel or of its first, and repeats it. */
function isUniform(pixels, from, step, count) {
  const repeats = () => {
    let same = 1;
    for (let i = 1, at = from + step; i < count; i += 1, at += step) {
      const before = at - step;
      if (pixels[at] === pixels[before] && pixels[at + 1] === pixels[before + 1] && pixels[at + 2] === pixels[before + 2]) same += 1;
    }
    return same >= REPEATED * count;
  };
  const like = (reference) => {
    let same = 0;
    for (let i = 0, at = from; i < count; i += 1, at += step) if (close(pixels, at, reference)) same += 1;
    return same >= UNIFORM * count;
  };
  return (like(from) || like(from + step * (count >> 1))) && repeats();
}

const isRow = (pixels, width, box, y) => isUniform(pixels, 4 * (y * width + box.x), 4, box.width);
const isColumn = (pixels, width, box, x) => isUniform(pixels, 4 * (box.y * width + x), 4 * width, box.height);

/** The box without uniform rows and columns at its sides; null when nothing is left. Only what has the
 *  colour of the surface outside the box is taken off: a photo's own plain background stays. */
function trim(pixels, width, height, box) {
  let { x, y } = box;
  let right = x + box.width;
  let bottom = y + box.height;
  const at = (column, row) => (column < 0 || row < 0 || column >= width || row >= height ? null : 4 * (row * width + column));
  const [middle, centre] = [x + (box.width >> 1), y + (box.height >> 1)];
  const outside = { top: at(middle, y - 1), bottom: at(middle, bottom), left: at(x - 1, centre), right: at(right, centre) };
  const goesOn = (side, column, row) => outside[side] === null || close(pixels, outside[side], at(column, row));
  for (let changed = true; changed;) {
    changed = false;
    const now = () => ({ x, y, width: right - x, height: bottom - y });
    while (y < bottom && isRow(pixels, width, now(), y) && goesOn("top", middle, y)) { y += 1; changed = true; }
    while (bottom > y && isRow(pixels, width, now(), bottom - 1) && goesOn("bottom", middle, bottom - 1)) { bottom -= 1; changed = true; }
    if (y >= bottom) return null;
    while (x < right && isColumn(pixels, width, now(), x) && goesOn("left", x, centre)) { x += 1; changed = true; }
    while (right > x && isColumn(pixels, width, now(), right - 1) && goesOn("right", right - 1, centre)) { right -= 1; changed = true; }
    if (x >= right) return null;
  }
  return { x, y, width: right - x, height: bottom - y };
}

/** The pieces between uniform bands across the box; null when there is no band. */
function cut(pixels, width, box, gap) {
  const rows = bands(box.height, gap, (i) => isRow(pixels, width, box, box.y + i));
  if (rows.length > 1) return rows.map(([from, to]) => ({ ...box, y: box.y + from, height: to - from }));
  const columns = bands(box.width, gap, (i) => isColumn(pixels, width, box, box.x + i));
  if (columns.length > 1) return columns.map(([from, to]) => ({ ...box, x: box.x + from, width: to - from }));
  return null;
}

function bands(length, gap, isBand) {
  const pieces = [];
  let from = 0;
  for (let at = 0; at <= length;) {
    let end = at;
    while (end < length && isBand(end)) end += 1;
    if (at === length || end - at >= gap) {
      if (at > from) pieces.push([from, at]);
      from = end;
    }
    at = Math.max(end, at + 1);
  }
  return pieces;
}

/** How many pixels differ from the box's first: a photo many, text and lines few. */
function busy(pixels, width, box) {
  const corner = 4 * (box.y * width + box.x);
  let count = 0;
  for (let y = 1; y < box.height; y += 1) {
    let at = 4 * ((box.y + y) * width + box.x + 1);
    for (let x = 1; x < box.width; x += 1, at += 4) {
      if (!close(pixels, at, corner) && !(close(pixels, at, at - 4) && close(pixels, at, at - 4 * width) && isFlat(pixels, at, width))) count += 1;
    }
  }
  return count;
}

/** Whether a pixel has exactly its neighbours' colour, as drawn surfaces have and photos have not. */
function isFlat(pixels, at, width) {
  const up = at - 4 * width;
  return pixels[at] === pixels[at - 4] && pixels[at + 1] === pixels[at - 3] && pixels[at + 2] === pixels[at - 2]
    && pixels[at] === pixels[up] && pixels[at + 1] === pixels[up + 1] && pixels[at + 2] === pixels[up + 2];
}
