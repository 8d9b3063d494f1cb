// What the script does: values under pointer and keys, choices, takes, and the gate's end, against the figures that the command found.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { join } from "node:path";
import { open } from "./browser.mjs";

const number = (s) => (s === "–" ? NaN : Number(s.replace("−", "-").replace("+", "")));
// The page shows hundredths, so half of one is rounding; keeping the responses in 16 bits, 98 dB below their peak, adds at most two thousandths of a decibel.
const levelTolerance = 0.007;

export function live({ folder, test, browser }) {
  const result = (name) => JSON.parse(readFileSync(join(folder, name + ".json"), "utf8"));
  const chooseEnd = async (page, ms) => {
    await page.evaluate((v) => { const e = document.getElementById("try-end"); e.value = v; e.dispatchEvent(new Event("input", { bubbles: true })); }, ms);
    await page.evaluate(() => new Promise((f) => requestAnimationFrame(() => requestAnimationFrame(f))));
  };
  const chooseBand = async (page, b) => {
    await page.selectOption("#try-band", String(b));
    await page.evaluate(() => new Promise((f) => requestAnimationFrame(() => requestAnimationFrame(f))));
  };
  const levels = (page) => page.evaluate(() => Object.fromEntries([...document.querySelectorAll("#try-table tbody tr")].map((tr) => [tr.cells[0].textContent, [tr.cells[2].textContent, tr.cells[3].textContent]])));
  const says = (page) => page.locator("#try-says").textContent();

  test("the page's levels at the check's gate are the command's", async () => {
    for (const name of ["check", "takes"]) {
      const r = result(name), { page, done } = await open(browser(), folder, name);
      let compared = 0, worst = 0;
      for (const [b, band] of r.bands.entries()) {
        if (!band.usable) continue;
        await chooseBand(page, b);
        const shown = await levels(page);
        for (const p of r.positions) {
          const d = number(shown[p.name][1]) - p.panel_db[b];
          assert.ok(Math.abs(d) <= levelTolerance, `${name}, ${p.name}, ${band.centre_hz} Hz: the page shows ${shown[p.name][1]} dB, the command found ${p.panel_db[b]}`);
          assert.equal(shown[p.name][0], shown[p.name][1]);
          worst = Math.max(worst, Math.abs(d));
          compared++;
        }
        const d = number(/coefficient (\S+)\.$/.exec(await says(page))[1]);
        assert.ok(Math.abs(d - band.diffusion.panel) <= 0.0051, `${band.centre_hz} Hz: diffusion coefficient ${d}, the command found ${band.diffusion.panel}`);
      }
      assert.ok(compared > 200);
      console.log(`     ${name}: ${compared} levels, worst ${worst.toFixed(4)} dB apart`);
      await done();
    }
  });

  test("the gate's end moved in the page gives what the command finds with that gate", async () => {
    const late = result("gate-late"), early = result("gate-early"), { page, done } = await open(browser(), folder, "gate-late");
    await chooseEnd(page, -0.4);
    let compared = 0, worst = 0;
    for (const [b, band] of early.bands.entries()) {
      if (!band.usable || !late.bands[b].usable) continue;
      await chooseBand(page, b);
      const shown = await levels(page);
      // Levels of the page refer to the flat board at the first gate, the command's to that at the second: one number in each band.
      const offset = number(shown[early.positions[16].name][1]) - early.positions[16].panel_db[b];
      for (const p of early.positions) {
        const d = number(shown[p.name][1]) - p.panel_db[b] - offset;
        assert.ok(Math.abs(d) <= 2 * levelTolerance, `${p.name}, ${band.centre_hz} Hz: ${d} dB apart`); // two rounded figures in it
        worst = Math.max(worst, Math.abs(d));
        compared++;
      }
      const d = number(/ to (\S+)\.$/.exec(await says(page))[1]);
      assert.ok(Math.abs(d - band.diffusion.panel) <= 0.0051, `${band.centre_hz} Hz: diffusion coefficient ${d}, the command found ${band.diffusion.panel}`);
    }
    assert.ok(compared > 100);
    console.log(`     ${compared} levels, worst ${worst.toFixed(4)} dB apart`);
    const name = (r) => r.bands.find((b) => b.usable).centre_hz, kHz = (hz) => `${[1, 1.25, 1.6, 2, 2.5, 3.15][Math.round(10 * Math.log10(hz / 1000))]}`;
    const text = (await says(page)).replace(/\u00a0/g, " ");
    assert.match(text, /0\.40 ms earlier/);
    assert.ok(text.includes(`lowest usable band is ${kHz(name(early))} kHz (check: ${kHz(name(late))} kHz)`), text);
    assert.notEqual(name(early), name(late), "the two gates must differ in the lowest usable band for this test to say anything");
    await page.click("#try-back");
    await page.waitForFunction(() => document.getElementById("try-says").textContent.startsWith("At the check's gate"));
    await done();
  });

  test("an echo let in is said", async () => {
    const { page, done } = await open(browser(), folder, "check");
    assert.doesNotMatch(await page.locator("#try-sure").textContent(), /isn't the panel's alone/);
    await chooseEnd(page, 1);
    assert.match(await page.locator("#try-sure").textContent(), /At 33 of 33 microphones the gate now lets in sound that isn't the panel's alone/);
    assert.match(await says(page), /1\.00 ms later/);
    await chooseEnd(page, 0);
    await chooseBand(page, 0);
    assert.match(await page.locator("#try-sure").textContent(), /not usable/);
    await done();
  });

  test("band, microphone and takes are shown as chosen", async () => {
    const { page, done } = await open(browser(), folder, "takes");
    await page.selectOption("#try-place", "3");
    await chooseBand(page, 13);
    const r = result("takes");
    assert.match(await page.locator("#try-time-name").textContent(), new RegExp(r.positions[3].name.replace("+", "\\+")));
    assert.match(await page.locator("#try-level-name").textContent(), /2.kHz/);
    const curves = () => page.locator("#try-level path[class*=c-]").count();
    const before = await curves();
    const takes = await page.locator(".try-take").all();
    assert.equal(takes.length, 2);
    for (const t of takes) await t.check();
    await page.waitForFunction((n) => document.querySelectorAll("#try-level path[class*=c-]").length === n, before + 2);
    assert.match(await page.locator("#try-keys").textContent(), /take 1.*take 2/);
    const dashes = await page.evaluate(() => [...document.querySelectorAll("#try-level .c-take")].map((e) => getComputedStyle(e).strokeDasharray));
    assert.equal(new Set(dashes).size, 2, "takes are told apart without colour");
    await page.uncheck("#try-mean");
    await page.waitForFunction((n) => document.querySelectorAll("#try-level path[class*=c-]").length === n, before + 1);
    await done();
  });

  test("pointer and keys read values", async () => {
    const r = result("check"), { page, done } = await open(browser(), folder, "check");
    const b = r.bands.findIndex((x) => x.usable), p = [...r.positions].sort((x, y) => x.angle_deg - y.angle_deg);
    const figure = page.locator("#levels-1-t").locator("xpath=ancestor::figure"), read = figure.locator(".read");
    await read.locator("input").focus();
    await page.keyboard.press("Home");
    const said = async () => (await read.locator("span").textContent()).replace(/−/g, "-");
    assert.ok((await said()).startsWith(`${Math.round(p[0].angle_deg)}°`), await said());
    assert.ok((await said()).includes(`panel, measured ${p[0].panel_db[b].toFixed(1)}`), await said());
    assert.equal((await read.locator("input").getAttribute("aria-valuetext")).replace(/−/g, "-"), await said());
    await page.keyboard.press("ArrowRight");
    assert.ok((await said()).startsWith(`${Math.round(p[1].angle_deg)}°`), await said());
    assert.equal(await figure.locator(".cursor").count(), 1);
    await page.keyboard.press("Tab");
    assert.equal(await figure.locator(".cursor").count(), 0);
    const svg = figure.locator("svg"), area = await page.evaluate(() => JSON.parse(document.getElementById("data").textContent).charts.find((c) => c.id === "levels-1").area);
    await svg.scrollIntoViewIfNeeded();
    const box = await svg.boundingBox(), k = box.width / 300;
    await page.mouse.move(box.x + k * (area[0] + area[2]) / 2, box.y + k * 60);
    assert.ok((await said()).startsWith("0°"), await said());
    assert.ok((await said()).includes(`panel, measured ${p[16].panel_db[b].toFixed(1)}`), await said());
    await page.mouse.move(box.x + box.width / 2, box.y - 60);
    assert.equal(await figure.locator(".cursor").count(), 0);
    await done();
  });

  test("a prediction can be read off too", async () => {
    const { page, done } = await open(browser(), folder, "predict");
    assert.equal(await page.locator("#try-part").count(), 0);
    await page.locator(".read input").first().focus();
    assert.match(await page.locator(".read span").first().textContent(), /predicted/);
    await done();
  });
}
