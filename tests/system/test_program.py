"""The driver `program`: good programs, and every way in which a program can misbehave."""
import os
import signal
import sys
import time

import tap
from yard import DaemonTest, until

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
PROGRAMS = os.path.join(ROOT, "fixtures", "programs")
CODE = "9990000000%05d"


def alive(pid):
    try:
        with open(f"/proc/{pid}/stat", encoding="ascii") as stat:
            return stat.read().rsplit(")", 1)[1].split()[0] != "Z"
    except OSError:
        return False


def cpu(pid):
    with open(f"/proc/{pid}/stat", encoding="ascii") as stat:
        fields = stat.read().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


class Programs(DaemonTest):
    def program(self, y, text, name="prog", command=None, more=""):
        """Write a Python program into the yard and name it in its configuration."""
        path = os.path.join(y.dir, name + ".py")
        with open(path, "w", encoding="utf-8") as out:
            out.write("import os, sys, time, json, signal\n"
                      f"def pid(n):\n    open({y.dir!r} + '/' + n, 'w')"
                      ".write(str(os.getpid()))\n"
                      "def say(**e):\n    print(json.dumps(e), flush=True)\n" + text)
        with open(y.config, "a", encoding="utf-8") as out:
            out.write(f"[reader {name}]\nlane = 1\ndriver = program\n"
                      f"command = {command or sys.executable + ' ' + path}\n{more}")
        return path

    def yard_with(self, text, start=True, **more):
        y = self.yard(start=False, readers=more.pop("readers", ()))
        self.program(y, text, **more)
        return y.start() if start else y

    def state(self, c, name="prog"):
        return {r["name"]: r for r in c.ask("readers")["readers"]}[name]

    def problem(self, c, part, name="prog"):
        """Wait until the reader says so; the reader."""
        def said():
            got = self.state(c, name)
            return got if part in (got["problem"] or "") else None
        return until(said)

    def pid(self, y, name):
        path = os.path.join(y.dir, name)
        until(lambda: os.path.exists(path) and open(path, encoding="ascii").read())
        with open(path, encoding="ascii") as file:
            return int(file.read())

    # --- good ones ---

    def test_readings_sightings_and_heads(self):
        y = self.yard_with("""
while not os.path.exists('go'):
    time.sleep(0.02)
say(reading='999000000000001', t='1999-01-01T00:00:00Z', lane='77')
say(sighting='0001', **{'with': '999000000000001'})
say(sighting='0002')
say(heads=2)
time.sleep(60)
""", more="dir = .\n", start=False)
        with open(y.config, encoding="utf-8") as file:
            text = file.read().replace("dir = .", f"dir = {y.dir}")
        with open(y.config, "w", encoding="utf-8") as file:
            file.write(text)
        y.start()
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        open(os.path.join(y.dir, "go"), "w", encoding="ascii").close()
        read = c.event("verdict")
        self.assertEqual((read["animal"], read["lane"], read["reader"]), ("A1", "1", "prog"))
        self.assertGreater(read["t"], "2000")
        self.assertEqual(c.event("verdict")["animal"], "A1")
        self.assertEqual(c.event("verdict")["animal"], "A2")
        self.assertEqual(c.event("tally")["heads"], 2)
        self.assertEqual(self.state(c)["readings"], 1)
        c.ask("close")

    def test_the_examples(self):
        y = self.yard(start=False, readers=())
        log = os.path.join(y.dir, "a log.txt")
        open(log, "w", encoding="ascii").close()
        with open(y.config, "a", encoding="utf-8") as out:
            out.write(f"[reader file]\nlane = 1\ndriver = program\n"
                      f"command = {PROGRAMS}/follow.py \"{log}\"\n"
                      f"[reader shell]\nlane = 2\ndriver = program\n"
                      f"command = {PROGRAMS}/every-second.sh 999000000000040\n")
        y.start()
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        self.assertEqual(c.event("verdict")["animal"], "A40")
        until(lambda: "following" in y.said())
        with open(log, "a", encoding="ascii") as out:
            out.write("08:00 id 999 000000000007 42.5 kg\n")
        self.assertEqual(until(lambda: [e for e in [c.event("verdict")] if e["lane"] == "1"])[0]
                         ["animal"], "A7")
        c.ask("close")

    # --- those that end ---

    def test_it_ends_and_is_started_again(self):
        y = self.yard_with("""
say(reading='999000000000005')
print('the battery is empty', file=sys.stderr, flush=True)
sys.exit(3)
""")
        c = y.client(watch=True)
        got = self.problem(c, "exit status 3")
        self.assertIn("it said: the battery is empty", got["problem"])
        self.assertEqual(got["state"], "backing-off")
        until(lambda: self.state(c)["opened"] >= 3)
        until(lambda: self.state(c)["readings"] >= 3)
        self.assertIn("says: the battery is empty", y.said())

    def test_its_messages_can_be_any_bytes(self):
        y = self.yard_with("""
sys.stderr.buffer.write('caf\u00e9 '.encode() + bytes([255, 27]) + b'[31m\\n')
sys.stderr.buffer.flush()
time.sleep(60)
""")
        y.client()
        until(lambda: "says: caf\u00e9 ??[31m" in y.said())

    def test_one_that_falls_over_is_tried_ever_more_slowly(self):
        y = self.yard_with("sys.exit(1)\n", readers=("front",))
        c = y.client(watch=True)
        self.problem(c, "exit status 1")
        time.sleep(4)
        self.assertLess(self.state(c)["opened"], 9)
        self.assertLess(y.said().count("exit status 1"), 8)
        c.ask("open", kind="walk")
        y.ports["front"].read(CODE % 3)
        self.assertEqual(c.event("verdict")["animal"], "A3")
        c.ask("close")

    def test_it_is_killed(self):
        y = self.yard_with("pid('mine')\ntime.sleep(60)\n")
        c = y.client()
        os.kill(self.pid(y, "mine"), signal.SIGSEGV)
        self.problem(c, "signal 11 (Segmentation fault)")
        until(lambda: self.state(c)["state"] == "live")

    def test_a_last_line_without_its_end_counts(self):
        y = self.yard_with("""
while not os.path.exists(sys.argv[0] + '.go'):
    time.sleep(0.02)
sys.stdout.write('{"reading":"999000000000009"}')
sys.stdout.flush()
os._exit(0)
""")
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        open(os.path.join(y.dir, "prog.py.go"), "w", encoding="ascii").close()
        self.assertEqual(c.event("verdict")["animal"], "A9")
        c.ask("close")

    def test_everything_written_before_the_end_counts(self):
        y = self.yard_with("""
while not os.path.exists(sys.argv[0] + '.go'):
    time.sleep(0.02)
os.remove(sys.argv[0] + '.go')
for i in range(2000):
    sys.stdout.write('{"reading":"9990000%08d"}\\n' % i)
sys.stdout.flush()
os._exit(0)
""")
        c = y.client()
        c.ask("open", kind="walk")
        open(os.path.join(y.dir, "prog.py.go"), "w", encoding="ascii").close()
        until(lambda: c.ask("status")["tally"]["readings"] == 2000)
        c.ask("close")

    # --- those that cannot be started ---

    def test_it_cannot_be_started(self):
        y = self.yard(start=False, readers=())
        plain = os.path.join(y.dir, "plain")
        for path, mode in ((plain, 0o644), (plain + ".x", 0o755)):
            with open(path, "w", encoding="ascii") as out:
                out.write("neither a script nor a program\n")
            os.chmod(path, mode)
        with open(y.config, "a", encoding="utf-8") as out:
            for name, command, more in (("none", "/nowhere/at/all -x", ""),
                                        ("unknown", "no-such-program-anywhere", ""),
                                        ("plain", plain, ""), ("strange", plain + ".x", ""),
                                        ("folder", "cat", "dir = /nowhere\n")):
                out.write(f"[reader {name}]\ndriver = program\ncommand = {command}\n{more}")
        y.start()
        c = y.client()
        self.assertIn("there is no program /nowhere/at/all", self.state(c, "none")["problem"])
        self.assertEqual(self.state(c, "none")["state"], "absent")
        self.assertIn("no-such-program", self.state(c, "unknown")["problem"])
        self.assertIn("may not be run", self.state(c, "plain")["problem"])
        self.assertIn("is no program", self.state(c, "strange")["problem"])
        self.assertIn("the folder /nowhere", self.state(c, "folder")["problem"])
        # Installed later, it is found without a restart.
        with open(y.dir + "/late", "w", encoding="ascii") as out:
            out.write("#!/bin/sh\nexec sleep 60\n")
        os.chmod(y.dir + "/late", 0o755)
        os.rename(y.dir + "/late", plain)
        until(lambda: self.state(c, "plain")["state"] == "live")

    def test_no_shell(self):
        y = self.yard(start=False, readers=())
        with open(y.config, "a", encoding="utf-8") as out:
            out.write("[reader prog]\ndriver = program\n"
                      f"command = echo $HOME `id` * > {y.dir}/made '|' \"a  b\"\n")
        y.start()
        c = y.client()
        until(lambda: self.state(c)["rejects"]["syntax"] >= 1)
        self.assertFalse(os.path.exists(y.dir + "/made"))

    def test_bad_settings(self):
        for lines, part in (("", "needs a command"), ("command = a 'b\n", "open quote"),
                            ("command = a\ncommnd = b\n", "has no key commnd")):
            y = self.yard(start=False, readers=())
            with open(y.config, "a", encoding="utf-8") as out:
                out.write("[reader prog]\ndriver = program\n" + lines)
            y.start(wait=False)
            self.assertEqual(y.process.wait(20), 3)
            self.assertIn(part, y.said())

    # --- those that write what they should not ---

    def test_garbage(self):
        y = self.yard_with("""
sys.stdout.buffer.write(bytes(range(256)) * 8 + b'\\n' * 50)
for line in ('{}', '[]', '{"reading":1}', '{"close":true}', '{"undo":true}',
             '{"open":{"kind":"walk"}}', '{"register":{"animal":"X"}}', '  ', '\\r'):
    print(line, flush=True)
say(reading='999 is no code')
say(reading='999000000000006')
time.sleep(60)
""", readers=("front",), start=False)
        y.start()
        c = y.client(watch=True)
        until(lambda: self.state(c)["readings"] == 2)
        self.assertGreaterEqual(self.state(c)["rejects"]["syntax"], 8)
        self.assertIsNone(c.ask("status")["session"])
        self.assertEqual(self.state(c)["state"], "live")

    def test_a_line_that_never_ends(self):
        y = self.yard_with("""
block = b'x' * 65536
pid('mine')
while True:
    os.write(1, block)
""", readers=("front",))
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        until(lambda: self.state(c)["rejects"]["too-long"] == 1)
        for n in range(1, 11):
            start = time.monotonic()
            y.ports["front"].read(CODE % n)
            self.assertEqual(c.event("verdict")["animal"], f"A{n}")
            self.assertLess(time.monotonic() - start, 1)
        self.assertEqual(self.state(c)["rejects"]["too-long"], 1)
        with open(f"/proc/{y.process.pid}/statm", encoding="ascii") as statm:
            before = int(statm.read().split()[1])
        time.sleep(1)
        with open(f"/proc/{y.process.pid}/statm", encoding="ascii") as statm:
            self.assertLess(int(statm.read().split()[1]) - before, 2560)
        c.ask("close")

    def test_a_long_line_is_passed_over(self):
        y = self.yard_with("""
say(reading='999000000000006', more='x' * 65000)
say(reading='999000000000007', more='x' * 66000)
say(reading='999000000000008')
time.sleep(60)
""")
        c = y.client()
        until(lambda: self.state(c)["readings"] == 2)
        self.assertEqual(self.state(c)["rejects"]["too-long"], 1)

    def test_a_flood_of_messages(self):
        y = self.yard_with("""
say(reading='999000000000006')
while True:
    os.write(2, b'\\x1b[31mhelp\\x00me\\n' * 1000)
""", readers=("front",))
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        time.sleep(2)
        for n in range(1, 11):
            y.ports["front"].read(CODE % n)
            until(lambda: c.event("verdict")["animal"] == f"A{n}")
        self.assertLess(len(y.said()), 20000)
        self.assertIn("more than is shown", y.said())
        self.assertNotIn("\x1b", y.said())
        c.ask("close")

    def test_a_flood_of_readings(self):
        y = self.yard_with("""
while not os.path.exists(sys.argv[0] + '.go'):
    time.sleep(0.02)
while True:
    os.write(1, b'{"reading":"999000000000006"}\\n' * 100)
""", readers=("front",))
        c = y.client()
        c.ask("open", kind="walk")
        open(os.path.join(y.dir, "prog.py.go"), "w", encoding="ascii").close()
        until(lambda: c.ask("status")["tally"]["present"] == 1)
        y.ports["front"].read(CODE % 3)
        until(lambda: c.ask("status")["tally"]["present"] == 2)
        self.assertTrue(c.ask("head", n=2)["ok"])
        y.kill()  # what was said to be kept is kept, though it comes at full speed
        y.replays = False

    # --- those that do not let go ---

    def test_it_reads_and_waits_for_ever(self):
        y = self.yard_with("sys.stdin.read()\nsay(reading='999000000000006')\npid('mine')\n"
                           "time.sleep(60)\n")
        c = y.client()
        until(lambda: self.state(c)["readings"] == 1)  # its input is at an end at once
        mine = self.pid(y, "mine")
        self.assertTrue(os.readlink(f"/proc/{mine}/fd/0").endswith("/dev/null"))
        open_files = [os.readlink(f"/proc/{mine}/fd/{n}") for n in os.listdir(f"/proc/{mine}/fd")]
        self.assertEqual(len([f for f in open_files if "register" in f or "socket" in f]), 0)
        self.assertLess(len(open_files), 5)

    def test_it_closes_its_output_and_lives(self):
        y = self.yard_with("pid('mine')\nos.close(1)\nsignal.signal(signal.SIGTERM, signal.SIG_IGN)\n"
                           "time.sleep(600)\n")
        c = y.client()
        mine = self.pid(y, "mine")
        self.problem(c, "closed its standard output")
        self.problem(c, "asked to end, still runs")
        until(lambda: not alive(mine))
        until(lambda: self.state(c)["opened"] >= 2)

    def test_what_it_started_ends_with_it(self):
        y = self.yard_with("""
child = os.fork()
if child == 0:
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    pid('child')
    time.sleep(600)
    os._exit(0)
while not os.path.exists(sys.argv[0][:-7] + 'child'):
    time.sleep(0.02)
time.sleep(0.2)
say(reading='999000000000006')
sys.exit(7)
""")
        c = y.client()
        child = self.pid(y, "child")
        self.problem(c, "exit status 7")  # although the child still has its output
        until(lambda: not alive(child))
        self.assertGreaterEqual(self.state(c)["readings"], 1)

    def test_the_daemon_ends_them_all(self):
        y = self.yard(start=False, readers=())
        for n in range(4):
            self.program(y, f"signal.signal(signal.SIGTERM, signal.SIG_IGN)\npid('mine{n}')\n"
                            "time.sleep(600)\n", name=f"p{n}")
        y.start()
        pids = [self.pid(y, f"mine{n}") for n in range(4)]
        start = time.monotonic()
        self.assertEqual(y.stop(), 0)
        self.assertLess(time.monotonic() - start, 4)  # at once, not one after the other
        self.assertFalse([p for p in pids if alive(p)])

    def test_no_zombies_and_no_descriptors_are_left(self):
        y = self.yard_with("say(reading='999000000000006')\n")
        c = y.client()
        until(lambda: self.state(c)["opened"] >= 2)
        fds = len(os.listdir(f"/proc/{y.process.pid}/fd"))
        until(lambda: self.state(c)["opened"] >= 8)
        self.assertLessEqual(len(os.listdir(f"/proc/{y.process.pid}/fd")), fds + 4)
        with open(f"/proc/{y.process.pid}/task/{y.process.pid}/children", encoding="ascii") as f:
            self.assertLessEqual(len(f.read().split()), 2)

    def test_an_idle_program_costs_nothing(self):
        y = self.yard_with("time.sleep(60)\n")
        c = y.client()
        until(lambda: self.state(c)["state"] == "live")
        before = cpu(y.process.pid)
        time.sleep(2)
        self.assertLess(cpu(y.process.pid) - before, 0.3)


if __name__ == "__main__":
    tap.main()
