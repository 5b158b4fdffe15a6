// What every page owes every reader: no serious finding of axe-core, nothing wider than a phone.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";

const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
/** Rules of WCAG 2.0 to 2.2, levels A and AA, and axe's best practices on landmarks and headings. */
const TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];

/** axe-core is handed to the page by the debugger's own way in, which the page's policy does not
 *  bind; nothing of it is served. */
export async function assertAccessible(page, words) {
  await page.evaluate(axe);
  const { violations, passes } = await page.evaluate((tags) => window.axe.run(document, {
    runOnly: { type: "tag", values: tags }, resultTypes: ["violations", "passes"],
  }), TAGS);
  const serious = violations.filter(({ impact }) => impact === "serious" || impact === "critical");
  const told = serious.map(({ id, help, nodes }) => `${id}: ${help}\n${nodes.slice(0, 5).map(({ html, failureSummary }) => `    ${html.slice(0, 200)}\n      ${failureSummary?.replace(/\n/g, " ")}`).join("\n")}`);
  assert.equal(serious.length, 0, `${words}:\n${told.join("\n")}`);
  assert.ok(passes.length > 10, `${words}: only ${passes.length} rules had something to look at`);
  return violations.map(({ id, impact }) => `${impact} ${id}`);
}

/** Nothing of the page reaches beyond the window's width. */
export async function assertFits(page, words) {
  const wide = await page.evaluate(() => {
    const width = document.documentElement.clientWidth;
    if (document.documentElement.scrollWidth <= width) return [];
    return [...document.querySelectorAll("body *")].filter((e) => e.getBoundingClientRect().right > width + 1)
      .slice(0, 6).map((e) => `${e.localName}.${e.className} to ${Math.round(e.getBoundingClientRect().right)} of ${width}`);
  });
  assert.deepEqual(wide, [], `${words} scrolls sideways`);
}

/** Targets are at least 24 CSS pixels, or inside a line of text (WCAG 2.2, 2.5.8). */
export async function assertTargets(page, words) {
  const small = await page.evaluate(() => [...document.querySelectorAll("button, select, input:not([type=hidden]), .button, summary")]
    .filter((e) => {
      const box = e.getBoundingClientRect();
      const shown = box.width > 1 && box.height > 1 && getComputedStyle(e).visibility !== "hidden";
      return shown && (box.width < 23.5 || box.height < 23.5);
    }).map((e) => `${e.localName} ${e.className} ${e.textContent.slice(0, 30)} ${JSON.stringify(e.getBoundingClientRect())}`));
  assert.deepEqual(small, [], `${words}: targets under 24 px`);
}
