#!/usr/bin/env python3
"""The systemd unit: how hard it is, and that a port still opens under its limits."""
import json
import os
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import tty
import unittest

import confined
import tap

BUILD = os.environ["LUGMARK_BUILD"]
HERE = os.path.dirname(os.path.abspath(__file__))
ROOT = os.path.dirname(os.path.dirname(HERE))
HAVE = shutil.which("systemd-analyze") is not None
DIALOUT = 20  # on Debian; any group that is not root's would do


def run(*argv):
    return subprocess.run(argv, capture_output=True, text=True, timeout=60,
                          stdin=subprocess.DEVNULL)


class Service(unittest.TestCase):
    def setUp(self):
        self.dir = tempfile.mkdtemp(prefix="lugmark-service-")
        os.chmod(self.dir, 0o777)
        self.unit = os.path.join(self.dir, "lugmarkd.service")
        with open(os.path.join(ROOT, "src/daemon/lugmarkd.service.in"), encoding="utf-8") as text:
            self.text = text.read().replace("@BINDIR@", BUILD)
        with open(self.unit, "w", encoding="utf-8") as out:
            out.write(self.text)

    def tearDown(self):
        shutil.rmtree(self.dir)

    def settings(self, key):
        return re.findall(rf"(?m)^{key}=(.*)$", self.text)

    @unittest.skipUnless(HAVE, "no systemd-analyze here")
    def test_exposure_is_below_2(self):
        said = run("systemd-analyze", "security", "--offline=true", "--no-pager", self.unit).stdout
        level = re.search(r"Overall exposure level for lugmarkd\.service: ([0-9.]+)", said)
        self.assertIsNotNone(level, said)
        self.assertLess(float(level.group(1)), 2.0, said)

    @unittest.skipUnless(HAVE, "no systemd-analyze here")
    def test_every_line_is_understood(self):
        said = run("systemd-analyze", "verify", "--man=no", self.unit)
        self.assertEqual((said.returncode, said.stdout, said.stderr), (0, "", ""))

    def test_serial_ports_are_its_devices(self):
        self.assertEqual(self.settings("PrivateDevices"), [])
        self.assertEqual(self.settings("DevicePolicy"), ["closed"])
        for kind in ("ttyUSB", "ttyACM", "ttyS"):
            self.assertIn(f"char-{kind} rw", self.settings("DeviceAllow"))

    def test_its_groups_are_those_of_the_udev_rules(self):
        with open(os.path.join(ROOT, "udev/62-lugmark.rules"), encoding="utf-8") as rules:
            groups = set(re.findall(r'GROUP="(\w+)"', rules.read()))
        self.assertTrue(groups)
        self.assertLessEqual(groups, set(self.settings("SupplementaryGroups")[0].split()))
        with open(os.path.join(ROOT, "src/daemon/lugmark.sysusers"), encoding="utf-8") as users:
            self.assertEqual(groups, set(re.findall(r"(?m)^m lugmark (\w+)$", users.read())))

    def test_its_places_are_those_it_may_write_to(self):
        command = self.settings("ExecStart")[0].split()
        self.assertEqual(command[0], os.path.join(BUILD, "lugmarkd"))
        self.assertEqual(self.settings("StateDirectory"), ["lugmark"])
        self.assertTrue(command[command.index("--db") + 1].startswith("/var/lib/lugmark/"))
        self.assertEqual(self.settings("RuntimeDirectory"), ["lugmark"])
        self.assertTrue(command[command.index("--socket") + 1].startswith("/run/lugmark/"))

    def unless_no_namespace(self, said):
        if confined.NO_NAMESPACE in said:
            self.skipTest(said.strip())

    def start(self, *argv, **more):
        env = {"ASAN_OPTIONS": "detect_leaks=0", "PATH": "/usr/bin:/bin"}
        return subprocess.Popen([sys.executable, os.path.join(HERE, "confined.py"), self.unit,
                                 str(DIALOUT), *argv], env=env, stdin=subprocess.DEVNULL,
                                stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, **more)

    @unittest.skipUnless(HAVE and confined.machine(), "no list of system calls here")
    def test_the_limits_bite(self):
        script = ("import ctypes, mmap, os, socket, sys\n"
                  "c = ctypes.CDLL(None, use_errno=True)\n"
                  "assert c.mount(b'x', b'/mnt', b'tmpfs', 0, 0) == -1 and ctypes.get_errno() == 1\n"
                  "for make in (lambda: mmap.mmap(-1, 4096, prot=7), lambda: os.nice(-5),\n"
                  "             lambda: socket.socket(socket.AF_NETLINK, socket.SOCK_RAW)):\n"
                  "    try:\n"
                  "        make()\n"
                  "    except PermissionError:\n"
                  "        continue\n"
                  "    sys.exit('it was let through')\n"
                  "print('refused')\n")
        python = shutil.which("python3", path="/usr/bin:/bin")  # one that another user may run
        if python is None:
            self.skipTest("no python3 in /usr/bin")
        out, err = self.start(python, "-c", script).communicate(timeout=60)
        self.unless_no_namespace(err)
        self.assertEqual(out, "refused\n", err)

    @unittest.skipUnless(HAVE and confined.machine(), "no list of system calls here")
    def test_a_port_is_read_under_the_limits(self):
        master, slave = os.openpty()
        tty.setraw(slave)
        if os.getuid() == 0:  # as a real one: the group alone gives the right to open it
            os.fchown(slave, 0, DIALOUT)
            os.fchmod(slave, 0o660)
        names = {n: os.path.join(self.dir, n) for n in ("conf", "db", "sock")}
        with open(names["conf"], "w", encoding="utf-8") as out:
            out.write(f"[reader front]\nport = {os.ttyname(slave)}\n")
        with tempfile.TemporaryDirectory(prefix="lugmarkd-copy-") as copy:
            os.chmod(copy, 0o755)  # where the build lies another user may not look
            program = shutil.copy(os.path.join(BUILD, "lugmarkd"), copy)
            daemon = self.start(program, "--config", names["conf"], "--db", names["db"],
                                   "--socket", names["sock"])
            try:
                got = self.one_reading(names["sock"], master, daemon)
            finally:
                daemon.terminate()
                said = "" if daemon.stderr.closed else daemon.communicate(timeout=30)[1]
                os.close(master)
                os.close(slave)
        self.assertEqual(got["eid"], "999000000012345", said)
        self.assertEqual(daemon.returncode, 0, said)

    def one_reading(self, path, master, daemon):
        end = time.monotonic() + 20
        client = socket.socket(socket.AF_UNIX)
        client.settimeout(20)
        while client.connect_ex(path) != 0:
            if daemon.poll() is not None or time.monotonic() > end:
                daemon.kill()
                said = daemon.communicate(timeout=20)[1]
                self.unless_no_namespace(said)
                self.fail("it did not start: " + said)
            time.sleep(0.05)
        client.sendall(b'{"do":"open","kind":"walk"}\n{"do":"watch"}\n')
        with client.makefile() as lines:
            opened = False
            for line in lines:
                event = json.loads(line)
                opened = opened or ("ok" in event and "last_seq" in event)
                if opened:
                    os.write(master, b"999000000012345\r\n")
                    opened = None
                if event.get("event") == "verdict":
                    client.close()
                    return event
        return None


if __name__ == "__main__":
    tap.main()
