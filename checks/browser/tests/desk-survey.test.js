// Every page of the desk that links lead to, light, dark and at a phone's width: no serious finding
// of axe-core, nothing sideways, no small targets.

import assert from "node:assert/strict";
import { browserTest } from "../lib/browser.js";
import { desk, libraryOpen } from "../lib/desk.js";
import { assertAccessible, assertFits, assertTargets } from "../lib/survey.js";

const OFFERS = ["pf-2118", "pf-2062"];
/** A page of each kind: addresses that differ by a name alone are one kind. */
const kind = (path) => path.replace(/[#?].*$/, "").replace(/\/case\/[^/]+/, "/case/*").replace(/\/photo\/\d+$/, "/photo/*")
  .replace(/\/specimen\/[^/]+/, "/specimen/*").replace(/\/product\/[^/]+\/[^/]+\/([^/]+)/, "/product/*/*/$1").replace(/\/face\/[^/]+/, "/face/*").replace(/\/task\/[^/]+$/, "/task/*");

/** What `act` gives; once more where the page loaded itself anew in the middle of it. */
async function twice(act) {
  try {
    return await act();
  } catch (error) {
    if (!/context was destroyed|navigation/i.test(error.message)) throw error;
    return act();
  }
}

/** Judges one page; the paths that it links to. */
async function lookAt(page, address, what, lesser) {
  const response = await page.goto(address);
  assert.ok(response.ok(), `${what} answers ${response.status()}`);
  await page.evaluate(() => document.querySelectorAll("details").forEach((e) => { e.open = true; }));
  await page.waitForFunction(() => [...document.querySelectorAll("face-compare, photo-pane, corner-drag, region-draw, board-maker, drop-zone")].every((e) => "ready" in e.dataset));
  (await assertAccessible(page, what)).forEach((words) => lesser.add(words));
  await assertTargets(page, what);
  await assertFits(page, what);
  return page.evaluate(() => [...document.querySelectorAll("a[href]")].filter((a) => a.origin === location.origin && !a.download).map((a) => a.pathname));
}

async function survey(page, held, look, t) {
  const found = new Map([["/", "/"]]);
  const seen = new Set();
  const lesser = new Set();
  await page.goto(`${held.address}/library/product/kelpwright/night-dredge/pack`);
  await page.getByRole("button", { name: "Pack it into a bundle" }).click();
  await page.getByRole("link", { name: "Save the bundle" }).waitFor();
  await page.goto(held.address);
  // Pages of examined cases are what people look at; wait for them. While the library is being opened
  // the list may lack what will be examined, and the page of a case loads itself anew when that ends.
  await libraryOpen(page);
  await page.waitForFunction(async (offers) => {
    const rows = await (await fetch("/rows")).text();
    return offers.every((offer) => rows.includes(`/case/${offer}`)) && !/being looked at|in line/i.test(rows);
  }, OFFERS, { polling: 1000, timeout: 100_000 });
  for (;;) {
    const next = [...found].find(([key]) => !seen.has(key));
    if (!next) break;
    const [key, path] = next;
    seen.add(key);
    const links = await twice(() => lookAt(page, held.address + path, `${path}, ${look}`, lesser));
    for (const link of links) {
      if (/\/(report|photo\/[0-9a-f]{64}|shown\/.*|bundle|board\/[0-9a-f]{64})$/.test(link)) continue;
      if (!found.has(kind(link))) found.set(kind(link), link);
    }
  }
  t.diagnostic(`${look}: ${seen.size} kinds of pages (${[...seen].join(" ")}); lesser findings: ${[...lesser].join(", ") || "none"}`);
  for (const must of ["/", "/case/*", "/case/*/photo/*", "/case/*/make-board", "/library", "/library/task/*", "/boards", "/words"]) assert.ok(seen.has(must), `${must} was not reached; reached: ${[...seen].join(" ")}`);
}

for (const [look, context] of Object.entries({
  light: {}, dark: { colorScheme: "dark" }, phone: { viewport: { width: 360, height: 740 }, hasTouch: true, isMobile: true },
})) {
  browserTest(`the desk's pages, ${look}`, { setUp: () => desk({ offers: OFFERS }), context, limit: 300_000 }, ({ page, held, t }) => survey(page, held, look, t));
}
