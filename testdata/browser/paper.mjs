// Print to PDF on A4 and Letter: every picture whole on one page and not empty, no text beyond the paper, no blank page, everything there.
import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { open } from "./browser.mjs";

// Bounds on the number of pages: the page's own length, with a tenth to either side for fonts that differ.
const expected = { check: [14, 34], predict: [6, 22], plan: [3, 9], compare: [1, 20], "invented-full": [20, 48] };

export function paper({ folder, pages, test, browser }) {
  for (const name of pages.filter((n) => n in expected)) {
    for (const format of ["A4", "Letter"]) {
      test(`${name}: print on ${format}`, async () => {
        const { page, done } = await open(browser(), folder, name);
        const headings = await page.evaluate(() => [...document.querySelectorAll("h2")].map((h) => h.textContent));
        // A word of its own in each corner of each drawing shows in the PDF where the drawing went.
        const drawings = await page.evaluate(() => { const charts = JSON.parse(document.getElementById("data")?.textContent || "{}").charts || []; return [...document.querySelectorAll("svg.drawing")].filter((s) => !s.closest(".try, .screen")).map((svg, i) => {
          const v = svg.viewBox.baseVal;
          [[0.5, 4], [v.width - 14, 4], [0.5, v.height - 1], [v.width - 14, v.height - 1]].forEach(([x, y], k) => {
            const t = document.createElementNS("http://www.w3.org/2000/svg", "text");
            t.setAttribute("x", x);
            t.setAttribute("y", y);
            t.setAttribute("font-size", 4);
            t.setAttribute("fill", "#fe0101");
            t.textContent = "qz" + i + "abcd"[k];
            svg.append(t);
          });
          // Inside the axes where there are any, as shares of the drawing.
          const area = charts.find((c) => c.id + "-t" === svg.querySelector("title").id)?.area || [0, 0, v.width, v.height];
          return { title: svg.querySelector("title").textContent, aspect: v.width / v.height, inside: area.map((x, k) => x / (k % 2 ? v.height : v.width)) };
        }); });
        const file = join(folder, `${name}-${format}.pdf`);
        writeFileSync(file, await page.pdf({ format, printBackground: true, preferCSSPageSize: false }));
        await done();

        const words = [], sheets = [];
        for (const line of execFileSync("pdftotext", ["-bbox", file, "-"], { encoding: "utf8", maxBuffer: 1 << 28 }).split("\n")) {
          const sheet = /<page width="([\d.]+)" height="([\d.]+)"/.exec(line), word = /<word xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)">(.*)<\/word>/.exec(line);
          if (sheet) sheets.push({ w: +sheet[1], h: +sheet[2], words: 0 });
          if (word) {
            words.push({ page: sheets.length, l: +word[1], t: +word[2], r: +word[3], b: +word[4], s: word[5] });
            sheets.at(-1).words++;
          }
        }
        const [w, h] = format === "A4" ? [595, 842] : [612, 792]; // points: ISO 216 and ANSI
        assert.ok(sheets.length >= expected[name][0] && sheets.length <= expected[name][1], `${sheets.length} pages, expected ${expected[name].join(" to ")}`);
        sheets.forEach((s, i) => {
          assert.ok(Math.abs(s.w - w) < 2 && Math.abs(s.h - h) < 2, `page ${i + 1} is ${s.w} by ${s.h} points`);
          assert.ok(s.words > 3, `page ${i + 1} is blank`);
        });
        for (const x of words) assert.ok(x.l > 20 && x.r < w - 20 && x.t > 15 && x.b < h - 15, `“${x.s}” on page ${x.page} lies outside the margins: ${x.l} to ${x.r}, ${x.t} to ${x.b} points`);
        const text = execFileSync("pdftotext", ["-layout", file, "-"], { encoding: "utf8", maxBuffer: 1 << 28 });
        for (const t of headings) assert.ok(text.includes(t), `the heading “${t}” is missing`);
        assert.ok(!text.includes("Try it:"), "what works with scripts only is printed");
        assert.ok(!text.includes("Point at a picture"), "hints for the pointer are printed");

        const corners = new Map(words.filter((x) => /^qz\d+[abcd]$/.test(x.s)).map((x) => [x.s.slice(2), x]));
        const images = new Map();
        drawings.forEach(({ title, aspect, inside }, i) => {
          const c = [..."abcd"].map((k) => corners.get(i + k));
          assert.ok(c.every(Boolean), `${title}: ${c.filter(Boolean).length} of 4 corners are on paper`);
          assert.ok(c.every((x) => x.page === c[0].page), `${title}: cut between pages`);
          const [l, t, r, b] = [c[0].l, c[0].t, c[3].r, c[3].b];
          assert.ok(Math.abs((r - l) / (b - t) / aspect - 1) < 0.12, `${title}: ${r - l} by ${b - t} points don't fit its shape`);
          assert.ok(r - l > 110, `${title}: only ${Math.round(r - l)} points wide`);
          if (!images.has(c[0].page)) images.set(c[0].page, image(file, c[0].page));
          const ink = coloured(images.get(c[0].page), inside.map((x, k) => (k % 2 ? t + x * (b - t) : l + x * (r - l))));
          assert.ok(ink > 25, `${title}: empty on paper (${ink} dark pixels)`);
        });
        console.log(`     ${sheets.length} pages, ${drawings.length} drawings`);
      });
    }
  }
}

const dpi = 72;

// image is a page as pixels: PPM, binary.
function image(file, page) {
  const out = file.replace(/\.pdf$/, "");
  execFileSync("pdftoppm", ["-r", String(dpi), "-f", String(page), "-l", String(page), "-singlefile", file, out]);
  const b = readFileSync(out + ".ppm"), head = /^P6\s+(\d+)\s+(\d+)\s+255\s/.exec(b.subarray(0, 40).toString("latin1"));
  return { w: +head[1], h: +head[2], at: (x, y) => b.subarray(head[0].length + 3 * (y * head[1] + x)) };
}

// coloured counts the pixels between the axes that are clearly darker than paper, grid and shading.
function coloured(im, [l, t, r, b]) {
  let n = 0;
  for (let y = Math.round(t) + 1; y < b - 1.5 && y < im.h; y++) {
    for (let x = Math.round(l) + 2; x < r - 1 && x < im.w; x++) {
      const p = im.at(x, y);
      if (Math.min(p[0], p[1], p[2]) < 150) n++;
    }
  }
  return n;
}
