// Titles, position and file names of the worst kind show as text and do nothing.
import assert from "node:assert/strict";
import { open, openAll } from "./browser.mjs";
import { evil } from "./pages.mjs";

export function hostile({ folder, pages, test, browser }) {
  for (const name of pages.filter((n) => n.includes("hostile"))) {
    test(`${name}: harmless`, async () => {
      const { page, done } = await open(browser(), folder, name, { width: 390 });
      await openAll(page);
      // Use whatever takes a text of the survey's into its hands.
      const live = await page.locator("#try-place").count();
      if (live) {
        await page.locator("#try-place").selectOption({ index: 1 });
        await page.locator("#try-end").focus();
        await page.keyboard.press("ArrowLeft");
        await page.locator("#try-level").hover();
      }
      await page.locator("svg.drawing").first().hover();
      await page.waitForTimeout(500);
      const found = await page.evaluate(() => ({
        scripts: document.scripts.length,
        own: [...document.scripts].filter((s) => s.id === "data" || s === document.body.lastElementChild).length,
        strange: document.querySelectorAll("img, iframe, object, embed, link, base, form, style ~ style, [onerror], [onload], [style]").length,
        titles: [document.body.textContent, ...(document.getElementById("try-says") ? [document.title] : []), ...["try-time-name", "try-says"].map((id) => document.getElementById(id)?.textContent).filter(Boolean)],
        turning: /[\u202a-\u202e\u2066-\u2069\u200e\u200f\u061c\u0000]/.test(document.documentElement.textContent),
      }));
      assert.ok(found.scripts === (live ? 2 : found.own), `${found.scripts} scripts: only the page's own may be there`);
      assert.equal(found.strange, 0);
      assert.equal(found.turning, false, "marks that turn the reading direction");
      for (const t of found.titles) assert.ok(t.includes("<script>alert(1)</script>"), "the text is not shown as text: " + t.slice(0, 100));
      if (name === "hostile") assert.equal((await page.locator("h1").textContent()).slice(0, evil.length), evil);
      await done();
    });
  }
}
