// A photo beside its reference: both pictures really move by the same millimetres, seen on the
// screen and not in the program's own numbers. The photo is drawn here, through a known homography.

import assert from "node:assert/strict";
import { browserTest } from "../lib/browser.js";
import { element, harness, pageOf } from "../lib/harness.js";
import { comparePage } from "../lib/pages.js";
import { decode, encode } from "../lib/png.js";

const SIZE_MM = [65, 112];
/** Places on the face and the colours of their dots, far from each other in every channel. */
const DOTS = [
  { at: [10, 12], rgb: [230, 20, 20] }, { at: [55, 12], rgb: [20, 200, 20] }, { at: [32.5, 56], rgb: [20, 20, 230] },
  { at: [55, 100], rgb: [220, 200, 10] }, { at: [10, 100], rgb: [200, 20, 200] },
];
const DOT_MM = 2.2;
/** Seen at a slant of about 25 degrees, turned, with perspective: 0.0009 a mm. */
const PHOTO = { width: 900, height: 1200, h: [[7.6, -1.5, 230], [0.9, 7.9, 110], [0.0009, -0.0006, 1]] };
const REFERENCE = { width: 520, height: 896, h: [[8, 0, -0.5], [0, 8, -0.5], [0, 0, 1]] };

function through(h, [x, y]) {
  const w = h[2][0] * x + h[2][1] * y + h[2][2];
  return [(h[0][0] * x + h[0][1] * y + h[0][2]) / w, (h[1][0] * x + h[1][1] * y + h[1][2]) / w];
}

/** The point of the face that a pixel shows, by Newton's method from the middle: no inverse matrix. */
function shownAt(h, pixel) {
  let at = [32, 56];
  for (let step = 0; step < 12; step += 1) {
    const e = 1e-4;
    const p = through(h, at);
    const px = through(h, [at[0] + e, at[1]]);
    const py = through(h, [at[0], at[1] + e]);
    const [a, b, c, d] = [(px[0] - p[0]) / e, (py[0] - p[0]) / e, (px[1] - p[1]) / e, (py[1] - p[1]) / e];
    const [rx, ry] = [pixel[0] - p[0], pixel[1] - p[1]];
    const det = a * d - b * c;
    at = [at[0] + (d * rx - b * ry) / det, at[1] + (a * ry - c * rx) / det];
  }
  return at;
}

function drawn({ width, height, h }) {
  return encode(width, height, (x, y) => {
    const [mx, my] = shownAt(h, [x, y]);
    const dot = DOTS.find(({ at }) => Math.hypot(mx - at[0], my - at[1]) < DOT_MM);
    if (dot) return dot.rgb;
    return mx > 0 && mx < SIZE_MM[0] && my > 0 && my < SIZE_MM[1] ? [236, 236, 236] : [120, 122, 124];
  });
}

const pictures = { photo: drawn(PHOTO), reference: drawn(REFERENCE) };

function dotsServer() {
  return harness({
    files: { "/dots/photo.png": { type: "image/png", bytes: pictures.photo }, "/dots/reference.png": { type: "image/png", bytes: pictures.reference } },
    pages: {
      "/dots": pageOf("Dots", element("face-compare", {
        photo: { src: "/dots/photo.png", width: PHOTO.width, height: PHOTO.height, file: "photo.png" },
        reference: { src: "/dots/reference.png", width: REFERENCE.width, height: REFERENCE.height },
        size_mm: SIZE_MM, mm_to_px: { photo: PHOTO.h, reference: REFERENCE.h },
        overlays: [{ kind: "face", label: "front", on: "both", polygon_mm: [[0, 0], [65, 0], [65, 112], [0, 112]] }],
        alt: { photo: "Dots, photographed at a slant", reference: "Dots" },
      })),
    },
  });
}

/** The middles of the dots on a pane of the screen, CSS pixels from the pane's own corner (which
 *  need not be on whole pixels). */
async function seen(page, side) {
  const stage = page.locator(`face-compare .${side} .stage`);
  await stage.evaluate((e) => e.scrollIntoView({ block: "center" }));
  await settled(page);
  const box = await stage.evaluate((e) => {
    const { x, y, width, height } = e.getBoundingClientRect();
    return { x, y, width, height, ratio: devicePixelRatio };
  });
  const shot = decode(await page.screenshot());
  const { ratio } = box;
  return DOTS.map(({ rgb }) => {
    let [sx, sy, n] = [0, 0, 0];
    for (let y = Math.ceil(box.y * ratio); y < Math.min(shot.height, Math.floor((box.y + box.height) * ratio)); y += 1) {
      for (let x = Math.ceil(box.x * ratio); x < Math.floor((box.x + box.width) * ratio); x += 1) {
        const [r, g, b] = shot.at(x, y);
        if (Math.abs(r - rgb[0]) + Math.abs(g - rgb[1]) + Math.abs(b - rgb[2]) < 60) {
          sx += x + 0.5;
          sy += y + 0.5;
          n += 1;
        }
      }
    }
    return n > 30 ? { x: sx / n / ratio - box.x, y: sy / n / ratio - box.y, n } : null;
  });
}

/** Two frames after everything has been fetched and laid. */
async function settled(page) {
  await page.waitForFunction(() => [...document.querySelectorAll("face-compare img.layer")].every((i) => i.complete && i.naturalWidth > 0));
  await page.evaluate(() => new Promise((resolve) => requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(resolve, 120)))));
}

async function open(page, held) {
  await page.goto(`${held.address}/dots`);
  await page.waitForSelector("face-compare[data-ready]");
  await page.getByLabel("Outlines").uncheck();
}

/** Whether both panes show the same face points at the same places, within part of a CSS pixel. */
function assertLocked(reference, photo, within, words) {
  let both = 0;
  reference.forEach((a, i) => {
    const b = photo[i];
    if (!a || !b) return;
    // A dot at the pane's edge is cut, and the cut is not the same where lines are sampled.
    if (Math.abs(a.n - b.n) > 0.12 * a.n) return;
    both += 1;
    assert.ok(Math.hypot(a.x - b.x, a.y - b.y) <= within, `${words}: dot ${i} at ${a.x.toFixed(2)}, ${a.y.toFixed(2)} and ${b.x.toFixed(2)}, ${b.y.toFixed(2)}`);
  });
  return both;
}

browserTest("the photo is laid flat: its dots lie where the reference's lie", { setUp: dotsServer }, async ({ page, held }) => {
  await open(page, held);
  const [reference, photo] = [await seen(page, "reference"), await seen(page, "photo")];
  assert.equal(assertLocked(reference, photo, 0.4, "whole face"), 5);
  // The scale of what is seen agrees with the scale bar's: 45 mm between two dots.
  const perMm = (reference[1].x - reference[0].x) / 45;
  const bar = await page.locator(".scale-bar .bar").evaluate((e) => e.getBoundingClientRect().width);
  const mm = Number.parseFloat(await page.locator(".scale-bar").innerText());
  assert.ok(Math.abs(bar / mm - perMm) / perMm < 0.02, `bar ${bar} px for ${mm} mm, dots say ${perMm} px/mm`);
});

browserTest("dragging one pane and magnifying the other moves both by the same millimetres", { setUp: dotsServer }, async ({ page, held }) => {
  await open(page, held);
  const before = { reference: await seen(page, "reference"), photo: await seen(page, "photo") };
  const pane = await page.locator("face-compare .reference .stage").boundingBox();
  const [x, y] = [pane.x + pane.width / 2, pane.y + pane.height / 2];
  await page.mouse.move(x, y);
  await page.mouse.down();
  await page.mouse.move(x + 37, y - 52, { steps: 7 });
  await page.mouse.up();
  // Away, so that no cross is drawn over a dot.
  await page.mouse.move(3, 3);
  const moved = { reference: await seen(page, "reference"), photo: await seen(page, "photo") };
  assert.equal(assertLocked(moved.reference, moved.photo, 0.4, "after dragging"), 5);
  for (const side of ["reference", "photo"]) {
    const [dx, dy] = [moved[side][2].x - before[side][2].x, moved[side][2].y - before[side][2].y];
    assert.ok(Math.hypot(dx - 37, dy + 52) < 0.3, `${side} moved by ${dx}, ${dy}`);
  }
  // Keys in the photo's pane magnify both about the middle.
  await page.locator("face-compare .photo .stage").focus();
  for (let i = 0; i < 4; i += 1) await page.keyboard.press("+");
  const near = { reference: await seen(page, "reference"), photo: await seen(page, "photo") };
  assert.ok(assertLocked(near.reference, near.photo, 0.5, "magnified") >= 1);
  const factor = await page.locator("face-compare").evaluate((e) => e.view.scale / e.view.fitScale);
  assert.ok(Math.abs(factor - 1.25 ** 4) < 1e-6);
  await page.keyboard.press("0");
  assert.equal(assertLocked(await seen(page, "reference"), await seen(page, "photo"), 0.4, "whole again"), 5);
});

browserTest("swipe shows the reference left of the line and the photo right of it, and the line follows", { setUp: dotsServer }, async ({ page, held }) => {
  await open(page, held);
  await page.getByRole("radio", { name: "Swipe" }).check();
  await settled(page);
  const panes = await page.locator("face-compare .panes").boundingBox();
  const stage = await page.locator("face-compare .reference .stage").boundingBox();
  const handle = { x: panes.x + panes.width / 2, y: stage.y + stage.height / 2 };
  // Outside the face the reference has no pixels at all and the photo has a grey table.
  const table = async () => {
    const shot = decode(await page.screenshot());
    const row = Math.round(stage.y + stage.height / 2);
    let first = null;
    for (let x = Math.round(stage.x + stage.width) - 3; x > stage.x; x -= 1) {
      const [r, g, b] = shot.at(x, row);
      const isPhoto = [[120, 122, 124], [236, 236, 236], [20, 20, 230]].some((c) => Math.abs(r - c[0]) + Math.abs(g - c[1]) + Math.abs(b - c[2]) < 40);
      if (!isPhoto && first !== null) break;
      if (isPhoto) first = x;
    }
    return first;
  };
  await page.mouse.move(handle.x, handle.y);
  await page.mouse.down();
  const target = stage.x + stage.width * 0.7;
  await page.mouse.move(target, handle.y, { steps: 5 });
  await page.mouse.up();
  await page.mouse.move(stage.x + 5, stage.y + 5);
  await settled(page);
  const clip = await page.locator("face-compare .photo .stage").evaluate((e) => getComputedStyle(e).clipPath);
  assert.match(clip, /^inset\(/);
  assert.equal(await page.getByLabel("Line between").inputValue(), "70");
  await page.locator("face-compare .reference .stage").focus();
  for (let i = 0; i < 5; i += 1) await page.keyboard.press("[");
  assert.equal(await page.getByLabel("Line between").inputValue(), "60");
  await page.getByLabel("Line between").fill("0");
  await settled(page);
  const all = await table();
  await page.getByLabel("Line between").fill("60");
  await settled(page);
  const part = await table();
  const photoLeft = stage.x + stage.width * 0.6;
  assert.ok(part === null || part >= photoLeft - 2, `the photo begins at ${part}, the line is at ${photoLeft}`);
  assert.ok(all < photoLeft, `without a line the photo begins at ${all}`);
});

browserTest("difference is black where both are alike, blink changes by itself and not for who wants no motion", { setUp: dotsServer }, async ({ page, held }) => {
  await open(page, held);
  await page.getByRole("radio", { name: "Difference" }).check();
  await settled(page);
  const stage = page.locator("face-compare .photo .stage");
  const shot = decode(await stage.screenshot());
  const [w, h] = [shot.width, shot.height];
  let bright = 0;
  let count = 0;
  for (let y = Math.round(h * 0.2); y < h * 0.4; y += 1) {
    for (let x = Math.round(w * 0.46); x < w * 0.54; x += 1) {
      const [r, g, b] = shot.at(x, y);
      count += 1;
      if (r + g + b > 60) bright += 1;
    }
  }
  assert.ok(bright / count < 0.02, `${bright} of ${count} pixels of the even middle are not black`);
  await page.getByRole("radio", { name: "Blink" }).check();
  const front = () => page.locator("face-compare").getAttribute("data-front");
  const first = await front();
  await page.waitForFunction((was) => document.querySelector("face-compare").dataset.front !== was, first);
  const since = Date.now();
  const second = await front();
  await page.waitForFunction((was) => document.querySelector("face-compare").dataset.front !== was, second);
  assert.ok(Date.now() - since > 400, "slower than three changes a second");
  await page.getByRole("button", { name: "Stop" }).click();
  await page.emulateMedia({ reducedMotion: "reduce" });
  await page.getByRole("radio", { name: "Side by side" }).check();
  await page.getByRole("radio", { name: "Blink" }).check();
  const still = await front();
  await page.waitForTimeout(2200);
  assert.equal(await front(), still, "nothing moves by itself under reduced motion");
  await page.getByRole("button", { name: "Show the other" }).click();
  assert.notEqual(await front(), still);
});

browserTest("the photo as it was taken keeps its slant; the middle stays the middle", { setUp: dotsServer }, async ({ page, held }) => {
  await open(page, held);
  await page.getByLabel("Photo as taken").check();
  const photo = await seen(page, "photo");
  const reference = await seen(page, "reference");
  // In the photo the two upper dots are not level: their slope is that of the homography.
  const [a, b] = [through(PHOTO.h, DOTS[0].at), through(PHOTO.h, DOTS[1].at)];
  const slope = (b[1] - a[1]) / (b[0] - a[0]);
  assert.ok(Math.abs((photo[1].y - photo[0].y) / (photo[1].x - photo[0].x) - slope) < 0.02);
  assert.ok(Math.abs(reference[1].y - reference[0].y) < 0.5);
  assert.ok(Math.hypot(photo[2].x - reference[2].x, photo[2].y - reference[2].y) < 1.5);
  assert.equal(await page.getByRole("radio", { name: "Swipe" }).isDisabled(), true);
});

browserTest("everything by keyboard, and the pointer's place in millimetres", {
  setUp: async () => harness({ pages: { "/compare": await comparePage() } }),
}, async ({ page, held }) => {
  await page.goto(`${held.address}/compare`);
  await page.waitForSelector("face-compare[data-ready]");
  const view = () => page.locator("face-compare").evaluate((e) => ({ centre: e.view.centre, scale: e.view.scale, mode: e.mode }));
  await page.locator("face-compare .reference .stage").focus();
  const start = await view();
  for (const key of ["+", "+", "ArrowRight", "ArrowDown"]) await page.keyboard.press(key);
  const moved = await view();
  assert.ok(moved.scale > start.scale && moved.centre[0] > start.centre[0] && moved.centre[1] > start.centre[1]);
  for (const [key, mode] of [["2", "swipe"], ["3", "blink"], ["4", "difference"], ["1", "side"]]) {
    await page.keyboard.press(key);
    assert.equal((await view()).mode, mode);
  }
  await page.keyboard.press("o");
  assert.equal(await page.getByLabel("Outlines").isChecked(), false);
  await page.keyboard.press("p");
  assert.equal(await page.getByLabel("Photo as taken").isChecked(), true);
  await page.keyboard.press("p");
  await page.keyboard.press("0");
  const box = await page.locator("face-compare .reference .stage").boundingBox();
  await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
  await page.waitForFunction(() => /mm from the left/.test(document.querySelector(".readout .place").textContent));
  const words = await page.locator(".readout .place").innerText();
  const [x, y] = words.match(/[\d.]+/g).map(Number);
  assert.ok(Math.abs(x - 32.5) < 0.3 && Math.abs(y - 56) < 0.3, words);
});

browserTest("two fingers magnify, and one finger scrolls the page while the whole face is in sight", {
  setUp: dotsServer, context: { viewport: { width: 360, height: 740 }, hasTouch: true, isMobile: true },
}, async ({ page, held, context }) => {
  await open(page, held);
  const stage = page.locator("face-compare .photo .stage");
  await stage.scrollIntoViewIfNeeded();
  assert.equal(await stage.evaluate((e) => e.style.touchAction), "pan-y");
  const box = await stage.boundingBox();
  const session = await context.newCDPSession(page);
  const [mx, my] = [box.x + box.width / 2, box.y + box.height / 2];
  const fingers = (half) => [{ x: mx - half, y: my, id: 0 }, { x: mx + half, y: my, id: 1 }];
  await session.send("Input.dispatchTouchEvent", { type: "touchStart", touchPoints: fingers(15) });
  for (const half of [18, 22, 26, 30]) await session.send("Input.dispatchTouchEvent", { type: "touchMove", touchPoints: fingers(half) });
  await session.send("Input.dispatchTouchEvent", { type: "touchEnd", touchPoints: [] });
  const factor = await page.locator("face-compare").evaluate((e) => e.view.scale / e.view.fitScale);
  assert.ok(factor > 1.5 && factor < 2.2, `magnified ${factor} times`);
  assert.equal(await stage.evaluate((e) => e.style.touchAction), "none");
  assert.ok(assertLocked(await seen(page, "reference"), await seen(page, "photo"), 0.5, "pinched") >= 1);
});
