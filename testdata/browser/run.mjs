// Runs all browser tests: node run.mjs [part of a test's name]. Its last line is "N passed, N failed".
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { makePages } from "./pages.mjs";
import { start } from "./browser.mjs";
import { standing } from "./standing.mjs";
import { paper } from "./paper.mjs";
import { hostile } from "./hostile.mjs";
import { live } from "./live.mjs";

const only = process.argv[2] || "";
const kept = process.env.PAGES; // a folder that keeps the pages from one run to the next, while you work on the tests
const folder = kept || mkdtempSync(join(tmpdir(), "leadline-browser-"));
let passed = 0, failed = 0, browser;
try {
  const pages = makePages(folder);
  browser = await start();
  const tests = [];
  const test = (name, run) => tests.push({ name, run });
  const context = { folder, pages, test, browser: () => browser };
  standing(context);
  paper(context);
  hostile(context);
  live(context);
  for (const { name, run } of tests) {
    if (!name.includes(only)) continue;
    try {
      if (!browser.isConnected()) browser = await start();
      await run();
      passed++;
      console.log("ok   " + name);
    } catch (e) {
      failed++;
      console.log("FAIL " + name + "\n     " + String(e.message || e).split("\n").slice(0, 25).join("\n     "));
    }
  }
} catch (e) {
  failed++;
  console.log("FAIL " + (e.stack || e));
} finally {
  if (browser) await browser.close().catch(() => {});
  if (!kept) rmSync(folder, { recursive: true, force: true });
}
console.log(`${passed} passed, ${failed} failed`);
process.exit(failed || !passed ? 1 : 0);
