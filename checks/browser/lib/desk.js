// A desk of a test's own: the built program, a free port, a data folder that goes with the test.
//
// The library is the demonstration's, whose specimens have been measured once; each test gets a copy.

import { spawn, spawnSync } from "node:child_process";
import { cpSync, existsSync, mkdirSync, mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { ROOT } from "./harness.js";

const START_MS = 60_000;
const STOP_MS = 10_000;

export function program() {
  const named = process.env.UNTORN_PROGRAM;
  const found = [named, join(ROOT, "target/release/untorn")].find((path) => path && existsSync(path));
  if (!found) throw new Error("no program to test; run: cargo build --release");
  return found;
}

/** The folder of the demonstration with its specimens measured; made when it is missing. */
export function prepared() {
  const folder = process.env.UNTORN_DEMO_DIR ?? join(ROOT, "target/check/demo");
  if (!existsSync(join(folder, "library"))) {
    const made = spawnSync(program(), ["demo", "--into", folder], { stdio: ["ignore", "ignore", "inherit"], timeout: 900_000 });
    if (made.status !== 0) throw new Error("the demonstration's library could not be made");
  }
  return folder;
}

/** Starts a desk. `offers`: names of the demonstration's offers to begin with; `lay(folder)`: puts
 *  more into the data folder before the start; `empty`: with no library. Result: `address`, `data`, `pid()`, `kill()` (as a
 *  power cut would), `again()` (starts it anew on the same data), `stop()`. */
export async function desk({ offers = [], lay, empty = false } = {}) {
  const from = empty ? null : prepared();
  const data = mkdtempSync(join(tmpdir(), "untorn-desk-"));
  if (from) cpSync(join(from, "library"), join(data, "library"), { recursive: true });
  mkdirSync(join(data, "offers"));
  for (const name of offers) cpSync(join(ROOT, "demo/offers", name), join(data, "offers", name), { recursive: true });
  await lay?.(data);
  let child = null;
  let said = "";
  const held = {
    data,
    address: null,
    pid: () => child.pid,
    said: () => said,
    async again() {
      child = spawn(program(), ["desk", "--data", data, "--port", "0"], { stdio: ["ignore", "pipe", "pipe"] });
      said = "";
      const own = child;
      await new Promise((resolve, reject) => {
        const timer = setTimeout(() => reject(new Error(`the desk does not start: ${said}`)), START_MS);
        const hear = (bytes) => {
          said += bytes;
          const address = /http:\/\/127\.0\.0\.1:\d+/.exec(said)?.[0];
          if (address) {
            held.address = address;
            clearTimeout(timer);
            resolve();
          }
        };
        own.stdout.on("data", hear);
        own.stderr.on("data", hear);
        own.on("exit", (code) => {
          clearTimeout(timer);
          reject(new Error(`the desk ended with ${code}: ${said}`));
        });
        own.on("error", reject);
      });
    },
    async kill() {
      const gone = new Promise((resolve) => child.once("exit", resolve));
      child.kill("SIGKILL");
      await gone;
    },
    async stop() {
      if (child && child.exitCode === null && child.signalCode === null) {
        const gone = new Promise((resolve) => child.once("exit", resolve));
        child.kill("SIGINT");
        const timer = setTimeout(() => child.kill("SIGKILL"), STOP_MS);
        await gone;
        clearTimeout(timer);
      }
      rmSync(data, { recursive: true, force: true });
    },
    /** Largest resident memory so far, bytes (Linux). */
    peak() {
      const status = readFileSync(`/proc/${child.pid}/status`, "utf8");
      return Number(/VmHWM:\s+(\d+) kB/.exec(status)[1]) * 1024;
    },
  };
  process.once("exit", () => { try { child?.kill("SIGKILL"); } catch { /* gone */ } });
  try {
    await held.again();
  } catch (error) {
    rmSync(data, { recursive: true, force: true });
    throw error;
  }
  return held;
}

/** Waits until the desk has opened its library, so that what is examined afterwards does not wait for it. */
export async function libraryOpen(page) {
  await page.waitForFunction(async () => !(await (await fetch("/")).text()).includes("being made ready"), null, { polling: 500, timeout: 60_000 });
}
