// Which part of a screenshot is proposed: pages drawn here, whose photo's place is known.

import assert from "node:assert/strict";
import { test } from "node:test";
import { propose } from "../../../crates/desk/assets/parts/crop-proposal.js";

function sheet(width, height, background) {
  const pixels = new Uint8ClampedArray(4 * width * height);
  const fill = (x, y, w, h, colour) => {
    for (let j = y; j < y + h; j += 1) {
      for (let i = x; i < x + w; i += 1) pixels.set([...colour(i, j), 255], 4 * (j * width + i));
    }
  };
  fill(0, 0, width, height, () => background);
  return { pixels, width, height, fill };
}

/** Smooth shapes with a sensor's noise: no two neighbouring pixels alike for long. */
let state = 7;
const noise = (amount) => {
  state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
  return ((state >>> 16) / 65536 - 0.5) * amount;
};
const photo = (i, j) => [120 + 90 * Math.sin(i / 31) + noise(12), 110 + 80 * Math.sin((i + 2 * j) / 57) + noise(12), 90 + 60 * Math.cos(j / 23) + noise(12)];
/** Lines of something like letters. */
const text = (page, x, y, w, lines) => {
  for (let line = 0; line < lines; line += 1) {
    for (let i = 0; i < w; i += 9) page.fill(x + i, y + line * 18, noise(1) > -0.3 ? 6 : 1, 11, () => [40, 40, 40]);
  }
};

const overlap = (a, b) => {
  const w = Math.max(0, Math.min(a.x + a.width, b.x + b.width) - Math.max(a.x, b.x));
  const h = Math.max(0, Math.min(a.y + a.height, b.y + b.height) - Math.max(a.y, b.y));
  return w * h / (a.width * a.height + b.width * b.height - w * h);
};

const check = (page, place, least) => {
  const found = propose(page.pixels, page.width, page.height);
  assert.ok(overlap(found, place) >= least, `${JSON.stringify(found)} is not ${JSON.stringify(place)}`);
};

test("a photo on a page with a bar, text and small pictures", () => {
  for (const background of [[255, 255, 255], [24, 26, 30], [238, 240, 243]]) {
    const page = sheet(1200, 800, background);
    page.fill(0, 0, 1200, 60, () => [30, 60, 90]);
    text(page, 40, 20, 200, 1);
    const place = { x: 60, y: 110, width: 520, height: 560 };
    page.fill(place.x, place.y, place.width, place.height, photo);
    text(page, 640, 130, 480, 16);
    for (let n = 0; n < 5; n += 1) page.fill(60 + n * 100, 700, 80, 80, photo);
    check(page, place, 0.97);
  }
});

test("a photo that fills the screenshot is taken whole", () => {
  const page = sheet(640, 480, [0, 0, 0]);
  page.fill(0, 0, 640, 480, photo);
  check(page, { x: 0, y: 0, width: 640, height: 480 }, 0.999);
});

test("black bars beside an upright photo are left out", () => {
  const page = sheet(1000, 600, [0, 0, 0]);
  const place = { x: 300, y: 0, width: 400, height: 600 };
  page.fill(place.x, place.y, place.width, place.height, photo);
  check(page, place, 0.99);
});

test("a scroll bar at the side does not keep the page from being cut", () => {
  const page = sheet(1200, 800, [255, 255, 255]);
  page.fill(1188, 0, 12, 800, () => [200, 200, 200]);
  page.fill(1190, 200, 8, 150, () => [120, 120, 120]);
  const place = { x: 100, y: 90, width: 700, height: 600 };
  page.fill(place.x, place.y, place.width, place.height, photo);
  check(page, place, 0.97);
});

test("nothing but one colour: all of it, for the person to choose", () => {
  const page = sheet(300, 200, [250, 250, 250]);
  assert.deepEqual(propose(page.pixels, 300, 200), { x: 0, y: 0, width: 300, height: 200 });
});
