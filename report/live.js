"use strict";
// Reads values off the charts, and gates the kept responses anew. It asks nobody for anything; texts go in as text, never as markup.
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const byId = (id) => document.getElementById(id);
  const minus = (s) => s.replace("-", "−");
  const fixed = (v, digits) => (Number.isFinite(v) ? minus((Math.abs(v) < 0.5 * 10 ** -digits ? 0 : v).toFixed(digits)) : "–");
  const short = (v, digits) => minus(String(Number(v.toFixed(digits))));
  const signed = (v, digits) => (v > 0.5 * 10 ** -digits ? "+" : "") + fixed(v, digits);
  const add = (parent, name, attributes = {}, text = "") => {
    const svg = parent instanceof SVGElement;
    const e = svg ? document.createElementNS("http://www.w3.org/2000/svg", name) : document.createElement(name);
    for (const [k, v] of Object.entries(attributes)) e.setAttribute(k, v);
    if (text) e.textContent = text;
    parent.append(e);
    return e;
  };

  // --- values under the pointer

  const nominal = [1, 1.25, 1.6, 2, 2.5, 3.15, 4, 5, 6.3, 8];
  const hertz = (hz) => {
    const k = Math.round(10 * Math.log10(hz)), decade = Math.floor(k / 10);
    let v = Number(hz.toPrecision(3));
    if (Math.abs(hz / 10 ** (k / 10) - 1) < 0.015) v = Number((nominal[k - 10 * decade] * 10 ** decade).toPrecision(3));
    return v >= 1000 ? Number((v / 1000).toPrecision(3)) + " kHz" : v + " Hz";
  };

  // reader lets pointer and keys read off one drawing; chart gives its description anew each time, since a drawing may change.
  const reader = (svg, chart) => {
    const figure = svg.parentNode, name = figure.querySelector("figcaption").firstChild.textContent;
    const box = add(figure, "div", { class: "read" });
    const slide = add(box, "input", { type: "range", min: 0, step: 1, value: 0, "aria-label": "Values of the picture: " + name });
    const says = add(box, "span", { "aria-hidden": "true" });
    let line = null;
    const stops = (c) => [...new Set((c.s.length > 0 ? (c.s[0].x.length > 200 ? [c.s[0]] : c.s) : []).flatMap((s) => s.x))].filter((x) => x !== null).sort((a, b) => a - b);
    const hide = () => {
      if (line) line.remove();
      line = null;
      box.classList.remove("on");
    };
    const show = (i) => {
      const c = chart(), all = stops(c);
      if (!all.length) return;
      const x = all[Math.max(0, Math.min(all.length - 1, i))];
      slide.max = all.length - 1;
      slide.value = i;
      const at = c.area[0] + ((x - c.x[0]) / (c.x[1] - c.x[0])) * (c.area[2] - c.area[0]);
      if (line) line.remove();
      line = add(svg, "path", { class: "cursor", d: `M${at.toFixed(1)} ${c.area[1]}V${c.area[3]}` });
      const where = c.log ? hertz(10 ** x) : c.xu ? (c.xu === "°" ? short(x, 1) + "°" : short(x, 2) + " " + c.xu) : c.xn + " " + x;
      const values = [];
      for (const s of [...c.s].reverse()) { // the one drawn on top first
        let best = -1;
        s.x.forEach((v, k) => {
          if (v !== null && s.y[k] !== null && (best < 0 || Math.abs(v - x) < Math.abs(s.x[best] - x))) best = k;
        });
        const apart = s.x.length > 200 ? (c.x[1] - c.x[0]) / 100 : 1e-6;
        if (best >= 0 && Math.abs(s.x[best] - x) <= apart) values.push(s.n + " " + fixed(s.y[best], c.d));
      }
      const unit = c.yu.startsWith("dB") ? " dB" : c.yu === "mm" ? " mm" : "";
      box.classList.add("on");
      says.textContent = where + ": " + (values.length ? values.join(" · ") + unit : "nothing known");
      slide.setAttribute("aria-valuetext", says.textContent);
    };
    const point = (event) => {
      const c = chart(), r = svg.getBoundingClientRect(), all = stops(c);
      const at = ((event.clientX - r.left) / r.width) * svg.viewBox.baseVal.width;
      const x = c.x[0] + ((at - c.area[0]) / (c.area[2] - c.area[0])) * (c.x[1] - c.x[0]);
      let best = 0;
      all.forEach((v, k) => { if (Math.abs(v - x) < Math.abs(all[best] - x)) best = k; });
      show(best);
    };
    svg.addEventListener("pointermove", point);
    svg.addEventListener("pointerdown", point);
    svg.addEventListener("pointerleave", () => { if (document.activeElement !== slide) hide(); });
    slide.addEventListener("focus", () => {
      const all = stops(chart());
      slide.max = Math.max(0, all.length - 1);
      show(Number(slide.value) || Math.floor(all.length / 2));
    });
    slide.addEventListener("input", () => show(Number(slide.value)));
    slide.addEventListener("blur", hide);
    slide.setAttribute("aria-valuetext", "not read yet");
    return () => { if (line) show(Number(slide.value)); };
  };

  for (const c of data.charts || []) {
    let before = [];
    for (const s of c.s) before = s.x = s.x || before;
    reader(byId(c.id + "-t").parentNode, () => c);
  }

  document.documentElement.classList.add("live");
  for (const hint of document.querySelectorAll(".live-hint")) hint.hidden = false;

  // --- on paper everything is open

  let opened = [];
  addEventListener("beforeprint", () => {
    opened = [...document.querySelectorAll("details:not([open])")];
    for (const d of opened) d.open = true;
  });
  addEventListener("afterprint", () => { for (const d of opened) d.open = false; });

  // --- the gate, anew

  const g = data.gate;
  if (!g) return;

  const decoded = ({ k, d }) => {
    const raw = atob(d), out = new Float64Array(raw.length / 2);
    for (let n = 0; n < out.length; n++) out[n] = (((raw.charCodeAt(2 * n) | (raw.charCodeAt(2 * n + 1) << 8)) << 16) >> 16) * k;
    return out;
  };
  const mean = (takes) => {
    if (!takes.length) return null;
    const out = new Float64Array(takes[0].length);
    for (const t of takes) for (let n = 0; n < out.length; n++) out[n] += (t[n] || 0) / takes.length;
    return out;
  };
  for (const p of g.pos) {
    p.panel = (p.p || []).map(decoded);
    p.flat = (p.f || []).map(decoded);
    p.panelMean = mean(p.panel);
    p.flatMean = mean(p.flat);
    p.label = p.n + (p.a === null ? "" : " (" + (p.a > 0 ? "+" : "") + short(p.a, 1) + "°)");
  }

  // The gate with its end moved; the fall keeps its share of the gate.
  const moved = ([open, full, fall, closed], shift) => {
    const share = (closed - fall) / (closed - full), end = Math.max(closed + shift, full + 1e-4);
    return [open, full, end - share * (end - full), end];
  };
  // Half a Blackman–Harris window, 0 at u = 0 and 1 at u = 1.
  const half = (u) => 0.35875 - 0.48829 * Math.cos(Math.PI * u) + 0.14128 * Math.cos(2 * Math.PI * u) - 0.01168 * Math.cos(3 * Math.PI * u);
  const weight = (t, [open, full, fall, closed]) => (t <= open || t >= closed ? 0 : t < full ? half((t - open) / (full - open)) : t > fall ? half((closed - t) / (closed - fall)) : 1);

  // Mean over the band's hertz of |X(f)|² over the source's power, re the direct sound at 1 m: |1/4π|² there.
  const energy = (p, x, w, band) => {
    if (!x) return NaN;
    let sum = 0;
    const first = Math.max(0, Math.ceil((w[0] - p.s) * p.r)), last = Math.min(x.length - 1, Math.floor((w[3] - p.s) * p.r));
    const y = new Float64Array(Math.max(0, last - first + 1));
    for (let n = 0; n < y.length; n++) y[n] = x[first + n] * weight(p.s + (first + n) / p.r, w);
    for (let k = Math.max(0, Math.floor(band.l / g.step)); k < g.power.length && (k - 0.5) * g.step < band.h; k++) {
      const hz = Math.min(band.h, (k + 0.5) * g.step) - Math.max(band.l, (k - 0.5) * g.step);
      if (hz <= 0 || g.power[k] === null) continue;
      const a = 2 * Math.PI * k * g.step, turnC = Math.cos(a / p.r), turnS = Math.sin(a / p.r);
      let c = Math.cos(a * (p.s + first / p.r)), s = Math.sin(a * (p.s + first / p.r)), re = 0, im = 0;
      for (let n = 0; n < y.length; n++) {
        re += y[n] * c;
        im += y[n] * s;
        [c, s] = [c * turnC - s * turnS, c * turnS + s * turnC];
      }
      sum += (hz * (re * re + im * im)) / g.power[k];
    }
    return (sum / (band.h - band.l)) * 16 * Math.PI * Math.PI;
  };
  const decibels = (e) => (e > 0 ? 10 * Math.log10(e) : NaN);
  // Directional diffusion coefficient (ISO 17497-2).
  const diffusion = (energies) => {
    let sum = 0, squares = 0;
    for (const e of energies) { sum += e; squares += e * e; }
    return energies.length < 2 || !(squares > 0) ? NaN : (sum * sum - squares) / ((energies.length - 1) * squares);
  };
  // What the shortest gate leaves, in seconds. A response that has died out before its gate's limit loses nothing.
  const shortest = (shift) => Math.min(...g.pos.map((p) => {
    const end = moved(p.w, shift)[3];
    return (shift >= 0 && p.m !== null ? Math.max(p.m, end) : end) - p.w[1];
  }));
  const inGate = (shift) => g.bands.findIndex((b) => b.c >= 2 / shortest(shift)); // two periods must fit in
  const stated = g.bands.findIndex((b) => b.u), highest = g.bands.length - 1 - [...g.bands].reverse().findIndex((b) => b.u);
  const lowestBand = (shift) => {
    if (stated < 0) return null;
    let k = inGate(shift);
    if (k < 0 || k > highest) return null;
    if (inGate(0) !== stated) k = Math.max(k, stated); // something else than the gate is the limit
    return g.bands[k];
  };

  const byAngle = [...g.pos.keys()].sort((a, b) => g.pos[a].a - g.pos[b].a);
  const base = new Map(); // per band: energies at the check's gate and what levels refer to
  const atCheck = (b) => {
    if (!base.has(b)) {
      const band = g.bands[b], panel = g.pos.map((p) => energy(p, p.panelMean, p.w, band));
      const flat = g.flat ? g.pos.map((p) => energy(p, p.flatMean, p.w, band)) : [];
      const re = g.flat ? Math.max(...flat.filter((e, i) => g.pos[i].u && Number.isFinite(e))) : 1;
      base.set(b, { panel, re });
    }
    return base.get(b);
  };

  const end = byId("try-end");
  {
    const room = Math.min(...g.pos.map((p) => p.s + p.panelMean.length / p.r - p.w[3]));
    const least = Math.min(...g.pos.map((p) => p.w[3] - p.w[1]));
    end.min = -(Math.floor(Math.max(0, least - 0.0004) * 20000) / 20).toFixed(2);
    end.max = (Math.floor(Math.max(0, Math.min(room, 0.02)) * 20000) / 20).toFixed(2);
    end.value = 0;
  }

  const ticks = (low, high, count, set) => {
    const raw = (high - low) / count, p = 10 ** Math.floor(Math.log10(raw)), step = set || p * [1, 2, 5, 10].find((m) => m * p >= raw * 0.999999);
    const out = [];
    for (let k = Math.ceil(low / step - 1e-9); k * step <= high + step * 1e-9; k++) out.push(Number((k * step).toPrecision(6)));
    return out;
  };
  const charts = {};
  // draw puts axes and curves into a drawing; curves: {n, x, y, look, marker, tag}.
  const draw = (svg, { x, y, xn, xu, yn, yu, d, curves, back }) => {
    const area = [44, 12, 370, 220], group = svg.querySelector("g");
    group.replaceChildren();
    const px = (v) => area[0] + ((v - x[0]) / (x[1] - x[0])) * (area[2] - area[0]);
    const py = (v) => area[3] - ((Math.max(y[0], Math.min(y[1], v)) - y[0]) / (y[1] - y[0])) * (area[3] - area[1]);
    back(group, px, area);
    for (const v of xu === "°" && x[1] - x[0] > 90 ? ticks(x[0], x[1], 7, 30) : ticks(x[0], x[1], 7)) {
      add(group, "path", { class: "axisgrid", d: `M${px(v).toFixed(1)} ${area[1]}V${area[3]}` });
      add(group, "text", { class: "t-quiet", "text-anchor": "middle", x: px(v).toFixed(1), y: area[3] + 14 }, minus(String(v)));
    }
    for (const v of ticks(y[0], y[1], 6)) {
      add(group, "path", { class: "axisgrid", d: `M${area[0]} ${py(v).toFixed(1)}H${area[2]}` });
      add(group, "text", { class: "t-quiet", "text-anchor": "end", x: area[0] - 5, y: (py(v) + 3.5).toFixed(1) }, minus(String(v)));
    }
    add(group, "path", { class: "axis", d: `M${area[0]} ${area[1]}V${area[3]}H${area[2]}` });
    add(group, "text", { class: "t-axis", "text-anchor": "middle", x: (area[0] + area[2]) / 2, y: area[3] + 32 }, `${xn} (${xu})`);
    add(group, "text", { class: "t-axis", "text-anchor": "middle", transform: `translate(11 ${(area[1] + area[3]) / 2}) rotate(-90)` }, `${yn} (${yu})`);
    for (const c of curves) {
      let path = "", up = true, lastX, lastY;
      const tagAt = c.tag ? Math.max(0, c.x.length - 2 * Number(c.tag)) : -1; // one beside the other
      let tag = null;
      c.x.forEach((v, i) => {
        if (!Number.isFinite(c.y[i]) || v < x[0] || v > x[1]) { up = true; return; }
        [lastX, lastY] = [px(v), py(c.y[i])];
        path += (up ? "M" : "L") + lastX.toFixed(1) + " " + lastY.toFixed(1);
        up = false;
        if (i === tagAt) tag = [lastX, lastY];
        if (c.marker === "disc") add(group, "circle", { class: "mic", cx: lastX.toFixed(1), cy: lastY.toFixed(1), r: 2 });
        if (c.marker === "square") add(group, "rect", { class: "hollow", x: (lastX - 1.8).toFixed(1), y: (lastY - 1.8).toFixed(1), width: 3.6, height: 3.6 });
      });
      if (path) add(group, "path", { class: c.look, d: path });
      if (tag) add(group, "text", { class: "t-strong", x: tag[0].toFixed(1), y: (tag[1] - 5).toFixed(1), "text-anchor": "middle" }, c.tag);
    }
    charts[svg.id] = { area, x, xn, xu, yu, d, s: curves.filter((c) => c.n) };
  };

  const section = byId("try-part");
  const chosen = () => ({ b: Number(byId("try-band").value), i: Number(byId("try-place").value), shift: Number(end.value) / 1000 });
  const wants = (id) => { const e = byId(id); return e !== null && e.checked; };
  let again = [];

  const render = () => {
    const { b, i, shift } = chosen(), band = g.bands[b], check = atCheck(b), place = g.pos[i];
    const level = (e) => decibels(e / check.re);
    const windows = g.pos.map((p) => moved(p.w, shift));
    const gated = (pick) => g.pos.map((p, k) => energy(p, pick(p), windows[k], band));
    const now = gated((p) => p.panelMean);
    const takes = [...document.querySelectorAll(".try-take")].filter((e) => e.checked).map((e) => Number(e.value));
    const keys = [], curves = [];
    const angle = byAngle.map((k) => g.pos[k].a);
    const curve = (n, key, look, values, more = {}) => {
      curves.push({ n, x: angle, y: byAngle.map((k) => values[k]), look, ...more });
      keys.push([key, n]);
    };
    if (wants("try-flat")) curve("flat board", "k-flat", "c-flatline", gated((p) => p.flatMean).map(level), { marker: "square" });
    if (wants("try-predicted")) curve("predicted", "k-predicted", "c-predline", g.pos.map((p) => (p.q[b] === null ? NaN : p.q[b])));
    if (shift !== 0) curve("panel, check's gate", "k-ghost", "c-ghost", check.panel.map(level));
    takes.forEach((t) => curve("take " + t, "k-take k-take" + ((t - 1) % 4), "c-take c-take" + ((t - 1) % 4), gated((p) => p.panel[t - 1]).map(level), { tag: String(t) }));
    if (wants("try-mean")) curve(shift === 0 ? "panel" : "panel, this gate", "k-measured", "c-measured", now.map(level), { marker: "disc" });
    const seen = curves.flatMap((c) => c.y).filter(Number.isFinite).concat(now.map(level).filter(Number.isFinite));
    const top = 5 * Math.ceil(Math.max(...seen, -20) / 5 + 1e-9), bottom = Math.max(5 * Math.floor(Math.min(...seen, top - 5) / 5), top - 45);
    const marked = (group, px, area) => {
      if (place.a !== null) add(group, "path", { class: "chosen", d: `M${px(place.a).toFixed(1)} ${area[1]}V${area[3]}` });
    };
    draw(byId("try-level"), { x: [Math.min(...angle) - 4, Math.max(...angle) + 4], y: [bottom, top], xn: "Angle", xu: "°", yn: "Level", yu: "dB", d: 2, curves, back: marked });
    byId("try-level-name").textContent = "Reflected level against angle at " + band.n;

    const w = windows[i], ms = (n) => 1000 * (place.s + n / place.r), from = 1000 * (w[0] - 0.0006);
    const trace = (x) => ({ x: [...x.keys()].map(ms), y: [...x] });
    const lines = [];
    if (wants("try-flat") && place.flatMean) lines.push({ n: "flat board", look: "c-flatline", ...trace(place.flatMean) });
    takes.forEach((t) => { if (place.panel[t - 1]) lines.push({ n: "take " + t, look: "c-take c-take" + ((t - 1) % 4), ...trace(place.panel[t - 1]) }); });
    lines.push({ n: "panel", look: "c-measuredthin", ...trace(place.panelMean) });
    const to = ms(place.panelMean.length - 1);
    let peak = 0;
    for (const l of lines) l.y.forEach((v, n) => { if (l.x[n] >= from) peak = Math.max(peak, Math.abs(v)); });
    for (const l of lines) l.y = l.y.map((v) => (peak ? v / peak : 0));
    draw(byId("try-time"), { x: [from, to], y: [-1.1, 1.3], xn: "Time since emission", xu: "ms", yn: "Pressure", yu: "re peak", d: 2, curves: lines, back: (group, px, area) => {
      const at = (s) => Math.max(area[0], Math.min(area[2], px(1000 * s)));
      add(group, "rect", { class: "gatearea", x: at(w[0]).toFixed(1), y: area[1], width: Math.max(0, at(w[3]) - at(w[0])).toFixed(1), height: area[3] - area[1] });
      if (shift !== 0) add(group, "path", { class: "oldend", d: `M${at(place.w[3]).toFixed(1)} ${area[1]}V${area[3]}` });
      if (place.m !== null && 1000 * place.m < to) add(group, "path", { class: "echo", d: `M${at(place.m).toFixed(1)} ${area[1]}V${area[3]}` });
    } });
    byId("try-time-name").textContent = "The reflection in time at " + place.n;
    keys.push(["k-gate", "gate"]);
    if (shift !== 0 && !(place.m !== null && Math.abs(place.m - place.w[3]) < 1e-5)) keys.push(["k-ghost", "second picture: the check's end"]);
    if (place.m !== null && 1000 * place.m < to) keys.push(["k-echo", "from here on not the panel alone"]);
    const list = byId("try-keys");
    list.replaceChildren();
    for (const [mark, text] of keys) {
      const li = add(list, "li");
      add(li, "span", { class: "key " + mark, "aria-hidden": "true" });
      li.append(text);
    }

    const used = (energies) => energies.filter((e, k) => g.pos[k].u);
    const sum = (v) => v.reduce((s, e) => s + e, 0);
    const all = decibels(sum(used(now)) / sum(used(check.panel))), here = decibels(now[i] / check.panel[i]);
    const was = lowestBand(0), is = lowestBand(shift), name = (x) => (x ? x.n : "none");
    const how = shift === 0 ? "" : `${fixed(Math.abs(1000 * shift), 2)} ms ${shift < 0 ? "earlier" : "later"}`;
    byId("try-end-says").textContent = shift === 0 ? "as in the check" : how;
    end.setAttribute("aria-valuetext", shift === 0 ? "as in the check" : how);
    byId("try-says").textContent = shift === 0
      ? `At the check's gate the lowest usable band is ${name(was)}. At ${band.n} the panel's level at ${place.label} is ${fixed(level(now[i]), 1)} dB and the diffusion coefficient ${fixed(diffusion(used(now)), 2)}.`
      : `With the gate's end ${how} the lowest usable band is ${name(is)} (check: ${name(was)}). At ${band.n} the panel's energy changes by ${signed(all, 1)} dB over all microphones, by ${signed(here, 1)} dB at ${place.label}; ` +
        `the diffusion coefficient goes from ${fixed(diffusion(used(check.panel)), 2)} to ${fixed(diffusion(used(now)), 2)}.`;
    const echoes = g.pos.filter((p, k) => p.m !== null && windows[k][3] > p.m + 1e-6).length;
    byId("try-sure").textContent = "Computed in this page from the responses around the gate. Levels are in dB re the " + g.re + (g.flat ? ", at the check's gate" : "") + ". " +
      (echoes ? `At ${echoes} of ${g.pos.length} microphones the gate now lets in sound that isn't the panel's alone, so these figures aren't the panel's. ` : "") +
      (!is || band.c < is.c || b > highest || stated < 0 ? "This band is not usable with this gate: don't trust its figures." : "");

    const body = byId("try-table").tBodies[0];
    body.replaceChildren();
    for (const k of byAngle) {
      const p = g.pos[k], tr = add(body, "tr");
      add(tr, "th", { scope: "row" }, p.n);
      add(tr, "td", {}, p.a === null ? "–" : short(p.a, 1));
      add(tr, "td", {}, fixed(level(check.panel[k]), 2));
      add(tr, "td", {}, fixed(level(now[k]), 2));
      add(tr, "td", {}, signed(decibels(now[k] / check.panel[k]), 2));
    }
    for (const f of again) f();
  };

  let waiting = false;
  const later = () => {
    if (waiting) return;
    waiting = true;
    requestAnimationFrame(() => { waiting = false; render(); });
  };
  section.hidden = false;
  for (const link of document.querySelectorAll(".try-link")) link.hidden = false;
  section.addEventListener("input", (event) => { if (!event.target.closest(".read")) later(); });
  byId("try-back").addEventListener("click", () => { end.value = 0; later(); });
  render();
  again = ["try-level", "try-time"].map((id) => reader(byId(id), () => charts[id]));
})();
