// Chromium from Debian, driven without any network.
import { chromium } from "playwright-core";
import { existsSync } from "node:fs";
import { pathToFileURL } from "node:url";
import { join } from "node:path";

const executable = ["/usr/bin/chromium", "/usr/bin/chromium-browser"].find(existsSync) || process.env.CHROMIUM;
if (!executable) throw new Error("chromium is missing: install Debian's package chromium, or name the program in the environment variable CHROMIUM");

export const start = () => chromium.launch({ executablePath: executable, timeout: 120_000, args: ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"] });

// open shows one page in a context of its own and gathers what must not happen: requests beyond the page, violations of its policy, errors, dialogs.
export async function open(browser, folder, name, { width = 1280, scheme = "light", scripts = true, motion = "no-preference" } = {}) {
  const context = await browser.newContext({ viewport: { width, height: 900 }, colorScheme: scheme, reducedMotion: motion, javaScriptEnabled: scripts, offline: true });
  const page = await context.newPage();
  page.setDefaultTimeout(60_000);
  const bad = [], address = pathToFileURL(join(folder, name + ".html")).href;
  page.on("request", (r) => { if (r.url() !== address) bad.push("request for " + r.url().slice(0, 80)); });
  page.on("console", (m) => { if (["error", "warning"].includes(m.type())) bad.push("console: " + m.text()); });
  page.on("pageerror", (e) => bad.push("error: " + e.message));
  page.on("dialog", (d) => { bad.push("dialog: " + d.message()); d.dismiss(); });
  if (scripts) {
    await page.addInitScript(() => {
      window.violations = [];
      document.addEventListener("securitypolicyviolation", (e) => window.violations.push(`${e.violatedDirective} ${e.blockedURI} ${e.sample}`));
    });
  }
  await page.goto(address, { waitUntil: "load" });
  const done = async () => {
    if (scripts) for (const v of await page.evaluate(() => window.violations)) bad.push("policy: " + v);
    await context.close();
    if (bad.length) throw new Error(bad.slice(0, 5).join("\n"));
  };
  return { page, context, done };
}

export const openAll = (page) => page.evaluate(() => { for (const d of document.querySelectorAll("details")) d.open = true; });
