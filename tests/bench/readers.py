#!/usr/bin/env python3
"""Eight readers that never pause: does the daemon keep every line, and what does it cost?

usage: readers.py BUILD [--quick]
Each reader is a pseudo-terminal that gives 11,520 bytes a second, which is 115,200 baud, in the
pieces that a USB bridge makes of them (its latency timer is 16 ms). Each has its own animals, which
come by in turn, as the tags at an antenna do.
"""
import json
import os
import select
import shutil
import socket
import sqlite3
import subprocess
import sys
import tempfile
import time
import tty

sys.dont_write_bytecode = True
import own

READERS = 8
ANIMALS = 50          # to each reader
BYTES_A_SECOND = 11520
PIECE_S = 0.016
WARM_S = 5            # by then the caches of the register have their size
TICK = os.sysconf("SC_CLK_TCK")


def code(reader, n):
    return f"999{reader * 1000 + n:012d}"


def write_files(base):
    with open(f"{base}/register.csv", "w", encoding="ascii") as out:
        out.write("animal,mob,eid,visual\n")
        for r in range(READERS):
            for n in range(ANIMALS):
                out.write(f"R{r}N{n},does,{code(r, n)},{r * 1000 + n:04d}\n")
    with open(f"{base}/conf", "w", encoding="ascii") as out:
        for r in range(READERS):
            out.write(f"[reader r{r}]\nlane = {r}\nport = {base}/port{r}\nline = 115200 8N1\n")


def make_port(path):
    master, slave = os.openpty()
    tty.setraw(slave)
    os.set_blocking(master, False)
    os.symlink(os.ttyname(slave), path)
    return master, slave


def ask(path, verb):
    with socket.socket(socket.AF_UNIX) as s:
        s.settimeout(20)
        s.connect(path)
        lines = s.makefile("rwb")
        lines.readline()
        lines.write(json.dumps({"do": verb, "kind": "walk"}).encode() + b"\n")
        lines.flush()
        return json.loads(lines.readline())


def until(what, seconds=20):
    end = time.monotonic() + seconds
    while True:
        try:
            if what():
                return
        except OSError:
            pass
        if time.monotonic() > end:
            sys.exit("readers.py: the daemon did not get so far")
        time.sleep(0.05)


def usage(pid):
    """Processor seconds and resident kilobytes of a process."""
    with open(f"/proc/{pid}/stat", encoding="ascii") as stat:
        fields = stat.read().rsplit(")", 1)[1].split()
    with open(f"/proc/{pid}/status", encoding="ascii") as status:
        rss = next(int(line.split()[1]) for line in status if line.startswith("VmRSS"))
    return (int(fields[11]) + int(fields[12])) / TICK, rss


class Sender:
    """Bytes of one reader, at the pace of its line and never a byte more."""

    def __init__(self, number, master):
        self.master = master
        self.lines = b"".join(code(number, n).encode() + b"\r\n" for n in range(ANIMALS))
        self.sent = 0

    def send(self, due):
        while self.sent < due:
            at = self.sent % len(self.lines)
            piece = self.lines[at:at + due - self.sent]
            try:
                self.sent += os.write(self.master, piece)
            except BlockingIOError:
                return  # the port is full: the daemon is late, and the next piece is longer

    def finish(self):
        """End with a whole line, and wait until all of it was taken."""
        whole = len(self.lines) // ANIMALS
        due = -(-self.sent // whole) * whole
        while self.sent < due:
            select.select([], [self.master], [], 5)
            self.send(due)
        return self.sent // whole


def run(build, base, seconds):
    """Lines sent, readings kept, processor share of one core, growth in kilobytes."""
    write_files(base)
    ports = [make_port(f"{base}/port{r}") for r in range(READERS)]
    env = dict(os.environ, LUGMARK_DB=f"{base}/register.db", LUGMARK_SOCKET=f"{base}/socket")
    for argv in (["init"], ["import", f"{base}/register.csv"]):
        subprocess.run([f"{build}/lugmark", *argv], env=env, check=True,
                       stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    daemon = own.start([f"{build}/lugmarkd", "--config", f"{base}/conf", "--foreground"], env=env,
                       stdin=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        until(lambda: all(r["state"] == "live" for r in ask(f"{base}/socket", "readers")["readers"]))
        ask(f"{base}/socket", "open")
        senders = [Sender(r, master) for r, (master, _) in enumerate(ports)]
        begin, turn, first = time.monotonic(), 0, None
        while (now := time.monotonic() - begin) < WARM_S + seconds:
            senders[turn % READERS].send(int(now * BYTES_A_SECOND))
            turn += 1
            if first is None and now > WARM_S:
                first = now, usage(daemon.pid)
            # each reader has its own moment: nothing comes together that could be kept together
            time.sleep(max(0, begin + turn * PIECE_S / READERS - time.monotonic()))
        cpu, rss = usage(daemon.pid)
        share = (cpu - first[1][0]) / (now - first[0])
        lines = sum(s.finish() for s in senders)
        until(lambda: ask(f"{base}/socket", "status")["tally"]["readings"] == lines)
    finally:
        own.end(daemon)
        for fd in (fd for pair in ports for fd in pair):
            os.close(fd)
    with sqlite3.connect(f"file:{base}/register.db?mode=ro", uri=True) as db:
        kept = db.execute("SELECT count(*) FROM event WHERE kind = 0").fetchone()[0]
        wrong = db.execute("SELECT count(*) FROM event WHERE kind = 0 AND doubt <> 0").fetchone()[0]
    return lines, kept - wrong, share, rss - first[1][1]


def bench(build, directory, row, quick=False):
    """Run it and hand three rows to the table of tests/bench/run."""
    base = os.path.join(directory, "readers")
    os.mkdir(base)
    seconds = 5 if quick else 60
    lines, kept, share, growth_kb = run(build, base, seconds)
    row(f"{READERS} readers at 115200 baud, {seconds} s: kept", f"{kept:,}", f"{lines:,} sent",
        kept / lines, "= 1", kept == lines)
    row("  the daemon's processor time", f"{share:.3f} core", "0.25 core", share / 0.25, "< 1",
        share < 0.25)
    row("  the daemon's memory grew by", f"{growth_kb} kB", "1024 kB", growth_kb / 1024, "< 1",
        growth_kb < 1024)


def main():
    build = os.path.abspath(sys.argv[1])
    directory = tempfile.mkdtemp(prefix="lugmark-readers.")
    good = []

    def row(work, ours, limit, ratio, goal, met):
        good.append(met)
        print(f"{work:45} {ours:>12} {limit:>16} {ratio:7.2f} {goal:>6}  {'yes' if met else 'NO'}")
    try:
        bench(build, directory, row, "--quick" in sys.argv)
    finally:
        shutil.rmtree(directory, ignore_errors=True)
    sys.exit(0 if all(good) else 1)


if __name__ == "__main__":
    main()
