#!/usr/bin/env python3
"""How far explanations can be believed: pretended musters with known truth, and what was said.

usage: calibrate.py BUILD [--musters N] [--seed S] [--dead called|as-others]

Prints, for `lugmark reconcile --explain` and for a plain baseline (the nearest number by edit
distance): precision and recall by kind, the Brier score, and a reliability table in ten bins.
The simulator (musters.py) shares nothing with the program. Defaults of the program were tuned on
seeds below 100000; the figures to report are those of the default seed, 900000.
"""
import argparse
import collections
import json
import os
import subprocess
import sys
import tempfile

sys.dont_write_bytecode = True
from musters import Muster

MUSTERS, SEED = 400, 900000
KINDS = ("new-device", "misread-number", "swapped", "shifted-run", "stranger", "failed-eid",
         "absent")


def right(e, truth):
    """Whether an explanation says what truly happened. `truth` is indexed by kind."""
    animals, code = tuple(e["animals"]), (e["eid"] or [None])[0]
    for _, a, c, number, offset in truth[e["kind"]]:
        if e["kind"] == "shifted-run":
            both = len(set(a) & set(animals))
            if both >= 0.8 * len(set(a) | set(animals)) and offset == e["offset"]:
                return True
        elif e["kind"] == "swapped":
            if set(a) == set(animals):
                return True
        elif e["kind"] == "misread-number":
            if a == animals and number == e["sighting"]:
                return True
        elif e["kind"] == "new-device":
            if a == animals and c == code:
                return True
        elif e["kind"] == "stranger":
            if c is not None and c == code:
                return True
        elif a == animals:
            return True
    return False


def distance(a, b):
    row = list(range(len(b) + 1))
    for i, x in enumerate(a, 1):
        last, row[0] = row[0], i
        for j, y in enumerate(b, 1):
            last, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, last + (x != y))
    return row[-1]


def baseline(found, muster):
    """Nearest number by edit distance; everything else by its first name. One answer an item."""
    said = collections.defaultdict(str)
    for _, number, code in muster.calls:
        said[code] = number
    missing = {f["animal"]: f["visual"][0] for f in found if f["kind"] in ("missing", "unread")}
    used, out = set(), []

    def answer(kind, animals, eid=None, sighting=None, p=0.9):
        out.append({"kind": kind, "animals": animals, "eid": eid or [], "sighting": sighting,
                    "offset": None, "probability": p})

    for f in found:
        if f["kind"] == "unmatched":
            number = f.get("text") or said[(f["eid"] or [""])[0]]
            near = min(((distance(number, v), k) for k, v in missing.items() if k not in used),
                       default=(99, None)) if number else (99, None)
            if near[0] <= 1:
                used.add(near[1])
                answer("new-device" if f["eid"] else "misread-number", [near[1]], f["eid"], number)
            else:
                answer("stranger", [], f["eid"], number)
        elif f["kind"] == "conflict":
            answer("misread-number", [f["animal"]], f["eid"], f.get("text"))
    for f in found:
        if f["kind"] in ("missing", "unread") and f["animal"] not in used:
            answer("absent" if f["kind"] == "missing" else "failed-eid", [f["animal"]])
    return out


class Score:
    def __init__(self):
        self.bins = [[0, 0, 0.0] for _ in range(10)]
        self.swing = [0.0] * 10  # sum of the squares of what single musters are off by
        self.said = collections.Counter()
        self.good = collections.Counter()
        self.sure = [0, 0]
        self.kind_sure = collections.defaultdict(lambda: [0, 0])
        self.kind_p = collections.defaultdict(float)
        self.brier = 0.0
        self.truths = collections.Counter()
        self.found = collections.Counter()

    def add(self, explanations, truth):
        """One muster. Its explanations stand or fall together: the error counts musters."""
        off = [0.0] * 10
        for e in explanations:
            p, ok = e["probability"], right(e, truth)
            b = self.bins[min(9, int(p * 10))]
            off[min(9, int(p * 10))] += ok - p
            b[0] += 1
            b[1] += ok
            b[2] += p
            self.brier += (p - ok) ** 2
            self.kind_p[e["kind"]] += p
            self.said[e["kind"]] += 1
            self.good[e["kind"]] += ok
            if p >= 0.9:
                self.sure[0] += 1
                self.sure[1] += ok
                self.kind_sure[e["kind"]][0] += 1
                self.kind_sure[e["kind"]][1] += ok

        self.swing = [s + o * o for s, o in zip(self.swing, off)]

    def recall(self, name, ok):
        self.truths[name] += 1
        self.found[name] += bool(ok)

    def table(self, title):
        n = max(1, sum(b[0] for b in self.bins))
        print(f"\n{title}: {n} explanations, Brier score {self.brier / n:.4f}, "
              f"at p >= 0.9 right {self.sure[1]} of {self.sure[0]} "
              f"({100 * self.sure[1] / max(1, self.sure[0]):.1f} %)")
        print(f"  {'kind':16}{'said':>7}{'expected':>10}{'right':>7}   {'p>=0.9':>7} {'right':>7}")
        for k in KINDS:
            s = self.kind_sure[k]
            print(f"  {k:16}{self.said[k]:7}{self.kind_p[k]:10.1f}{self.good[k]:7}   {s[0]:7} "
                  f"{100 * s[1] / max(1, s[0]):6.1f}%")
        print(f"  {'found (p > 0.5)':32}{'of':>7}{'found':>7}{'recall':>9}")
        for k in sorted(self.truths):
            print(f"  {k:32}{self.truths[k]:7}{self.found[k]:7}"
                  f"{100 * self.found[k] / self.truths[k]:8.1f}%")
        print(f"  {'said':>10}{'n':>7}{'mean p':>9}{'right':>9}{'off by':>9}{'error':>7}")
        for i, (m, ok, p) in enumerate(self.bins):
            if m:
                off = 100 * (ok / m - p / m)
                print(f"  {i / 10:.1f}-{i / 10 + 0.1:.1f}   {m:6}{p / m:9.3f}{ok / m:9.3f}"
                      f"{off:+8.1f}{100 * self.swing[i] ** 0.5 / m:8.1f} "
                      f"{'*' if m >= 50 and abs(off) > 5 else ''}")

    def worst(self):
        """Points that the worst bin of 50 or more is off by."""
        return max((100 * abs(ok - p) / m for m, ok, p in self.bins if m >= 50), default=0.0)

    def share(self, name):
        return self.found[name] / max(1, self.truths[name])


def run_one(build, seed, protocol=None):
    muster = Muster(seed, protocol)
    with tempfile.TemporaryDirectory(prefix="lugmark-cal-") as d:
        argv = [f"{build}/lugmark", "reconcile", *muster.write(d), "--explain", "--json"]
        done = subprocess.run(argv, stdout=subprocess.PIPE, stderr=subprocess.PIPE, check=False)
    if done.returncode not in (0, 1):
        sys.exit(f"seed {seed}: exit {done.returncode} {done.stderr.decode()}")
    return muster, muster.named(json.loads(done.stdout))


def score(muster, answer, ours, plain):
    truth = collections.defaultdict(list)
    for t in muster.truth:
        truth[t[0]].append(t)
    ours.add(answer["explanations"], truth)
    plain.add(baseline(answer["findings"], muster), truth)
    said = [e for e in answer["explanations"] if e["probability"] > 0.5]
    simple = baseline(answer["findings"], muster)
    called_codes = {c for _, _, c in muster.calls if c}
    for t in muster.truth:
        name = t[0]
        if name == "new-device":
            if t[2] in called_codes and t[3] == muster.number[t[1][0]]:
                name += ", its number called"
            else:
                name += ", not or otherwise called"
        elif name == "shifted-run":
            n = sum(muster.code[k] in called_codes for k in t[1])
            name += ", 3 or more called" if n >= 3 else ", fewer called"
        elif name == "misread-number":
            name += " for a code" if t[2] else " alone"
        only = {t[0]: [t]}
        one = collections.defaultdict(list, only)
        ours.recall(name, any(e["kind"] == t[0] and right(e, one) for e in said))
        plain.recall(name, any(e["kind"] == t[0] and right(e, one) for e in simple))


def main():
    ap = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ap.add_argument("build")
    ap.add_argument("--musters", type=int, default=MUSTERS)
    ap.add_argument("--seed", type=int, default=SEED)
    ap.add_argument("--dead", choices=("called", "as-others"),
                    help="who gives no reading is always called, or no oftener than others")
    ap.add_argument("--wrong", help="kind whose sure and wrong answers are shown")
    args = ap.parse_args()
    play(os.path.abspath(args.build), args.musters, args.seed,
         {"called": True, "as-others": False}.get(args.dead), args.wrong)


def play(build, musters, seed, protocol=None, wrong=None):
    """Play so many musters and print the tables. Returns our score and the baseline's."""
    ours, plain = Score(), Score()
    for s in range(seed, seed + musters):
        muster, answer = run_one(build, s, protocol)
        score(muster, answer, ours, plain)
        if wrong:
            show_wrong(wrong, s, muster, answer)
    print(f"{musters} musters, seeds {seed} to {seed + musters - 1}")
    ours.table("lugmark reconcile --explain")
    plain.table("baseline, nearest number by edit distance")
    print(flush=True)
    return ours, plain


def bench(build, row, quick=False):
    """Rows for `run`: what was promised of explanations, beside the baseline."""
    ours, plain = play(build, 60 if quick else MUSTERS, SEED)

    def promise(what, share, other, least):
        row(what, f"{100 * share:.1f} %", f"nearest number {100 * other:.1f} %", share / least,
            f">= {100 * least:.0f} %", share >= least)

    promise("explanations at p >= 0.9 right", ours.sure[1] / max(1, ours.sure[0]),
            plain.sure[1] / max(1, plain.sure[0]), 0.95)
    for what, name, least in (
            ("shifted runs found, 3 or more called", "shifted-run, 3 or more called", 0.9),
            ("new devices found, their number called", "new-device, its number called", 0.98)):
        promise(what, ours.share(name), plain.share(name), least)
    worst, enough = ours.worst(), None if quick else ours.worst() <= 5
    row("reliability, worst bin of 50 or more off by", f"{worst:.1f} points",
        f"nearest number {plain.worst():.1f}", worst / 5, "<= 5", enough)


def show_wrong(kind, seed, muster, answer):
    truth = collections.defaultdict(list)
    for t in muster.truth:
        truth[t[0]].append(t)
    for e in answer["explanations"]:
        if e["kind"] == kind and e["probability"] >= 0.8 and not right(e, truth):
            about = [t for t in muster.truth
                     if set(t[1]) & set(e["animals"]) or t[2] in e["eid"]]
            print(seed, json.dumps(e), "TRUTH", about[:3])


if __name__ == "__main__":
    main()
