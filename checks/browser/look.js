// Pictures of every part for a person to look at: node look.js FOLDER
import { mkdir } from "node:fs/promises";
import { chromium } from "playwright-core";
import { harness } from "./lib/harness.js";
import * as make from "./lib/pages.js";
import { browserPath } from "./lib/browser.js";

const out = process.argv[2] ?? "seen";
await mkdir(out, { recursive: true });
const pages = {
  "/compare": await make.comparePage(), "/photo": await make.photoPage(), "/corners": await make.cornerPage(),
  "/regions": await make.regionPage(), "/board": await make.boardPage(), "/drop": make.dropPage(), "/queue": make.queuePage(40),
};
const held = await harness({ pages });
const browser = await chromium.launch({ executablePath: browserPath(), args: ["--no-sandbox", "--disable-gpu"] });
for (const [look, context] of Object.entries({
  light: { viewport: { width: 1280, height: 900 } },
  dark: { viewport: { width: 1280, height: 900 }, colorScheme: "dark" },
  phone: { viewport: { width: 360, height: 740 }, deviceScaleFactor: 2, hasTouch: true, isMobile: true },
})) {
  const held_context = await browser.newContext(context);
  for (const path of Object.keys(pages)) {
    const page = await held_context.newPage();
    page.on("console", (message) => { if (message.type() === "error") console.log(path, look, message.text()); });
    page.on("pageerror", (error) => console.log(path, look, error.message));
    await page.goto(held.address + path, { waitUntil: "networkidle" });
    await page.waitForTimeout(300);
    await page.screenshot({ path: `${out}${path}-${look}.png`, fullPage: path !== "/queue" });
    await page.close();
  }
}
await browser.close();
await held.stop();
