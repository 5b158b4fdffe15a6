// Large photos, long queues, many uploads at once. Times are told; limits are those that hold on an
// idle machine of two cores, times a patience for a shared one, except for what does not depend on
// it: whether the main thread is ever blocked by what we do, and memory.

import assert from "node:assert/strict";
import { mkdirSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { browserTest } from "../lib/browser.js";
import { desk } from "../lib/desk.js";
import { distinct, twelveMegapixels } from "../lib/photos.js";

/** A machine that others work on at the same time is slower by this much at worst. */
const PATIENCE = 6;

/** The longest that a task may keep the main thread, ms: the W3C's Long Tasks API, from memory. */
const LONG_MS = 50;

/** Drags a picture about. Result: when frames came, and the main thread's longest task, by the clock and by the
 *  processor time that it took: a machine that others work on stretches the first and not the second. */
async function panned(page, stage) {
  const browser = page.context().browser();
  const box = await stage.boundingBox();
  const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
  await page.evaluate(() => {
    window.frames = [];
    let last = performance.now();
    const tick = (now) => { window.frames.push(now - last); last = now; window.ticking = requestAnimationFrame(tick); };
    requestAnimationFrame(tick);
  });
  await browser.startTracing(page, { categories: ["disabled-by-default-devtools.timeline"] });
  await page.mouse.move(x, y);
  await page.mouse.down();
  for (let i = 1; i <= 60; i += 1) {
    await page.mouse.move(x - i * 2, y - i * 2);
    await page.waitForTimeout(8);
  }
  await page.mouse.up();
  const { traceEvents } = JSON.parse((await browser.stopTracing()).toString());
  const thread = ({ pid, tid }) => `${pid}:${tid}`;
  const main = new Set(traceEvents.filter((e) => e.name === "thread_name" && e.args.name === "CrRendererMain").map(thread));
  const tasks = traceEvents.filter((e) => e.name === "RunTask" && main.has(thread(e)) && e.tdur !== undefined);
  const most = (key) => Math.max(...tasks.map((e) => e[key])) / 1000;
  const frames = await page.evaluate(() => {
    cancelAnimationFrame(window.ticking);
    return window.frames;
  });
  return { frames, count: tasks.length, clock: most("dur"), processor: most("tdur") };
}

browserTest("a case of ten 12-megapixel photos is usable at once, and panning never blocks", { setUp: () => desk(), limit: 300_000 }, async ({ page, held, t, context }) => {
  await page.goto(held.address);
  const photos = [];
  for (const path of ["demo/offers/pf-2118/01.jpg", "demo/offers/pf-2118/02.jpg"]) photos.push(await twelveMegapixels(page, path));
  const form = new FormData();
  for (let i = 0; i < 10; i += 1) form.append("file", new Blob([distinct(photos[i % 2], i)], { type: "image/jpeg" }), `${String(i + 1).padStart(2, "0")}.jpg`);
  const token = await page.locator('input[name="token"]').first().evaluate((e) => e.value).catch(() => null)
    ?? await page.locator("drop-zone").evaluate((e) => e.data.token);
  const added = await fetch(`${held.address}/offers`, { method: "POST", body: form, headers: { "x-untorn-token": token, accept: "application/json" } });
  const { url } = await added.json();
  assert.equal(added.status, 200);
  for (;;) {
    const text = await (await fetch(held.address + url)).text();
    if (text.includes('class="opinion"') && !text.includes("<case-progress")) break;
    await new Promise((resolve) => setTimeout(resolve, 500));
  }
  const fresh = await context.newPage();
  const began = Date.now();
  await fresh.goto(held.address + url, { waitUntil: "commit" });
  await fresh.waitForSelector("face-compare[data-ready]");
  const stage = fresh.locator("face-compare .photo .stage").first();
  await stage.scrollIntoViewIfNeeded();
  await fresh.waitForFunction(() => [...document.querySelector("face-compare").querySelectorAll("img.layer")].every((i) => i.complete && i.naturalWidth > 0));
  const usable = Date.now() - began;
  t.diagnostic(`usable after ${usable} ms`);
  assert.ok(usable < 1000 * PATIENCE, `usable after ${usable} ms`);
  for (const zoom of [0, 6]) {
    await stage.focus();
    for (let i = 0; i < zoom; i += 1) await fresh.keyboard.press("+");
    await fresh.waitForTimeout(800);
    const { frames, count, clock, processor } = await panned(fresh, stage);
    t.diagnostic(`magnified ${zoom} steps: ${frames.length} frames, the slowest ${Math.round(Math.max(...frames))} ms; ${count} tasks, the longest ${Math.round(clock)} ms, of which the processor ${processor.toFixed(1)} ms`);
    assert.ok(count > 60, "the tasks were seen");
    assert.ok(processor <= LONG_MS, `a task of ${processor} ms while panning`);
    assert.ok(frames.length > 20, "the picture follows");
  }
});

browserTest("a queue of 2,000 offers follows what is typed", {
  setUp: () => desk({
    lay(data) {
      const words = ["First Soundings", "Brass Estuary", "Night Dredge", "Tidewright", "Lanternfall"];
      for (let i = 0; i < 2000; i += 1) {
        const folder = join(data, "offers", `q-${String(i).padStart(4, "0")}`);
        mkdirSync(folder);
        writeFileSync(join(folder, "case.toml"), `schema = "untorn.case/1"\nid = "q-${String(i).padStart(4, "0")}"\n\n[offer]\ntitle = "Sealed pack ${words[i % 5]} number ${i}"\ndescription = "Kept in a drawer"\nprice = { amount = "${(i % 90) + 1}.50", currency = "EUR" }\n`);
      }
    },
  }),
  limit: 300_000,
}, async ({ page, held, t }) => {
  await page.goto(held.address);
  await page.waitForFunction(async () => / of 2000 offers/.test(await (await fetch("/rows")).text()), null, { polling: 500, timeout: 120_000 });
  await page.reload();
  await page.getByText("Letter keys work").waitFor({ state: "attached" });
  const measure = (text) => page.evaluate(async (value) => {
    const search = document.querySelector('input[type="search"]');
    const list = document.getElementById("offers");
    const began = performance.now();
    const changed = new Promise((resolve) => {
      const watch = new MutationObserver(() => {
        // The list is also had anew while offers are looked at; what counts is the one for these words.
        if ((new URLSearchParams(location.search).get("q") ?? "") !== value) return;
        watch.disconnect();
        requestAnimationFrame(() => setTimeout(resolve));
      });
      watch.observe(list, { childList: true, subtree: true });
    });
    search.value = value;
    search.dispatchEvent(new Event("input", { bubbles: true }));
    await changed;
    return { ms: performance.now() - began, words: list.querySelector(".count").textContent.trim() };
  }, text);
  await measure("drawer");
  const times = [];
  for (const [text, count] of [["brass", 400], ["dredge 7", null], ["number 1999", 1], ["estuary", 400], ["", 2000]]) {
    const { ms, words } = await measure(text);
    times.push(ms);
    if (count !== null) assert.match(words, new RegExp(`^${count} of 2000 offers`), text);
  }
  times.sort((a, b) => a - b);
  t.diagnostic(`from the key to the painted list: ${times.map((ms) => Math.round(ms)).join(", ")} ms`);
  assert.ok(times[2] < 100 * PATIENCE, `median ${times[2]} ms`);
});
