// Pictures of every screen for a person to look at: node look.js FOLDER
//
// The parts on pages of their own, and the desk with two examined offers; light, dark, and at the
// width of a phone.

import { mkdir } from "node:fs/promises";
import { chromium } from "playwright-core";
import { ARGUMENTS, browserPath } from "./lib/browser.js";
import { desk } from "./lib/desk.js";
import { harness } from "./lib/harness.js";
import * as make from "./lib/pages.js";

const LOOKS = {
  light: { viewport: { width: 1280, height: 900 } },
  dark: { viewport: { width: 1280, height: 900 }, colorScheme: "dark" },
  phone: { viewport: { width: 360, height: 740 }, deviceScaleFactor: 2, hasTouch: true, isMobile: true },
};
const OFFERS = ["pf-2118", "pf-2062"];
const PAGES = {
  offers: "/", case: "/case/pf-2118", box: "/case/pf-2062", photo: "/case/pf-2118/photo/1", "make-board": "/case/pf-2118/make-board",
  library: "/library", specimens: "/library/specimens", product: "/library/product/kelpwright/brass-estuary/pack",
  face: "/library/product/kelpwright/brass-estuary/pack/face/front", add: "/library/add", boards: "/boards", words: "/words", nothing: "/nothing",
};

const out = process.argv[2] ?? "seen";
await mkdir(out, { recursive: true });
const browser = await chromium.launch({ executablePath: browserPath(), args: ARGUMENTS });

async function shoot(address, name, look, tall) {
  const context = await browser.newContext(LOOKS[look]);
  const page = await context.newPage();
  page.on("console", (message) => { if (message.type() === "error") console.log(name, look, message.text()); });
  page.on("pageerror", (error) => console.log(name, look, error.message));
  await page.goto(address, { waitUntil: "load" });
  await page.waitForTimeout(1200);
  await page.screenshot({ path: `${out}/${name}-${look}.png`, fullPage: tall, timeout: 120_000 });
  await context.close();
}

const parts = await harness({
  pages: {
    "/compare": await make.comparePage(), "/photo": await make.photoPage(), "/corners": await make.cornerPage(),
    "/regions": await make.regionPage(), "/board": await make.boardPage(), "/drop": make.dropPage(),
  },
});
const wanted = process.argv.slice(3);
if (wanted.length === 0) {
  for (const look of Object.keys(LOOKS)) {
    for (const name of ["compare", "photo", "corners", "regions", "board", "drop"]) await shoot(`${parts.address}/${name}`, `part-${name}`, look, true);
  }
}
await parts.stop();
const held = await desk({ offers: OFFERS });
for (;;) {
  const rows = (await (await fetch(`${held.address}/rows`)).text()).replace(/<[^>]*>/g, "");
  if (/2 of 2 offers/.test(rows) && !/looked at|In line/.test(rows)) break;
  await new Promise((resolve) => setTimeout(resolve, 1000));
}
for (const look of Object.keys(LOOKS)) {
  for (const [name, path] of Object.entries(PAGES)) {
    if (wanted.length === 0 || wanted.includes(name)) await shoot(held.address + path, name, look, true);
  }
}
await browser.close();
await held.stop();
