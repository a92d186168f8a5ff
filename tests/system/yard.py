"""A yard for the tests: one lugmarkd, its ports, and clients that talk to it."""
import ctypes
import json
import os
import shutil
import signal
import socket
import sqlite3
import subprocess
import tempfile
import time
import tty
import unittest

import protocol

BUILD = os.environ["LUGMARK_BUILD"]
DAEMON = os.path.join(BUILD, "lugmarkd")
LUGMARK = os.path.join(BUILD, "lugmark")
SLOW = float(os.environ.get("LUGMARK_SLOW", "1"))     # under valgrind all takes so much longer
WAIT = float(os.environ.get("LUGMARK_TEST_WAIT", "20")) * SLOW

REGISTER = ("animal,species,sex,mob,status,form,place,colour,official,eid,visual\n"
            + "".join(f"A{n},goat,female,does,on-farm,flag tag,left ear,yellow,yes,"
                      f"9990000000{n:05d},{n:04d}\n" for n in range(1, 41))
            + "B1,goat,male,bucks,on-farm,flag tag,right ear,blue,yes,999000000090001,9001\n")


def code(n):
    return f"9990000000{n:05d}"


def until(what, seconds=WAIT / SLOW):
    """Call until it gives something true; return that."""
    end = time.monotonic() + seconds * SLOW
    while True:
        got = what()
        if got:
            return got
        if time.monotonic() > end:
            raise AssertionError("it did not happen in time")
        time.sleep(0.02)


class Client:
    def __init__(self, path):
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self.socket.settimeout(WAIT)
        self.socket.connect(path)
        self.buffer = b""
        self.stream = []          # lines that are no answers and were not yet asked for
        self.heard = []           # all lines
        self.greeting = self.line()

    def line(self):
        while b"\n" not in self.buffer:
            got = self.socket.recv(65536)
            if not got:
                raise EOFError("the daemon closed the connection")
            self.buffer += got
        line, self.buffer = self.buffer.split(b"\n", 1)
        self.heard.append(json.loads(line))
        return self.heard[-1]

    def send(self, **request):
        self.socket.sendall(json.dumps(request).encode() + b"\n")

    def answer(self):
        while True:
            got = self.line()
            if "ok" in got:
                return got
            self.stream.append(got)

    def ask(self, verb, **more):
        self.send(do=verb, **more)
        return self.answer()

    def event(self, kind=None):
        """The next line of the stream, of one kind if named."""
        while True:
            got = self.stream.pop(0) if self.stream else self.line()
            if kind is None or got.get("event") == kind:
                return got

    def close(self):
        self.socket.close()


class Port:
    """A pseudo-terminal behind a stable link."""

    def __init__(self, link):
        self.link = link
        self.master = self.slave = None
        self.plug()

    def plug(self):
        self.master, self.slave = os.openpty()
        tty.setraw(self.slave)
        fresh = self.link + ".new"
        os.symlink(os.ttyname(self.slave), fresh)
        os.rename(fresh, self.link)

    def write(self, data):
        while data:
            data = data[os.write(self.master, data):]

    def read(self, *codes):
        self.write(b"".join(c.encode() + b"\r\n" for c in codes))

    def unplug(self):
        os.unlink(self.link)
        os.close(self.slave)
        os.close(self.master)
        self.master = self.slave = None

    def close(self):
        for fd in (self.master, self.slave):
            if fd is not None:
                os.close(fd)


LIBC = ctypes.CDLL(None)
PR_SET_PDEATHSIG = 1


def ends_with_us(before):
    """In the child: a daemon that outlives its test takes the ports that later tests are given."""
    def child():
        if before is not None:
            before()
        LIBC.prctl(PR_SET_PDEATHSIG, ctypes.c_ulong(signal.SIGKILL))
    return child


class Yard:
    def __init__(self, register=None, readers=("front",), config=""):
        self.dir = tempfile.mkdtemp(prefix="lugmark-yard-")
        self.db = os.path.join(self.dir, "register.db")
        self.socket = os.path.join(self.dir, "control.sock")
        self.config = os.path.join(self.dir, "yard.conf")
        self.log = os.path.join(self.dir, "log")
        self.ports = {name: Port(os.path.join(self.dir, name)) for name in readers}
        self.process = None
        self.clients = []
        self.replays = True  # a test that spoils its register sets this to False
        with open(self.config, "w", encoding="utf-8") as out:
            for i, name in enumerate(readers):
                out.write(f"[reader {name}]\nlane = {i + 1}\nport = {self.ports[name].link}\n")
            out.write(config)
        if register is not None:
            self.fill(register)

    def fill(self, text):
        path = os.path.join(self.dir, "register.csv")
        with open(path, "w", encoding="utf-8") as out:
            out.write(text)
        self.lugmark("init")
        self.lugmark("import", path)

    def lugmark(self, *args, good=True):
        done = subprocess.run([LUGMARK, args[0], "--db", self.db, *args[1:]], capture_output=True,
                              text=True, timeout=60 * SLOW, stdin=subprocess.DEVNULL)
        if good and done.returncode != 0:
            raise AssertionError(f"lugmark {args}: {done.returncode}\n{done.stdout}{done.stderr}")
        return done

    def argv(self):
        return [DAEMON, "--config", self.config, "--db", self.db, "--socket", self.socket,
                "--foreground"]

    def start(self, wait=True, before=None, env=None, live=None):
        """Until it answers and has opened its ports, or those named in live."""
        out = open(self.log, "ab")
        self.process = subprocess.Popen(self.argv(), stdin=subprocess.DEVNULL, stdout=out,
                                        stderr=out, preexec_fn=ends_with_us(before),
                                        env=dict(os.environ, **(env or {})))
        out.close()
        if wait:
            until(self.answers)
            self.until_live(live)
        return self

    def until_live(self, names=None):
        """What is written to a port before it is opened is thrown away when it is."""
        if names is None:
            names = [name for name, port in self.ports.items() if port.master is not None]
        if not names:
            return
        probe = Client(self.socket)
        shut = []

        def are_open():
            shut[:] = [r for r in probe.ask("readers")["readers"]
                       if r["name"] in names and r["state"] not in ("live", "silent")]
            return not shut
        try:
            until(are_open)
        except AssertionError:
            raise AssertionError(f"ports that stay shut: {shut}") from None
        finally:
            probe.close()

    def answers(self):
        if self.process.poll() is not None:
            raise AssertionError(f"lugmarkd ended: {self.said()}")
        try:
            probe = Client(self.socket)
        except (OSError, EOFError):
            return False
        probe.close()
        return True

    def said(self):
        with open(self.log, "rb") as log:
            return log.read().decode("utf-8", "replace")

    def client(self, watch=False, after=None):
        c = Client(self.socket)
        self.clients.append(c)
        if watch:
            more = {} if after is None else {"after": after}
            answer = c.ask("watch", **more)
            assert answer["ok"], answer
        return c

    def kill(self):
        self.process.send_signal(signal.SIGKILL)
        self.process.wait(WAIT)

    def stop(self):
        """End it as a service manager does. The exit status."""
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(WAIT)

    def rows(self, sql, *values):
        with sqlite3.connect(f"file:{self.db}?mode=ro", uri=True) as db:
            return db.execute(sql, values).fetchall()

    def replay(self, number):
        """A session folded from the journal, and by reconcile from exported files: both texts."""
        register = os.path.join(self.dir, f"at-{number}.csv")
        events = os.path.join(self.dir, f"events-{number}.ndjson")
        self.lugmark("export", "--session", number, "--overwrite", "--output",
                     register)
        self.lugmark("export", "--session", number, "--format", "events", "--overwrite",
                     "--output", events)
        stored = self.lugmark("findings", number, "--json", good=False)
        again = self.lugmark("reconcile", "--register", register, "--events", events, "--json",
                             good=False)
        assert stored.returncode in (0, 1), stored.stderr
        return stored.stdout, again.stdout + again.stderr

    def replay_all(self):
        """Every closed session of every test must replay byte for byte."""
        try:
            closed = self.rows("SELECT id FROM session WHERE closed_ms IS NOT NULL")
        except sqlite3.Error:
            return  # a test that broke its register on purpose
        for (number,) in closed:
            stored, again = self.replay(str(number))
            if stored != again:
                raise AssertionError(f"session {number} replays otherwise:\n{stored}\n{again}")

    def all_in_the_table(self):
        """What the daemon said has the keys that the table of the protocol names, and no other."""
        rules = protocol.load("control")
        for line in [line for c in self.clients for line in c.heard[:100]]:
            bad = protocol.faults(line, rules, rules)
            if bad:
                raise AssertionError(f"{bad}: {line}")

    def close(self):
        for c in self.clients:
            c.close()
        self.all_in_the_table()
        if self.process is not None and self.process.poll() is None:
            self.stop()
        if self.replays:
            self.replay_all()
        for port in self.ports.values():
            port.close()
        said = self.said() if os.path.exists(self.log) else ""
        shutil.rmtree(self.dir)
        for bad in ("Sanitizer", "runtime error"):
            if bad in said:
                raise AssertionError(f"the sanitizers found something:\n{said}")


class DaemonTest(unittest.TestCase):
    def yard(self, register=REGISTER, start=True, **more):
        y = Yard(register, **more)
        self.addCleanup(y.close)
        return y.start() if start else y

    def refused(self, answer, exit_code, part):
        self.assertFalse(answer["ok"], answer)
        self.assertEqual(answer["exit"], exit_code, answer)
        self.assertIn(part, answer["error"])
        self.assertTrue(answer["mend"], answer)
