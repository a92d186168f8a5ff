"""The best matching of large problems, dense and sparse, against a textbook method and SciPy."""
import os
import random
import shutil
import subprocess
import tempfile
import unittest

import tap

BUILD = os.environ["LUGMARK_BUILD"]
NO_EDGE = None

# The same files for SciPy: nobody is a column of weight 0 of one's own.
PEER = """
import sys
import numpy
from scipy.optimize import linear_sum_assignment
for line in sys.stdin:
    path, lefts, rights = line.split()
    weights = numpy.full((int(lefts), int(rights) + int(lefts)), 0.0)
    for row in open(path):
        i, j, w = row.split()
        weights[int(i), int(j)] = float(w)
    rows, columns = linear_sum_assignment(weights, maximize=True)
    print(weights[rows, columns].sum())
"""


def scipy_python():
    """A Python that has SciPy: the first of the path may be another than the system's."""
    for python in ("python3", "/usr/bin/python3"):
        path = shutil.which(python)
        if path and subprocess.run([path, "-c", "import scipy.optimize"], capture_output=True,
                                   timeout=120).returncode == 0:
            return path
    return None


def problem(seed, lefts, rights, share):
    """Weights above and below "nobody"; only a share of the pairs is there at all."""
    rng = random.Random(seed)
    return [[round(rng.uniform(-6, 8), 6) if rng.random() < share else NO_EDGE
             for _ in range(rights)] for _ in range(lefts)]


def textbook(weights):
    """Hungarian method on a dense square, with nobody at weight 0."""
    n = max(len(weights), len(weights[0]))
    cost = [[0.0] * n for _ in range(n)]
    for i, row in enumerate(weights):
        for j, w in enumerate(row):
            cost[i][j] = -max(0.0, w or 0.0)
    u, v, match = [0.0] * (n + 1), [0.0] * (n + 1), [0] * (n + 1)
    for i in range(1, n + 1):
        match[0], j0 = i, 0
        least, way, used = [float("inf")] * (n + 1), [0] * (n + 1), [False] * (n + 1)
        while match[j0]:
            used[j0] = True
            i0, delta, j1 = match[j0], float("inf"), 0
            for j in range(1, n + 1):
                if used[j]:
                    continue
                c = cost[i0 - 1][j - 1] - u[i0] - v[j]
                if c < least[j]:
                    least[j], way[j] = c, j0
                if least[j] < delta:
                    delta, j1 = least[j], j
            for j in range(n + 1):
                if used[j]:
                    u[match[j]] += delta
                    v[j] -= delta
                else:
                    least[j] -= delta
            j0 = j1
        while j0:
            match[j0] = match[way[j0]]
            j0 = way[j0]
    return -sum(cost[match[j] - 1][j - 1] for j in range(1, n + 1))


class Assign(unittest.TestCase):
    def setUp(self):
        self.dir = tempfile.TemporaryDirectory(prefix="lugmark-match-")
        self.addCleanup(self.dir.cleanup)

    def ours(self, name, weights):
        path = os.path.join(self.dir.name, name)
        with open(path, "w") as out:
            for i, row in enumerate(weights):
                for j, w in enumerate(row):
                    if w is not NO_EDGE:
                        out.write(f"{i} {j} {w}\n")
        asked = [path, str(len(weights)), str(len(weights[0]))]
        done = subprocess.run([f"{BUILD}/unit/test_match", *asked], check=True,
                              stdout=subprocess.PIPE)
        return float(done.stdout), " ".join(asked)

    def test_against_the_textbook(self):
        for seed, lefts, rights, share in ((1, 1, 1, 1), (2, 5, 9, 1), (3, 20, 20, .2),
                                           (4, 60, 40, .1), (5, 80, 80, 1)):
            w = problem(seed, lefts, rights, share)
            self.assertAlmostEqual(self.ours("one", w)[0], textbook(w), places=5)

    def test_against_scipy(self):
        python = scipy_python()
        if not python:
            self.skipTest("no Python here has SciPy (Debian: python3-scipy)")
        sizes = [(200, 200, 1), (150, 220, 1), (220, 150, .5), (400, 400, .05), (600, 500, .01),
                 (1000, 1000, .003), (30, 2, 1)]
        sizes += [(n, n + n % 3, share) for n in range(1, 41) for share in (1, .3, .1)]
        mine = [self.ours(f"p{k}", problem(100 + k, *size)) for k, size in enumerate(sizes)]
        peer = subprocess.run([python, "-c", PEER], text=True, check=True, timeout=300,
                              stdout=subprocess.PIPE, input="\n".join(a for _, a in mine))
        costs = [float(x) for x in peer.stdout.split()]
        self.assertEqual(len(costs), len(mine))
        for (cost, asked), other in zip(mine, costs):
            self.assertAlmostEqual(cost, other, 5, asked.split()[1:])


if __name__ == "__main__":
    tap.main()
