// Every part, light and dark and at a phone's width: no serious finding of axe-core, nothing sideways.

import { browserTest } from "../lib/browser.js";
import { harness } from "../lib/harness.js";
import * as make from "../lib/pages.js";
import { assertAccessible, assertFits, assertTargets } from "../lib/survey.js";

const setUp = async () => harness({
  pages: {
    "/compare": await make.comparePage(), "/photo": await make.photoPage(), "/corners": await make.cornerPage(),
    "/regions": await make.regionPage(), "/board": await make.boardPage(), "/drop": make.dropPage(),
  },
});

for (const [look, context] of Object.entries({
  light: {}, dark: { colorScheme: "dark" }, phone: { viewport: { width: 360, height: 740 }, hasTouch: true, isMobile: true },
})) {
  browserTest(`parts, ${look}`, { setUp, context, limit: 180_000 }, async ({ page, held }) => {
    // A board that is not kept asks before it is left.
    page.on("dialog", (dialog) => dialog.accept());
    for (const path of ["/compare", "/photo", "/corners", "/regions", "/board", "/drop"]) {
      await page.goto(held.address + path);
      await page.waitForSelector("[data-ready]");
      if (path === "/compare") {
        for (const mode of ["Swipe", "Difference", "Blink"]) {
          await page.getByRole("radio", { name: mode }).check();
          await assertFits(page, `${path} ${mode}`);
        }
      }
      if (path === "/board") {
        await page.locator(".tile").first().click();
        await page.getByRole("button", { name: "Put it on the board" }).click();
        await page.getByRole("button", { name: "Add an arrow" }).click();
        await page.locator(".tile").last().click();
      }
      await assertAccessible(page, `${path}, ${look}`);
      await assertTargets(page, `${path}, ${look}`);
      await assertFits(page, `${path}, ${look}`);
    }
  });
}
