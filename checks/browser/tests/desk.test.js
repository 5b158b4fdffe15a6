// The desk from a dropped file to the opinion, in the browser, with the program itself behind it.

import assert from "node:assert/strict";
import { readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { browserTest } from "../lib/browser.js";
import { desk, libraryOpen } from "../lib/desk.js";
import { ROOT } from "../lib/harness.js";
import { decode } from "../lib/png.js";

/** A pack that was blatantly opened and closed again, with all views: enough for an opinion. */
const OFFER = "pf-2118";
const photosOf = (offer) => ["01.jpg", "02.jpg"].map((name) => join(ROOT, "demo/offers", offer, name));

/** Drops files onto a page as a hand would: with the bytes in the event. */
async function drop(page, files) {
  const list = files.map(({ name, type, bytes }) => ({ name, type, base64: bytes.toString("base64") }));
  await page.evaluate((all) => {
    const transfer = new DataTransfer();
    for (const { name, type, base64 } of all) {
      transfer.items.add(new File([Uint8Array.from(atob(base64), (sign) => sign.charCodeAt(0))], name, { type }));
    }
    const on = document.querySelector("h1");
    for (const kind of ["dragover", "drop"]) on.dispatchEvent(new DragEvent(kind, { dataTransfer: transfer, bubbles: true, cancelable: true }));
  }, list);
}

const jpegs = (paths) => paths.map((path) => ({ name: path.split("/").at(-1), type: "image/jpeg", bytes: readFileSync(path) }));

/** The library is opened once at the start, and what is measured here is what comes after. */
async function untilReady(page, address) {
  await page.goto(address);
  await page.waitForSelector("drop-zone[data-ready]");
  await libraryOpen(page);
}

/** Waits for the case page with its opinion. The page loads itself anew when the examination ends. */
async function opinion(page) {
  await page.waitForURL(/\/case\//);
  await page.waitForFunction(() => document.querySelector("p.opinion") && !document.querySelector("main case-progress"), null, { timeout: 90_000 });
  return page.locator("p.opinion").first().innerText();
}

browserTest("photos are dropped, the examination finishes, the case shows opinion and pictures", { setUp: () => desk() }, async ({ page, held, t }) => {
  await untilReady(page, held.address);
  const began = Date.now();
  await drop(page, jpegs(photosOf(OFFER)));
  const words = await opinion(page);
  t.diagnostic(`from the drop to the opinion: ${Date.now() - began} ms`);
  assert.match(words, /support|tell/);
  assert.ok(Date.now() - began < 60_000);
  // Pictures: the face beside its reference, and both really drawn.
  const compare = page.locator("face-compare[data-ready]").first();
  await compare.scrollIntoViewIfNeeded();
  await page.waitForFunction(() => {
    const images = [...document.querySelector("face-compare[data-ready]").querySelectorAll("img.layer")];
    return images.length === 2 && images.every((image) => image.complete && image.naturalWidth > 0);
  });
  const shot = decode(await compare.locator(".photo .stage").screenshot());
  const colours = new Set();
  for (let i = 0; i < 400; i += 1) colours.add(shot.at((i * 37) % shot.width, (i * 53) % shot.height).map((v) => v >> 4).join());
  assert.ok(colours.size > 20, `a photo has more than ${colours.size} colours`);
  assert.ok(await page.locator("#photos img").count() >= 2);
  assert.ok(await page.locator("figure.scale svg").count() >= 1);
});

browserTest("a corner that is dragged elsewhere changes the result, and can be had back", { setUp: () => desk({ offers: [OFFER] }), limit: 180_000 }, async ({ page, held }) => {
  await page.goto(`${held.address}/case/${OFFER}`);
  await opinion(page);
  const readings = () => page.locator("main").evaluate((main) => [...main.querySelectorAll(".reading")].map((e) => e.textContent.replace(/\s+/g, " ").trim()));
  const before = await readings();
  assert.ok(before.length > 3, "there are findings");
  await page.goto(`${held.address}/case/${OFFER}/photo/1`);
  const part = page.locator("corner-drag[data-ready]").first();
  await part.scrollIntoViewIfNeeded();
  const corner = await part.getByRole("button", { name: "Corner top left" }).boundingBox();
  const [x, y] = [corner.x + corner.width / 2, corner.y + corner.height / 2];
  await page.mouse.move(x, y);
  await page.mouse.down();
  await page.mouse.move(x + 30, y + 45, { steps: 8 });
  await page.mouse.up();
  await part.getByRole("button", { name: "Examine again with these corners" }).click();
  await page.waitForURL(/\/case\//);
  await page.waitForFunction(async ([address, old]) => {
    const page = new DOMParser().parseFromString(await (await fetch(address)).text(), "text/html");
    if (page.querySelector("main case-progress")) return false;
    const now = [...page.querySelectorAll("main .reading")].map((e) => e.textContent.replace(/\s+/g, " ").trim());
    return JSON.stringify(now) !== JSON.stringify(old);
  }, [`/case/${OFFER}`, before], { polling: 500, timeout: 90_000 });
  const file = readFileSync(join(held.data, "offers", OFFER, "case.toml"), "utf8");
  assert.match(file, /corners/, "the corners are in the case file");
});

browserTest("a pasted screenshot becomes a case with the photo that was cut out of it", { setUp: () => desk() }, async ({ page, held }) => {
  await untilReady(page, held.address);
  const base64 = readFileSync(photosOf(OFFER)[0]).toString("base64");
  const size = await page.evaluate(async (text) => {
    const photo = await createImageBitmap(new Blob([Uint8Array.from(atob(text), (s) => s.charCodeAt(0))], { type: "image/jpeg" }));
    const canvas = new OffscreenCanvas(photo.width + 500, photo.height + 260);
    const context = canvas.getContext("2d");
    context.fillStyle = "#ffffff";
    context.fillRect(0, 0, canvas.width, canvas.height);
    context.fillStyle = "#203040";
    context.fillRect(0, 0, canvas.width, 70);
    context.drawImage(photo, 90, 130);
    context.fillStyle = "#333333";
    context.font = "20px sans-serif";
    for (let line = 0; line < 14; line += 1) context.fillText("Sealed pack, one owner", photo.width + 150, 170 + 28 * line);
    const transfer = new DataTransfer();
    transfer.items.add(new File([await canvas.convertToBlob({ type: "image/png" })], "image.png", { type: "image/png" }));
    document.body.dispatchEvent(new ClipboardEvent("paste", { clipboardData: transfer, bubbles: true, cancelable: true }));
    return [photo.width, photo.height];
  }, base64);
  await page.getByRole("heading", { name: "Which part is the photo?" }).waitFor();
  const rect = await page.locator("drop-zone").evaluate((e) => e.frame.whole());
  for (const [got, wanted] of [[rect.x, 90], [rect.y, 130], [rect.width, size[0]], [rect.height, size[1]]]) {
    assert.ok(Math.abs(got - wanted) <= 6, JSON.stringify(rect));
  }
  await page.getByRole("button", { name: "Add this part" }).click();
  const words = await opinion(page);
  assert.match(words, /support|tell/);
});

browserTest("a saved page is read and nothing of it runs", { setUp: () => desk() }, async ({ page, held }) => {
  await untilReady(page, held.address);
  const markup = `<!doctype html><html><head><title>Sealed pack</title><script>window.ran = 1; document.title = "ran"</script>
<script type="application/ld+json">{"@context":"https://schema.org","@type":"Product","name":"Sealed pack Kelpwright Night Dredge <img src=x onerror=window.ran=1>","offers":{"@type":"Offer","price":"7.35","priceCurrency":"EUR"}}</script>
<meta property="og:title" content="Sealed pack Kelpwright Night Dredge"></head><body><svg onload="window.ran=1"></svg><img src=x onerror="window.ran=1"></body></html>`;
  await drop(page, [...jpegs(photosOf(OFFER)), { name: "offer.html", type: "text/html", bytes: Buffer.from(markup) }]);
  await opinion(page);
  assert.match(await page.locator("main").innerText(), /7\.35/);
  assert.equal(await page.evaluate(() => window.ran), undefined);
  assert.equal(await page.locator("main h1 img").count(), 0);
});

browserTest("a board of a case: exported as PNG 1920 × 1080, kept, and shown among the boards", { setUp: () => desk({ offers: [OFFER] }) }, async ({ page, held }) => {
  await page.goto(`${held.address}/case/${OFFER}`);
  await opinion(page);
  await page.getByRole("link", { name: "Make a board" }).click();
  await page.waitForSelector("board-maker[data-ready]");
  for (const side of ["Reference", "Offered"]) {
    await page.locator(".tile").filter({ has: page.locator(".note", { hasText: side }) }).last().click();
    await page.getByRole("button", { name: "Put it on the board" }).click();
    await page.locator(".cropping").waitFor({ state: "hidden" });
  }
  const [file] = await Promise.all([page.waitForEvent("download"), page.getByRole("button", { name: "Export as PNG" }).click()]);
  const parts = [];
  for await (const part of await file.createReadStream()) parts.push(part);
  const board = decode(Buffer.concat(parts));
  assert.deepEqual([board.width, board.height], [1920, 1080]);
  const places = await page.locator("board-maker").evaluate((e) => [e.placeOf(0), e.placeOf(1)]);
  for (const place of places) {
    const colours = new Set();
    for (let i = 0; i < 300; i += 1) {
      const [x, y] = [place.x + place.width * ((i * 37) % 100) / 100, place.y + place.height * ((i * 53) % 100) / 100];
      colours.add(board.at(Math.floor(x), Math.floor(y)).map((v) => v >> 4).join());
    }
    assert.ok(colours.size > 15, `only ${colours.size} colours where a crop should be`);
  }
  await page.getByRole("button", { name: "Keep in this case" }).click();
  await page.getByText("Kept in this case.").waitFor();
  await page.goto(`${held.address}/boards`);
  const kept = page.locator("main img").first();
  await kept.waitFor();
  assert.deepEqual(await kept.evaluate(async (image) => { await image.decode(); return [image.naturalWidth, image.naturalHeight]; }), [1920, 1080]);
});

browserTest("all by keyboard: add, wait, read, compare, note, find again", { setUp: () => desk() }, async ({ page, held }) => {
  // Asked for long before the key is pressed: a browser that is told at the same moment opens a real
  // window for choosing, which nobody sees, and every later press waits behind it.
  const chosen = new Promise((resolve) => { page.once("filechooser", resolve); });
  await untilReady(page, held.address);
  /** Tab until the focus is on what the test looks for; fails when it never gets there. */
  const tabTo = async (test, what) => {
    for (let i = 0; i < 160; i += 1) {
      await page.keyboard.press("Tab");
      if (await page.evaluate(test)) return;
    }
    assert.fail(`the Tab key does not lead to ${what}`);
  };
  await tabTo(() => document.activeElement.type === "file", "choosing files");
  const chooser = await Promise.race([chosen, page.keyboard.press("Enter").then(() => new Promise((resolve) => { setTimeout(resolve, 40_000, null); }))]);
  assert.ok(chooser, "Enter opens the choice of files");
  await chooser.setFiles(photosOf(OFFER));
  await opinion(page);
  const id = page.url().split("/case/")[1].split(/[#?]/)[0];
  // Pictures take the focus once they are there; on a slow machine Tab would be past their place before.
  await page.locator("face-compare[data-ready] .stage").first().waitFor();
  await tabTo(() => document.activeElement.matches("face-compare .stage"), "a picture");
  await page.keyboard.press("+");
  await page.keyboard.press("2");
  assert.equal(await page.evaluate(() => document.activeElement.closest("face-compare").mode), "swipe");
  await tabTo(() => document.activeElement.matches("#record textarea, #record input[type=text]"), "a note");
  await page.keyboard.type("Ask for the back in daylight");
  await tabTo(() => document.activeElement.matches("#record button"), "keeping the note");
  await page.keyboard.press("Enter");
  await page.locator("#record", { hasText: "Ask for the back in daylight" }).waitFor();
  await page.goto(held.address);
  await page.getByText("Letter keys work").waitFor({ state: "attached" });
  await page.keyboard.press("/");
  await page.keyboard.type("daylight");
  // The list follows each letter: wait for the one that follows the whole word.
  await page.waitForURL(/daylight/);
  await page.waitForFunction(() => /^1 of/.test(document.querySelector(".count")?.textContent.trim()));
  await page.keyboard.press("ArrowDown");
  await page.keyboard.press("Enter");
  await page.waitForURL(new RegExp(`/case/${id}`));
});

browserTest("J and K lead from offer to offer through the list that was chosen; a photo that cannot be read is named with the remedy", {
  setUp: () => desk({
    offers: ["pf-2118", "pf-2104", "pf-2062"],
    lay(data) {
      writeFileSync(join(data, "offers/pf-2118/03.jpg"), readFileSync(join(data, "offers/pf-2118/01.jpg")).subarray(0, 3000));
    },
  }),
  limit: 180_000,
}, async ({ page, held }) => {
  await page.goto(`${held.address}/?order=title`);
  await page.waitForFunction(() => document.querySelectorAll("[data-row]").length === 3 && !document.querySelector("#offers case-progress"), null, { timeout: 120_000 });
  const names = () => page.locator("[data-row] th a").evaluateAll((all) => all.map((a) => new URL(a.href).pathname));
  const order = await names();
  await page.locator("[data-row] th a").first().click();
  for (const next of order) {
    await page.waitForURL((url) => url.pathname === next && url.search === "?order=title");
    await page.locator("nav[data-neighbours] kbd").first().waitFor();
    await page.locator("h1").click();
    await page.keyboard.press("j");
  }
  await page.keyboard.press("k");
  await page.waitForURL((url) => url.pathname === order[1]);
  await page.goto(`${held.address}/case/pf-2118`);
  const told = await page.locator("div.problem").innerText();
  assert.match(told, /One photo was not used/);
  assert.match(told, /03\.jpg.*(again|whole|download|send)/s, "the file and what to do");
});

browserTest("without scripts the pages work: a form adds, the case is read", { setUp: () => desk(), context: { javaScriptEnabled: false } }, async ({ page, held }) => {
  await page.goto(held.address);
  await page.locator('input[type="file"]').first().setInputFiles(photosOf(OFFER));
  await page.getByRole("button", { name: "Add", exact: true }).click();
  await page.waitForURL(/\/case\//);
  for (let i = 0; i < 120 && (await page.locator("p.opinion").count()) === 0; i += 1) {
    await new Promise((resolve) => setTimeout(resolve, 500));
    await page.reload();
  }
  assert.match(await page.locator("p.opinion").first().innerText(), /support|tell/);
  assert.ok(await page.locator("face-compare img").count() >= 2, "pictures stand there without the module");
});
