"""The estimates against R's package survival and SciPy, where they are installed.

They are peers, not parts: without them these tests are skipped and say so. The published worked
examples in the unit tests are checked in any case.
"""
import csv
import datetime
import io
import json
import os
import random
import shutil
import sqlite3
import subprocess

import cli
import tap
import yard

TODAY = datetime.datetime.now(datetime.timezone.utc).date()
PYTHONS = ("python3", "/usr/bin/python3")


def has_survival():
    if shutil.which("Rscript") is None:
        return False
    return subprocess.run(["Rscript", "-e", "library(survival)"], capture_output=True,
                          timeout=120).returncode == 0


def scipy_python():
    for python in PYTHONS:
        path = shutil.which(python)
        if path and subprocess.run([path, "-c", "import scipy.stats"], capture_output=True,
                                   timeout=120).returncode == 0:
            return path
    return None


SURVIVAL = """
library(survival)
d <- read.csv(file("stdin"))
f <- survfit(Surv(from, until, ended) ~ 1, data = d, conf.type = "log-log")
s <- summary(f)
write.csv(data.frame(s$time, s$n.risk, s$n.event, s$surv, s$std.err, s$lower, s$upper),
          stdout(), row.names = FALSE)
"""

# For each "lists low high": are the ends the last heads that are not unlikely, on either side?
HYPERGEOM = """
import sys
from scipy import stats
for line in sys.stdin:
    a, b, m, low, high = map(int, line.split())
    def few(n):
        return stats.hypergeom.cdf(m, n, a, b) > .025 - 1e-10
    def many(n):
        return stats.hypergeom.sf(m - 1, n, a, b) > .025 - 1e-10
    print(int(low >= a + b - m and few(low) and (low == a + b - m or not few(low - 1))
              and many(high) and not many(high + 1)))
"""


def day(back):
    return (TODAY - datetime.timedelta(days=back)).isoformat()


class Survival(cli.CliTest):
    def setUp(self):
        super().setUp()
        if not has_survival():
            self.skipTest("R with its package survival is not installed")

    def peer(self, lives):
        text = "from,until,ended\n" + "".join(f"{a},{b},{c}\n" for a, b, c in lives)
        done = subprocess.run(["Rscript", "-e", SURVIVAL], input=text, text=True,
                              capture_output=True, timeout=120)
        self.assertEqual(done.returncode, 0, done.stderr)
        return [[float("nan") if c == "NA" else float(c) for c in row]
                for row in list(csv.reader(io.StringIO(done.stdout)))[1:]]

    def flock(self, seed, ends):
        """A register of 150 animals with a device each; the lives R should see."""
        rng = random.Random(seed)
        rows, lives = [], []
        for n in range(1, 151):
            on = rng.randrange(200, 1200)       # days before today
            left = rng.randrange(1, on) if rng.random() < .3 else 0
            off = rng.randrange(1, on) if rng.random() < ends else 0
            if off and left and off <= left:
                off = 0                         # it left with the device still on
            status, since = ("sold", day(left)) if left else ("", "")
            rows.append(f"A{n},goat,2020-01-01,{status},{since},flag tag,left ear,yes,"
                        f"{yard.code(n)},{n:04d},{day(on)},{day(off) if off else ''}\n")
            lives.append((0, on - (off or left), int(bool(off))))
        self.good("init")
        self.write("r.csv", "animal,species,born,status,status_date,form,place,official,eid,visual,"
                            "applied,removed\n" + "".join(rows))
        self.good("import", "r.csv")
        return lives

    def same(self, steps, peer):
        self.assertEqual(len(steps), len(peer))
        self.assertGreater(len(steps), 20)
        for mine, other in zip(steps, peer):
            self.assertEqual([mine["days"], mine["at_risk"], mine["ended"]], other[:3])
            for key, value in zip(("stays", "se", "low", "high"), other[3:]):
                if mine[key] is not None:
                    self.assertAlmostEqual(mine[key], value, 5, (mine, other))

    def test_retention(self):
        for seed, ends in ((1, .4), (2, .8)):
            if seed > 1:
                os.unlink(self.path("register.db"))
            lives = self.flock(seed, ends)
            made = json.loads(self.good("estimates", "--whole-history", "--json"))
            (group,) = made["retention"]
            self.assertEqual(group["devices"], 150)
            self.same(group["steps"], self.peer(lives))

    def test_late_entry(self):
        """Without the whole history, devices are watched from the day they were written down."""
        born_to_end = self.flock(3, 0)
        began = 180
        with sqlite3.connect(self.path("register.db")) as db:
            at = datetime.datetime.fromisoformat(day(began) + "T00:00:00+00:00").timestamp()
            db.execute("UPDATE event SET t_ms = ?", (int(at) * 1000,))
            rows = db.execute("SELECT a.key, d.applied, a.status_date FROM animal a JOIN device d "
                              "ON d.animal_id = a.id ORDER BY a.id").fetchall()
        db.close()
        rng = random.Random(4)
        lives = []
        for (key, applied, since), (_, until, _) in zip(rows, born_to_end):
            on = (TODAY - datetime.date.fromisoformat(applied)).days
            ended = 0
            if not since and rng.random() < .4:
                off = rng.randrange(1, began - 10)
                self.good("remove", key, "--reason", "lost", "--date", day(off))
                until, ended = on - off, 1
            if until > on - began:
                lives.append((on - began, until, ended))
        made = json.loads(self.good("estimates", "--json"))
        (group,) = made["retention"]
        self.assertEqual(group["devices"], len(lives))
        self.assertEqual(group["watched_from_days"], min(life[0] for life in lives))
        self.same(group["steps"], self.peer(lives))


class Hypergeometric(yard.DaemonTest):
    def test_heads_from_two_lists(self):
        python = scipy_python()
        if python is None:
            self.skipTest("SciPy is not installed")
        y = self.yard("animal,species,eid,visual,form,place\n" + "".join(
            f"A{n},goat,{yard.code(n)},{n:04d},flag tag,left ear\n" for n in range(1, 201)))
        cases = [(87, 14, 7), (96, 95, 92), (30, 20, 10), (5, 5, 1), (60, 60, 59), (120, 40, 24)]
        for number, (a, b, m) in enumerate(cases, 1):
            c = y.client()
            c.ask("open", kind="walk")
            y.ports["front"].read(*(yard.code(n) for n in range(1, a + 1)))
            yard.until(lambda want=a: c.ask("status")["tally"]["readings"] == want)
            for n in range(a - m + 1, a - m + b + 1):
                c.ask("saw", number=f"{n:04d}")
            c.ask("close")
        asked = ""
        for number, (a, b, m) in enumerate(cases, 1):
            made = json.loads(y.lugmark("estimates", "--session", str(number), "--json").stdout)
            lists = made["heads_read_and_called"]
            self.assertEqual((lists["first"], lists["second"], lists["both"]), (a, b, m))
            self.assertGreaterEqual(lists["low"], a + b - m)
            self.assertGreaterEqual(lists["heads"], a + b - m)
            asked += f"{a} {b} {m} {lists['exact_low']} {lists['exact_high']}\n"
        peer = subprocess.run([python, "-c", HYPERGEOM], text=True, capture_output=True,
                              timeout=300, input=asked)
        self.assertEqual(peer.stdout.split(), ["1"] * len(cases), asked + peer.stderr)


if __name__ == "__main__":
    tap.main()
