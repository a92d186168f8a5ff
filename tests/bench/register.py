"""A register of a million animals: opening a session, finding a part of a number, the daemon."""
import os
import random
import re
import statistics
import subprocess
import sqlite3
import time

import own
import race
import reconcile

SEARCHES = 100


def rss_of(pid):
    with open(f"/proc/{pid}/status", encoding="ascii") as status:
        found = dict(re.findall(r"(VmRSS|VmHWM):\s+(\d+)", status.read()))
    return int(found["VmHWM"]) / 1024


def p99(seconds):
    return sorted(seconds)[len(seconds) * 99 // 100]


def session(build, directory, env, db, row, rounds):
    reader = [f"{build}/bench/reader", db]
    opened, read, started, memory = [], [], [], 0
    for _ in range(rounds):
        begin = time.monotonic()
        subprocess.run(reader, check=True, stdout=subprocess.DEVNULL)
        read.append(time.monotonic() - begin)
        begin = time.monotonic()
        with own.running([f"{build}/lugmarkd"], env=env, stderr=subprocess.DEVNULL) as daemon:
            race.settle(build, env)
            started.append(time.monotonic() - begin)
            begin = time.monotonic()
            subprocess.run([f"{build}/lugmark", "open", "walk"], env=env, check=True,
                           stdout=subprocess.DEVNULL)
            opened.append(time.monotonic() - begin)
            memory = max(memory, rss_of(daemon.pid))
            subprocess.run([f"{build}/lugmark", "close"], env=env, check=False,
                           stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    a, b, c = (statistics.median(x) for x in (opened, read, started))
    row("open a session on 1,000,000 animals", f"{a:.2f} s", f"SQLite reads all once {b:.2f} s",
        a / b, "<= 2", a <= 2 * b)
    row("  start of the daemon there", f"{c:.2f} s", f"SQLite reads all once {b:.2f} s", c / b,
        "<= 2", c <= 2 * b)
    row("  daemon's memory", f"{memory:.0f} MB", "150 MB", memory / 150, "< 1", memory < 150)


def find(build, env, db, row):
    """Five digits out of the middle of a number. The peer is one statement, in a shell too."""
    rng = random.Random(3)
    ours, peer = [], []
    for _ in range(SEARCHES):
        part = f"{rng.randrange(10**6):06d}"[:rng.choice((5, 6))]
        begin = time.monotonic()
        mine = subprocess.run([f"{build}/lugmark", "find", "--json", part], env=env, check=False,
                              stdout=subprocess.PIPE, stderr=subprocess.DEVNULL).stdout
        ours.append(time.monotonic() - begin)
        begin = time.monotonic()
        theirs = subprocess.run(
            ["sqlite3", "-readonly", db, "SELECT animal_id FROM device WHERE visual LIKE "
             f"'%{part}%' OR printf('%03d%012d', eid >> 38, eid & 274877906943) LIKE '%{part}%'"],
            stdout=subprocess.PIPE, check=True).stdout
        peer.append(time.monotonic() - begin)
        if theirs.strip() and not mine.strip():
            raise SystemExit(f"bench: find did not find {part}")
    a, b = p99(ours), p99(peer)
    row("find part of a number of 1,000,000, p99", f"{a * 1e3:.1f} ms",
        f"sqlite3 LIKE {b * 1e3:.1f} ms", a / b, "< 0.05", a < 0.05 * b)


def bench(build, directory, row, rounds):
    register, _ = reconcile.flock_of(directory, 1000000)
    db = f"{directory}/million.db"
    env = dict(os.environ, LUGMARK_DB=db, LUGMARK_SOCKET=f"{directory}/million.sock")
    for argv in (["init"], ["import", register]):
        subprocess.run([f"{build}/lugmark", *argv], env=env, check=True,
                       stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    find(build, env, db, row)
    session(build, directory, env, db, row, rounds)
    with sqlite3.connect(db) as file:
        if file.execute("SELECT count(*) FROM animal").fetchone()[0] != 1000000:
            raise SystemExit("bench: the register has not a million animals")
