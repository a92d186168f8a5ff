"""The best matching of large squares, against a textbook method here and against SciPy."""
import os
import random
import subprocess
import tempfile
import unittest

import tap

BUILD = os.environ["LUGMARK_BUILD"]


def ours(weights):
    n = len(weights)
    with tempfile.NamedTemporaryFile("w", prefix="lugmark-match-") as f:
        f.write("\n".join(f"{w:.6f}" for row in weights for w in row))
        f.flush()
        out = subprocess.run([f"{BUILD}/unit/test_match", f.name, str(n)], check=True,
                             stdout=subprocess.PIPE).stdout
    return float(out)


def textbook(weights):
    """Hungarian method on the dense square, with nobody at weight 0."""
    n = len(weights)
    cost = [[-max(0.0, w) for w in row] for row in weights]
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
    return sum(max(0.0, weights[match[j] - 1][j - 1]) for j in range(1, n + 1))


def square(seed, n):
    rng = random.Random(seed)
    return [[round(rng.uniform(-10, 8), 6) for _ in range(n)] for _ in range(n)]


class Assign(unittest.TestCase):
    def test_against_the_textbook(self):
        for seed, n in ((1, 1), (2, 5), (3, 20), (4, 60), (5, 90)):
            w = square(seed, n)
            self.assertAlmostEqual(ours(w), textbook(w), places=5)

    def test_against_scipy(self):
        try:
            from scipy.optimize import linear_sum_assignment
            import numpy
        except ImportError:
            self.skipTest("python3-scipy is not installed")
        for seed, n in ((11, 40), (12, 200)):
            w = square(seed, n)
            square_ = numpy.maximum(numpy.array(w), 0)
            i, j = linear_sum_assignment(square_, maximize=True)
            self.assertAlmostEqual(ours(w), float(square_[i, j].sum()), places=4)


if __name__ == "__main__":
    tap.main()
