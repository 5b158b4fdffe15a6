// A test with a browser of its own, that ends whatever the browser does.
//
// Each test gets a new Chromium (Debian's) with an empty profile and a limit of time. A browser that
// crashed or stopped answering is not a finding about the desk: the test is run once more with a new
// one, and says so. An assertion that failed, or a page that did not do what was asked while its
// browser answers, fails at once.

import assert from "node:assert/strict";
import { existsSync } from "node:fs";
import { test } from "node:test";
import { chromium } from "playwright-core";

/** Two shared cores can be slow by an order of magnitude; a hang must still end. */
const TEST_MS = 120_000;
const LAUNCH_MS = 60_000;
const PROBE_MS = 10_000;
const WAIT_MS = 45_000;

export const ARGUMENTS = [
  "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
  "--disable-component-update", "--disable-sync", "--disable-extensions", "--disable-dev-shm-usage", "--mute-audio",
];

export function browserPath() {
  const found = ["/usr/bin/chromium", "/usr/bin/chromium-browser"].find((path) => existsSync(path));
  if (!found) throw new Error("no chromium; install Debian's package chromium");
  return found;
}

class Hang extends Error {}

function within(ms, what, promise) {
  let timer;
  const limit = new Promise((_, reject) => { timer = setTimeout(() => reject(new Hang(`${what}: no end after ${ms / 1000} s`)), ms); });
  return Promise.race([promise, limit]).finally(() => clearTimeout(timer));
}

async function withBrowser(options, act) {
  const server = await within(LAUNCH_MS, "starting the browser", chromium.launchServer({
    executablePath: browserPath(), args: ARGUMENTS, timeout: LAUNCH_MS, handleSIGINT: true, handleSIGTERM: true, handleSIGHUP: true,
  }));
  const child = server.process();
  const kill = () => { try { child.kill("SIGKILL"); } catch { /* gone */ } };
  process.once("exit", kill);
  let browser;
  try {
    browser = await within(LAUNCH_MS, "connecting to the browser", chromium.connect(server.wsEndpoint(), { timeout: LAUNCH_MS }));
    const context = await browser.newContext({ viewport: { width: 1280, height: 900 }, acceptDownloads: true, ...options.context });
    context.setDefaultTimeout(WAIT_MS);
    context.setDefaultNavigationTimeout(WAIT_MS);
    const page = await context.newPage();
    // A page that reports an error, or that breaks the policy of what may run, fails its test.
    const faults = [];
    page.on("pageerror", (error) => faults.push(`error in the page: ${error.message}`));
    page.on("console", (message) => { if (message.type() === "error" && !options.mayComplain?.test(message.text())) faults.push(`the page complained: ${message.text()}`); });
    let crashed = false;
    page.on("crash", () => { crashed = true; });
    try {
      await within(options.limit ?? TEST_MS, "the test", act({ page, context, browser }));
      assert.deepEqual(faults, [], "errors in the page");
    } catch (error) {
      if (crashed) throw new Hang("the page crashed", { cause: error });
      if (error instanceof assert.AssertionError) throw error;
      if (faults.length > 0) error.message += `\n${faults.join("\n")}`;
      if (error instanceof Hang || !(await answers(browser, page))) throw new Hang(error.message, { cause: error });
      throw error;
    }
  } finally {
    process.removeListener("exit", kill);
    await within(PROBE_MS, "closing", server.close()).catch(kill);
    kill();
  }
}

/** Whether the browser and its page still answer. */
async function answers(browser, page) {
  try {
    return browser.isConnected() && (await within(PROBE_MS, "asking the page", page.evaluate(() => 1 + 1))) === 2;
  } catch {
    return false;
  }
}

/** A test named `name`: `act({ page, … })` with a new browser, `setUp()` before it (its result is
 *  passed on; its `stop` is called after it). */
export function browserTest(name, options, act) {
  const limit = options.limit ?? TEST_MS;
  test(name, { timeout: 2 * (limit + 2 * LAUNCH_MS + 60_000) }, async (t) => {
    const once = async () => {
      const held = await options.setUp?.();
      try {
        await withBrowser(options, (given) => act({ ...given, held, t }));
      } finally {
        await held?.stop?.();
      }
    };
    try {
      await once();
    } catch (error) {
      if (!(error instanceof Hang)) throw error;
      t.diagnostic(`the browser stopped (${error.message.split("\n")[0]}); tried once more with a new one`);
      process.stderr.write(`${name}: the browser stopped (${error.message}); tried once more with a new one\n`);
      await once();
    }
  });
}
