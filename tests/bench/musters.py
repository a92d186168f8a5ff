"""Pretended musters with known truth: a flock, its strips and devices, a walk, and what goes wrong.

Shares nothing with the program but the file formats. Everything is drawn from one seed.
"""
import collections
import datetime
import json
import math
import random

CONFUSED = {"0": "86", "8": "063", "6": "085", "1": "7", "7": "1", "3": "8", "5": "6", "4": "9",
            "9": "4"}
DAY = datetime.date(2026, 5, 4)


def misread(rng, number, taste):
    """One common mistake, or the number itself when none fits. `taste`: how often which."""
    way = rng.random()
    spots = [i for i, c in enumerate(number) if c in CONFUSED]
    turns = [i for i in range(len(number) - 1) if number[i] != number[i + 1]]
    if way < taste[0] and spots:
        i = rng.choice(spots)
        return number[:i] + rng.choice(CONFUSED[number[i]]) + number[i + 1:]
    if way < taste[1] and turns:
        i = rng.choice(turns)
        return number[:i] + number[i + 1] + number[i] + number[i + 2:]
    if way < taste[2] and len(number) > 2:
        i = rng.randrange(len(number))
        return number[:i] + number[i + 1:]
    if number.startswith("0"):
        return number.lstrip("0") or "0"
    return number


class Muster:
    """A flock, a walk, faults, and the truth about each."""

    def __init__(self, seed, protocol=None):
        self.rng = rng = random.Random(seed)
        self.n = rng.choice((200, 300, 500, 800, 1200, 2000))
        self.truth = []  # (kind, animals, code or None, number called or None, offset)
        self.stock_given = rng.random() < 0.5
        self.heads_given = rng.random() < 0.7
        self.q = rng.choice((0.1, 0.25, 0.5, 0.75, 1.0))
        # who gives no reading is called: always, as often as any, or now and then
        self.q_dead = rng.choice((self.q, 1.0, 1.0, 1.0, 1.0, rng.uniform(0.2, 1)))
        if protocol is not None:
            self.q_dead = 1.0 if protocol else self.q
        self.rate = {"absent": self.some(0.015, 1.2, 0.2), "new": self.some(0.008, 1.0, 0.0),
                     "dead": self.some(0.010, 1.1, 0.0), "stranger": self.some(0.004, 1.2, 0.25),
                     "misread": self.some(0.015, 1.0, 0.15), "slip": self.some(0.002, 1.0, 0.5)}
        cut = sorted(rng.uniform(0.5, 1.0) for _ in range(3))
        self.taste = rng.choice(((0.6, 0.8, 0.92), cut))
        self.start_digits = rng.random() < 0.2
        self.times = rng.random() < 0.6
        self.as_events = rng.random() < 0.35
        self.letters = rng.choice(("", "", "", "", "B", "24-"))
        self.no_keys = rng.random() < 0.1
        self.two_devices = rng.random() < 0.15
        self.strips()
        self.flock()
        self.ages()
        self.mobs()
        self.shift()
        self.swap()
        if len(set(self.said.values())) < self.n:
            self.no_keys = False  # without keys an animal is named by its number
        self.walk()

    def named(self, answer):
        """The answer with the animals' keys where the register file had none."""
        key = {v: k for k, v in self.said.items()} if self.no_keys else {}
        for e in answer["explanations"]:
            e["animals"] = [key.get(a, a) for a in e["animals"]]
        for f in answer["findings"]:
            f["animal"] = key.get(f["animal"], f["animal"])
        return answer

    def some(self, mid, spread, none):
        """A rate: log-normal, or none at all."""
        if self.rng.random() < none:
            return 0.0
        return min(0.1, mid * math.exp(self.rng.gauss(0, spread)))

    def strips(self):
        rng = self.rng
        self.strip = []  # name, [(code, number)]
        style = rng.choice(("run", "run", "year", "loose"))
        code = rng.randrange(10**6, 10**7)
        if self.start_digits:  # the last five digits of a code are its printed number
            style, code = "coded", rng.randrange(10, 100) * 10**5
        total, s = 0, 0
        numbers = list(range(1, 9999))
        rng.shuffle(numbers)
        while total < self.n * 1.15 + 20:
            length = rng.choice((50, 100, 100, 200))
            items = []
            for p in range(length):
                number = {"run": total + 1 + p, "year": s * 1000 + 1 + p,
                          "coded": code + p}.get(style) or numbers.pop()
                text = f"{number % 10**5:05d}" if style == "coded" else f"{number:04d}"
                items.append((f"999{code + p:012d}", self.letters + text))
            self.strip.append((f"S{s + 1}", items))
            code += length + (0 if style == "coded" else rng.choice((0, 0, 1000, 50000)))
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

    def ages(self):
        """Strips are put on in different years; older devices are likelier lost or dead."""
        rng = self.rng
        last = len(self.strip)
        shape = rng.choice((0.0, 0.3, 1.0))
        years = {s: max(0.05, (last - s) / last * rng.uniform(2, 8)) for s in range(last)}
        hazard = {k: years[self.place[k][0]] ** shape for k in self.keys}
        mean = sum(hazard.values()) / len(hazard)
        self.wear = {k: h / mean for k, h in hazard.items()}
        self.applied = {k: DAY - datetime.timedelta(days=int(365 * years[self.place[k][0]]))
                        for k in self.keys}
        self.applied_given = rng.random() < 0.7
        self.lost = []  # devices that the register says were lost before: animal, code, on, off
        if self.applied_given and rng.random() < 0.4:
            for i, key in enumerate(self.keys):
                if rng.random() < 0.08 * self.wear[key]:
                    on = self.applied[key] - datetime.timedelta(days=rng.randrange(100, 1500))
                    self.lost.append((key, f"999{5 * 10**8 + i:012d}", on, self.applied[key]))

    def mobs(self):
        rng = self.rng
        count = rng.choice((1, 1, 2, 3, 5))
        weights = [rng.uniform(0.3, 1) for _ in range(count)]
        self.mob = {k: f"m{rng.choices(range(count), weights)[0]}" for k in self.keys}
        for kid, dam in self.dam.items():
            self.mob[kid] = self.mob[dam]
        self.mob_given = count > 1 or rng.random() < 0.5
        self.mixing = rng.choice(("blocks", "sticky", "mixed"))

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

    def ordered(self, key):
        """A replacement ordered with the number of the lost one."""
        rng = self.rng
        high = rng.randrange(200, 300) * 10**5
        if self.start_digits:
            return f"999{high + int(self.number[key][-5:]):012d}", self.number[key]
        return f"999{high + rng.randrange(10**5):012d}", self.number[key]

    def new_code(self, key):
        """A device put on without a note: its code, and the number that people call for it."""
        rng = self.rng
        spare = [u for u in self.unused if u]
        if spare and rng.random() < 0.8:
            code, printed = rng.choice(spare).pop(0)
            return code, self.number[key] if rng.random() < 0.6 else printed
        if rng.random() < 0.5:
            code, printed = self.ordered(key)
            self.extra.append((code, printed))
            return code, printed
        return f"999{rng.randrange(10**6, 10**8):012d}", self.number[key]

    def fate(self, key):
        rng, roll = self.rng, self.rng.random()
        if key in self.touched:
            return "plain"
        for kind in ("absent", "new", "dead"):
            roll -= self.rate[kind] * (1 if kind == "absent" else self.wear[key])
            if roll < 0:
                return kind
        return "plain"

    def call(self, number, code, key=None):
        """Call a number, now and then misread."""
        rng = self.rng
        said = number
        if rng.random() < self.rate["misread"] and key not in self.touched:
            said = misread(rng, number, self.taste)
        elif rng.random() < self.rate["slip"] and key not in self.touched:
            said = self.said[rng.choice(self.keys)]
        self.calls.append((len(self.reads), said, code))
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

    def order(self):
        """Mobs one after another, mixed, or in clumps; kids at foot of their dams or not."""
        rng = self.rng
        order = list(self.keys)
        rng.shuffle(order)
        if self.mixing == "blocks":
            order.sort(key=lambda k: self.mob[k])
        elif self.mixing == "sticky":
            rest, order = collections.defaultdict(list), []
            for key in rng.sample(self.keys, self.n):
                rest[self.mob[key]].append(key)
            mob = next(iter(rest))
            while rest:
                if mob not in rest or rng.random() < 0.15:
                    mob = rng.choices(list(rest), [len(v) for v in rest.values()])[0]
                order.append(rest[mob].pop())
                if not rest[mob]:
                    del rest[mob]
        if rng.random() < 0.5:  # kids at foot
            kids = collections.defaultdict(list)
            for kid, dam in self.dam.items():
                kids[dam].append(kid)
            order = [x for key in order if key not in self.dam for x in [key, *kids[key]]]
        return order

    def walk(self):
        rng = self.rng
        self.reads, self.calls, self.heads, self.extra = [], [], 0, []
        order = self.order()
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
            self.calls.append((len(self.reads), self.letters + f"{rng.randrange(1, 9999):04d}", code))

    # --- files ---

    def read_as(self, code):
        """As the reader gives it: 15 digits, or all 64 bits where codes carry a start digit."""
        if not self.start_digits or not code.startswith("999"):
            return code
        return f"{1 << 63 | 8 << 50 | 999 << 38 | int(code[3:]):016X}"

    def clock(self, i, after=0.0):
        t = datetime.datetime(DAY.year, DAY.month, DAY.day, 8) + datetime.timedelta(
            seconds=4 * i + after)
        return t.isoformat(timespec="milliseconds") + "Z"

    def write_register(self, path):
        with open(path, "w") as out:
            cols = [] if self.no_keys else ["animal", "dam"]
            cols += ["mob"] * self.mob_given + ["applied", "removed"] * self.applied_given
            out.write(",".join(cols + ["eid", "visual"]) + "\n")
            rows = [(k, self.code[k], self.said[k], self.applied[k], "") for k in self.keys]
            if not self.no_keys:
                rows += [(k, c, "", on, off) for k, c, on, off in self.lost]
            if self.two_devices and not self.no_keys:
                rows += [(k, "", self.said[k], self.applied[k], "") for k in self.keys]
            for key, code, number, on, off in rows:
                cell = {"animal": key, "dam": self.dam.get(key, ""), "mob": self.mob[key],
                        "applied": on, "removed": off}
                out.write(",".join([str(cell[c]) for c in cols] + [code, number]) + "\n")

    def write_events(self, path):
        with open(path, "w") as out:
            calls = collections.defaultdict(list)
            for at, number, code in self.calls:
                calls[at].append((number, code))
            for i in range(len(self.reads) + 1):
                if i:
                    self.line(out, i, 0.0, {"reading": self.read_as(self.reads[i - 1])})
                for number, code in calls[i]:
                    said = {"sighting": number, **({"with": code} if code else {})}
                    self.line(out, i, 1.5, said)

    def line(self, out, i, after, what):
        stamp = {"t": self.clock(i, after)} if self.times else {}
        out.write(json.dumps({**stamp, "lane": "1", **what}) + "\n")

    def write_lists(self, d):
        times = ("time,", lambda i, after: self.clock(i, after) + ",")
        head, stamp = times if self.times else ("", lambda i, after: "")
        with open(f"{d}/c.csv", "w") as out:
            out.write(head + "eid\n" + "".join(
                f"{stamp(i + 1, 0)}{self.read_as(c)}\n" for i, c in enumerate(self.reads)))
        with open(f"{d}/s.csv", "w") as out:
            out.write(head + "visual,with\n" + "".join(
                f"{stamp(i, 1.5)}{v},{c}\n" for i, v, c in self.calls))
        return ["--readings", f"{d}/c.csv", *(["--sightings", f"{d}/s.csv"] if self.calls else [])]

    def write(self, d):
        self.write_register(f"{d}/r.csv")
        args = ["--register", f"{d}/r.csv"]
        if self.as_events:
            self.write_events(f"{d}/e.ndjson")
            args += ["--events", f"{d}/e.ndjson"]
        else:
            args += self.write_lists(d)
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
