// The library's longer work in the browser: a product learned from photos, looked at and added; a
// product packed into a bundle, thrown at another desk and taken in.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { join } from "node:path";
import { browserTest } from "../lib/browser.js";
import { desk } from "../lib/desk.js";
import { ROOT } from "../lib/harness.js";
import { assertAccessible, assertFits } from "../lib/survey.js";

const photo = (name) => join(ROOT, "demo/specimens/nd-eastmere-01", name);

/** Waits until a task has come to its end; its page loads itself anew. */
async function ended(page) {
  await page.waitForURL(/\/library\/task\//);
  await page.waitForFunction(() => document.querySelector("main h1") && !document.querySelector("main case-progress"), null, { timeout: 200_000 });
}

browserTest("a product is learned from photos, looked at, and added", { setUp: () => desk(), limit: 280_000 }, async ({ page, held }) => {
  await page.goto(`${held.address}/library/add`);
  const form = page.locator('form[action="/library/learn"]');
  const fill = (label, text) => form.getByLabel(label).fill(text);
  await fill("Line, as printed", "Tidewright");
  await fill("Release, as printed", "Lamp Oil");
  await fill("How you know", "bought from the printer");
  await form.getByLabel("Front", { exact: true }).setInputFiles([photo("01.jpg"), photo("03.jpg")]);
  await form.getByLabel("Back", { exact: true }).setInputFiles([photo("02.jpg"), photo("04.jpg")]);
  await form.getByRole("button", { name: "Learn the product" }).click();
  // Nothing said how large it is: the remedy is told, and the same photos serve once more.
  await ended(page);
  assert.match(await page.getByRole("alert").innerText(), /no size is known.*width and height/s);
  await page.getByLabel("Width").fill("65");
  await page.getByLabel("Height").fill("112");
  await page.getByRole("button", { name: "Learn it once more" }).click();
  await page.waitForLoadState();
  await ended(page);
  await page.getByText("Learned. Look at the pictures").waitFor();
  const text = await page.locator("main").innerText();
  assert.match(text, /Front: 65\.0 × 112\.0 mm, corners ± /);
  assert.match(text, /Ridges: along the pack, 0\.9\d\d mm ± /, "0.95 mm ± 0.05 mm apart, as demo/catalogue says they are drawn");
  const pictures = page.locator("main .strip img");
  assert.equal(await pictures.count(), 2);
  assert.ok(await pictures.first().evaluate(async (image) => { image.loading = "eager"; await image.decode(); return image.naturalWidth; }) > 300);
  await assertAccessible(page, "what was learned");
  await page.getByRole("button", { name: "Add it to the library" }).click();
  await page.waitForURL(/\/library\/product\/tidewright\/lamp-oil\/pack/);
  await page.getByRole("heading", { name: "What this should look like" }).waitFor();
  assert.equal(await page.locator(".face-card").count(), 2);
});

browserTest("a product is packed, and another desk takes it in", {
  setUp: async () => {
    const from = await desk();
    const to = await desk({ empty: true });
    return { from, to, async stop() { await from.stop(); await to.stop(); } };
  },
  limit: 180_000,
}, async ({ page, held }) => {
  await page.goto(`${held.from.address}/library/product/kelpwright/night-dredge/pack`);
  await page.getByRole("button", { name: "Pack it into a bundle" }).click();
  await ended(page);
  assert.match(await page.locator("main").innerText(), /12 specimens, 2 reference pictures/);
  const [file] = await Promise.all([page.waitForEvent("download"), page.getByRole("link", { name: "Save the bundle" }).click()]);
  assert.equal(file.suggestedFilename(), "kelpwright-night-dredge-pack.zip");
  const bundle = join(held.from.data, file.suggestedFilename());
  await file.saveAs(bundle);
  // "PK\3\4" begins a zip file (ISO/IEC 21320-1).
  assert.equal(readFileSync(bundle).subarray(0, 4).toString("latin1"), "PK\u0003\u0004");
  await page.goto(`${held.to.address}/library/add`);
  await page.getByLabel("Bundle", { exact: false }).last().setInputFiles({ name: "other.zip", mimeType: "application/zip", buffer: Buffer.from("no zip at all") });
  await page.getByRole("button", { name: "Take it in" }).click();
  await ended(page);
  assert.match(await page.getByRole("alert").innerText(), /other\.zip/, "the refusal names the file");
  await page.goto(`${held.to.address}/library/add`);
  await page.locator("#b-file").setInputFiles(bundle);
  await page.getByRole("button", { name: "Take it in" }).click();
  await ended(page);
  await assertFits(page, "what a bundle brought");
  await page.getByRole("link", { name: "To the product" }).click();
  await page.getByRole("heading", { name: "What this should look like" }).waitFor();
  assert.equal(await page.locator(".face-card img").count(), 2);
});
