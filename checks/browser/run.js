// Runs the browser tests, one file after the other, and leaves nothing behind.
//
//   node run.js [--limit SECONDS] [FILE…]
//
// Each test limits itself; here the whole run has a limit too. Every process of the run carries a
// mark in its environment; whatever still carries it at the end (a browser that has put itself into
// a process group of its own) is ended, and nothing else.

import { spawn } from "node:child_process";
import { readdirSync, readFileSync } from "node:fs";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";

const here = dirname(fileURLToPath(import.meta.url));
const wanted = process.argv.slice(2);
let limit = 1500;
if (wanted[0] === "--limit") {
  limit = Number(wanted[1]);
  wanted.splice(0, 2);
}
const files = wanted.length > 0 ? wanted : readdirSync(join(here, "tests")).filter((name) => name.endsWith(".test.js")).sort().map((name) => join(here, "tests", name));
const mark = `UNTORN_BROWSER_RUN=${process.pid}-${Date.now()}`;
const [name, value] = mark.split("=");

function sweep() {
  for (const pid of readdirSync("/proc").filter((entry) => /^\d+$/.test(entry) && Number(entry) !== process.pid)) {
    try {
      if (readFileSync(`/proc/${pid}/environ`, "latin1").split("\0").includes(mark)) process.kill(Number(pid), "SIGKILL");
    } catch { /* gone, or not ours to see */ }
  }
}

const child = spawn(process.execPath, ["--test", "--test-concurrency=1", "--test-reporter=spec", ...files], {
  stdio: ["ignore", "inherit", "inherit"], env: { ...process.env, [name]: value },
});
let late = false;
const timer = setTimeout(() => {
  late = true;
  process.stderr.write(`browser tests: no end after ${limit} s; ended\n`);
  sweep();
}, limit * 1000);
for (const signal of ["SIGINT", "SIGTERM", "SIGHUP"]) {
  process.on(signal, () => {
    sweep();
    process.exit(1);
  });
}
child.on("exit", (code) => {
  clearTimeout(timer);
  sweep();
  process.exit(late ? 124 : code ?? 1);
});
