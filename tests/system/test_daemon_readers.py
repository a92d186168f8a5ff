"""Readers that come and go, clients that misbehave, daemons that meet."""
import json
import os
import resource
import socket
import sqlite3
import subprocess
import time

import tap
from yard import DAEMON, DaemonTest, WAIT, Yard, code, until


class Readers(DaemonTest):
    def state(self, c, name="front"):
        return {r["name"]: r for r in c.ask("readers")["readers"]}[name]

    def test_unplugged_and_back(self):
        y = self.yard()
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        port = y.ports["front"]
        for n in range(1, 6):
            port.read(code(n))
            self.assertEqual(c.event("verdict")["animal"], f"A{n}")
            port.unplug()
            until(lambda: self.state(c)["state"] == "absent")
            self.assertTrue(self.state(c)["problem"])
            port.plug()
            until(lambda: self.state(c)["state"] == "live")
            self.assertIsNone(self.state(c)["problem"])
        self.assertEqual(self.state(c)["readings"], 5)
        states = [e["state"] for e in c.heard if e.get("event") == "reader"]
        self.assertEqual(states.count("live"), 5)

    def test_an_absent_port_is_logged_once(self):
        y = self.yard(start=False)
        y.ports["front"].unplug()
        y.start()
        c = y.client()
        self.assertEqual(self.state(c)["state"], "absent")
        time.sleep(2.5)
        self.assertEqual(y.said().count("reader front: absent"), 1)
        y.ports["front"].plug()
        until(lambda: self.state(c)["state"] == "live")

    def test_a_busy_port_is_backed_off(self):
        y = self.yard()
        other = Yard(None, readers=())
        self.addCleanup(other.close)
        with open(other.config, "w", encoding="utf-8") as out:
            out.write(f"[reader same]\nport = {y.ports['front'].link}\n")
        other.start()
        c = other.client()
        busy = self.state(c, "same")
        self.assertEqual(busy["state"], "backing-off")
        self.assertTrue(busy["problem"])
        y.stop()
        until(lambda: self.state(c, "same")["state"] == "live")

    def test_silence_is_a_state(self):
        y = self.yard(config="silent_s = 1\n")
        c = y.client(watch=True)
        self.assertEqual(c.event("reader")["state"], "silent")
        y.ports["front"].read(code(1))
        self.assertEqual(c.event("reader")["state"], "live")

    def test_garbage_on_the_port(self):
        y = self.yard()
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        garbage = bytes(n * 89 % 256 for n in range(4096))
        for _ in range(50):
            y.ports["front"].write(garbage)
            self.assertTrue(c.ask("status")["ok"])
        y.ports["front"].write(b"\r\n")
        y.ports["front"].read(code(3))
        until(lambda: c.ask("status")["tally"]["present"] == 1)
        self.assertGreater(sum(self.state(c)["rejects"].values()), 0)

    def test_garbage_on_the_socket(self):
        y = self.yard()
        for i in range(20):
            s = socket.socket(socket.AF_UNIX)
            s.settimeout(WAIT)
            s.connect(y.socket)
            try:
                s.sendall(os.urandom(30000) + b"\n")
                s.sendall(b"\n" * 3000)
            except OSError:
                pass
            s.close()
        self.assertTrue(y.client().ask("status")["ok"])

    def test_a_replay_waits_for_a_session(self):
        y = self.yard(readers=(), start=False)
        path = os.path.join(y.dir, "readings.txt")
        with open(path, "w", encoding="utf-8") as out:
            out.writelines(code(n) + "\n" for n in range(1, 31))
        with open(y.config, "a", encoding="utf-8") as out:
            out.write(f"[reader file]\ndriver = replay\nfile = {path}\n")
        y.start()
        c = y.client(watch=True)
        time.sleep(0.3)
        self.assertEqual(self.state(c, "file")["readings"], 0)
        c.ask("open", kind="walk")
        got = [c.event("verdict")["animal"] for _ in range(30)]
        self.assertEqual(got, [f"A{n}" for n in range(1, 31)])
        until(lambda: self.state(c, "file")["state"] == "absent")


class Others(DaemonTest):
    def second(self, y, **more):
        argv = [DAEMON, "--config", more.get("config", y.config), "--db", more.get("db", y.db),
                "--socket", more.get("socket", y.socket)]
        return subprocess.run(argv, capture_output=True, text=True, timeout=WAIT)

    def test_two_daemons_are_refused(self):
        y = self.yard(readers=())
        done = self.second(y, socket=y.socket + "2")
        self.assertEqual(done.returncode, 4)
        self.assertIn("another lugmarkd", done.stderr)
        os.symlink(y.db, y.dir + "/alias.db")
        self.assertEqual(self.second(y, db=y.dir + "/alias.db", socket=y.socket + "2").returncode, 4)
        done = self.second(y, db=y.dir + "/other.db")
        self.assertEqual(done.returncode, 4)
        self.assertIn("at work here already", done.stderr)
        self.assertTrue(y.client().ask("status")["ok"])

    def test_a_stale_socket_is_replaced(self):
        y = self.yard()
        y.kill()
        self.assertTrue(os.path.exists(y.socket))
        y.start()
        self.assertTrue(y.client().ask("status")["ok"])

    def test_a_file_in_the_place_of_the_socket_is_left_alone(self):
        y = self.yard(start=False, readers=())
        with open(y.socket, "w", encoding="utf-8") as out:
            out.write("precious")
        done = self.second(y)
        self.assertEqual(done.returncode, 4)
        with open(y.socket, encoding="utf-8") as file:
            self.assertEqual(file.read(), "precious")
        done = self.second(y, socket=y.dir + "/" + "x" * 120)
        self.assertEqual(done.returncode, 4)

    def test_a_register_of_a_newer_version(self):
        y = self.yard(start=False, readers=())
        with sqlite3.connect(y.db) as db:
            db.execute("PRAGMA user_version = 9999")
        db.close()
        done = self.second(y)
        self.assertEqual(done.returncode, 4)
        self.assertIn("newer", done.stderr)

    def test_a_file_that_is_no_register(self):
        y = self.yard(register=None, start=False, readers=())
        with open(y.db, "wb") as out:
            out.write(b"not a database at all " * 100)
        self.assertEqual(self.second(y).returncode, 4)
        with open(y.db, "rb") as file:
            self.assertTrue(file.read().startswith(b"not a database"))

    def test_a_slow_client_is_dropped_and_others_are_not(self):
        y = self.yard()
        c = y.client(watch=True)
        slow = y.client(watch=True)
        c.ask("open", kind="walk")
        seen = 0
        while "dropped" not in y.said():
            y.ports["front"].read(*[code(1 + n % 40) for n in range(200)])
            for _ in range(200):
                c.event("verdict")
            seen += 200
            self.assertLess(seen, 20000)
        self.assertEqual(y.said().count("a client was dropped"), 1)
        slow.socket.settimeout(5)
        with self.assertRaises((EOFError, ConnectionError)):
            while True:
                slow.line()
        self.assertTrue(c.ask("status")["ok"])

    def test_long_findings_do_not_drop_who_asked(self):
        y = self.yard()
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        for start in range(0, 9000, 300):
            y.ports["front"].read(*[f"99900012{n:07d}" for n in range(start, start + 300)])
            for _ in range(300):
                c.event("verdict")
        c.send(do="findings")
        time.sleep(1)
        y.ports["front"].read(code(1))
        findings = c.answer()["findings"]
        self.assertGreater(len(json.dumps(findings)), 1 << 20)
        self.assertEqual(findings["counts"]["unmatched"], 9000)
        self.assertEqual(c.event("verdict")["animal"], "A1")

    def test_readiness_is_told(self):
        y = self.yard(start=False, readers=())
        manager = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        manager.bind(y.dir + "/notify")
        manager.settimeout(WAIT)
        y.start(env={"NOTIFY_SOCKET": y.dir + "/notify", "WATCHDOG_USEC": "400000",
                     "JOURNAL_STREAM": "8:1"})
        self.assertIn(b"READY=1", manager.recv(4096))
        self.assertEqual(manager.recv(4096), b"WATCHDOG=1")
        y.stop()
        last = b""
        while last != b"STOPPING=1":
            last = manager.recv(4096)
        manager.close()
        self.assertRegex(y.said(), r"(?m)^<5>lugmarkd: at work")

    def test_descriptors_run_out(self):
        y = self.yard(readers=())
        n = len(os.listdir(f"/proc/{y.process.pid}/fd"))
        resource.prlimit(y.process.pid, resource.RLIMIT_NOFILE, (n + 2, n + 64))
        waiting = []
        for _ in range(6):
            s = socket.socket(socket.AF_UNIX)
            s.connect(y.socket)
            waiting.append(s)
        until(lambda: "no connection can be taken" in y.said())
        time.sleep(1.5)
        self.assertLess(y.said().count("no connection can be taken"), 5)
        for s in waiting:
            s.close()
        resource.prlimit(y.process.pid, resource.RLIMIT_NOFILE, (n + 64, n + 64))
        until(y.answers)


if __name__ == "__main__":
    tap.main()
