"""Reference for the benchmark: the outside of a panel by boundary elements with NumPy and SciPy.

    exterior.py MESH.json REPEATS

The method of package scatter on the same elements (see its boundary.go and exterior.go): constant pressure on straight elements, collocated at their middles, Burton and
Miller's equation on the back, Maue's identity for the hypersingular part, two Gauss points for far and eight for near elements. Right-hand sides are the source, the
microphones, and the functions of every mouth's velocity, here by their mean on each element. What comes out is what the closed box scatters to the microphones, and the mouths'
pressures for the places and for each other. Finite height, which scatter does besides, is left out: that favours this side.

All pairs of elements are one array; two threads take the frequencies (ufuncs and LAPACK leave Python's lock), BLAS itself is held to one thread, which is
faster than two BLAS threads in one frequency after the other. Prints wall and processor seconds of each repeat, then what the box scatters.
"""
import json
import sys
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import scipy.linalg
from scipy.special import itj0y0, j0, j1, y0, y1
from threadpoolctl import threadpool_info, threadpool_limits

GAUSS2 = np.polynomial.legendre.leggauss(2)
GAUSS8 = np.polynomial.legendre.leggauss(8)


def rule(gauss):
    return (gauss[0] + 1) / 2, gauss[1] / 2


def h0(x):
    return j0(x) + 1j * y0(x)


def h1(x):
    return j1(x) + 1j * y1(x)


def layers(k, x, a, step, length, normal, gauss):
    """∫G and ∫∂G/∂n_y over elements from points x: arrays of points and elements side by side."""
    single = double = 0
    for u, w in zip(*rule(gauss)):
        d = x - (a + u * step)
        r = np.hypot(d[..., 0], d[..., 1])
        single = single + w * h0(k * r)
        double = double + w * h1(k * r) * (d * normal).sum(-1) / r
    return 0.25j * single * length, 0.25j * k * double * length


def solve(k, mesh):
    a, step = np.array(mesh["a"]), np.array(mesh["step"])
    coupled, functions = np.array(mesh["coupled"], bool), np.array(mesh["functions"])  # (mouths·functions, elements)
    places = np.array(mesh["places"])
    length = np.hypot(step[:, 0], step[:, 1])
    normal = np.stack([-step[:, 1], step[:, 0]], 1) / length[:, None]
    middle, n = a + step / 2, len(a)
    single, double = layers(k, middle[:, None], a[None], step[None], length[None], normal[None], GAUSS2)
    distance = np.hypot(*(middle[:, None] - middle[None]).transpose(2, 0, 1))
    i, j = np.nonzero(distance <= 3.5 * length[None])
    single[i, j], double[i, j] = layers(k, middle[i], a[j], step[j], length[j], normal[j], GAUSS8)
    own = np.arange(n)
    single[own, own] = 0.5j / k * np.array([p + 1j * q for p, q in zip(*itj0y0(k * length / 2))])
    double[own, own] = 0
    system = -double
    system[own, own] += 0.5
    # the coupled rows: −i/k times the normal derivative
    x, t, nx = middle[coupled], step[coupled] / length[coupled, None], normal[coupled]
    ends = []
    for at in (a, a + step):
        d = x[:, None] - at[None]
        r = np.hypot(d[..., 0], d[..., 1])
        ends.append(0.25 * h1(k * r) * np.einsum("ijk,ik->ij", d, t) / r)
    system[coupled] += ends[1] - ends[0] - 1j * k * single[coupled] * (nx @ normal.T)
    # right-hand sides
    d = middle[:, None] - places[None]
    r = np.hypot(d[..., 0], d[..., 1])
    incident = 0.25j * h0(k * r)
    incident += coupled[:, None] * 0.25 * h1(k * r) * np.einsum("ijk,ik->ij", d, normal) / r
    mouth = np.flatnonzero(functions.any(0))
    driven = single[:, mouth].copy()
    d = middle[coupled][:, None] - middle[mouth][None]
    r = np.hypot(d[..., 0], d[..., 1])
    driven[coupled] += 0.25 * h1(k * r) * np.einsum("ijk,ik->ij", d, nx) / r * length[mouth]
    right = np.hstack([incident, -driven @ functions[:, mouth].T])
    pressure = scipy.linalg.solve(system, right, overwrite_a=True, overwrite_b=True, check_finite=False)
    projected = (functions * length) @ pressure
    # what the closed box sends back, both ways
    there = layers(k, places[:, None], a[None], step[None], length[None], normal[None], GAUSS2)[1]
    count = len(places)
    flat = 0.5 * (there[1:] @ pressure[:, 0] + pressure[:, 1:count].T @ there[0])
    return flat, projected


def main(path, repeats):
    meshes = json.load(open(path))
    with threadpool_limits(1), ThreadPoolExecutor(2) as pool:
        for _ in range(repeats):
            wall, cpu = time.perf_counter(), time.process_time()
            results = list(pool.map(lambda m: solve(m["k"], m), meshes))
            print(f"{time.perf_counter() - wall:.6f} {time.process_time() - cpu:.6f}", flush=True)
    print("kernel", *[i["architecture"] for i in threadpool_info() if i["internal_api"] == "openblas"])
    json.dump([[[z.real, z.imag] for z in flat] for flat, _ in results], sys.stdout)


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
