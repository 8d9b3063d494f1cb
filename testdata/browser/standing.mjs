// What holds for every page as it stands: valid, accessible, nothing sticks out, no picture empty, complete without scripts, nothing fetched.
import assert from "node:assert/strict";
import { createRequire } from "node:module";
import { readFileSync, statSync } from "node:fs";
import { join } from "node:path";
import { HtmlValidate } from "html-validate";
import { open, openAll } from "./browser.mjs";

const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const real = ["check", "predict", "plan", "compare", "takes"];

export function standing({ folder, pages, test, browser }) {
  for (const name of pages) {
    test(`${name}: valid HTML`, async () => {
      // The standard's own rules and those on accessibility; matters of style are left out: the pages are well-formed XML too, for the Go tests.
      // Two hints don't fit: a list or a group may carry a name though it needs none, and a table that scrolls sideways is a group that takes the focus but no fieldset.
      const rules = { "aria-label-misuse": ["error", { allowAnyNamable: true }], "prefer-native-element": "off" };
      const report = await new HtmlValidate({ extends: ["html-validate:standard", "html-validate:a11y"], rules }).validateFile(join(folder, name + ".html"));
      assert.equal(report.valid, true, report.results.flatMap((r) => r.messages.map((m) => `${m.line}:${m.column} ${m.ruleId}: ${m.message.slice(0, 200)}`)).slice(0, 10).join("\n"));
    });
  }

  // WCAG 2.2, levels A and AA, and axe's own good practice; contrast checking is on. Folded tables are opened, so that they are looked at too.
  for (const name of pages.filter((n) => real.includes(n) || n === "invented-full")) {
    for (const scheme of ["light", "dark"]) {
      for (const width of [1280, 390]) {
        test(`${name}: axe, ${scheme}, ${width} px`, async () => {
          const { page, context } = await open(browser(), folder, name, { scheme, width });
          await openAll(page);
          await page.evaluate(axe);
          const result = await page.evaluate(() => axe.run(document, {
            runOnly: { type: "tag", values: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"] },
            rules: { "color-contrast": { enabled: true } }, resultTypes: ["violations", "passes"],
          }));
          await context.close();
          const contrast = result.passes.find((p) => p.id === "color-contrast");
          assert.ok(contrast && contrast.nodes.length > 20, "contrast was not checked");
          assert.deepEqual(result.violations.map((v) => `${v.id}: ${v.nodes.length} × ${v.nodes[0].html.slice(0, 160)} ${v.nodes[0].failureSummary}`), []);
        });
      }
    }
  }

  for (const name of pages) {
    for (const width of [1280, 768, 390, 320]) {
      test(`${name}: nothing sticks out at ${width} px`, async () => {
        const { page, done } = await open(browser(), folder, name, { width });
        await openAll(page);
        const out = await page.evaluate(() => {
          const found = [], wide = document.documentElement.clientWidth;
          if (document.documentElement.scrollWidth > wide) found.push(`the page is ${document.documentElement.scrollWidth} px wide`);
          for (const e of document.querySelectorAll("body *")) {
            if (e.closest(".scroll, .skip") || e instanceof SVGElement && e.tagName !== "svg") continue;
            const r = e.getBoundingClientRect();
            if (r.width && (r.right > wide + 0.5 || r.left < -0.5)) found.push(`<${e.tagName} ${e.className}> from ${r.left} to ${r.right} px`);
          }
          // Text inside a drawing stays inside it, and texts don't run into one another.
          for (const svg of document.querySelectorAll("svg.drawing")) {
            const box = svg.getBoundingClientRect();
            if (!box.width) continue;
            const line = 3.5 * box.width / svg.viewBox.baseVal.width; // a line's box is taller than its letters of 10 units, also where it is turned
            const texts = [...svg.querySelectorAll("text")].map((t) => ({ s: t.textContent, r: t.getBoundingClientRect() })).filter((t) => t.r.width);
            for (const { s, r } of texts) {
              if (r.left < box.left - line || r.right > box.right + line || r.top < box.top - line || r.bottom > box.bottom + line) found.push(`${svg.querySelector("title").textContent}: “${s}” is cut`);
            }
            texts.forEach((a, i) => texts.slice(i + 1).forEach((b) => {
              const w = Math.min(a.r.right, b.r.right) - Math.max(a.r.left, b.r.left), h = Math.min(a.r.bottom, b.r.bottom) - Math.max(a.r.top, b.r.top);
              if (w > 1 && h > 0.4 * Math.min(a.r.height, b.r.height)) found.push(`${svg.querySelector("title").textContent}: “${a.s}” and “${b.s}” run into one another`);
            }));
          }
          return found.slice(0, 8);
        });
        await done();
        assert.deepEqual(out, []);
      });
    }
  }

  for (const name of pages.filter((n) => !["invented-empty", "invented-unknown"].includes(n))) {
    test(`${name}: no picture is empty`, async () => {
      const { page, context, done } = await open(browser(), folder, name);
      const areas = await page.evaluate(() => Object.fromEntries((JSON.parse(document.getElementById("data")?.textContent || "{}").charts || []).map((c) => [c.id, c.area])));
      const reader = await context.newPage();
      const drawings = await page.locator("svg.drawing").all();
      assert.ok(drawings.length > 0, "there are no drawings");
      const empty = [];
      for (const svg of drawings) {
        if (!await svg.isVisible()) continue;
        const { id, title, view } = await svg.evaluate((e) => ({ id: e.querySelector("title").id.replace(/-t$/, ""), title: e.querySelector("title").textContent, view: e.viewBox.baseVal.width }));
        const png = (await svg.screenshot()).toString("base64");
        const ink = await reader.evaluate(async ({ png, area, view }) => {
          const image = await createImageBitmap(await (await fetch("data:image/png;base64," + png)).blob()).catch(() => null);
          const canvas = new OffscreenCanvas(image.width, image.height), c = canvas.getContext("2d");
          c.drawImage(image, 0, 0);
          const k = image.width / view, [l, t, r, b] = area ? area.map((v) => v * k) : [0, 0, image.width, image.height];
          const d = c.getImageData(l + 2, t + 2, Math.max(1, r - l - 4), Math.max(1, b - t - 4)).data, ground = new Map();
          for (let i = 0; i < d.length; i += 4) { const key = (d[i] << 16) | (d[i + 1] << 8) | d[i + 2]; ground.set(key, (ground.get(key) || 0) + 1); }
          const most = [...ground].sort((x, y) => y[1] - x[1])[0][0], back = [most >> 16, (most >> 8) & 255, most & 255];
          let differ = 0;
          for (let i = 0; i < d.length; i += 4) if (Math.max(Math.abs(d[i] - back[0]), Math.abs(d[i + 1] - back[1]), Math.abs(d[i + 2] - back[2])) > 80) differ++; // darker than grid and shading
          return differ;
        }, { png, area: areas[id], view });
        if (ink < 60) empty.push(`${title}: ${ink} pixels inside the axes differ from the background`);
      }
      await done();
      assert.deepEqual(empty, []);
    });
  }

  for (const name of pages) {
    test(`${name}: complete without scripts, nothing fetched`, async () => {
      const without = await open(browser(), folder, name, { scripts: false });
      const text = (page) => page.evaluate(() => [...document.querySelectorAll("h1, h2, h3, figcaption, .see, caption")].filter((e) => !e.closest(".try")).map((e) => e.textContent));
      const plain = await text(without.page);
      assert.equal(await without.page.locator("#try-part").isVisible(), false);
      assert.equal(await without.page.locator(".read").count(), 0);
      await without.done();
      const full = await open(browser(), folder, name);
      await full.page.waitForTimeout(300);
      assert.deepEqual(await text(full.page), plain);
      await full.done(); // neither request nor violation nor error
    });
  }

  test("reading order, landmarks, skip link, tables", async () => {
    for (const name of ["check", "predict"]) {
      const { page, done } = await open(browser(), folder, name);
      const order = await page.evaluate(() => [...document.querySelectorAll("h2")].map((h) => h.id));
      assert.deepEqual(order, ["checked", "verdict", "next", "sure", "seats", "pictures", "numbers", "method", "caution", "glossary"]);
      for (const landmark of ["header", "nav", "main", "footer"]) assert.equal(await page.locator(landmark).count(), 1, landmark);
      const bare = await page.evaluate(() => [...document.querySelectorAll(".picture")].filter((p) => p.querySelector("svg") && !p.querySelector("table")).map((p) => p.textContent.slice(0, 60)));
      assert.deepEqual(bare, [], "pictures without a table");
      const unnamed = await page.evaluate(() => [...document.querySelectorAll("svg")].filter((s) => !s.querySelector("title")?.textContent || !s.querySelector("desc")?.textContent).length);
      assert.equal(unnamed, 0);
      await page.keyboard.press("Tab");
      assert.equal(await page.evaluate(() => document.activeElement.className), "skip");
      assert.ok((await page.locator(".skip").boundingBox()).x >= 0, "the skip link can't be seen");
      await page.keyboard.press("Enter");
      assert.ok((await page.evaluate(() => document.getElementById("verdict").getBoundingClientRect().top)) < 60);
      await done();
    }
  });

  test("no motion where none is wanted", async () => {
    const { page, done } = await open(browser(), folder, "check", { motion: "reduce" });
    const moving = await page.evaluate(() => [...document.querySelectorAll("*")].filter((e) => {
      const s = getComputedStyle(e);
      return s.animationName !== "none" || s.transitionDuration.split(",").some((d) => parseFloat(d) > 0.001) || s.scrollBehavior === "smooth";
    }).length);
    await done();
    assert.equal(moving, 0);
  });

  test("every page is smaller than 1.5 MB", async () => {
    for (const name of pages) {
      const { size } = statSync(join(folder, name + ".html"));
      assert.ok(size < 1_500_000, `${name}: ${size} bytes`);
      if (name === "check" || name === "takes") console.log(`     ${name}: ${Math.round(size / 1000)} kB`);
    }
  });
}
