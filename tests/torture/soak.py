#!/usr/bin/env python3
"""Race days at 50 times their speed: memory, descriptors and the growth of the register.

usage: soak.py [SECONDS]      (LUGMARK_BUILD: folder of the programs)

A day: a session is opened, 400 animals pass two lanes at one every 4 seconds (80 ms here), each read
three times; calls, head counts, a register change, a client that comes and goes, a reader that is
unplugged; then it is closed. After a warm-up (a quarter of the time, at least 16 days) memory may
not grow by more than 1 MB, and no descriptor may be left. Exit status 1 otherwise.
"""
import os
import subprocess
import sys
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "system"))
from yard import LUGMARK, Yard  # noqa: E402

ANIMALS, READS = 400, 3
SECONDS = float(sys.argv[1]) if len(sys.argv) > 1 else float(os.environ.get("SECONDS", 3600))
# A short soak goes faster, so that it sees as many days: what the page keeps of the latest lines
# (16,384 of them) is full only after two weeks.
SPEED = float(os.environ.get("LUGMARK_SPEED", 50 if SECONDS >= 1800 else 50 * 1800 / SECONDS))
EVERY = 4.0 / SPEED
WARM_DAYS = 16
REGISTER = ("animal,species,sex,mob,status,form,place,colour,official,eid,visual\n"
            + "".join(f"A{n},goat,female,does,on-farm,flag tag,left ear,yellow,yes,"
                      f"9990000000{n:05d},{n:04d}\n" for n in range(1, ANIMALS + 1)))


def rss_kib(pid):
    with open(f"/proc/{pid}/smaps_rollup", encoding="ascii") as f:
        for line in f:
            if line.startswith("Private_Dirty:"):
                return int(line.split()[1])
    raise AssertionError("no memory figure")


def descriptors(pid):
    return len(os.listdir(f"/proc/{pid}/fd"))


class Day:
    """One day after the other, in small steps."""

    def __init__(self, yard, clients):
        self.y, self.watcher, self.actor = yard, *clients
        self.days = self.animal = self.told = 0
        self.next = time.monotonic()

    def drain(self):
        """What the watcher is told; a pipe that is never read would end it."""
        self.watcher.socket.setblocking(False)
        try:
            while got := self.watcher.socket.recv(262144):
                self.told += got.count(b'"event":"verdict"')
        except BlockingIOError:
            pass

    def must(self, answer):
        assert answer["ok"], answer

    def step(self):
        if self.animal == 0:
            self.must(self.actor.ask("open", kind="walk", mob="does"))
        self.animal += 1
        port = self.y.ports[("front", "back")[self.animal % 2]]
        code = f"9990000000{self.animal:05d}"
        if self.animal % 50 == 0:
            code = f"99900000{90000 + self.animal:07d}"      # a stranger
        port.read(*[code] * READS)
        if self.animal % 40 == 0:
            self.must(self.actor.ask("saw", number=f"{self.animal:04d}"))
            late = self.y.client(watch=True, after=0)          # catches up and leaves
            late.close()
            self.y.clients.remove(late)
        if self.animal == 200:
            self.change()
        if self.animal == ANIMALS:
            self.must(self.actor.ask("head", n=ANIMALS))
            self.actor.ask("findings")
            self.must(self.actor.ask("close"))
            self.animal = 0
            self.days += 1
        self.drain()
        self.actor.stream.clear()
        self.actor.heard.clear()

    def change(self):
        breed = ("boer", "alpine")[self.days % 2]
        subprocess.run([LUGMARK, "edit", "--db", self.y.db, "A7", "--breed", breed], check=True,
                       stdout=subprocess.DEVNULL, timeout=60)
        port = self.y.ports["front"]
        port.unplug()
        port.plug()

    def run(self, seconds):
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            self.next = max(self.next + EVERY, time.monotonic() - 1)
            time.sleep(max(0.0, self.next - time.monotonic()))
            self.step()


def settle(day):
    """To the end of a day, so that like is compared with like."""
    while day.animal != 0:
        day.step()
    time.sleep(2.5)
    day.drain()


def main():
    seconds = SECONDS
    y = Yard(REGISTER, readers=("front", "back"))
    y.replays = False
    y.start()
    day = Day(y, (y.client(watch=True), y.client()))
    day.run(min(600, seconds / 4))
    while day.days < WARM_DAYS:
        day.step()
    settle(day)
    pid = y.process.pid
    memory, files = rss_kib(pid), descriptors(pid)
    size, events = os.path.getsize(y.db), y.rows("SELECT max(seq) FROM event")[0][0]
    warm, most = day.days, memory
    end = time.monotonic() + seconds * 3 / 4
    while time.monotonic() < end or day.days < warm + 2:
        day.run(max(0.0, min(30.0 * 50 / SPEED, end - time.monotonic())))
        settle(day)
        if "LUGMARK_TREND" in os.environ:
            print(day.days, rss_kib(pid), descriptors(pid), flush=True)
        most = max(most, rss_kib(pid))
    left, grown = descriptors(pid) - files, rss_kib(pid) - memory
    y.stop()                     # all is in the one file then
    bytes_ = os.path.getsize(y.db)
    more = y.rows("SELECT max(seq) FROM event")[0][0] - events
    pages = y.rows("SELECT name, sum(pgsize) FROM dbstat GROUP BY name ORDER BY 2 DESC LIMIT 3")
    print(f"{day.days} days, {events + more} events: memory {memory} KiB after {warm} days, "
          f"{grown:+d} KiB at the end (most {most - memory:+d}), descriptors {left:+d}, register "
          f"{bytes_ / (events + more):.0f} bytes an event ("
          + ", ".join(f"{name} {n // 1024} KiB" for name, n in pages) + ")")
    verify = y.lugmark("verify", good=False)
    y.close()
    bad = []
    if grown > 1024 or most - memory > 1024:
        bad.append("memory grows")
    if left != 0:
        bad.append("descriptors are left open")
    if bytes_ / (events + more) > 200:
        bad.append("the register grows faster than its events explain")
    if verify.returncode != 0:
        bad.append("the register is not sound: " + verify.stdout)
    print("; ".join(bad) or "flat", f"(file {size} bytes at the start of the measurement)")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
