"""The life of a reader: absent, plugged, unplugged, moved, busy, forbidden, falling over."""
import errno
import fcntl
import grp
import os
import shutil
import subprocess
import sys
import time

import tap
from yard import DAEMON, LUGMARK, WAIT, DaemonTest, Port, Yard, code, until

NOBODY = 65534
TICK = os.sysconf("SC_CLK_TCK")
MANY = "animal,species,mob,status,eid,visual\n" + "".join(
    f"A{n},goat,does,on-farm,{code(n)},{n:04d}\n" for n in range(1, 401))


def cpu_s(pid):
    """Seconds of processor time a process has used."""
    with open(f"/proc/{pid}/stat", encoding="ascii") as stat:
        fields = stat.read().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / TICK


def open_files(pid):
    return len(os.listdir(f"/proc/{pid}/fd"))


class LifeTest(DaemonTest):
    def state(self, c, name="front"):
        return {r["name"]: r for r in c.ask("readers")["readers"]}[name]

    def until_state(self, c, wanted, name="front"):
        return until(lambda: (s := self.state(c, name))["state"] == wanted and s)

    def journal(self, y):
        """Codes of the readings in the journal, in its order."""
        rows = y.rows("SELECT bits FROM event WHERE kind = 0 ORDER BY seq")
        return [f"{bits >> 38 & 1023:03d}{bits & (1 << 38) - 1:012d}" for (bits,) in rows]

    def log_of(self, y, name="front"):
        """What the log says of one reader, in order."""
        mark = f"reader {name}: "
        return [line.split(mark, 1)[1] for line in y.said().splitlines() if mark in line]


class Plugged(LifeTest):
    CYCLES = 200

    def test_two_hundred_cycles_lose_and_repeat_nothing(self):
        # Without the page: it takes its port, one more file, as soon as another daemon gives it free.
        y = self.yard(register=MANY, config="[page]\nlisten = off\n")
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        port = y.ports["front"]
        acknowledged, hanging = [], []
        self.assertEqual(self.until_state(c, "live")["opened"], 1)
        files = open_files(y.process.pid)
        for n in range(1, self.CYCLES + 1):
            port.read(code(n))
            self.assertEqual(c.event("verdict")["eid"], code(n))
            acknowledged.append(code(n))
            if n % 3 == 0:  # whether this one still gets through is anybody's guess: once or never
                port.read(code(200 + n))
                hanging.append(code(200 + n))
            port.unplug()
            port.plug()
            while (e := c.event("reader"))["state"] != "live":
                self.assertIn(e["state"], ("backing-off", "absent"))
            self.assertEqual(e["device"], os.path.realpath(port.link))
        port.read(code(400))
        while c.event("verdict")["eid"] != code(400):
            pass
        acknowledged.append(code(400))
        self.assertEqual(self.state(c)["opened"], self.CYCLES + 1)
        # A file that is open for a moment, such as a directory being listed, is no leak.
        until(lambda: open_files(y.process.pid) == files)
        kept = self.journal(y)
        self.assertEqual([k for k in kept if k not in hanging], acknowledged)
        self.assertEqual(len(kept), len(set(kept)))
        self.assertEqual(c.ask("status")["tally"]["present"], len(kept))
        self.assertLessEqual(len(self.log_of(y)), 3 * self.CYCLES + 1)
        c.ask("close")

    def test_unplugged_in_the_middle_of_a_line(self):
        y = self.yard()
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        port = y.ports["front"]
        for cut in range(1, 15):
            before = self.state(c)["opened"]
            port.write(code(11)[:cut].encode())
            time.sleep(0.02)
            port.unplug()
            port.plug()
            until(lambda: self.state(c)["opened"] == before + 1)
            port.write(code(22)[cut:].encode() + b"\r\n")  # would make a whole code with the rest
            port.read(code(cut))
            self.assertEqual(c.event("verdict")["eid"], code(cut))
        self.assertEqual(self.journal(y), [code(n) for n in range(1, 15)])

    def test_a_port_that_appears_only_later(self):
        y = self.yard(start=False, readers=("front", "back"))
        y.ports["back"].unplug()
        y.start()
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        absent = self.state(c, "back")
        self.assertEqual((absent["state"], absent["device"], absent["opened"]), ("absent", "", 0))
        self.assertEqual(absent["port"], y.ports["back"].link)
        self.assertIn("is not there", absent["problem"])
        self.assertIn("plug the reader in", absent["mend"])
        y.ports["front"].read(code(1))  # the other one is at work meanwhile
        self.assertEqual(c.event("verdict")["animal"], "A1")
        y.ports["back"].plug()
        begin = time.monotonic()
        live = self.until_state(c, "live", "back")
        self.assertLess(time.monotonic() - begin, 3)
        self.assertGreater(live["since"], absent["since"])
        self.assertIsNone(live["problem"])
        self.assertIsNone(live["last"])
        y.ports["back"].read(code(2))
        self.assertEqual(c.event("verdict")["lane"], "2")
        self.assertGreaterEqual(self.state(c, "back")["last"], live["since"])

    def test_the_link_is_followed_to_another_device(self):
        y = self.yard()
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        old = y.ports["front"]
        old.read(code(1))
        self.assertEqual(c.event("verdict")["animal"], "A1")
        first = self.state(c)["device"]
        new = Port(old.link)  # nothing hangs up: only the link leads elsewhere now
        self.addCleanup(new.close)
        old.read(code(2))     # what the old one says until then still counts
        until(lambda: self.state(c)["opened"] == 2)
        second = self.state(c)
        self.assertEqual((first, second["device"]),
                         (os.ttyname(old.slave), os.ttyname(new.slave)))
        new.read(code(3))
        self.assertEqual([c.event("verdict")["animal"] for _ in range(2)], ["A2", "A3"])
        self.assertEqual(self.journal(y), [code(1), code(2), code(3)])
        self.assertIn("its link leads to another device now", y.said())
        os.unlink(old.link)  # the link alone is gone, the device is not: it goes on
        time.sleep(1.5)
        new.read(code(4))
        self.assertEqual(c.event("verdict")["animal"], "A4")
        self.assertEqual(self.state(c)["state"], "live")


class HangUp(LifeTest):
    def test_seen_within_a_second_and_costs_nothing(self):
        names = ("front", "back", "left", "right")
        y = self.yard(readers=names)
        c = y.client(watch=True)
        for name in names[1:]:
            os.symlink(y.ports[name].link, y.ports[name].link + ".kept")
        begin = time.monotonic()
        for name in names:
            y.ports[name].unplug()
        gone = set()
        while len(gone) < len(names):
            gone.add(c.event("reader")["name"])
        self.assertLess(time.monotonic() - begin, 1)
        for name in names:
            self.until_state(c, "absent", name)
        used, begin = cpu_s(y.process.pid), time.monotonic()
        time.sleep(3)
        share = (cpu_s(y.process.pid) - used) / (time.monotonic() - begin)
        self.assertLess(share, 0.03, "of one core, with four readers hung up")

    def test_a_dead_reader_stops_nobody(self):
        names = ("front", "hung", "busy", "gone")
        y = self.yard(start=False, readers=names)
        lock = os.open(y.ports["busy"].link, os.O_RDWR | os.O_NOCTTY)
        self.addCleanup(os.close, lock)
        fcntl.flock(lock, fcntl.LOCK_EX)
        y.ports["gone"].unplug()
        y.start(live=("front", "hung"))
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        y.ports["hung"].unplug()
        self.until_state(c, "absent", "hung")
        slowest = 0
        for n in range(1, 41):
            begin = time.monotonic()
            y.ports["front"].read(code(n))
            self.assertEqual(c.event("verdict")["animal"], f"A{n}")
            slowest = max(slowest, time.monotonic() - begin)
            time.sleep(0.05)
        self.assertLess(slowest, 0.5)
        states = {r["name"]: r["state"] for r in c.ask("readers")["readers"]}
        self.assertEqual(states, {"front": "live", "hung": "absent", "busy": "backing-off",
                                  "gone": "absent"})

    def test_what_falls_over_again_and_again_is_told_three_times(self):
        y = self.yard()
        c = y.client(watch=True)
        for n in range(1, 7):
            until(lambda: self.state(c)["opened"] == n)
            y.ports["front"].unplug()
            y.ports["front"].plug()
        until(lambda: self.state(c)["opened"] == 7)
        said = self.log_of(y)
        self.assertEqual([line.split(":")[0] for line in said], ["live", "backing-off"] * 3)
        self.assertIn("again and again", said[-1])
        self.assertNotIn("again and again", said[-3])
        y.ports["front"].read(code(1))  # it stands: that is news again
        until(lambda: self.log_of(y)[6:] == ["live"])
        y.ports["front"].unplug()
        until(lambda: len(self.log_of(y)) == 9)
        self.assertTrue(self.log_of(y)[8].startswith("absent: "))


class Refused(LifeTest):
    """Other programs on the port, and ports that are not ours to open."""

    HOLDER = ("import fcntl, os, sys\n"
              "fd = os.open(sys.argv[1], os.O_RDWR | os.O_NOCTTY)\n"
              "fcntl.flock(fd, fcntl.LOCK_EX)\n"
              "print('held', flush=True)\n"
              "sys.stdin.read()\n")

    def hold(self, path):
        held = subprocess.Popen([sys.executable, "-c", self.HOLDER, path],
                                stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        self.addCleanup(held.stdout.close)
        self.addCleanup(held.wait)
        self.addCleanup(held.stdin.close)
        return held

    def open_as_somebody(self, path):
        """Errno of opening it, 0 for none. TIOCEXCL does not bind root: root tries as nobody."""
        child = os.fork()
        if child == 0:
            try:
                if os.geteuid() == 0:
                    os.setuid(NOBODY)
                os.open(path, os.O_RDWR | os.O_NOCTTY)
                os._exit(0)
            except OSError as why:
                os._exit(why.errno)
        return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])

    def test_our_port_is_refused_to_others(self):
        y = self.yard()
        c = y.client()
        self.until_state(c, "live")
        device = self.state(c)["device"]
        os.chmod(device, 0o666)
        self.assertEqual(self.open_as_somebody(device), errno.EBUSY)  # TIOCEXCL
        with self.assertRaises(BlockingIOError):  # flock: for programs that ask, also root's
            fcntl.flock(y.ports["front"].slave, fcntl.LOCK_EX | fcntl.LOCK_NB)
        self.assertEqual(self.state(c)["state"], "live")
        y.stop()  # nothing of it stays behind
        fcntl.flock(y.ports["front"].slave, fcntl.LOCK_EX | fcntl.LOCK_NB)
        fcntl.flock(y.ports["front"].slave, fcntl.LOCK_UN)
        self.assertEqual(self.open_as_somebody(device), 0)

    def test_who_has_the_port_is_said(self):
        y = self.yard(start=False)
        held = self.hold(y.ports["front"].link)
        self.assertEqual(held.stdout.readline(), "held\n")
        y.start(live=())
        c = y.client()
        busy = self.state(c)
        self.assertEqual((busy["state"], busy["device"]), ("backing-off", ""))
        with open(f"/proc/{held.pid}/comm", encoding="ascii") as comm:
            self.assertIn(f"in use by {comm.read().strip()} (process {held.pid})", busy["problem"])
        self.assertTrue(busy["mend"])
        time.sleep(1)
        self.assertEqual(len(self.log_of(y)), 1)
        held.stdin.close()
        self.until_state(c, "live")

    def test_two_readers_on_one_port(self):
        y = self.yard(start=False)
        with open(y.config, "a", encoding="utf-8") as out:
            out.write(f"[reader same]\nport = {os.path.realpath(y.ports['front'].link)}\n")
        y.start()
        c = y.client()
        self.assertEqual(self.state(c)["state"], "live")
        self.assertEqual(self.state(c, "same")["state"], "backing-off")
        self.assertIn("another reader of this same program", self.state(c, "same")["problem"])

    def test_a_second_daemon_is_told_of_the_first(self):
        y = self.yard()
        other = Yard(None, readers=())
        self.addCleanup(other.close)
        with open(other.config, "w", encoding="utf-8") as out:
            out.write(f"[reader same]\nport = {y.ports['front'].link}\n")
        other.start()
        c = other.client()
        self.assertIn(f"in use by lugmarkd (process {y.process.pid})",
                      self.state(c, "same")["problem"])

    def as_somebody(self, y):
        """Let the daemon run without root's rights."""
        if os.geteuid() != 0:
            return None
        y.program = os.path.join(y.dir, "lugmarkd")  # the build may be out of its reach
        shutil.copy2(DAEMON, y.program)
        y.argv = lambda: [y.program, *Yard.argv(y)[1:]]
        os.chown(y.dir, NOBODY, NOBODY)
        for name in os.listdir(y.dir):
            os.chown(os.path.join(y.dir, name), NOBODY, NOBODY, follow_symlinks=False)

        def drop():
            os.setgroups([])
            os.setgid(NOBODY)
            os.setuid(NOBODY)
        return drop

    def forbidden(self, mode):
        y = self.yard(start=False)
        device = os.ttyname(y.ports["front"].slave)
        if os.geteuid() == 0:
            os.chown(device, 0, grp.getgrnam("dialout").gr_gid)
        os.chmod(device, mode)
        y.start(before=self.as_somebody(y), live=())
        return y, device

    def test_no_permission_names_the_group(self):
        y, device = self.forbidden(0o060)
        group = grp.getgrgid(os.stat(device).st_gid).gr_name
        c = y.client()
        refused = self.state(c)
        self.assertEqual(refused["state"], "backing-off")
        self.assertIn(f"no permission to open {device}", refused["problem"])
        self.assertIn(f"add yourself to group {group}", refused["mend"])
        self.assertIn(f"usermod -a -G {group}", y.said())
        os.chmod(device, 0o666)  # mended: it goes on by itself
        self.assertIsNone(self.until_state(c, "live")["problem"])

    def test_no_permission_for_any_group_names_a_rule(self):
        y, device = self.forbidden(0o000)
        refused = self.state(y.client())
        self.assertIn(f"no permission to open {device}", refused["problem"])
        self.assertIn('MODE="0660"', refused["mend"])


class Shown(LifeTest):
    def readers(self, y):
        return subprocess.run([LUGMARK, "readers", "--socket", y.socket], capture_output=True,
                              text=True, timeout=WAIT, stdin=subprocess.DEVNULL)

    def test_each_state_on_the_command_line(self):
        y = self.yard(config="silent_s = 1\n")
        c = y.client(watch=True)
        port = y.ports["front"]
        port.read(code(1), "no code at all", code(2))
        until(lambda: self.state(c)["readings"] == 2)
        shown = self.readers(y)
        state = self.state(c)
        self.assertEqual(shown.returncode, 0)
        for part in ("front", "lane 1", "serial", "live", "2 readings", f"since {state['since']}",
                     f"last reading {state['last']}",
                     f"port {port.link} -> {os.ttyname(port.slave)}", "thrown away 1: no-code"):
            self.assertIn(part, shown.stdout)
        self.until_state(c, "silent")
        shown = self.readers(y)
        self.assertEqual(shown.returncode, 0)
        self.assertIn("silent since", shown.stdout)
        port.unplug()
        self.until_state(c, "absent")
        shown = self.readers(y)
        self.assertEqual(shown.returncode, 1)
        for part in ("absent since", "2 readings", f"port {port.link}\n", "is not there",
                     "to mend: plug the reader in"):
            self.assertIn(part, shown.stdout)
        port.plug()
        fcntl.flock(port.slave, fcntl.LOCK_EX)
        self.until_state(c, "backing-off")
        shown = self.readers(y)
        self.assertEqual(shown.returncode, 1)
        self.assertIn("backing-off since", shown.stdout)
        self.assertIn(f"(process {os.getpid()})", shown.stdout)
        fcntl.flock(port.slave, fcntl.LOCK_UN)
        self.until_state(c, "live")
        self.assertIn("opened 2 times", self.readers(y).stdout)
        logged = [line.split(":")[0] for line in self.log_of(y)]
        told = [e["state"] for e in c.heard if e.get("event") == "reader"]
        self.assertEqual(logged[1:], told)  # the first was before anybody watched


if __name__ == "__main__":
    tap.main()
