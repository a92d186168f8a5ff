"""Each allocation, each call of the system and each call of SQLite of a live daemon fails once, in
turn, from its start to its end, while it is raced with: it is said, the daemon goes on or ends with
a message, the register is sound, and what was acknowledged is there once.
LUGMARK_NTH: every how many calls (0: five of each kind). LUGMARK_NTH_KIND, LUGMARK_NTH_AT: that one."""
import http.client
import mmap
import os
import re
import select
import shutil
import struct
import subprocess
import sys
import time

import tap
from yard import Client, DaemonTest, Yard, code, until

HERE = os.path.dirname(os.path.abspath(__file__))
KINDS = ("", "memory", "system", "sqlite")
EVERY = int(os.environ.get("LUGMARK_NTH", "0"))
SOME = 5
CODES = [code(n) for n in range(1, 5)] + ["999000000090077"]
TRIES = 8       # of one request: a refusal is tried again by the daemon once a second
PATIENCE = 3    # seconds until a reading is read again
# What a daemon says that nothing befell.
USUAL = re.compile(r"lugmarkd: at work: |lugmarkd: ended$|reader front: live|page: listening|"
                   r"reader front: (absent|backing-off|opening)$")


class Plan:
    """What fails, shared with the daemon."""

    def __init__(self, path):
        with open(path, "w+b") as f:
            f.truncate(4096)
            self.map = mmap.mmap(f.fileno(), 4096)

    def arm(self, kind, at):
        self.map[0:16] = struct.pack("=4I", kind, at, 0, 0)

    def disarm(self):
        self.map[0:4] = struct.pack("=I", 0)

    def calls(self):
        return struct.unpack("=I", self.map[8:12])[0]

    def failed(self):
        return struct.unpack("=I", self.map[12:16])[0]


class Ended(Exception):
    """The daemon is there no more."""


class Fault(AssertionError):
    """A promise that was broken."""


class Race:
    """One start of the daemon, one small race, its end."""

    def __init__(self, yard, plan):
        self.y, self.plan = yard, plan
        self.told, self.acked = {}, {}
        self.odd = []               # what was not as it is without a failing call
        self.ends = 0
        self.watcher = self.actor = None
        self.last = 0
        self.tally = None

    # --- the daemon ---

    def start(self, env):
        self.y.start(wait=False, env=env)
        end = time.monotonic() + 10
        while True:
            if self.y.process.poll() is not None:
                self.ended()
                return
            try:
                Client(self.y.socket).close()
                return
            except EOFError:
                self.odd.append("a client was turned away")
            except ConnectionResetError:
                self.odd.append("a client was cut off")
            except OSError:
                pass        # not there yet
            if time.monotonic() > end:
                raise Fault("does not answer and does not end: " + self.y.said())
            time.sleep(0.004)

    def ended(self):
        """It may have: with a message and an exit status. It is started again, and nothing fails."""
        status = self.y.process.wait(10)
        self.odd.append(f"ended with {status}")
        self.ends += 1
        said = self.unusual()
        if status not in (3, 4) or not said:
            raise Fault(f"ended with {status}: {self.y.said()}")
        if self.ends > 1:
            raise Fault("ended again: " + self.y.said())
        self.plan.disarm()
        self.start({})

    def unusual(self):
        """The lines of its log that tell of something."""
        return [line for line in self.y.said().splitlines()
                if re.match(r"\d{4}-|lugmarkd: |to mend: ", line) and not USUAL.search(line)]

    def connect(self):
        for _ in range(TRIES):
            try:
                c = Client(self.y.socket)
                c.socket.settimeout(8)
                if "schema" in c.greeting:
                    return c
            except (EOFError, OSError):
                pass
            self.odd.append("a client was turned away")
            try:
                self.y.process.wait(0.2)
                self.ended()
            except subprocess.TimeoutExpired:
                pass
        raise Fault("no client is let in")

    # --- requests ---

    def ask(self, verb, **more):
        """Until it is done; with its token it counts once."""
        for _ in range(TRIES):
            try:
                if self.actor is None:
                    self.actor = self.connect()
                got = self.actor.ask(verb, **more)
            except TimeoutError:
                raise Fault(f"{verb} is not answered") from None
            except (EOFError, ConnectionError):
                self.odd.append(f"{verb}: the connection was closed")
                self.actor = None
                continue
            if got["ok"]:
                return got
            self.odd.append(f"{verb}: {got.get('error')}")
            if not got.get("error") or not got.get("mend") or got.get("exit") != 4:
                raise Fault(f"{verb}: {got}")
            time.sleep(0.15)
        raise Fault(f"{verb} is never done: {got}")

    def act(self, verb, **more):
        got = self.ask(verb, token=verb, **more)
        if "seq" not in got:
            raise Fault(f"{verb}: no seq in {got}")
        self.acked[verb] = got["seq"]
        return got

    def hear(self, line):
        self.last = max(self.last, line.get("seq", 0))
        if line.get("event") == "verdict" and line["eid"] is not None and line["called"] is None:
            if self.told.setdefault(line["seq"], line["eid"]) != line["eid"]:
                raise Fault(f"told otherwise: {line}")

    def listen(self, seconds=0.0):
        """Take over what the stream says."""
        try:
            if self.watcher is None:
                self.watcher = self.connect()
                got = self.watcher.ask("watch", after=self.last)
                if not got["ok"]:
                    self.odd.append(f"watch: {got}")
                    self.watcher = None
                    return
            w = self.watcher
            if not w.stream and b"\n" not in w.buffer:
                if not select.select([w.socket], [], [], seconds)[0]:
                    return
            self.hear(w.stream.pop(0) if w.stream else w.line())
        except TimeoutError:
            raise Fault("watch is not answered") from None
        except (EOFError, ConnectionError):
            self.odd.append("the stream was closed")
            self.watcher = None

    def read(self, number):
        """One animal passes; it is read again until it is told."""
        for _ in range(4):
            self.y.ports["front"].read(number)
            end = time.monotonic() + PATIENCE
            while time.monotonic() < end:
                self.listen(0.05)
                if number in self.told.values():
                    return
            self.odd.append(f"{number} was read again")
        raise Fault(f"{number} is never told")

    def page(self):
        for path in ("/", "/api/not-seen"):
            found = re.findall(r"http://([0-9.]+):(\d+)/", self.y.said())
            if not found:
                self.odd.append("no page")
                return
            for _ in range(TRIES):
                c = http.client.HTTPConnection(found[-1][0], int(found[-1][1]), timeout=8)
                try:
                    c.request("GET", path)
                    r = c.getresponse()
                    body = r.read()
                    if r.status == 200 and body:
                        break
                    self.odd.append(f"{path}: {r.status}")
                except TimeoutError:
                    raise Fault(f"{path} is not answered") from None
                except (OSError, http.client.HTTPException) as why:
                    self.odd.append(f"{path}: {why!r}")
                finally:
                    c.close()
                if self.y.process.poll() is not None:
                    self.ended()
                    return
            else:
                raise Fault(f"{path} is never served")

    # --- the whole ---

    def live(self):
        """The port is open: what is written before that is thrown away."""
        end = time.monotonic() + 8
        while self.ask("readers")["readers"][0]["state"] != "live":
            if time.monotonic() > end:
                raise Fault("the port is not opened: " + self.y.said())
            time.sleep(0.01)

    def run(self, env):
        self.start(env)
        self.live()
        self.listen()
        self.act("open", kind="walk", mob="does")
        for number in CODES:
            self.read(number)
        self.act("saw", number="0007")
        self.act("head", n=6)
        self.act("undo")
        self.ask("status")
        self.ask("findings")
        self.page()
        self.tally = self.act("close").get("tally")
        end = time.monotonic() + 8
        while self.acked["close"] > self.last:
            self.listen(0.5)
            if time.monotonic() > end:
                raise Fault("the close is never told")
        self.plan_calls = self.plan.calls()
        self.y.process.terminate()
        status = self.y.process.wait(10)
        if status != 0:
            self.odd.append(f"ended with {status}")
            if status != 4 or not self.unusual():
                raise Fault(f"ended with {status}: {self.y.said()}")
        self.plan.disarm()

    def check(self):
        said = self.y.said()
        if "Sanitizer" in said or "runtime error" in said:
            raise Fault(said)
        if self.plan.failed() and self.odd and not self.unusual():
            if not all(": " in o and "closed" not in o for o in self.odd):
                raise Fault(f"nothing is said of {self.odd}")
        rows = dict(self.y.rows("SELECT seq, printf('999%012d', bits & 274877906943) FROM event "
                                "WHERE kind = 0"))
        for seq, number in self.told.items():
            if rows.get(seq) != number:
                raise Fault(f"told {number} at {seq}, kept {rows}")
        kept = self.y.rows("SELECT token, seq FROM event WHERE token IS NOT NULL")
        if len(kept) != len(self.acked) or dict(kept) != self.acked:
            raise Fault(f"acknowledged {self.acked}, kept {kept}")
        again = sum("was read again" in o for o in self.odd)
        if not len(CODES) <= len(rows) <= len(CODES) + again:
            raise Fault(f"{rows}")
        want = {"expected": 40, "present": 5, "identified": 5, "readings": len(rows)}
        if self.tally is not None and any(self.tally[k] != v for k, v in want.items()):
            raise Fault(f"{want} kept, said {self.tally}")
        if self.tally is None and not any(o.startswith("close") for o in self.odd):
            raise Fault("close without a tally")
        done = self.y.lugmark("verify", good=False)
        if done.returncode != 0:
            raise Fault("not sound: " + done.stdout + done.stderr)

    def let_go(self):
        for c in (self.watcher, self.actor):
            if c is not None:
                c.close()
        if self.y.process.poll() is None:
            self.y.kill()


class Nth(DaemonTest):
    def prepare(self):
        y = self.yard(config="[page]\nlisten = 127.0.0.1:0\n", start=False)
        y.replays = False
        self.kept = y.db + ".kept"
        shutil.copy(y.db, self.kept)
        shim = os.path.join(y.dir, "nth_fault.so")
        subprocess.run(["cc", "-O1", "-g", "-shared", "-fPIC", "-o", shim,
                        os.path.join(HERE, "../torture/nth_fault.c"), "-ldl"], check=True)
        plan = Plan(os.path.join(y.dir, "plan"))
        # counts of `make coverage` that are written while calls fail would spoil the others'
        self.env = {"GCOV_PREFIX": y.dir, "LD_PRELOAD": shim,
                    "NTH_FAULT": os.path.join(y.dir, "plan"), "ASAN_OPTIONS":
                    os.environ.get("ASAN_OPTIONS", "") + ":verify_asan_link_order=0"}
        return y, plan

    def attempt(self, y, plan, kind, at):
        for name in os.listdir(y.dir):
            if name.startswith("register.db") and name != "register.db.kept":
                os.unlink(os.path.join(y.dir, name))
        shutil.copy(self.kept, y.db)
        if os.path.exists(y.log):
            os.unlink(y.log)
        plan.arm(kind, at)
        race = Race(y, plan)
        try:
            race.run(self.env)
            race.check()
            return race, None
        except (AssertionError, subprocess.TimeoutExpired, LookupError, TypeError) as fault:
            return race, f"{KINDS[kind]} call {at}: {fault!r}\n{race.odd}\n{y.said()}"
        finally:
            race.let_go()

    def test_each_call_of_a_live_daemon_fails_once(self):
        y, plan = self.prepare()
        faults = []
        kinds = [k for k in (1, 2, 3) if os.environ.get("LUGMARK_NTH_KIND", KINDS[k]) == KINDS[k]]
        for kind in kinds:
            race, fault = self.attempt(y, plan, kind, 0)
            self.assertIsNone(fault)
            self.assertEqual(race.odd, [])
            calls = race.plan_calls
            self.assertGreater(calls, 50)
            step = EVERY or calls // SOME + 1
            chosen = range(1, calls + 1, step)
            if "LUGMARK_NTH_AT" in os.environ:
                chosen = [int(n) for n in os.environ["LUGMARK_NTH_AT"].split(",")]
            tried = failed = ended = noticed = 0
            begin = time.monotonic()
            for at in chosen:
                race, fault = self.attempt(y, plan, kind, at)
                tried += 1
                failed += plan.failed()
                ended += race.ends
                noticed += bool(race.odd)
                if fault:
                    faults.append(fault)
                    print("# FAULT " + fault.replace("\n", "\n#   "), file=sys.stderr, flush=True)
            print(f"# {KINDS[kind]}: {calls} calls, {failed} of {tried} failed in turn: {ended} ended "
                  f"it with a message, {noticed - ended} were noticed and it went on, "
                  f"{tried - noticed} cost nothing ({time.monotonic() - begin:.0f} s)", flush=True)
        self.assertEqual(len(faults), 0, faults[:3])


if __name__ == "__main__":
    tap.main()
