"""Importing a register against the sqlite3 shell's .import of the same file into one table.

That table has the same indexes as the register has of this file: by name, by code, by number.

Both write a new file on the same disk, which is on the disk when they end; they take turns.
"""
import os
import random
import statistics
import subprocess
import time

ROUNDS = 5

PEER = """.mode csv
CREATE TABLE r(animal TEXT, species TEXT, sex TEXT, born TEXT, mob TEXT, form TEXT, official TEXT,
 eid TEXT, visual TEXT);
CREATE UNIQUE INDEX r_animal ON r(animal);
CREATE UNIQUE INDEX r_eid ON r(eid);
CREATE INDEX r_visual ON r(visual);
.import --skip 1 {csv} r
"""


def write_flock(path, n):
    rng = random.Random(11)
    codes = list(range(1, n + 1))
    rng.shuffle(codes)
    with open(path, "w") as out:
        out.write("animal,species,sex,born,mob,form,official,eid,visual\n")
        for c in codes:
            out.write(f"A{c},goat,female,2024-{c % 12 + 1:02d}-{c % 28 + 1:02d},m{c % 7},flag tag,yes,"
                      f"999{c:012d},{c:07d}\n")


def once(argv, stdin=None):
    begin = time.monotonic()
    subprocess.run(argv, stdin=stdin, stdout=subprocess.DEVNULL, check=True)
    return time.monotonic() - begin


def bench(build, directory, row, n=100000):
    flock, script = os.path.join(directory, "flock.csv"), os.path.join(directory, "import.sql")
    write_flock(flock, n)
    with open(script, "w") as out:
        out.write(PEER.format(csv=flock))
    ours, peer = [], []
    for i in range(ROUNDS):
        mine, theirs = (os.path.join(directory, f"{who}{i}.db") for who in ("ours", "peer"))
        subprocess.run([f"{build}/lugmark", "init", "--db", mine], stdout=subprocess.DEVNULL,
                       check=True)
        ours.append(once([f"{build}/lugmark", "import", "--db", mine, flock]))
        with open(script) as sql:
            peer.append(once(["sqlite3", theirs], stdin=sql))
        count = subprocess.run(["sqlite3", theirs, "SELECT count(*) FROM r"], text=True,
                               stdout=subprocess.PIPE, check=True).stdout
        if int(count) != n:
            raise SystemExit(f"the peer took {count.strip()} rows, not {n}")
    a, b = statistics.median(ours), statistics.median(peer)
    row(f"import of {n:,} animals", f"{a:.2f} s", f"sqlite3 .import {b:.2f} s", a / b, "<= 2",
        a <= 2 * b)
