#!/usr/bin/env python3
"""How far explanations can be believed: pretended musters with known truth, and what was said.

usage: calibrate.py BUILD [--musters N] [--seed S] [--json FILE]

Prints, for `lugmark reconcile --explain` and for a plain baseline (the nearest number by edit
distance): precision and recall by kind, the Brier score, and a reliability table in ten bins.
The simulator shares nothing with the program. Defaults of the program were tuned on seeds below
100000; the figures to report are those of the default seed, 900000.
"""
import argparse
import collections
import json
import os
import random
import subprocess
import sys
import tempfile

KINDS = ("new-device", "misread-number", "swapped", "shifted-run", "stranger", "failed-eid",
         "absent")
CONFUSED = {"0": "86", "8": "063", "6": "085", "1": "7", "7": "1", "3": "8", "5": "6", "4": "9",
            "9": "4"}


def misread(rng, number):
    """One common mistake, or the number itself when none fits."""
    way = rng.random()
    spots = [i for i, c in enumerate(number) if c in CONFUSED]
    turns = [i for i in range(len(number) - 1) if number[i] != number[i + 1]]
    if way < 0.6 and spots:
        i = rng.choice(spots)
        return number[:i] + rng.choice(CONFUSED[number[i]]) + number[i + 1:]
    if way < 0.8 and turns:
        i = rng.choice(turns)
        return number[:i] + number[i + 1] + number[i] + number[i + 2:]
    if way < 0.92 and len(number) > 2:
        i = rng.randrange(len(number))
        return number[:i] + number[i + 1:]
    if number.startswith("0"):
        return number.lstrip("0") or "0"
    return number


class Muster:
    """A flock, a walk, faults, and the truth about each."""

    def __init__(self, seed):
        self.rng = rng = random.Random(seed)
        self.n = rng.choice((200, 300, 500, 800, 1200, 2000))
        self.truth = []  # (kind, frozenset of animals, code or None, number or None, offset)
        self.stock_given = rng.random() < 0.5
        self.heads_given = rng.random() < 0.5
        self.q = rng.choice((0.1, 0.25, 0.5, 0.75, 1.0))
        self.q_dead = rng.choice((self.q, 1.0, rng.random()))
        self.rate = {"absent": rng.choice((0, 0.01, 0.03, 0.08)),
                     "new": rng.choice((0.002, 0.01, 0.03)),
                     "dead": rng.choice((0.002, 0.01, 0.05)),
                     "stranger": rng.choice((0, 0.003, 0.02)),
                     "misread": rng.choice((0, 0.01, 0.03, 0.06))}
        self.strips()
        self.flock()
        self.shift()
        self.swap()
        self.walk()

    def strips(self):
        rng = self.rng
        self.strip = []  # name, [(code, number)]
        style = rng.choice(("run", "run", "year", "loose"))
        code = rng.randrange(10**6, 10**7)
        total, s = 0, 0
        numbers = list(range(1, 9999))
        rng.shuffle(numbers)
        while total < self.n * 1.15 + 20:
            length = rng.choice((50, 100, 100, 200))
            first = {"run": total + 1, "year": s * 1000 + 1, "loose": 0}[style]
            items = []
            for p in range(length):
                number = numbers.pop() if style == "loose" else first + p
                items.append((f"999{code + p:012d}", f"{number:04d}"))
            self.strip.append((f"S{s + 1}", items))
            code += length + rng.choice((0, 0, 1000, 50000))
            total += length
            s += 1
        self.printed = {c: v for _, items in self.strip for c, v in items}

    def flock(self):
        rng = self.rng
        self.code, self.number, self.place = {}, {}, {}  # as it truly was put on
        self.unused = []
        self.keys = []
        left = self.n
        for s, (_, items) in enumerate(self.strip):
            spare = rng.choice((0, 3, 10))
            take = min(left, max(0, len(items) - spare))
            for p in range(take):
                key = f"A{len(self.keys) + 1}"
                self.keys.append(key)
                self.code[key], self.number[key] = items[p]
                self.place[key] = (s, p)
            self.unused.append([items[p] for p in range(take, len(items))])
            left -= take
        self.dam = {}
        for key in self.keys[self.n // 2:]:
            if rng.random() < 0.4:
                self.dam[key] = rng.choice(self.keys[:self.n // 2])
        self.said = dict(self.number)  # the number the register pairs with the animal's code
        self.touched = set()

    def shift(self):
        """On tagging day numbers of a stretch were written down one (or two) out."""
        rng = self.rng
        for _ in range(rng.choice((0, 0, 1, 2))):
            length, k = rng.randrange(4, 26), rng.choice((1, -1, 1, -1, 2))
            at = rng.randrange(0, self.n - length)
            keys = self.keys[at:at + length]
            if len({self.place[x][0] for x in keys}) > 1 or self.touched & set(keys):
                continue
            numbers = [self.number[x] for x in keys]
            around = self.rng.random() < 0.5  # the number left over went to the other end, or
            for i, x in enumerate(keys):      # the next animal has the same number too
                beyond = at + i - k
                if around or not 0 <= beyond < self.n:
                    self.said[x] = numbers[(i - k) % length]
                else:
                    self.said[x] = self.number[self.keys[beyond]]
            self.touched |= set(keys)
            # called for the code of place i is number i, which the register has at place i + k
            self.truth.append(["shifted-run", tuple(keys), None, None, k])

    def swap(self):
        rng = self.rng
        for _ in range(rng.choice((0, 1, 2, 3))):
            i = rng.randrange(self.n - 4)
            a, b = self.keys[i], rng.choice((self.keys[i + 1], rng.choice(self.keys)))
            if a == b or {a, b} & self.touched:
                continue
            self.said[a], self.said[b] = self.number[b], self.number[a]
            self.touched |= {a, b}
            self.truth.append(["swapped", (a, b), None, None, None])

    def new_code(self, key):
        """A device put on without a note: code, printed number, number that people call."""
        rng = self.rng
        spare = [u for u in self.unused if u]
        if spare and rng.random() < 0.8:
            code, printed = rng.choice(spare).pop(0)
        elif self.stock_given and rng.random() < 0.5:
            code, printed = f"999{rng.randrange(2 * 10**7, 3 * 10**7):012d}", self.number[key]
            self.extra.append((code, printed))
        else:
            return f"999{rng.randrange(10**6, 10**8):012d}", self.number[key]
        return code, self.number[key] if rng.random() < 0.6 else printed

    def fate(self, key):
        rng, roll = self.rng, self.rng.random()
        if key in self.touched:
            return "plain"
        for kind in ("absent", "new", "dead"):
            roll -= self.rate[kind]
            if roll < 0:
                return kind
        return "plain"

    def call(self, number, code, key=None):
        """Call a number, now and then misread."""
        rng = self.rng
        said = number
        if rng.random() < self.rate["misread"] and key not in self.touched:
            said = misread(rng, number)
        self.calls.append((said, code))
        return said

    def walk_one(self, key):
        rng, fate = self.rng, self.fate(key)
        if fate == "absent":
            self.truth.append(["absent", (key,), None, None, None])
            return
        self.heads += 1
        if fate == "dead":
            said = self.call(self.number[key], "") if rng.random() < self.q_dead else None
            self.truth.append(["failed-eid", (key,), None, said, None])
            if said not in (None, self.number[key]):
                self.truth[-1] = ["misread-number", (key,), None, said, None]
            return
        code, number = self.code[key], self.number[key]
        if fate == "new":
            code, number = self.new_code(key)
            self.truth.append(["new-device", (key,), code, None, None])
        self.reads.append(code)
        if rng.random() < self.q:
            said = self.call(number, code, key)
            if fate == "plain" and said != number:
                self.truth.append(["misread-number", (key,), code, said, None])
            if fate == "new":
                self.truth[-1][3] = said

    def walk(self):
        rng = self.rng
        self.reads, self.calls, self.heads, self.extra = [], [], 0, []
        order = list(self.keys)
        rng.shuffle(order)
        if rng.random() < 0.5:  # kids at foot
            kids = collections.defaultdict(list)
            for kid, dam in self.dam.items():
                kids[dam].append(kid)
            order = [x for key in order if key not in self.dam for x in [key, *kids[key]]]
        strange = sum(rng.random() < self.rate["stranger"] for _ in range(self.n))
        spots = set(rng.sample(range(len(order)), min(strange, len(order))))
        for i, key in enumerate(order):
            if i in spots:
                self.stranger()
            self.walk_one(key)

    def stranger(self):
        rng = self.rng
        country = rng.choice(("998", "998", "999"))
        code = f"{country}{rng.randrange(1, 10**9):012d}"
        self.reads.append(code)
        self.heads += 1
        self.truth.append(["stranger", (), code, None, None])
        if rng.random() < self.q:
            self.calls.append((f"{rng.randrange(1, 9999):04d}", code))

    def write(self, d):
        with open(f"{d}/r.csv", "w") as out:
            out.write("animal,dam,eid,visual\n")
            for key in self.keys:
                out.write(f"{key},{self.dam.get(key, '')},{self.code[key]},{self.said[key]}\n")
        with open(f"{d}/c.csv", "w") as out:
            out.write("eid\n" + "".join(f"{c}\n" for c in self.reads))
        with open(f"{d}/s.csv", "w") as out:
            out.write("visual,with\n" + "".join(f"{v},{c}\n" for v, c in self.calls))
        args = ["--register", f"{d}/r.csv", "--readings", f"{d}/c.csv"]
        if self.calls:
            args += ["--sightings", f"{d}/s.csv"]
        if self.stock_given:
            with open(f"{d}/k.csv", "w") as out:
                out.write("strip,position,eid,visual\n")
                for name, items in self.strip:
                    for p, (c, v) in enumerate(items):
                        out.write(f"{name},{p + 1},{c},{v}\n")
                for p, (c, v) in enumerate(self.extra):
                    # a replacement has the number of the lost one: numbers of a list are unique
                    if v not in self.printed.values():
                        out.write(f"R,{p + 1},{c},{v}\n")
            args += ["--stock", f"{d}/k.csv"]
        if self.heads_given:
            wrong = self.rng.choice((0, 0, 0, 0, 1, -1))
            args += ["--heads", str(max(0, self.heads + wrong))]
        return args


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
    for number, code in muster.calls:
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
        self.said = collections.Counter()
        self.good = collections.Counter()
        self.sure = [0, 0]
        self.kind_sure = collections.defaultdict(lambda: [0, 0])
        self.kind_p = collections.defaultdict(float)
        self.brier = 0.0
        self.truths = collections.Counter()
        self.found = collections.Counter()

    def add(self, explanations, truth):
        for e in explanations:
            p, ok = e["probability"], right(e, truth)
            b = self.bins[min(9, int(p * 10))]
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
        print(f"  {'said':>10}{'n':>7}{'mean p':>9}{'right':>9}{'off by':>9}")
        for i, (m, ok, p) in enumerate(self.bins):
            if m:
                off = 100 * (ok / m - p / m)
                print(f"  {i / 10:.1f}-{i / 10 + 0.1:.1f}   {m:6}{p / m:9.3f}{ok / m:9.3f}"
                      f"{off:+8.1f} {'*' if m >= 50 and abs(off) > 5 else ''}")


def run_one(build, seed):
    muster = Muster(seed)
    with tempfile.TemporaryDirectory(prefix="lugmark-cal-") as d:
        argv = [f"{build}/lugmark", "reconcile", *muster.write(d), "--explain", "--json"]
        done = subprocess.run(argv, stdout=subprocess.PIPE, stderr=subprocess.PIPE, check=False)
    if done.returncode not in (0, 1):
        sys.exit(f"seed {seed}: exit {done.returncode} {done.stderr.decode()}")
    return muster, json.loads(done.stdout)


def score(muster, answer, ours, plain):
    truth = collections.defaultdict(list)
    for t in muster.truth:
        truth[t[0]].append(t)
    ours.add(answer["explanations"], truth)
    plain.add(baseline(answer["findings"], muster), truth)
    said = [e for e in answer["explanations"] if e["probability"] > 0.5]
    simple = baseline(answer["findings"], muster)
    called_codes = {c for _, c in muster.calls if c}
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
    ap.add_argument("--musters", type=int, default=200)
    ap.add_argument("--seed", type=int, default=900000)
    ap.add_argument("--wrong", help="kind whose sure and wrong answers are shown")
    args = ap.parse_args()
    ours, plain = Score(), Score()
    for i in range(args.musters):
        muster, answer = run_one(os.path.abspath(args.build), args.seed + i)
        score(muster, answer, ours, plain)
        if args.wrong:
            show_wrong(args.wrong, args.seed + i, muster, answer)
    print(f"{args.musters} musters, seeds {args.seed} to {args.seed + args.musters - 1}")
    ours.table("lugmark reconcile --explain")
    plain.table("baseline, nearest number by edit distance")


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
