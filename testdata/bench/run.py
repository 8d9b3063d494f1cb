"""The benchmark that .ci/bench starts: run.py WORK [ROW]. WORK holds the programs it has built. Both sides of a row do the same work in turn, round after round; a ratio is taken in
each round, and the table gives the median of the rounds and their spread (least to greatest). Processor time counts where the machine has other work to do as well.
"""
import datetime
import json
import math
import os
import pathlib
import platform
import re
import shutil
import statistics
import struct
import subprocess
import sys
import tempfile
import time

HERE = pathlib.Path(__file__).parent
ROOT = HERE.parent.parent
ROUNDS = int(os.environ.get("ROUNDS", "3"))
REPEATS = 5  # in a process, of which the best counts


def run(*command, folder=None, cwd=None):
    env = dict(os.environ, LEADLINE_BENCH=str(folder)) if folder else None
    return subprocess.run([str(c) for c in command], check=True, capture_output=True, text=True, env=env, cwd=cwd).stdout


def usage(*command, folder=None):
    """Wall seconds, processor seconds and peak memory in MB of one process."""
    env = dict(os.environ, LEADLINE_BENCH=str(folder)) if folder else None
    start = time.perf_counter()
    p = subprocess.Popen([str(c) for c in command], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=env)
    _, _, r = os.wait4(p.pid, 0)
    return time.perf_counter() - start, r.ru_utime + r.ru_stime, r.ru_maxrss / 1024


def bench(program, name, times, folder=None):
    """A Go benchmark: seconds per operation, and its metrics by unit."""
    out = run(program, "-test.run", "^$", "-test.bench", f"^{name}$", "-test.benchtime", times, folder=folder)
    found = {}
    for line in out.splitlines():
        if line.startswith("Benchmark"):
            parts = line.split()
            found[parts[0]] = {unit: float(value) for value, unit in zip(parts[2::2], parts[3::2])}
    return found


def one(program, name, times, folder=None):
    (values,) = bench(program, name, times, folder).values()
    return values["ns/op"] / 1e9, values.get("cpu-s/op", math.nan)


def files(program, times, folder):
    (values,) = bench(program, "BenchmarkFiles", f"{times}x", folder).values()
    return values["best-s"], values["best-cpu-s"]


def repeats(*command):
    """The best of a program's repeats, each line wall and processor seconds."""
    lines = [tuple(map(float, line.split())) for line in run(*command).splitlines() if re.fullmatch(r"[\d.]+ [\d.]+", line)]
    return min(w for w, _ in lines), min(c for _, c in lines)


def spread(values, digits=2):
    values = sorted(values)
    show = lambda v: f"{v:.{digits}f}" if v < 100 else f"{v:.0f}"
    return f"{show(statistics.median(values))} ({show(values[0])} to {show(values[-1])})"


COLUMNS = ["work", "reference", "goal", "ratio: median (least to greatest)", "leadline", "reference", "note", "measured"]
TABLE = HERE / "results.md"


def row(*cells):
    """Writes a row into the table, in the place of the one with the same work and reference."""
    model = re.search(r"model name\s*: (.*)", pathlib.Path("/proc/cpuinfo").read_text())
    commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, cwd=ROOT).stdout.strip()
    machine = f"{model.group(1) if model else platform.machine()}, {os.cpu_count()} processors, load {os.getloadavg()[0]:.0f}"
    new = "| " + " | ".join([*cells, f"{datetime.date.today()}, {commit}, {machine}"]) + " |"
    print(new, flush=True)
    lines = TABLE.read_text().splitlines() if TABLE.exists() else []
    lines = [line for line in lines if line.startswith("| ") and not line.startswith(("| work |", "| --- |"))]
    same = [i for i, line in enumerate(lines) if line.split(" | ")[:2] == new.split(" | ")[:2]]
    if same:
        lines[same[0]] = new
    else:
        lines.append(new)
    head = ["# Measured by `bash .ci/bench`", "", "One run's processes take turns; with other work on the machine, processor time tells more than wall time.", ""]
    TABLE.write_text("\n".join(head + ["| " + " | ".join(c) + " |" for c in (COLUMNS, ["---"] * len(COLUMNS))] + lines) + "\n")


def write_wav(path, rate, samples):
    data = samples.astype("<f4").tobytes()
    with open(path, "wb") as f:
        f.write(b"RIFF" + struct.pack("<I", 36 + len(data)) + b"WAVEfmt " + struct.pack("<IHHIIHH", 16, 3, 1, rate, 4 * rate, 4, 32) + b"data" + struct.pack("<I", len(data)) + data)


def deconvolution(work):
    memory = "/dev/shm" if os.path.isdir("/dev/shm") else None  # where files are made and removed at no disk's pace
    for rate, seconds in ((48000, 5), (96000, 10)):
        with tempfile.TemporaryDirectory(dir=memory) as folder:
            deconvolution_at(rate, seconds, work, pathlib.Path(folder))


def deconvolution_at(rate, seconds, work, folder):
    import numpy as np

    rng = np.random.default_rng(1)
    t = np.arange(int((seconds - 1) * rate)) / rate
    length = (seconds - 1) / np.log(20000 / 50)
    sweep = 0.5 * np.sin(2 * np.pi * 50 * length * np.expm1(t / length))
    sweep *= np.minimum(1, np.minimum(t, t[::-1]) / 0.01)
    write_wav(folder / "sweep.wav", rate, sweep)
    for i in range(33):
        x = 1e-3 * rng.standard_normal(seconds * rate)
        for _ in range(6):
            at = rng.integers(100, rate // 4)
            x[at : at + len(sweep)] += rng.normal() * 0.2 * sweep
        write_wav(folder / f"rec{i:02d}.wav", rate, x)
    planning = usage(work / "deconvolve", folder, rate, 1)[0]  # measures its plans and keeps them
    wall, cpu, whole = {}, {}, {}
    for _ in range(ROUNDS):
        for name, measure, process in (
            ("go", lambda: files(work / "dsp.test", REPEATS, folder), (work / "dsp.test", "-test.run", "^$", "-test.bench", "^BenchmarkFiles$", "-test.benchtime", "1x")),
            ("scipy", lambda: repeats(sys.executable, HERE / "deconvolve.py", folder, rate, REPEATS), (sys.executable, HERE / "deconvolve.py", folder, rate, 1)),
            ("fftw", lambda: repeats(work / "deconvolve", folder, rate, REPEATS), (work / "deconvolve", folder, rate, 1)),
        ):
            w, c = measure()
            wall.setdefault(name, []).append(w)
            cpu.setdefault(name, []).append(c)
            whole.setdefault(name, []).append(usage(*process, folder=folder)[0])
    worst = 0
    for i in range(33):
        responses = [np.frombuffer((folder / side / f"{i:02d}.wav").read_bytes()[-4 * rate :], "<f4") for side in ("go", "py", "c")]
        worst = max(worst, *(np.abs(r - responses[1]).max() / np.abs(responses[1]).max() for r in responses))
    what = f"deconvolve 33 recordings of {seconds} s at {rate // 1000} kHz, files to files"
    for name, goal, ratio in (("scipy", "SciPy at least 3 × as long", lambda a, b: b / a), ("fftw", "at most 1.3 × FFTW's time", lambda a, b: a / b)):
        label = {"scipy": "SciPy, real FFT, two workers", "fftw": "C, FFTW, measured plans, two threads"}[name]
        r = [ratio(a, b) for a, b in zip(cpu["go"], cpu[name])]
        rw = [ratio(a, b) for a, b in zip(wall["go"], wall[name])]
        row(what, label, goal, f"{spread(r)} processor, {spread(rw)} wall", f"{statistics.median(cpu['go']):.2f} s processor", f"{statistics.median(cpu[name]):.2f} s",
            f"files in memory; wall {statistics.median(wall['go']):.3f} and {statistics.median(wall[name]):.3f} s; all three agree to {worst:.0e} of the peak; processes as a whole, their start and preparation included, "
            f"but not the measuring of plans ({planning:.0f} s): {statistics.median(whole['go']):.2f} and {statistics.median(whole[name]):.2f} s wall")


def exterior(work):
    import numpy as np

    kernel, ours = "", {}
    for _ in range(ROUNDS):
        found = bench(work / "scatter.test", "BenchmarkExteriors", "10x", work)
        out = run(sys.executable, HERE / "exterior.py", work / "meshes.json", 1).splitlines()
        pw, pc = map(float, out[0].split())
        kernel = out[1].split()[1]
        for name, v in found.items():
            c = v["cpu-s/op"]
            ours.setdefault("finite" in name, []).append((c, pc / c, pw / (v["ns/op"] / 1e9)))
    theirs = np.array(json.loads(out[2]))
    flat = np.array(json.load(open(work / "flat.json")))
    worst = np.abs((theirs - flat) @ [1, 1j]).max(1) / np.abs(flat @ [1, 1j]).max(1)
    elements = [len(m["a"]) for m in json.load(open(work / "meshes.json"))]
    what = f"exterior of the virtual bench's panel, 117 frequencies, {min(elements)} to {max(elements)} elements, 33 microphones"
    for finite, note in ((False, f"closed box agrees to {worst.max():.0e} of the largest"), (True, "ours with what finite height asks for besides, the reference without")):
        c, cpu, wall = zip(*ours[finite])
        row(what + (", and the finite height" if finite else ""), f"NumPy and SciPy, OpenBLAS ({kernel} kernel), two threads", "" if finite else "at least 20 × as fast",
            f"{spread(cpu, 1)} processor, {spread(wall, 1)} wall", f"{statistics.median(c):.2f} s processor", f"{pc:.2f} s", note)


def growth(work):
    times = {}
    for _ in range(ROUNDS):
        for name, v in bench(work / "scatter.test", "BenchmarkExteriorGrowth", "1x").items():
            frequency, wells = re.search(r"/(\d+)Hz/(\d+)wells", name).groups()
            times.setdefault((int(frequency), int(wells)), []).append(v["cpu-s/op"])
    sizes = (10, 20, 40, 86)
    for frequency in (1000, 2000, 4000, 8000):
        t = [min(times[frequency, n]) for n in sizes]
        slopes = [math.log(b / a) / math.log(n / m) for a, b, m, n in zip(t, t[1:], sizes, sizes[1:])]
        row(f"exterior at {frequency // 1000} kHz, 10, 20, 40, 86 wells", "itself", "below the cube", "exponents " + ", ".join(f"{s:.1f}" for s in slopes), ", ".join(f"{1000 * s:.1f}" for s in t) + " ms processor", "", "")


def hankel(work):
    ratios = {"the standard library": [], "SciPy": []}
    ns = []
    for _ in range(ROUNDS):
        (a,) = bench(work / "scatter.test", "BenchmarkHankels", "2000x").values()
        (b,) = bench(work / "scatter.test", "BenchmarkHankelStandardLibrary", "500000x").values()
        python = min(map(float, run(sys.executable, HERE / "hankel.py", 3).split()))
        ns.append(a["cpu-ns/argument"])
        ratios["the standard library"].append(b["cpu-ns/argument"] / a["cpu-ns/argument"])
        ratios["SciPy"].append(python / a["cpu-ns/argument"])
    for name, r in ratios.items():
        row("Hankel functions H0 and H1", name, "at least 5 × as fast", spread(r, 1), f"{statistics.median(ns):.1f} ns per argument", "", "error below 5e-14 of the modulus, TestHankelTable")


def check(work):
    for case in ("room-b-panel-built-1", "room-b-panel-as-designed", "room-a-panel-built-2"):
        got = [usage(work / "leadline", "check", ROOT / "fixtures/virtual-bench" / f"{case}.toml", "--report", work / "r.html", "--data", work / "r.json") for _ in range(ROUNDS)]
        goal = "1.5 s, 150 MB" if case.startswith("room-b") else ""
        row(f"leadline check {case}, report and data", "itself", goal, "", f"{spread([c for _, c, _ in got])} s processor, {spread([w for w, _, _ in got])} s wall, {max(m for _, _, m in got):.0f} MB peak", "")


def scan(work):
    """2000 places on an arc, each with the nearest of the virtual bench's responses, brought to 96 kHz and 1 s by noise; equal files are links."""
    import numpy as np
    import scipy.io.wavfile
    import scipy.signal

    rng = np.random.default_rng(2)
    for count in (500, 2000):
        folder = work / f"scan{count}"
        lines = ["[air]", "speed_of_sound_m_s = 343.2", (ROOT / "fixtures/virtual-bench/room-b-panel-as-designed.toml").read_text()]
        text = lines[2]
        panel = re.search(r"\[panel\].*?(?=\n\[)", text, re.S).group(0)
        source = re.search(r"\[source\].*?(?=\n\[)", text, re.S).group(0)
        room = re.search(r"\[room\].*?(?=\n\[)", text, re.S)
        lines = ['title = "Scan"', lines[0], lines[1], panel, source, room.group(0) if room else ""]
        for state, name in (("empty", "empty"), ("flat", "flat"), ("panel-as-designed", "panel")):
            (folder / name).mkdir(parents=True)
        arcs = sorted((ROOT / "fixtures/virtual-bench/room-b/empty").glob("arc*.wav"), key=lambda f: int(f.stem[3:]))
        angles = np.array([int(f.stem[3:]) for f in arcs])
        made = {}
        for i, angle in enumerate(np.linspace(-80, 80, count)):
            stem = arcs[np.abs(angles - angle).argmin()].stem
            lines += ["[[position]]", f'name = "p{i}"', f"angle_deg = {angle:.4f}", "distance_m = 1.0"]
            for state, name in (("empty", "empty"), ("flat", "flat"), ("panel-as-designed", "panel")):
                path = folder / name / f"{i}.wav"
                if (stem, name) in made:
                    os.link(made[stem, name], path)
                else:
                    _, x = scipy.io.wavfile.read(ROOT / "fixtures/virtual-bench/room-b" / state / f"{stem}.wav")
                    y = 1e-5 * np.abs(x).max() * rng.standard_normal(96000)
                    up = scipy.signal.resample_poly(x.astype(float), 2, 1)
                    y[: len(up)] += up
                    write_wav(path, 96000, y)
                    made[stem, name] = path
                lines.append(f'{name} = "{name}/{i}.wav"')
        (folder / "scan.toml").write_text("\n".join(lines))
        ratios, kept = [], 0
        for _ in range(ROUNDS if count == 2000 else 1):
            v = bench(work / "analysis.test", "BenchmarkScan", "1x", folder)
            files, gates = (next(x for n, x in v.items() if part in n) for part in ("files", "gates"))
            ratios.append(gates["cpu-s/op"] / files["cpu-s/op"])
            kept = gates["MB-kept"]
        wall, cpu, peak = usage(work / "leadline", "check", folder / "scan.toml", "--report", work / "r.html", "--data", work / "r.json")
        row(f"{count} positions × 3 states of 1 s at 96 kHz: read, aligned, subtracted, gated", "reading and decoding the files alone", "at most 2 ×" if count == 2000 else "", spread(ratios), f"{gates['cpu-s/op']:.1f} s processor, {kept:.0f} MB kept", f"{files['cpu-s/op']:.1f} s",
            f"whole check with prediction, depths, report: {cpu:.1f} s processor, {wall:.1f} s wall, {peak:.0f} MB peak")
        shutil.rmtree(folder)


def start_up(work):
    run("hyperfine", "-N", "--warmup", "5", "--runs", "100", "--export-json", work / "help.json", f"{work}/leadline --help")
    (r,) = json.load(open(work / "help.json"))["results"]
    row("leadline --help", "", "20 ms", "", f"{1000 * r['median']:.1f} ms wall ({1000 * r['min']:.1f} to {1000 * r['max']:.1f}), {1000 * (r['user'] + r['system']):.1f} ms processor", "", "hyperfine, 100 runs")


def main(work, wanted):
    for name, measure in (("hankel", hankel), ("start-up", start_up), ("check", check), ("exterior", exterior), ("deconvolution", deconvolution), ("growth", growth), ("scan", scan)):
        if wanted in name:
            measure(work)


if __name__ == "__main__":
    main(pathlib.Path(sys.argv[1]), "".join(sys.argv[2:3]))
