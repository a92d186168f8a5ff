#!/usr/bin/env python3
"""Kill lugmarkd again and again while readings, calls, head counts and register changes come in.

usage: kill.py [KILLS] [SEED]      (LUGMARK_BUILD: folder of the programs)

Whatever was acknowledged - told to a client that follows, answered with ok, or ended with status
0 - must be in the journal exactly once, and an open session must go on. A request whose answer was
lost is sent again with its token, and must not count twice. Prints one line of figures; exit
status 1 and the first thing that is wrong otherwise.
"""
import json
import os
import random
import select
import socket
import subprocess
import sys
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "system"))
from yard import LUGMARK, REGISTER, Yard, code  # noqa: E402

LANES = ("front", "middle", "back")
SESSION_KILLS = 25      # so many lives a session sees before it is closed
AUDIT_KILLS = 50


class Wrong(AssertionError):
    pass


def must(true, what, *more):
    if not true:
        raise Wrong(f"{what}: {more}")


class Line:
    """A connection that never waits."""

    def __init__(self, path):
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self.socket.connect(path)
        self.socket.setblocking(False)
        self.buffer = b""
        self.open = True

    def lines(self):
        while self.open:
            try:
                got = self.socket.recv(262144)
            except BlockingIOError:
                break
            except ConnectionError:
                got = b""
            if not got:
                self.open = False
            self.buffer += got
        *whole, self.buffer = self.buffer.split(b"\n")
        return [json.loads(line) for line in whole]

    def send(self, request):
        try:
            self.socket.sendall(json.dumps(request).encode() + b"\n")
        except OSError:
            self.open = False


class Torture:
    def __init__(self, yard, chance):
        self.y, self.chance = yard, chance
        self.unique = 0          # codes that were sent once only
        self.tokens = 0
        self.pending = None      # a request without an answer
        self.told = {}           # seq: eid, of readings
        self.acked = {}          # token: seq
        self.added = []          # animals whose command ended well
        self.command = None
        self.changes = 0
        self.session = False     # one is open, as far as was acknowledged
        self.watcher = self.actor = None
        self.starts = 0.0
        self.counts = dict.fromkeys(("readings", "requests", "again", "commands", "refused"), 0)

    # --- load ---

    def write_codes(self):
        port = self.y.ports[self.chance.choice(LANES)]
        text = ""
        for _ in range(self.chance.randint(1, 12)):
            if self.chance.random() < 0.5:
                self.unique += 1
                text += f"999000{800000000 + self.unique:09d}\r\n"
            else:
                text += code(self.chance.randint(1, 40)) + "\r\n"
        try:
            os.write(port.master, text.encode())
        except BlockingIOError:
            pass

    def ask(self, request):
        if "token" not in request:
            self.tokens += 1
            request["token"] = f"t{self.tokens}"
        self.pending = request
        self.actor.send(request)

    def act(self):
        if self.pending is not None or not self.session:
            return
        kind = self.chance.random()
        if kind < 0.5:
            self.ask({"do": "saw", "number": f"{self.chance.randint(1, 40):04d}"})
        elif kind < 0.85:
            self.ask({"do": "head", "n": self.chance.randint(0, 99)})
        else:
            self.ask({"do": "undo"})

    def start_command(self):
        if self.command is not None:
            return
        self.changes += 1
        name = f"C{self.changes}"
        argv = [LUGMARK, "add", "--db", self.y.db, "--animal", name, "--visual",
                f"C{self.changes:05d}", "--eid", f"999000{700000000 + self.changes:09d}"]
        self.command = name, subprocess.Popen(argv, stdin=subprocess.DEVNULL,
                                              stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)

    def end_command(self, wait=False):
        if self.command is None or (not wait and self.command[1].poll() is None):
            return
        name, process = self.command
        said = process.communicate()[1].decode()
        self.command = None
        if process.returncode == 0:
            self.added.append(name)
            self.counts["commands"] += 1
        else:
            must(process.returncode in (4, -9), "a command", process.returncode, said)
            self.counts["refused"] += 1

    # --- what comes back ---

    def hear(self):
        for got in self.watcher.lines():
            if got.get("event") == "verdict" and got.get("called") is None:
                must(got["seq"] not in self.told, "told twice", got)
                self.told[got["seq"]] = got["eid"]
                self.counts["readings"] += 1
        for got in self.actor.lines():
            if "ok" not in got:
                continue
            self.answered(got)

    def answered(self, got):
        request, self.pending = self.pending, None
        must(request is not None, "an answer without a question", got)
        if not got["ok"]:
            must(request["do"] == "undo" or got["exit"] == 4, "refused", request, got)
            self.counts["refused"] += 1
            return
        self.acked[request["token"]] = got["seq"]
        self.counts["requests"] += 1
        self.counts["again"] += 1 if got.get("again") else 0
        if request["do"] in ("open", "close"):
            self.session = request["do"] == "open"

    def until_answered(self):
        end = time.monotonic() + 20
        while self.pending is not None:
            select.select([self.actor.socket, self.watcher.socket], [], [], 0.05)
            self.hear()
            must(self.actor.open and time.monotonic() < end, "no answer", self.pending)

    # --- a life ---

    def start(self):
        begin = time.monotonic()
        self.y.start(wait=False)
        while True:
            must(self.y.process.poll() is None, "it ended by itself", self.y.said()[-2000:])
            must(time.monotonic() - begin < 20, "it does not come up", self.y.said()[-2000:])
            try:
                self.actor = Line(self.y.socket)
                greeting = self.first(self.actor)
                self.watcher = Line(self.y.socket)
                self.first(self.watcher)
                break
            except (OSError, EOFError):
                time.sleep(0.001)
        self.starts += time.monotonic() - begin
        if self.pending is None or self.pending["do"] not in ("open", "close"):
            must((greeting["session"] is not None) == self.session, "the session", greeting)
        self.watcher.send({"do": "watch"})

    def first(self, line):
        end = time.monotonic() + 10
        while time.monotonic() < end:
            select.select([line.socket], [], [], 0.5)
            got = line.lines()
            if got:
                return got[0]
            if not line.open:
                raise EOFError
        raise Wrong("no greeting")

    def live(self, seconds):
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            self.write_codes()
            self.act()
            if self.chance.random() < 0.03:
                self.start_command()
            if self.command is not None and self.chance.random() < 0.002:
                self.command[1].kill()
            select.select([self.actor.socket, self.watcher.socket], [], [], 0.001)
            self.hear()
            self.end_command()

    def kill(self):
        self.y.kill()
        for line in (self.actor, self.watcher):
            if line is not None and line.open:
                end = time.monotonic() + 5
                while line.open and time.monotonic() < end:   # what was on its way was told, too
                    select.select([line.socket], [], [], 0.1)
                    self.hear()
        for line in (self.actor, self.watcher):
            if line is not None:
                line.socket.close()
        self.actor = self.watcher = None

    def life(self, number):
        if self.chance.random() < 0.1:      # while it comes up
            self.y.start(wait=False)
            time.sleep(self.chance.random() * 0.01)
            self.y.kill()
            return
        self.start()
        if self.pending is not None:
            self.actor.send(self.pending)   # the answer was lost: once more, with its token
            self.until_answered()
        if not self.session:
            self.ask({"do": "open", "kind": "walk", "mob": "does"})
            self.until_answered()
        elif number % SESSION_KILLS == 0:
            self.ask({"do": "close"})
        if number % AUDIT_KILLS == 0:
            self.end_command(wait=True)
            if self.pending is not None:
                self.until_answered()
            self.audit()
        self.live(self.chance.random() * 0.05)
        self.kill()

    # --- what is there ---

    def audit(self):
        y = self.y
        rows = y.rows("SELECT seq, kind, printf('%03d%012d', (bits >> 38) & 1023, "
                      "bits & 274877906943), token FROM event ORDER BY seq")
        must([r[0] for r in rows] == list(range(1, len(rows) + 1)), "gaps in the journal")
        kept = {r[0]: r for r in rows}
        for seq, eid in self.told.items():
            must(seq in kept and kept[seq][1] == 0 and kept[seq][2] == eid, "told, not kept",
                 seq, eid, kept.get(seq))
        tokens = [(r[3], r[0]) for r in rows if r[3] is not None]
        places = dict(tokens)
        must(len(places) == len(tokens), "a request was carried out twice")
        for token, seq in self.acked.items():
            must(places.get(token) == seq, "answered, not kept", token, seq, places.get(token))
        once = [r[2] for r in rows if r[1] == 0 and r[2] > "999000800000000"]
        must(len(once) == len(set(once)), "a reading is there twice")
        there = dict(y.rows("SELECT a.key, count(*) FROM animal a JOIN event e ON e.animal_id = a.id"
                            " WHERE a.key LIKE 'C%' GROUP BY a.id"))
        for name in self.added:
            must(there.get(name) == 1, "an animal that was added", name, there.get(name))
        done = y.lugmark("verify", good=False)
        must(done.returncode == 0, "verify", done.stdout, done.stderr)
        return len(rows)


def main():
    kills = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else int.from_bytes(os.urandom(3), "big")
    begin = time.monotonic()
    y = Yard(REGISTER, readers=LANES)
    for port in y.ports.values():
        os.set_blocking(port.master, False)
    t = Torture(y, random.Random(seed))
    try:
        for number in range(1, kills + 1):
            t.life(number)
        t.start()
        if t.pending is not None:
            t.actor.send(t.pending)
            t.until_answered()
        t.end_command(wait=True)
        if t.session:
            t.ask({"do": "close"})
            t.until_answered()
        events = t.audit()
        t.actor.socket.close()
        t.watcher.socket.close()
        sessions = y.rows("SELECT count(*) FROM session")[0][0]
        y.close()                 # folds every session again from files, and compares
    except AssertionError as wrong:
        print(f"kill.py: seed {seed}: {wrong}\nregister kept: {y.db}", file=sys.stderr)
        if y.process is not None and y.process.poll() is None:
            y.kill()
        return 1
    took = time.monotonic() - begin
    print(f"{kills} kills in {took:.0f} s ({t.starts / kills * 1000:.0f} ms to come up): "
          f"{events} events in {sessions} sessions; acknowledged and there once: "
          f"{t.counts['readings']} readings, {t.counts['requests']} requests "
          f"({t.counts['again']} sent again), {t.counts['commands']} commands; seed {seed}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
