// The desk's working parts one by one, each on a page of its own with the data the desk would write.

import assert from "node:assert/strict";
import { browserTest } from "../lib/browser.js";
import { harness } from "../lib/harness.js";
import * as make from "../lib/pages.js";
import { decode, encode } from "../lib/png.js";

const serve = (path, page) => async () => harness({ pages: { [path]: await page() } });

/** The parts of a multipart body: name, file name, bytes. */
function partsOf({ headers, body }) {
  const boundary = `--${/boundary=(.+)$/.exec(headers["content-type"])[1]}`;
  const found = [];
  for (let at = body.indexOf(boundary); at >= 0;) {
    const next = body.indexOf(boundary, at + boundary.length);
    if (next < 0) break;
    const part = body.subarray(at + boundary.length + 2, next - 2);
    const split = part.indexOf("\r\n\r\n");
    const head = part.toString("utf8", 0, split);
    found.push({ name: /name="([^"]*)"/.exec(head)[1], file: /filename="([^"]*)"/.exec(head)?.[1], bytes: part.subarray(split + 4) });
    at = next;
  }
  return found;
}

browserTest("corners: keys and the pointer move them, the face laid flat follows, crossed ones are refused", { setUp: serve("/corners", make.cornerPage) }, async ({ page, held }) => {
  await page.goto(`${held.address}/corners`);
  await page.waitForSelector("corner-drag[data-ready]");
  const corners = () => page.locator('input[name="corners"]').inputValue().then(JSON.parse);
  const flat = () => page.locator("corner-drag .narrow figure:last-child img.layer").evaluate((e) => e.style.transform);
  const first = await corners();
  const before = await flat();
  await page.getByRole("button", { name: "Corner top right" }).focus();
  await page.keyboard.press("ArrowRight");
  await page.keyboard.press("Shift+ArrowDown");
  let now = await corners();
  assert.ok(Math.abs(now[1][0] - first[1][0] - 1) < 1e-3 && Math.abs(now[1][1] - first[1][1] - 10) < 1e-3, JSON.stringify(now));
  await page.waitForFunction((was) => document.querySelector("corner-drag .narrow figure:last-child img.layer").style.transform !== was, before);
  await page.getByRole("button", { name: "Undo" }).click();
  await page.getByRole("button", { name: "Undo" }).click();
  assert.deepEqual(await corners(), first);
  // By the pointer: as far on the photo as on the screen, over the scale.
  const handle = await page.getByRole("button", { name: "Corner bottom left" }).boundingBox();
  const scale = await page.locator("corner-drag").evaluate((e) => e.view.scale);
  const [x, y] = [handle.x + handle.width / 2, handle.y + handle.height / 2];
  await page.mouse.move(x, y);
  await page.mouse.down();
  await page.mouse.move(x + 24, y - 18, { steps: 6 });
  await page.mouse.up();
  now = await corners();
  assert.ok(Math.hypot(now[3][0] - first[3][0] - 24 / scale, now[3][1] - first[3][1] + 18 / scale) < 0.5, JSON.stringify(now));
  // A click puts the chosen corner there: no drag is needed.
  const stage = await page.locator("corner-drag .wide .stage").boundingBox();
  await page.mouse.click(stage.x + stage.width / 2, stage.y + stage.height * 0.9);
  assert.notDeepEqual((await corners())[3], now[3]);
  await page.getByRole("button", { name: "As it was found" }).click();
  await page.getByRole("button", { name: "Corner top left" }).focus();
  for (let i = 0; i < 90; i += 1) await page.keyboard.press("Shift+ArrowRight");
  assert.equal(await page.getByRole("button", { name: "Examine again" }).isDisabled(), true);
  assert.match(await page.locator("corner-drag .complaint").innerText(), /cross or lie on a line/);
  await page.getByRole("button", { name: "As it was found" }).click();
  await page.getByRole("button", { name: "Examine again" }).click();
  await page.waitForSelector("#taken");
  const sent = new URLSearchParams(held.posts[0].body.toString());
  assert.deepEqual([sent.get("token"), sent.get("item"), sent.get("face"), sent.get("photo")], ["t0", "a", "front", "01.jpg"]);
  assert.deepEqual(JSON.parse(sent.get("corners")), first);
});

browserTest("regions: drawn, named, typed, moved, removed, had back, saved with what was there", {
  setUp: async () => harness({ pages: { "/regions": await make.regionPage() }, answer: () => ({ status: 200, type: "application/json", bytes: "{}" }) }),
}, async ({ page, held }) => {
  await page.goto(`${held.address}/regions`);
  await page.waitForSelector("region-draw[data-ready]");
  const stage = await page.locator("region-draw .stage").boundingBox();
  const scale = await page.locator("region-draw").evaluate((e) => e.view.scale);
  await page.mouse.move(stage.x + stage.width / 2 - 40, stage.y + stage.height / 2 - 30);
  await page.mouse.down();
  await page.mouse.move(stage.x + stage.width / 2 + 40, stage.y + stage.height / 2 + 30, { steps: 5 });
  await page.mouse.up();
  await page.keyboard.type("crab");
  await page.keyboard.press("Tab");
  const row = page.locator("region-draw tbody tr").nth(2);
  await row.locator("select").selectOption("art");
  await row.getByLabel("Left of").fill("20");
  await row.getByLabel("Left of").press("Tab");
  await page.getByRole("button", { name: "The rectangle's place" }).focus();
  for (let i = 0; i < 3; i += 1) await page.keyboard.press("ArrowDown");
  await page.getByRole("button", { name: "Remove emblem" }).click();
  await page.getByRole("button", { name: "Undo" }).click();
  await page.getByRole("button", { name: "Save the regions" }).click();
  await page.getByText("Saved.").waitFor();
  assert.equal(held.posts[0].headers["x-untorn-token"], "t0");
  const { token, regions } = JSON.parse(held.posts[0].body);
  assert.equal(token, "t0");
  assert.deepEqual(regions.map((r) => r.name), ["wordmark", "emblem", "crab"]);
  assert.equal(regions[0].text, "Kelpwright", "what the part does not know is kept");
  const crab = regions[2];
  assert.equal(crab.kind, "art");
  assert.equal(crab.rect_mm.x, 20);
  assert.ok(Math.abs(crab.rect_mm.width - 80 / scale) < 0.03 && Math.abs(crab.rect_mm.height - 60 / scale) < 0.03, JSON.stringify(crab));
  assert.ok(Math.abs(crab.rect_mm.y - (56 - 30 / scale + 0.3)) < 0.05, JSON.stringify(crab));
});

const BLOCKS = 10;

/** Mean colours of 10 × 10 blocks of a part of a decoded picture, without the blocks' rims. */
function means(picture, x, y, width, height) {
  const found = [];
  for (let row = 0; row < BLOCKS; row += 1) {
    for (let column = 0; column < BLOCKS; column += 1) {
      const sum = [0, 0, 0];
      let count = 0;
      for (let j = Math.ceil(y + height * row / BLOCKS) + 1; j < y + height * (row + 1) / BLOCKS - 1; j += 1) {
        for (let i = Math.ceil(x + width * column / BLOCKS) + 1; i < x + width * (column + 1) / BLOCKS - 1; i += 1) {
          picture.at(i, j).forEach((value, k) => { sum[k] += value; });
          count += 1;
        }
      }
      found.push(sum.map((value) => value / count));
    }
  }
  return found;
}

/** The same of a part of a file, decoded by the browser and not scaled. */
async function blockMeans(page, src, [x, y, width, height]) {
  const pixels = await page.evaluate(async ([address, rect]) => {
    const image = new Image();
    image.src = address;
    await image.decode();
    const canvas = new OffscreenCanvas(rect[2], rect[3]);
    const context = canvas.getContext("2d");
    context.drawImage(image, -rect[0], -rect[1]);
    const { data } = context.getImageData(0, 0, rect[2], rect[3]);
    let text = "";
    for (let i = 0; i < data.length; i += 0x8000) text += String.fromCharCode(...data.subarray(i, i + 0x8000));
    return btoa(text);
  }, [src, [x, y, width, height]]);
  const bytes = Buffer.from(pixels, "base64");
  return means({ at: (i, j) => [...bytes.subarray(4 * (j * width + i), 4 * (j * width + i) + 3)] }, 0, 0, width, height);
}

browserTest("a board is exported as a PNG of 1920 × 1080 with the crops in it, and kept", {
  setUp: async () => harness({ pages: { "/board": await make.boardPage() }, answer: () => ({ status: 200, type: "application/json", bytes: "{}" }) }),
}, async ({ page, held }) => {
  await page.goto(`${held.address}/board`);
  await page.waitForSelector("board-maker[data-ready]");
  assert.equal(await page.getByRole("button", { name: "Export as PNG" }).isDisabled(), true);
  const crops = [["Front, reference", [100, 60, 600, 400]], ["Front of the offered pack", [220, 150, 640, 480]]];
  for (const [label, rect] of crops) {
    await page.locator(".tile", { hasText: label }).click();
    for (const [name, value] of [["Left", rect[0]], ["Top", rect[1]], ["Width", rect[2]], ["Height", rect[3]]]) {
      const field = page.locator(".cropping").getByLabel(name, { exact: true });
      await field.fill(String(value));
      await field.press("Tab");
    }
    await page.getByRole("button", { name: "Put it on the board" }).click();
    await page.locator(".cropping").waitFor({ state: "hidden" });
  }
  await page.getByRole("button", { name: "Add an arrow" }).click();
  await page.keyboard.type("No ridges here");
  await page.keyboard.press("Tab");
  await page.getByRole("button", { name: "Tip of arrow 1" }).focus();
  await page.keyboard.press("ArrowLeft");
  const [download] = await Promise.all([page.waitForEvent("download"), page.getByRole("button", { name: "Export as PNG" }).click()]);
  const parts = [];
  for await (const part of await download.createReadStream()) parts.push(part);
  const bytes = Buffer.concat(parts);
  const board = decode(bytes);
  assert.deepEqual([board.width, board.height], [1920, 1080]);
  // Each crop is in its place: the source's colours, block by block, found again on the board.
  const places = await page.locator("board-maker").evaluate((e) => [e.placeOf(0), e.placeOf(1)]);
  const sources = ["/demo/faces/brass-estuary-pack-front.jpg", "/demo/offers/pf-2104/01.jpg"];
  for (let i = 0; i < 2; i += 1) {
    const [x, y, w, h] = crops[i][1];
    const expected = await blockMeans(page, sources[i], [x, y, w, h]);
    const place = places[i];
    const got = means(board, place.x, place.y, place.width, place.height);
    // The arrow and its words cover a few of the blocks, and only of one crop.
    const near = got.filter((mean, n) => mean.every((value, k) => Math.abs(value - expected[n][k]) < 8)).length;
    assert.ok(near >= 0.85 * BLOCKS ** 2, `crop ${i}: ${near} of ${BLOCKS ** 2} blocks are as in the picture`);
  }
  assert.equal(bytes.includes("Exif") || bytes.includes("eXIf") || bytes.includes("GPS"), false);
  await page.getByRole("button", { name: "Undo" }).click();
  await page.getByRole("button", { name: "Redo" }).click();
  await page.getByRole("button", { name: "Keep in this case" }).click();
  await page.getByText("Kept in this case.").waitFor();
  const sent = partsOf(held.posts[0]);
  assert.equal(sent.find((part) => part.name === "token").bytes.toString(), "t0");
  assert.match(sent.find((part) => part.name === "caption").bytes.toString(), /Ridges of a factory seal/);
  assert.deepEqual(sent.find((part) => part.name === "board").bytes, bytes, "what is kept is what was exported");
});

browserTest("a board that is not kept asks before the page is left; a kept one does not", {
  setUp: async () => harness({ pages: { "/board": await make.boardPage(), "/other": "<!doctype html><title>x</title><p id=other>other" }, answer: () => ({ status: 200, type: "application/json", bytes: "{}" }) }),
}, async ({ page, held }) => {
  await page.goto(`${held.address}/board`);
  await page.waitForSelector("board-maker[data-ready]");
  await page.locator(".tile").first().click();
  await page.getByRole("button", { name: "Put it on the board" }).click();
  await page.locator(".cropping").waitFor({ state: "hidden" });
  await page.getByText("Nothing yet.").waitFor({ state: "hidden" });
  const asked = [];
  page.on("dialog", (dialog) => {
    asked.push(dialog.type());
    dialog.dismiss();
  });
  await page.evaluate(() => { setTimeout(() => { location.href = "/other"; }); });
  while (asked.length === 0) await page.waitForTimeout(50);
  assert.deepEqual(asked, ["beforeunload"]);
  await page.getByRole("button", { name: "Keep in this case" }).click();
  await page.getByText("Kept in this case.").waitFor();
  await page.goto(`${held.address}/other`);
  await page.waitForSelector("#other");
  assert.equal(asked.length, 1);
});

browserTest("drop: photos are posted with the token, other files are left out and said, a refusal is told", {
  setUp: async () => {
    let count = 0;
    return harness({
      pages: { "/drop": make.dropPage(), "/case/x": "<!doctype html><title>x</title><p id=case>case" },
      answer: () => {
        count += 1;
        return count === 1
          ? { status: 413, type: "application/json", bytes: JSON.stringify({ error: "01.jpg is over 64 MB; make it smaller" }) }
          : { status: 200, type: "application/json", bytes: JSON.stringify({ url: "/case/x", taken: ["01.jpg"], refused: [] }) };
      },
    });
  },
  mayComplain: /413/,
}, async ({ page, held }) => {
  await page.goto(`${held.address}/drop`);
  await page.waitForSelector("drop-zone[data-ready]");
  const drop = (files) => page.evaluate(async (list) => {
    const transfer = new DataTransfer();
    for (const [src, name, type] of list) {
      const blob = src ? await (await fetch(src)).blob() : new Blob(["x"]);
      transfer.items.add(new File([blob], name, { type }));
    }
    document.querySelector("h1").dispatchEvent(new DragEvent("drop", { dataTransfer: transfer, bubbles: true, cancelable: true }));
  }, files);
  await drop([[null, "notes.odt", "application/x-note"]]);
  await page.getByText("None of these 1 files is a photo").waitFor();
  await drop([["/demo/offers/pf-2104/01.jpg", "01.jpg", "image/jpeg"]]);
  await page.getByText("01.jpg is over 64 MB; make it smaller.").waitFor();
  await drop([["/demo/offers/pf-2104/01.jpg", "01.jpg", "image/jpeg"], [null, "notes.odt", ""]]);
  await page.waitForSelector("#case");
  const sent = partsOf(held.posts[1]);
  assert.equal(held.posts[1].headers["x-untorn-token"], "t0");
  assert.deepEqual(sent.map((part) => [part.name, part.file]), [["token", undefined], ["files", "01.jpg"]]);
  assert.equal(sent[1].bytes.subarray(0, 2).toString("hex"), "ffd8");
});

browserTest("paste: the photo is cut out of a screenshot, adjusted by keys, and posted", {
  setUp: async () => harness({
    pages: { "/drop": make.dropPage(), "/case/x": "<!doctype html><title>x</title><p id=case>case" },
    files: {
      "/shot.png": {
        type: "image/png",
        bytes: encode(900, 700, (x, y) => {
          const inside = x >= 120 && x < 520 && y >= 140 && y < 640;
          if (inside) return [(x * 7 + y * 3) % 251, (x * 5 + y * 11) % 241, (x * y) % 239];
          if (y < 50) return [30, 60, 90];
          return x > 600 && x < 850 && y > 150 && y < 400 && (y % 18) < 10 && (x % 9) < 6 ? [50, 50, 50] : [255, 255, 255];
        }),
      },
    },
    answer: () => ({ status: 200, type: "application/json", bytes: JSON.stringify({ url: "/case/x", taken: ["pasted.png"], refused: [] }) }),
  }),
}, async ({ page, held }) => {
  await page.goto(`${held.address}/drop`);
  await page.waitForSelector("drop-zone[data-ready]");
  await page.evaluate(async () => {
    const blob = await (await fetch("/shot.png")).blob();
    const transfer = new DataTransfer();
    transfer.items.add(new File([blob], "image.png", { type: "image/png" }));
    document.body.dispatchEvent(new ClipboardEvent("paste", { clipboardData: transfer, bubbles: true, cancelable: true }));
  });
  await page.getByRole("heading", { name: "Which part is the photo?" }).waitFor();
  const rect = await page.locator("drop-zone").evaluate((e) => e.frame.whole());
  assert.deepEqual(rect, { x: 120, y: 140, width: 400, height: 500 });
  await page.getByRole("button", { name: "Bottom right corner of the part" }).focus();
  await page.keyboard.press("Shift+ArrowLeft");
  await page.getByRole("button", { name: "Add this part" }).press("Enter");
  await page.waitForSelector("#case");
  const file = partsOf(held.posts[0]).find((part) => part.name === "files");
  const picture = decode(file.bytes);
  assert.deepEqual([picture.width, picture.height], [390, 500]);
  for (const [x, y] of [[0, 0], [389, 499], [200, 77]]) {
    const [sx, sy] = [x + 120, y + 140];
    assert.deepEqual(picture.at(x, y), [(sx * 7 + sy * 3) % 251, (sx * 5 + sy * 11) % 241, (sx * sy) % 239]);
  }
});

browserTest("progress is told as it happens, and the page is loaded anew at the end", {
  setUp: async () => {
    let visits = 0;
    return harness({ pages: { "/progress": () => { visits += 1; return visits === 1 ? make.progressPage() : "<!doctype html><title>x</title><p id=done>done"; } } });
  },
}, async ({ page, held }) => {
  await page.goto(`${held.address}/progress`);
  await page.waitForSelector("case-progress[data-ready]");
  while (held.listeners() === 0) await page.waitForTimeout(50);
  held.say({ state: "examining", words: "The photos are being looked at.", done: false });
  await page.locator("case-progress .lead", { hasText: "The photos are being looked at." }).waitFor();
  assert.equal(await page.locator("case-progress [role=status]").textContent(), "The photos are being looked at.");
  held.say({ state: "examined", words: "Examined.", done: true });
  await page.waitForSelector("#done");
});

browserTest("a text is copied at a press", { setUp: serve("/copy", async () => (await import("../lib/harness.js")).pageOf("Copy", '<textarea id="message" readonly>Could you show the back?</textarea><button type="button" data-copy="message">Copy the message</button>')), context: { permissions: ["clipboard-read", "clipboard-write"] } }, async ({ page, held }) => {
  await page.goto(`${held.address}/copy`);
  const button = page.getByRole("button", { name: "Copy the message" });
  await page.waitForTimeout(300);
  await button.click();
  await page.getByRole("button", { name: "Copied" }).waitFor();
  assert.equal(await page.evaluate(() => navigator.clipboard.readText()), "Could you show the back?");
});
