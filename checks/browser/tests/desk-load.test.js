// Fifty uploads at once and a power cut in the middle: what was accepted is examined after the restart,
// in bounded memory.

import assert from "node:assert/strict";
import { readdirSync } from "node:fs";
import { join } from "node:path";
import { browserTest } from "../lib/browser.js";
import { desk } from "../lib/desk.js";
import { distinct, twelveMegapixels } from "../lib/photos.js";

const UPLOADS = 50;
const MOST_BYTES = 1.5e9;

browserTest("fifty 12-megapixel uploads at once, killed in the middle, all examined within 1.5 GB", { setUp: () => desk(), limit: 600_000 }, async ({ page, held, t }) => {
  await page.goto(held.address);
  const photo = await twelveMegapixels(page, "demo/offers/pf-2118/01.jpg");
  const token = await page.locator("drop-zone").evaluate((e) => e.data.token);
  await page.close();
  const accepted = new Set();
  const send = async (number) => {
    const form = new FormData();
    form.append("file", new Blob([distinct(photo, number)], { type: "image/jpeg" }), `upload-${number}.jpg`);
    try {
      const response = await fetch(`${held.address}/offers`, { method: "POST", body: form, headers: { "x-untorn-token": token, accept: "application/json" } });
      const told = await response.json();
      if (response.status === 200) accepted.add(told.case);
      return response.status;
    } catch {
      return 0;
    }
  };
  const began = Date.now();
  const sent = Promise.all(Array.from({ length: UPLOADS }, (_, number) => send(number)));
  // In the middle: some accepted, some on their way.
  while (accepted.size < UPLOADS / 2 && Date.now() - began < 120_000) await new Promise((resolve) => setTimeout(resolve, 5));
  const first = held.peak();
  await held.kill();
  const states = await sent;
  const cut = states.filter((status) => status === 0).length;
  t.diagnostic(`${accepted.size} accepted, ${cut} cut off by the kill, peak before it ${Math.round(first / 1e6)} MB`);
  assert.ok(accepted.size >= UPLOADS / 2);
  await held.again();
  const onDisk = new Set(readdirSync(join(held.data, "offers")));
  for (const id of accepted) assert.ok(onDisk.has(id), `${id} was accepted and is lost`);
  // Those that were cut off are sent again.
  const again = await Promise.all(states.map((status, number) => (status === 200 ? 200 : send(number + 1000))));
  assert.deepEqual(again.filter((status) => status !== 200), []);
  assert.ok(accepted.size >= UPLOADS);
  let open = Number.POSITIVE_INFINITY;
  while (open > 0) {
    await new Promise((resolve) => setTimeout(resolve, 1000));
    open = 0;
    const pages = await Promise.all([...accepted].map(async (id) => (await fetch(`${held.address}/case/${id}`)).text()));
    for (const text of pages) if (text.includes("<case-progress")) open += 1;
    for (const text of pages) assert.ok(!/Not examined:/.test(text), "an upload is stuck");
  }
  const peak = held.peak();
  t.diagnostic(`all examined after ${Math.round((Date.now() - began) / 1000)} s, peak ${Math.round(peak / 1e6)} MB`);
  assert.ok(Math.max(peak, first) < MOST_BYTES, `${peak} bytes`);
  for (const id of accepted) {
    const text = await (await fetch(`${held.address}/case/${id}`)).text();
    assert.match(text, /class="opinion"/, `${id} has no opinion`);
  }
});
