#!/usr/bin/env python3
"""Reference values for the scattering of rigid panels in two dimensions, by finite elements.

  python3 make.py            every case, about a quarter of an hour; writes fem.json beside this file
  python3 make.py NAME ...   only the cases whose names begin so; prints their errors and writes nothing
  python3 make.py spot       further checks of the stored values at two cases; prints them

Needs FreeFEM and SciPy (Debian: freefem++ python3-scipy). See README.md for the problem and the format.
"""
import itertools
import json
import math
import os
import pathlib
import subprocess
import sys
import tempfile
import time
import types

import numpy as np
import scipy
from scipy.special import h1vp, hankel1, jvp

HERE = pathlib.Path(__file__).resolve().parent

# Three runs per value. 'fine' is the result; 'coarse' has elements twice as large everywhere and four
# times at the corners; 'moved' is 'coarse' with half as much fluid again before the layer, and a layer
# half as thick again, so that coarse - moved shows what the truncation of the domain does.
FINE = dict(per_wave=28, largest=0.008, corner=2e-5, grade=0.12, wall=7e-4, margin=0.12, pml=1.0)
COARSE = dict(FINE, per_wave=14, largest=0.016, corner=8e-5, grade=0.24, wall=1.4e-3)
MOVED = dict(COARSE, margin=0.18, pml=1.5)
RUNS = {"fine": FINE, "coarse": COARSE, "moved": MOVED}


def outline(panel):
    """The rigid contour, clockwise from the lower left corner, so that the fluid is on its left."""
    w, fin, depths = panel["well_width_m"], panel["fin_thickness_m"], panel["depths_m"]
    half, depth = panel["outer_width_m"] / 2, panel["outer_depth_m"]
    points = [(-half, -depth), (-half, 0.0)]
    for i, d in enumerate(depths):
        left = -half + fin + i * (w + fin)
        if d > 0:
            points += [(left, 0.0), (left, -d), (left + w, -d), (left + w, 0.0)]
    return points + [(half, 0.0), (half, -depth)]


def sharp(points):
    """Corners with 270 degrees of fluid, where the pressure's singular part goes as r^(2/3): all but the well bottoms."""
    return [p for p in points if p[1] == 0.0 or p in (points[0], points[-1])]


def make_panel(depths, w, fin, back):
    n = len(depths)
    return dict(depths_m=depths, well_width_m=w, fin_thickness_m=fin, back_m=back,
                outer_width_m=n * w + (n + 1) * fin, outer_depth_m=max(depths) + back)


def freefem(points, corners, k, source, mesh, plane=False, radius=0.0):
    """One run of scatter.edp: the field of the nodal values, to be taken to receivers by surface() and volume()."""
    wave = 2 * math.pi / k
    box = [min(p[0] for p in points), max(p[0] for p in points), min(p[1] for p in points), max(p[1] for p in points)]
    margin, layer = mesh["margin"], mesh["pml"] * min(0.25, max(0.06, wave / 2))
    rim = [box[0] - margin, box[1] + margin, box[2] - margin, box[3] + margin]
    largest = min(mesh["largest"], wave / mesh["per_wave"])
    segments = []  # ax, ay, bx, by, label, pieces

    def line(a, b, label, size):
        segments.append((*a, *b, label, max(1, math.ceil(math.dist(a, b) / size))))

    for a, b in zip(points, points[1:] + points[:1]):
        line(a, b, 1, mesh["wall"] if radius else min(0.01, largest))
    xs = [rim[0] - layer, rim[0], rim[1], rim[1] + layer]
    ys = [rim[2] - layer, rim[2], rim[3], rim[3] + layer]
    for i in range(3):  # outer edge counter-clockwise, then the inner lines
        line((xs[i], ys[0]), (xs[i + 1], ys[0]), 2, largest)
        line((xs[3], ys[i]), (xs[3], ys[i + 1]), 2, largest)
        line((xs[i + 1], ys[3]), (xs[i], ys[3]), 2, largest)
        line((xs[0], ys[i + 1]), (xs[0], ys[i]), 2, largest)
        for j in (1, 2):
            line((xs[i], ys[j]), (xs[i + 1], ys[j]), 3, largest)
            line((xs[j], ys[i]), (xs[j], ys[i + 1]), 3, largest)

    def rows(items):
        return "%d\n" % len(items) + "".join(" ".join(repr(v) for v in item) + "\n" for item in items)

    text = "%d %r %r %r\n" % (plane, k, *source)
    text += "%r %r %r %r %r\n" % (*rim, layer)
    text += "%r %r %r\n%r %r\n" % (largest, mesh["corner"], mesh["grade"], mesh["wall"] if radius else 0.0, radius)
    text += rows(segments) + rows(corners)
    with tempfile.TemporaryDirectory() as tmp:
        given, got = pathlib.Path(tmp) / "in.txt", pathlib.Path(tmp) / "out.txt"
        given.write_text(text)
        began = time.time()
        run = subprocess.run(["FreeFem++-nw", "-ne", "-v", "0", str(HERE / "scatter.edp"), "-in", str(given), "-out", str(got)],
                             capture_output=True, text=True, env=dict(os.environ, OPENBLAS_NUM_THREADS="1", OMP_NUM_THREADS="1"))
        if run.returncode != 0 or not got.exists():
            sys.exit("FreeFEM failed:\n" + run.stdout[-3000:] + run.stderr[-3000:])
        numbers = np.array(got.read_text().split(), dtype=float)
    elements, nodes = (int(v) for v in numbers[:2])
    at = 2

    def table(count, width):
        nonlocal at
        at += count * width
        return numbers[at - count * width:at].reshape(count, width)

    values = table(nodes, 4)
    edges = table(int(table(1, 1)[0, 0]), 3).astype(int)
    inner = table(int(table(1, 1)[0, 0]), 6).astype(int)
    return types.SimpleNamespace(elements=elements, unknowns=nodes, seconds=time.time() - began, k=k, source=source, plane=plane,
                                 box=box, margin=margin, points=values[:, :2], u=values[:, 2] + 1j * values[:, 3], edges=edges, inner=inner)


def incident(field, at):
    if field.plane:
        return np.exp(1j * field.k * at[:, 0])
    return 0.25j * hankel1(0, field.k * np.hypot(at[:, 0] - field.source[0], at[:, 1] - field.source[1]))


def kernel(field, receiver, at):
    """Green's function (i/4) H0(1)(k|receiver - at|) and its gradient with respect to 'at'. For a plane wave 'receiver' is
    a direction, and the kernel that of the far field f in p ~ sqrt(2/(pi k r)) e^{i(kr - pi/4)} f."""
    k = field.k
    if field.plane:
        g = 0.25j * np.exp(-1j * k * (at @ np.array(receiver)))
        return g, -1j * k * g[:, None] * np.array(receiver)
    away = at - np.array(receiver)
    r = np.hypot(away[:, 0], away[:, 1])
    return 0.25j * hankel1(0, k * r), (-0.25j * k * hankel1(1, k * r) / r)[:, None] * away


def surface(field, receivers):
    """Route S: u(x) = - int (u + pinc) dG/dN over the body, N out of the fluid; exact for a rigid body."""
    s, weight = np.polynomial.legendre.leggauss(5)
    s, weight = (s + 1) / 2, weight / 2
    shape = np.array([(1 - s) * (1 - 2 * s), s * (2 * s - 1), 4 * s * (1 - s)])
    a, b = field.points[field.edges[:, 0]], field.points[field.edges[:, 1]]
    at = (a[:, None] * (1 - s)[:, None] + b[:, None] * s[:, None]).reshape(-1, 2)
    p = (field.u[field.edges] @ shape).ravel() + incident(field, at)
    # The element's vertices run counter-clockwise, so its fluid is on the left of a -> b and N dl on the right.
    normal = np.repeat(np.stack([(b - a)[:, 1], -(b - a)[:, 0]], axis=1), len(s), axis=0) * np.tile(weight, len(a))[:, None]
    return np.array([-np.sum(p * np.sum(kernel(field, x, at)[1] * normal, axis=1)) for x in receivers])


def volume(field, receivers):
    """Route V: u(x) = - int u (2 grad G . grad chi + G lap chi) over the frame of fluid round the bounding box, where the
    smooth chi falls from 1 at the box to 0 at the frame's outer edge. It is Green's formula for (1 - chi) u, and sees neither
    the body nor pinc nor a derivative of u, so S - V shows an error of formula, sign or quadrature."""
    x0, x1, y0, y1 = field.box
    out = (field.points < [x0, y0]).any(axis=1) | (field.points > [x1, y1]).any(axis=1)
    frame = field.inner[out[field.inner].any(axis=1)]  # the integrand is 0 within the box
    corner = field.points[frame[:, :3]]
    # Twelve points, degree 6: Dunavant, Int. J. Numer. Meth. Eng. 21 (1985) 1129.
    bary = []
    for w, a, b in ((0.116786275726379, 0.249286745170910, None), (0.050844906370207, 0.063089014491502, None),
                    (0.082851075618374, 0.310352451033784, 0.053145049844817)):
        b = a if b is None else b
        bary += [(w, *q) for q in set(itertools.permutations((a, b, 1 - a - b)))]
    weight = np.array([q[0] for q in bary])
    l = np.array([q[1:] for q in bary]).T
    # The middle node 3 + i lies opposite to vertex i.
    shape = np.concatenate([l * (2 * l - 1), 4 * np.array([l[1] * l[2], l[2] * l[0], l[0] * l[1]])])
    at = np.einsum("tvd,vq->tqd", corner, l).reshape(-1, 2)
    u = (field.u[frame] @ shape).ravel()
    sides = corner[:, 1:] - corner[:, :1]
    area = np.abs(np.linalg.det(sides)) / 2
    u *= (area[:, None] * weight).ravel()

    def fall(c, lo, hi):  # quintic smooth step of the distance past [lo, hi], with two derivatives
        s = np.clip(np.maximum(c - hi, lo - c) / field.margin, 0, 1)
        return (1 - s ** 3 * (10 - 15 * s + 6 * s ** 2), -30 * s ** 2 * (1 - s) ** 2 / field.margin * np.where(c > hi, 1, -1),
                -60 * s * (1 - s) * (1 - 2 * s) / field.margin ** 2)

    fx, fy = fall(at[:, 0], x0, x1), fall(at[:, 1], y0, y1)
    slope, laplacian = np.stack([fx[1] * fy[0], fx[0] * fy[1]], axis=1), fx[2] * fy[0] + fx[0] * fy[2]
    result = []
    for x in receivers:
        g, dg = kernel(field, x, at)
        result.append(-np.sum(u * (2 * np.sum(dg * slope, axis=1) + g * laplacian)))
    return np.array(result)


def green(k, a, b):
    return 0.25j * hankel1(0, k * math.dist(a, b))


def relative(a, b):
    return float(np.max(np.abs(a - b)) / np.max(np.abs(b)))


def pair(z):
    return [float(z.real), float(z.imag)]


def meshes(runs):
    return {name: dict(elements=r.elements, unknowns=r.unknowns) for name, r in runs.items()}


def panel_case(name, panel, c, source, receivers, frequency):
    k = 2 * math.pi * frequency / c
    points = outline(panel)
    corners = sharp(points)
    at = [tuple(r["position_m"]) for r in receivers]
    runs = {m: freefem(points, corners, k, source, RUNS[m]) for m in RUNS}
    fine, coarse, moved = (surface(runs[m], at) for m in ("fine", "coarse", "moved"))
    other = volume(runs["fine"], at)
    convergence = dict(coarse_re_fine=relative(coarse, fine), moved_re_coarse=relative(moved, coarse), volume_re_surface=relative(other, fine))
    result = dict(case=name, frequency_hz=frequency, k_per_m=k, speed_of_sound_m_s=c,
                  scattered=[dict(name=r["name"], p_s=pair(s), p_inc=pair(green(k, source, p)),
                                  coarse=pair(b), volume=pair(v))
                             for r, p, s, b, v in zip(receivers, at, fine, coarse, other)],
                  max_abs_p_s=float(np.max(np.abs(fine))), meshes=meshes(runs), convergence=convergence,
                  estimated_error_re_max=max(convergence.values()))
    print("%-16s %6g Hz  %7d unknowns %5.1f s  coarse-fine %.1e  moved-coarse %.1e  V-S %.1e"
          % (name, frequency, runs["fine"].unknowns, runs["fine"].seconds, *convergence.values()), flush=True)
    return result


def cylinder_case(ka, receivers):
    """The pipeline on a rigid cylinder of radius 0.1 m: line source against the series, plane wave far field too."""
    a, k = 0.1, ka / 0.1
    source = (0.0, 2.0)
    sides = 720
    points = [(a * math.cos(-2 * math.pi * i / sides), a * math.sin(-2 * math.pi * i / sides)) for i in range(sides)]
    at = [tuple(r["position_m"]) for r in receivers]
    orders = np.arange(0, int(ka) + 30)
    eps = np.where(orders == 0, 1, 2)
    ratio = eps * jvp(orders, ka) / h1vp(orders, ka)

    def series(p):
        phi = math.atan2(p[1], p[0]) - math.pi / 2
        terms = ratio * hankel1(orders, k * 2.0) * hankel1(orders, k * math.hypot(*p)) * np.cos(orders * phi)
        return -0.25j * np.sum(terms)

    exact = np.array([series(p) for p in at])
    angles = [0.0, 90.0, 180.0]
    ways = [(math.cos(math.radians(t)), math.sin(math.radians(t))) for t in angles]
    exact_far = np.array([-np.sum(ratio * np.cos(orders * math.radians(t))) for t in angles])
    # Total pressure on the surface, front (facing the wave, x = -a) and back, by the Wronskian form.
    face = [2j / (math.pi * ka) * np.sum(eps * 1j ** orders / h1vp(orders, ka) * np.cos(orders * phi))
            for phi in (math.pi, 0.0)]
    runs, errors = {}, {}
    for name in ("fine", "coarse"):
        runs[name] = line = freefem(points, [], k, source, RUNS[name], radius=a)
        plane = freefem(points, [], k, (0.0, 0.0), RUNS[name], plane=True, radius=a)
        walls = [np.argmin(np.hypot(plane.points[:, 0] - x, plane.points[:, 1])) for x in (-a, a)]
        got = dict(line=surface(line, at), far=surface(plane, ways), wall=plane.u[walls] + incident(plane, plane.points[walls]))
        errors[name] = dict(line_source_surface=relative(got["line"], exact), line_source_volume=relative(volume(line, at), exact),
                            far_field_surface=relative(got["far"], exact_far), far_field_volume=relative(volume(plane, ways), exact_far),
                            wall_pressure=relative(got["wall"], np.array(face)))
        print("cylinder ka=%g %-6s %.1f s " % (ka, name, line.seconds), " ".join("%s %.1e" % e for e in errors[name].items()), flush=True)
        if name == "fine":
            fine = got
    return dict(ka=ka, radius_m=a, k_per_m=k, source_m=list(source),
                scattered=[dict(name=r["name"], p_s=pair(s), exact=pair(e))
                           for r, s, e in zip(receivers, fine["line"], exact)],
                far_field=[dict(angle_deg=t, abs_f=float(abs(s)), exact_abs_f=float(abs(e)))
                           for t, s, e in zip(angles, fine["far"], exact_far)],
                wall=dict(front_abs_p=float(abs(fine["wall"][0])), exact_front_abs_p=float(abs(face[0])),
                          back_abs_p=float(abs(fine["wall"][1])), exact_back_abs_p=float(abs(face[1]))),
                meshes=meshes(runs), errors_re_max=errors)


def spot_checks():
    """Stored values against a finer mesh, against a larger domain on the fine mesh, and source and receiver exchanged."""
    document = json.loads((HERE / "fem.json").read_text())
    larger = dict(FINE, margin=MOVED["margin"], pml=MOVED["pml"])
    finer = dict(FINE, per_wave=40, largest=0.006, corner=5e-6, grade=0.09)
    for name, frequency in (("prime13-box", 1250.0), ("prime13", 2500.0)):
        case = next(c for c in document["cases"] if c["name"] == name)
        result = next(r for r in document["results"] if r["case"] == name and r["frequency_hz"] == frequency)
        points = [tuple(p) for p in case["outline_m"]]
        source, at = tuple(case["source_m"]), [tuple(r["position_m"]) for r in case["receivers"]]
        stored = np.array([complex(*r["p_s"]) for r in result["scattered"]])

        def run(mesh, start, ends):
            return surface(freefem(points, sharp(points), result["k_per_m"], start, mesh), ends)

        print("%s %g Hz: larger domain %.1e, finer mesh %.1e, exchanged %.1e" % (
            name, frequency, relative(run(larger, source, at), stored), relative(run(finer, source, at), stored),
            abs(run(FINE, at[-1], [source])[0] - stored[-1]) / result["max_abs_p_s"]), flush=True)


def on_arc(radius, degrees):
    """Name and position; angles from the normal, positive towards +x."""
    return [dict(name="arc%+03d" % t, position_m=[round(radius * math.sin(math.radians(t)), 6),
                                                  round(radius * math.cos(math.radians(t)), 6)]) for t in degrees]


def near(*points):
    return [dict(name="near%d" % (i + 1), position_m=list(p)) for i, p in enumerate(points)]


def main():
    wanted = sys.argv[1:]
    if wanted == ["spot"]:
        return spot_checks()

    def asked(name):
        return not wanted or any(name.startswith(w) for w in wanted)

    arc = on_arc(1.0, range(-80, 81, 20))
    prime13 = make_panel([0.0, 0.0125, 0.0525, 0.12, 0.04, 0.1575, 0.1325, 0.1325, 0.1575, 0.04, 0.12, 0.0525, 0.0125],
                         0.040, 0.005, 0.005)
    box13 = dict(prime13, depths_m=[0.0] * 13)
    prime7 = make_panel([0.0, 0.049, 0.196, 0.098, 0.098, 0.196, 0.049], 0.050, 0.005, 0.005)
    slanted = [round(2 * math.sin(math.radians(40)), 6), round(2 * math.cos(math.radians(40)), 6)]
    cases = [
        ("prime13", prime13, 343.2, [0.0, 2.0], arc + near((-0.15, 0.3), (0.35, 0.2)), (500.0, 1250.0, 2500.0, 4000.0)),
        ("prime13-box", box13, 343.2, [0.0, 2.0], arc + near((-0.15, 0.3), (0.35, 0.2)), (500.0, 1250.0, 2500.0, 4000.0)),
        ("prime7-oblique", prime7, 343.0, slanted, arc + near((-0.1, 0.15), (0.2, 0.2)), (500.0, 1000.0, 2000.0)),
    ]
    document = {
        "about": "Scattered pressure of rigid panels in two dimensions from a unit line source, by finite elements; see README.md",
        "convention": "e^{-iwt}; p_inc = (i/4) H0(1)(k|x - s|); complex numbers are [real, imaginary]; metres; origin in the middle of the front face, "
                      "x along it, y out of it, the solid at y < 0; wells numbered from the lowest x",
        "versions": {"freefem++": "4.11+dfsg1-3 (Debian 12)", "scipy": scipy.__version__, "numpy": np.__version__},
        "settings": RUNS, "cylinder": [], "cases": [], "results": []}
    for ka in (1.0, 2.0, 5.0):
        if asked("cylinder"):
            document["cylinder"].append(cylinder_case(ka, arc + near((-0.15, 0.3), (0.35, 0.2))))
    for name, panel, c, source, receivers, frequencies in cases:
        if not asked(name):
            continue
        document["cases"].append(dict(name=name, panel=panel, outline_m=[list(p) for p in outline(panel)], speed_of_sound_m_s=c,
                                      source_m=source, receivers=receivers))
        for f in frequencies:
            document["results"].append(panel_case(name, panel, c, tuple(source), receivers, f))
    if not wanted:
        (HERE / "fem.json").write_text(json.dumps(document, indent=1) + "\n")


if __name__ == "__main__":
    main()
