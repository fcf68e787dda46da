"""Times least heights side by side with general solvers on the same grids.

The others solve an easier problem: still air, one loss for every direction, no floor that blocks a glide, no
straight lines across cells, and no exact test against the ground. scikit-fmm solves |grad T| = 1/speed to second
order, scikit-image's MCP_Geometric and scipy's dijkstra find shortest ways over eight neighbours, which overstate a
straight glide by up to 8 %. Building scipy's graph is not counted. Each process is warm; medians of so many runs.

    python -m venv peers && peers/bin/pip install numpy scipy scikit-image scikit-fmm
    cargo build --release -p sparefield-geometry --example least_heights_timed
    peers/bin/python tests/reach_peers/compare.py target/release/examples/least_heights_timed 1000 3000

Measured last with numpy 2.4.6, scipy 1.17.1, scikit-image 0.26.0, scikit-fmm 2025.6.23.
"""

import statistics
import subprocess
import sys
import tempfile
import time

import numpy as np
import scipy.sparse as sp
import skfmm
from scipy.sparse.csgraph import dijkstra
from skimage.graph import MCP_Geometric

CELL_M = 25.0
LOSS_PER_M = 1 / 8
FIELDS = 40
REPEATS = 3


def fractal(size, relief_m, seed):
    """Ground with a spectrum that falls with the square of the frequency, scaled to a relief."""
    noise = np.random.default_rng(seed).standard_normal((size, size))
    frequency = np.hypot(np.fft.fftfreq(size)[:, None], np.fft.rfftfreq(size)[None, :])
    frequency[0, 0] = np.inf
    ground = np.fft.irfft2(np.fft.rfft2(noise) / frequency**2, (size, size))
    return ((ground - ground.min()) / np.ptp(ground) * relief_m).astype("<f4")


def median(run):
    """Median seconds of some runs."""
    seconds = []
    for _ in range(REPEATS):
        begun = time.perf_counter()
        run()
        seconds.append(time.perf_counter() - begun)
    return statistics.median(seconds)


def graph(size):
    """Eight neighbours, the loss along each edge."""
    cell = np.arange(size * size, dtype=np.int32).reshape(size, size)
    pairs = [
        (cell[:, :-1], cell[:, 1:], 1.0),
        (cell[:-1], cell[1:], 1.0),
        (cell[:-1, :-1], cell[1:, 1:], 2**0.5),
        (cell[:-1, 1:], cell[1:, :-1], 2**0.5),
    ]
    rows = np.concatenate([a.ravel() for a, _, _ in pairs])
    cols = np.concatenate([b.ravel() for _, b, _ in pairs])
    loss = np.concatenate([np.full(a.size, length * CELL_M * LOSS_PER_M) for a, _, length in pairs])
    return sp.csr_array((loss, (rows, cols)), shape=(size * size, size * size))


def main():
    program, *sizes = sys.argv[1:]
    for size in map(int, sizes):
        rng = np.random.default_rng(size)
        places = rng.integers(size // 20, size - size // 20, (FIELDS, 2))
        starts = [tuple(map(int, p)) for p in places]
        flat = [r * size + c for r, c in starts]
        for name, relief in [("gentle", 0.3 * size), ("alpine", 0.93 * size)]:
            ground = fractal(size, relief, 7)
            with tempfile.NamedTemporaryFile(suffix=".f32") as file:
                ground.tofile(file.name)
                given = "\n".join(f"{r} {c}" for r, c in starts)
                call = [program, file.name, str(size), str(size), str(CELL_M), str(REPEATS)]
                ours = float(subprocess.run(call, input=given, capture_output=True, text=True, check=True).stdout)
            print(f"{size} x {size} {name}: Sparefield {ours:.2f} s", flush=True)
        inside = np.ones((size, size))
        inside[tuple(zip(*starts))] = -1
        speed = np.full((size, size), 1 / LOSS_PER_M)
        results = {"scikit-fmm": median(lambda: skfmm.travel_time(inside, speed, dx=CELL_M))}
        costs = np.full((size, size), CELL_M * LOSS_PER_M)
        results["MCP_Geometric"] = median(lambda: MCP_Geometric(costs).find_costs(starts))
        edges = graph(size)
        results["dijkstra"] = median(lambda: dijkstra(edges, directed=False, indices=flat, min_only=True))
        for name, seconds in results.items():
            print(f"{size} x {size} {name}: {seconds:.2f} s", flush=True)


if __name__ == "__main__":
    main()
