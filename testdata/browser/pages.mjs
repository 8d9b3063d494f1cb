// The pages that the browser tests look at: made by the command itself from the built-in example and from surveys derived from it, and by the Go test that renders invented results.
import { execFileSync, spawnSync } from "node:child_process";
import { mkdirSync, readFileSync, writeFileSync, copyFileSync, existsSync } from "node:fs";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";

const root = join(dirname(fileURLToPath(import.meta.url)), "..", "..");

// Markup and quotes. A survey can't hold NULs, marks that turn the reading direction, or more than 1000 characters: the invented results do.
export const evil = `"'></title></style></script></svg><script>alert(1)</script><img src=x onerror="alert(2)"><svg onload=alert(3)>&amp;{{.}}`;
export const evilFile = `<img src=x onerror=alert(4)>'"&#x3c;.wav`;

// makePages writes all pages into a folder and lists their names. A folder that holds them already is left as it is.
export function makePages(folder) {
  const list = join(folder, "pages.json");
  if (existsSync(list)) return JSON.parse(readFileSync(list, "utf8"));
  const leadline = join(folder, "leadline");
  execFileSync("go", ["build", "-o", leadline, "./cmd/leadline"], { cwd: root });
  const run = (expected, ...args) => {
    const r = spawnSync(leadline, args, { cwd: folder, encoding: "utf8" });
    if (r.status !== expected) throw new Error(`leadline ${args.join(" ")}: exit ${r.status}, expected ${expected}: ${r.stderr}`);
  };
  mkdirSync(join(folder, "example"));
  run(0, "example", "example");
  const name = "survey.toml";
  const survey = readFileSync(join(folder, "example", name), "utf8");
  const write = (file, text) => writeFileSync(join(folder, "example", file), text);
  const check = (expected, survey, page) => run(expected, "check", join("example", survey), "--report", page + ".html", "--data", page + ".json");

  check(1, name, "check");
  run(0, "predict", join("example", name), "--report", "predict.html");
  run(0, "plan", "--example", "--sheet", "plan.html");

  // The same survey with the gate's end set by hand, at two times: what the page computes from the first must be what the command finds with the second.
  const gated = (seconds) => survey.replace("[[position]]", `[gate]\nend_s = ${seconds}\n\n[[position]]`);
  write("gate-late.toml", gated(0.0102));
  write("gate-early.toml", gated(0.0098));
  check(1, "gate-late.toml", "gate-late");
  check(1, "gate-early.toml", "gate-early");

  // A second take of every panel record, with noise of its own.
  let seed = 1;
  const noise = () => {
    let sum = 0;
    for (let i = 0; i < 4; i++) {
      seed = (seed * 1103515245 + 12345) % 2147483648;
      sum += seed / 2147483648 - 0.5;
    }
    return sum;
  };
  const takes = survey.replace(/^panel = "(.*)"$/gm, (line, file) => {
    const second = file.replace(/\.wav$/, ".second.wav");
    writeFileSync(join(folder, "example", second), noisy(readFileSync(join(folder, "example", file)), noise));
    return `panel = ["${file}", "${second}"]`;
  });
  write("takes.toml", takes);
  check(1, "takes.toml", "takes");

  // Every text that a user can give, hostile.
  const toml = (s) => JSON.stringify(s);
  let first = true;
  const hostile = survey.replace(/^title = .*$/m, "title = " + toml(evil + " " + "long".repeat(180))).replace(/^name = "(.*)"$/gm, (line, n) => "name = " + toml(n + evil))
    .replace(/^panel = "(.*)"$/gm, (line, file) => {
      if (!first) return line;
      first = false;
      const other = join(dirname(file), evilFile);
      copyFileSync(join(folder, "example", file), join(folder, "example", other));
      return "panel = " + toml(other);
    });
  const hostileName = `x<img src=x onerror=alert(5)>&'".toml`;
  write(hostileName, hostile);
  check(1, hostileName, "hostile");

  execFileSync("go", ["test", "./report", "-count=1", "-run", "^TestPages$"], { cwd: root, env: { ...process.env, LEADLINE_PAGES: folder } });

  run(0, "compare", "check.json", "takes.json", "gate-early.json", "--report", "compare.html"); // a gate moved changes no well
  run(0, "compare", "hostile.json", "takes.json", "--report", "compare-hostile.html");

  const names = ["check", "predict", "plan", "compare", "takes", "gate-late", "hostile", "compare-hostile"];
  for (const n of ["full", "predicted", "hostile", "empty", "unknown", "bare"]) names.push("invented-" + n);
  writeFileSync(list, JSON.stringify(names));
  return names;
}

// noisy adds noise at 0.1 % of the peak to a WAV file of 32-bit floats.
function noisy(wav, noise) {
  const out = Buffer.from(wav), at = out.indexOf("data") + 8, end = Math.min(out.length, at + out.readUInt32LE(at - 4));
  let peak = 0;
  for (let n = at; n + 4 <= end; n += 4) peak = Math.max(peak, Math.abs(out.readFloatLE(n)));
  if (!(peak > 0 && peak < 1e6)) throw new Error("the example's records are not 32-bit floats: mend pages.mjs");
  for (let n = at; n + 4 <= end; n += 4) out.writeFloatLE(out.readFloatLE(n) + 0.001 * peak * noise(), n);
  return out;
}
