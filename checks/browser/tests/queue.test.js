// The queue by keyboard and by what is typed, with the list as the desk serves it.

import assert from "node:assert/strict";
import { browserTest } from "../lib/browser.js";
import { harness, pageOf } from "../lib/harness.js";

const titles = ["Brass Estuary pack", "First Soundings box", "Night Dredge pack", "Brass Estuary box"];
const rows = (query) => titles.map((title, i) => ({ title, i })).filter(({ title }) => title.toLowerCase().includes(query.toLowerCase()));
const list = (query, open) => `<section id="offers" aria-label="The offers"><p class="count" role="status">${rows(query).length} of ${titles.length} offers</p>
${open ? '<case-progress><script type="application/json">{"events":"/events/all"}</script><p>One is being looked at.</p></case-progress>' : ""}
<table class="queue"><caption>Offers</caption><tbody>${rows(query).map(({ title, i }) => `<tr data-row><th scope="row"><a href="/case/${i}">${title}</a></th><td>Ask</td></tr>`).join("")}</tbody></table></section>`;

async function server() {
  let open = true;
  const pages = {
    "/": () => pageOf("Offers", `<form class="filters" role="search" action="/" data-rows="/rows"><label>Search <input type="search" name="q"></label></form>${list("", open)}`),
    "/case/2": pageOf("Case", "<p id=case>Night Dredge</p>"),
  };
  const held = await harness({ pages });
  let asked = 0;
  Object.defineProperty(pages, "/rows", { get: () => () => { asked += 1; return list(held.query?.get("q") ?? "", open); } });
  return { ...held, pages, end() { open = false; }, asked: () => asked, set query(value) { held.query = value; } };
}

browserTest("typing filters, letters walk, Enter opens, Escape shows all again", { setUp: server }, async ({ page, held }) => {
  await page.route("**/rows?*", async (route) => {
    held.query = new URL(route.request().url()).searchParams;
    await route.continue();
  });
  await page.goto(held.address);
  await page.getByText("Letter keys work").waitFor({ state: "attached" });
  await page.keyboard.press("/");
  await page.keyboard.type("brass");
  await page.getByText("2 of 4 offers").waitFor();
  assert.match(page.url(), /q=brass/);
  await page.keyboard.press("Escape");
  await page.getByText("4 of 4 offers").waitFor();
  await page.keyboard.press("ArrowDown");
  const focused = () => page.evaluate(() => document.activeElement.textContent);
  assert.equal(await focused(), "Brass Estuary pack");
  await page.keyboard.press("j");
  await page.keyboard.press("j");
  assert.equal(await focused(), "Night Dredge pack");
  await page.keyboard.press("k");
  await page.keyboard.press("ArrowDown");
  // News of the desk replaces the list and leaves the focus where it is.
  const before = held.asked();
  while (held.listeners() === 0) await page.waitForTimeout(50);
  held.say({ state: "examining", words: "One offer is being looked at.", done: false });
  held.end();
  held.say({ state: "examined", words: "Everything has been looked at.", done: true });
  await page.waitForFunction(() => document.querySelector("case-progress") === null);
  assert.ok(held.asked() > before);
  assert.equal(await focused(), "Night Dredge pack");
  await page.keyboard.press("Enter");
  await page.waitForSelector("#case");
});

browserTest("letter keys can be switched off", { setUp: server }, async ({ page, held }) => {
  await page.goto(held.address);
  await page.locator("details.keys summary").click();
  await page.getByLabel("Letter keys work").uncheck();
  await page.locator("h1").click();
  await page.keyboard.press("j");
  assert.equal(await page.evaluate(() => document.activeElement === document.body), true);
});
