"""`lugmark reconcile` on a million devices and a million readings, and what else could do it.

Each peer gets the same two files and writes who is missing, who was read more often than once, and
which codes nobody has. They take turns. The floor (floor.c) does that and nothing else; the others
are what a person with data at hand would use. DuckDB's time is taken inside node, so that the start
of node is no part of it.
"""
import concurrent.futures
import json
import os
import random
import shutil
import statistics
import subprocess
import sys
import time

HERE = os.path.dirname(os.path.abspath(__file__))
WORK = "reconcile 1,000,000 devices + readings"

SQL = """.mode csv
.import {register} r
CREATE INDEX r_eid ON r(eid);
.import {readings} s
CREATE INDEX s_eid ON s(eid);
.output {out}
SELECT animal, eid, visual FROM r WHERE eid NOT IN (SELECT eid FROM s);
SELECT animal, eid, visual, n FROM r JOIN
 (SELECT eid, count(*) AS n FROM s GROUP BY eid HAVING n > 1) USING (eid);
SELECT DISTINCT eid FROM s WHERE eid NOT IN (SELECT eid FROM r);
"""

SHELL = """export LC_ALL=C
tail -n +2 {register} | sort -t, -k3,3 > {d}/r.sorted
tail -n +2 {readings} | sort > {d}/s.sorted
{{ join -t, -1 3 -v1 {d}/r.sorted {d}/s.sorted
uniq -d {d}/s.sorted | join -t, -1 3 {d}/r.sorted -
uniq {d}/s.sorted | join -t, -1 3 -v2 {d}/r.sorted -; }} > {d}/join.out
"""

GAWK = """FNR == 1 { next }
NR == FNR { line[$3] = $1 "," $3 "," $4; next }
{ if ($1 in line) n[$1]++; else print "unmatched," $1 }
END { for (c in line) if (!(c in n)) print "missing," line[c];
 else if (n[c] > 1) print "duplicate," line[c] "," n[c] }
"""

PYTHON = """import csv, sys
with open(sys.argv[1], newline="") as f:
    rows = {row["eid"]: row for row in csv.DictReader(f)}
seen = dict.fromkeys(rows, 0)
out = csv.writer(sys.stdout)
with open(sys.argv[2], newline="") as f:
    for row in csv.DictReader(f):
        if row["eid"] in seen:
            seen[row["eid"]] += 1
        else:
            out.writerow(["unmatched", row["eid"]])
for code, n in seen.items():
    if n != 1:
        row = rows[code]
        out.writerow(["duplicate" if n else "missing", row["animal"], code, row["visual"], n])
"""


def write_flock(directory, n):
    """1 % missing, 2 % read again, 1 % nobody's; both files in no order."""
    rng = random.Random(7)
    codes = list(range(1, n + 1))
    register = os.path.join(directory, f"register-{n}.csv")
    readings = os.path.join(directory, f"readings-{n}.csv")
    with open(register, "w", encoding="ascii") as out:
        out.write("animal,mob,eid,visual\n")
        rng.shuffle(codes)
        for c in codes:
            out.write(f"A{c},does,999{c:012d},{c:07d}\n")
    read = codes[n // 100:] + rng.sample(codes[n // 100:], n // 50) + [
        n + i for i in range(1, n // 100 + 1)]
    rng.shuffle(read)
    with open(readings, "w", encoding="ascii") as out:
        out.write("eid\n")
        for c in read:
            out.write(f"999{c:012d}\n")
    return register, readings


def timed(argv, stdin=None, out=None):
    """Wall seconds, processor seconds and peak megabytes of one command and its children."""
    begin = time.monotonic()
    with open(out or os.devnull, "w", encoding="ascii") as sink:
        pid = subprocess.Popen(argv, stdin=stdin, stdout=sink)
        _, status, usage = os.wait4(pid.pid, 0)
    pid.returncode = os.waitstatus_to_exitcode(status)
    return (time.monotonic() - begin, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024,
            pid.returncode)


def duckdb(build):
    """Where the package lies, fetched if need be; None when it cannot be had."""
    home = f"{build}/bench/duckdb"
    package = f"{home}/node_modules/@duckdb/node-api/package.json"
    if not os.path.exists(package) and shutil.which("npm"):
        os.makedirs(home, exist_ok=True)
        try:
            subprocess.run(["npm", "install", "--silent", "--no-audit", "--no-fund", "--prefix",
                            home, "@duckdb/node-api"], cwd=home, timeout=300, check=False,
                           stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        except subprocess.TimeoutExpired:
            pass
    if not os.path.exists(package):
        return None
    shutil.copy(f"{HERE}/duckdb.mjs", home)
    return home


def peers(build, directory, register, readings):
    """By name: a function that runs it once and returns its seconds, or None without the tool."""
    def write(name, text):
        with open(f"{directory}/{name}", "w", encoding="ascii") as out:
            out.write(text)
        return f"{directory}/{name}"

    sql = write("peer.sql", SQL.format(register=register, readings=readings,
                                       out=f"{directory}/sqlite.out"))
    shell = write("peer.sh", SHELL.format(register=register, readings=readings, d=directory))
    gawk, python = write("peer.awk", GAWK), write("peer.py", PYTHON)
    duck = duckdb(build)

    def sqlite():
        with open(sql, encoding="ascii") as script:
            return timed(["sqlite3", ":memory:"], stdin=script)[0]

    def duck_threads(threads):
        text = subprocess.run(["node", f"{duck}/duckdb.mjs", register, readings, str(threads),
                               directory], check=True, stdout=subprocess.PIPE, text=True).stdout
        return json.loads(text)["seconds"]

    def plain(*argv):
        return lambda: timed(list(argv), out=f"{directory}/peer.out")[0]

    return {
        "C floor": plain(f"{build}/bench/floor", register, readings),
        "DuckDB, 1 thread": (lambda: duck_threads(1)) if duck else None,
        "DuckDB, 2 threads": (lambda: duck_threads(2)) if duck else None,
        "sort + join": plain("sh", shell) if shutil.which("join") else None,
        "gawk": plain("gawk", "-F,", "-f", gawk, register, readings)
                if shutil.which("gawk") else None,
        "Python csv and dict": plain(sys.executable, python, register, readings),
        "sqlite3 shell": sqlite if shutil.which("sqlite3") else None,
    }


def flock_of(directory, n):
    """Written by another process: a program that we start is charged with what we ourselves hold."""
    with concurrent.futures.ProcessPoolExecutor(1) as pool:
        return pool.submit(write_flock, directory, n).result()


def ours(build, register, readings, directory):
    return timed([f"{build}/lugmark", "reconcile", "--register", register, "--readings", readings,
                  "--json"], out=f"{directory}/ours.json")


def check_same(directory):
    """The floor and we must have found the same, or the race is worth nothing."""
    with open(f"{directory}/ours.json", encoding="utf-8") as text:
        counts = json.load(text)["counts"]
    kinds = {"missing": 0, "duplicate": 0, "unmatched": 0}
    with open(f"{directory}/floor.out", encoding="ascii") as text:
        for line in text:
            kinds[line.split(",", 1)[0]] += 1
    for kind, n in kinds.items():
        if counts[kind] != n:
            raise SystemExit(f"bench: floor says {n} {kind}, lugmark {counts[kind]}")


def bench(build, directory, row, rounds, quick):
    register, readings = flock_of(directory, 1000000)
    others = peers(build, directory, register, readings)
    took = {name: [] for name, run in others.items() if run}
    mine, memory = [], 0
    for _ in range(rounds):
        wall, _, rss, _ = ours(build, register, readings, directory)
        mine.append(wall)
        memory = max(memory, rss)
        for name in took:
            took[name].append(others[name]())
    timed([f"{build}/bench/floor", register, readings], out=f"{directory}/floor.out")
    check_same(directory)
    a = statistics.median(mine)
    work = WORK
    for name, run in others.items():
        goal, bound = ("<= 1.25", 1.25) if name == "C floor" else ("< 1", 1.0)
        if not run:
            row(work, f"{a:.2f} s", f"{name}: not to be had", None, goal, False)
            continue
        b = statistics.median(took[name])
        row(work, f"{a:.2f} s", f"{name} {b:.2f} s", a / b, goal,
            a <= bound * b if name == "C floor" else a < b)
        work = ""
    row("  its memory", f"{memory:.0f} MB", "150 MB", memory / 150, "< 1", memory < 150)
    if not quick:
        growth(build, directory, row, a, memory)


def growth(build, directory, row, small, small_memory):
    """Ten times as many, against itself: three rounds, for it is long."""
    register, readings = flock_of(directory, 10000000)
    runs = [ours(build, register, readings, directory) for _ in range(3)]
    wall, memory = statistics.median(r[0] for r in runs), max(r[2] for r in runs)
    row("  10 million of each: time", f"{wall:.2f} s", f"1 million {small:.2f} s", wall / small,
        "<= 12", wall <= 12 * small)
    row("  10 million of each: memory", f"{memory:.0f} MB", f"1 million {small_memory:.0f} MB",
        memory / small_memory, "<= 11", memory <= 11 * small_memory)
    os.remove(register)
    os.remove(readings)
