"""What explaining is worth and what it costs: calibration, many faults, inputs no yard would give.

usage: explain.py BUILD; also called by `run`.
"""
import os
import random
import statistics
import subprocess
import sys
import tempfile
import time

sys.dont_write_bytecode = True
import calibrate

ROUNDS = 3


def code(n):
    return f"999{n:012d}"


def write(d, animals, reads, calls, stock=()):
    """The files of one muster. animals: (number, mob), of which number k wears code k."""
    with open(f"{d}/r.csv", "w") as out:
        out.write("animal,mob,eid,visual\n")
        out.writelines(f"A{k},{m},{code(k)},{v}\n" for k, (v, m) in enumerate(animals, 1))
    with open(f"{d}/c.csv", "w") as out:
        out.write("eid\n" + "".join(f"{code(c)}\n" for c in reads))
    with open(f"{d}/s.csv", "w") as out:
        out.write("visual,with\n" + "".join(f"{v},{code(c) if c else ''}\n" for v, c in calls))
    with open(f"{d}/k.csv", "w") as out:
        out.write("strip,position,eid,visual\n")
        out.writelines(f"S,{p},{code(c)},{v}\n" for p, (c, v) in enumerate(stock, 1))


def spent(build, d, stock=False):
    """Seconds of the whole command, median, and its memory in megabytes."""
    argv = [f"{build}/lugmark", "reconcile", "--register", f"{d}/r.csv", "--readings",
            f"{d}/c.csv", "--sightings", f"{d}/s.csv", "--explain", "--json"]
    argv += ["--stock", f"{d}/k.csv"] if stock else []
    walls, memory = [], 0.0
    for _ in range(ROUNDS):
        with open(f"{d}/out.json", "w") as out:
            begin = time.monotonic()
            pid = subprocess.Popen(argv, stdout=out)
            _, status, usage = os.wait4(pid.pid, 0)
            pid.returncode = os.waitstatus_to_exitcode(status)
            walls.append(time.monotonic() - begin)
        if pid.returncode != 1:
            sys.exit(f"explain: exit {pid.returncode}")
        memory = max(memory, usage.ru_maxrss / 1024)
    return statistics.median(walls), memory


def flock(rng, n):
    numbers = rng.sample(range(10 ** 6), n)
    return [(f"{v:06d}", f"m{k % 7}") for k, v in enumerate(numbers)]


def faulty(d, n, share, seed=1):
    """A flock of n: of so many each tenth thing went wrong in another way."""
    rng = random.Random(seed)
    animals = flock(rng, n)
    order, reads, calls = list(range(1, n + 1)), [], []
    rng.shuffle(order)
    for k in order:
        number = animals[k - 1][0]
        fault = rng.randrange(6) if rng.random() < share else None
        new = n + k
        if fault == 0:
            continue                                        # absent
        if fault == 1:
            calls.append((number, 0))                       # dead code
            continue
        if fault in (2, 3):                                 # new device, called or not
            reads.append(new)
            if fault == 2:
                calls.append((number, new))
            continue
        reads.append(k)
        if fault == 4:                                      # misread
            calls.append((number[:-1] + "17863045920"["0123456789".index(number[-1])], k))
        if fault == 5:
            reads.append(10 ** 9 + k)                       # a stranger beside it
    write(d, animals, reads, calls)


def all_unknown(d, n, called, alike=False):
    """n missing and n codes of nobody; half the codes called. alike: one number for all."""
    rng = random.Random(2)
    animals = [("7", "")] * n if alike else flock(rng, n)
    reads = [n + k for k in range(1, n + 1)]
    calls = [(animals[k - 1][0], n + k) for k in range(1, n + 1) if called and k % 2]
    write(d, animals, reads, calls, [(n + k, "") for k in range(1, n + 1)])


def bench(build, directory, row, quick=False):
    calibrate.bench(build, row, quick)
    d = tempfile.mkdtemp(dir=directory, prefix="explain")
    for name, called in (("", True), (", no number called", False)):
        all_unknown(d, 2000, called)
        for stock in (False, True):
            wall, _ = spent(build, d, stock)
            what = f"explain 2,000 codes x 2,000 missing{name}{', supply list' if stock else ''}"
            row(what, f"{wall:.2f} s", "1 s", wall, "< 1", wall < 1)
    faulty(d, 100000, 0.01)
    wall, memory = spent(build, d)
    row("explain 100,000 animals, 1 % faults", f"{wall:.2f} s", "2 s", wall / 2, "< 1", wall < 2)
    row("  its memory", f"{memory:.0f} MB", "200 MB", memory / 200, "< 1", memory < 200)
    last = None
    for share in (0.005, 0.01, 0.02, 0.04, 0.08):
        faulty(d, 100000, share)
        wall, _ = spent(build, d)
        faults = int(100000 * share)
        if last:  # twice the faults: near twice the time at most
            row(f"  {faults:,} faults in 100,000", f"{wall:.2f} s", f"half of them {last:.2f} s",
                wall / last, "<= 2.5", wall <= 2.5 * last)
        last = wall
    for n in (5000,) if quick else (5000, 20000):
        all_unknown(d, n, True, alike=True)
        wall, memory = spent(build, d)
        row(f"explain {n:,} missing of one number, {n:,} codes", f"{wall:.2f} s", "20 s",
            wall / 20, "< 1", wall < 20 and memory < 500)


def main():
    rows = []
    with tempfile.TemporaryDirectory(prefix="lugmark-explain-") as d:
        bench(os.path.abspath(sys.argv[1]), d, lambda *r: rows.append(r))
    for work, ours, peer, ratio, goal, good in rows:
        print(f"{work:62} {ours:>10} {peer:>24} {ratio:7.2f} {goal:>6}  {'yes' if good else 'NO'}")
    sys.exit(0 if all(r[-1] is not False for r in rows) else 1)


if __name__ == "__main__":
    main()
