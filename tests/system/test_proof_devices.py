"""What goes wrong around the daemon: cables, clocks, disks, and files that somebody takes away."""
import json
import os
import subprocess
import tempfile
import time

import cli
import tap
from screen import Screen
from yard import LUGMARK, REGISTER, DaemonTest, code, until

HERE = os.path.dirname(os.path.abspath(__file__))
A, B = "999000000000001", "999000000000002"


class Cables(DaemonTest):
    def test_pulled_at_every_byte(self):
        """Half a code is never a code, and the next whole one is read."""
        line = A + "\r\n"
        names = [f"r{n}" for n in range(len(line) + 1)]
        y = self.yard(readers=names)
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        for n, name in enumerate(names):
            y.ports[name].write(line[:n].encode())
        whole = sum(1 for n in range(len(line) + 1) if line[:n].endswith(("\r", "\n")))
        for _ in range(whole):
            self.assertEqual(c.event("verdict")["eid"], A)
        time.sleep(0.2)
        for name in names:
            y.ports[name].unplug()
        until(lambda: all(r["state"] != "live" for r in c.ask("readers")["readers"]))
        for name in names:
            y.ports[name].plug()
        until(lambda: all(r["state"] == "live" and r["opened"] == 2
                          for r in c.ask("readers")["readers"]), 40)
        for name in names:
            y.ports[name].read(B)
        got = []
        while len(got) < len(names):
            got.append(c.event("verdict")["eid"])
        self.assertEqual(got, [B] * len(names))
        self.assertEqual(c.ask("status")["tally"]["readings"], whole + len(names))

    def test_noise_at_full_speed_and_then_a_code(self):
        """Whatever a loose wire says, nothing of it is an animal; the page and the socket live."""
        y = self.yard(readers=("front", "back"))
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        noise = bytes((n * 2654435761 >> 13) & 0xff for n in range(300000))
        y.ports["front"].write(noise)
        self.assertTrue(c.ask("status")["ok"])
        y.ports["back"].read(A)
        y.ports["front"].write(b"\r\n")
        y.ports["front"].read(B)
        got = {c.event("verdict")["eid"] for _ in range(2)}
        self.assertEqual(got, {A, B})
        front = c.ask("readers")["readers"][0]
        self.assertGreater(sum(front["rejects"].values()), 100)


class Hours(cli.CliTest):
    def events(self, *rows):
        return "".join(json.dumps(r) + "\n" for r in rows)

    def time(self, ms):
        return (f"2026-11-02T{8 + ms // 3600000:02d}:{ms // 60000 % 60:02d}:"
                f"{ms // 1000 % 60:02d}.{ms % 1000:03d}Z")

    def test_the_same_code_for_an_hour_is_one_pass(self):
        rows = [{"t": self.time(n * 100), "lane": "1", "reading": A} for n in range(36000)]
        self.write("r.csv", f"animal,eid\nA1,{A}\n")
        self.write("e.ndjson", self.events(*rows))
        got = json.loads(self.run_("reconcile", "--register", "r.csv", "--events", "e.ndjson",
                                   "--json").stdout)
        self.assertEqual((got["readings"], got["passes"], got["present"]), (36000, 1, 1))
        self.assertEqual(got["counts"]["duplicate"], 0)


class Clocks(DaemonTest):
    def test_a_wall_clock_that_steps_makes_no_passes(self):
        y = self.yard(start=False)
        shim = os.path.join(y.dir, "step_clock.so")
        subprocess.run(["cc", "-shared", "-fPIC", "-o", shim,
                        os.path.join(HERE, "../torture/step_clock.c")], check=True)
        steps = os.path.join(y.dir, "steps")

        def step(seconds):
            with open(steps + ".new", "w", encoding="utf-8") as out:
                out.write(str(seconds))
            os.rename(steps + ".new", steps)

        step(0)
        y.start(env={"LD_PRELOAD": shim, "STEP_CLOCK": steps, "ASAN_OPTIONS":
                     os.environ.get("ASAN_OPTIONS", "") + ":verify_asan_link_order=0"})
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        stamps = []
        for seconds in (0, 3600, -3600, 86400, 0, -10 * 86400, 31, -31, 0):
            step(seconds)
            y.ports["front"].read(A)
            got = c.event("verdict")
            stamps.append(got["t"])
            self.assertEqual(got["repeat"], len(stamps) > 1, seconds)
        self.assertGreater(len({t[:10] for t in stamps}), 2)     # the clock did step
        self.assertEqual(c.ask("status")["tally"]["passes"], 1)
        clocks = [r[0] for r in y.rows("SELECT clock_ms FROM event WHERE kind = 0 ORDER BY seq")]
        self.assertEqual(clocks, sorted(clocks))
        self.assertLess(clocks[-1] - clocks[0], 20000)
        tally = c.ask("close")["tally"]
        self.assertEqual((tally["passes"], tally["readings"]), (1, 9))


class Disk(DaemonTest):
    def small_disk(self):
        if os.geteuid() != 0:
            self.skipTest("only root can make a small disk")
        folder = tempfile.mkdtemp(prefix="lugmark-disk-")
        done = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=4m", "lugmark-test", folder],
                              capture_output=True, check=False)
        if done.returncode != 0:
            os.rmdir(folder)
            self.skipTest("no small disk can be mounted here")
        self.addCleanup(os.rmdir, folder)
        self.addCleanup(subprocess.run, ["umount", "-l", folder], check=False)
        return folder

    def test_full_and_free_again(self):
        disk = self.small_disk()
        y = self.yard(register=None, start=False)
        y.db = os.path.join(disk, "register.db")
        y.fill(REGISTER)
        y.start()
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        screen = self.watch(y)
        fill = os.path.join(disk, "fill")
        told = self.write_until_full(y, c, fill)
        waiting = c.ask("status")
        self.assertEqual(waiting["journal"], "failed")
        self.assertIn("full", waiting["problem"])
        screen.until("THE JOURNAL FAILED")
        shown = subprocess.run([LUGMARK, "status", "--socket", y.socket], capture_output=True,
                               text=True, timeout=30, check=False)
        self.assertIn("full", shown.stdout + shown.stderr)
        kept = y.rows("SELECT count(*) FROM event WHERE kind = 0")[0][0]
        self.assertEqual(kept, told)
        os.unlink(fill)
        until(lambda: c.ask("status")["journal"] == "well")
        last = c.ask("status")
        self.assertEqual(last["waiting"], 0)
        self.assertEqual(y.rows("SELECT count(*) FROM event WHERE kind = 0")[0][0],
                         last["tally"]["readings"])
        self.assertGreaterEqual(last["tally"]["readings"], told + 1)
        self.assertTrue(c.ask("close")["ok"])
        self.assertEqual(y.lugmark("verify").returncode, 0)

    def write_until_full(self, y, c, fill):
        """Readings that were told of before the disk said no."""
        fd = os.open(fill, os.O_WRONLY | os.O_CREAT)
        try:
            while True:
                os.write(fd, b"x" * 4096)
        except OSError:
            os.close(fd)
        told = n = 0
        c.event("session")
        while True:
            n += 1
            y.ports["front"].read(*[code(1 + (n * 20 + i) % 40) for i in range(20)])
            for _ in range(20):
                got = c.event()
                if got["event"] == "journal":
                    self.assertEqual(got["state"], "failed")
                    return told
                told += 1

    def watch(self, y):
        screen = Screen([LUGMARK, "watch", "--socket", y.socket],
                        dict(os.environ, TERM="xterm", LC_ALL="C.UTF-8"), rows=30, columns=120)
        self.addCleanup(screen.close)
        return screen


class Taken(DaemonTest):
    def begun(self):
        y = self.yard()
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        y.ports["front"].read(*[code(n) for n in range(1, 11)])
        for _ in range(10):
            c.event("verdict")
        return y, c

    def test_the_register_is_removed(self):
        y, c = self.begun()
        y.replays = False
        for tail in ("", "-wal", "-shm"):
            os.unlink(y.db + tail)
        failed = c.event("journal")                      # within a second, before anything comes
        self.assertEqual(failed["state"], "failed")
        self.assertIn("removed", failed["problem"])
        rescued = y.db + ".rescued"
        self.assertIn(rescued, failed["problem"])
        y.ports["front"].read(code(11))
        self.refused(c.ask("head", n=5), 4, "removed")
        shown = subprocess.run([LUGMARK, "status", "--socket", y.socket], capture_output=True,
                               text=True, timeout=30, check=False)
        self.assertEqual(shown.returncode, 4)
        self.assertIn(os.path.basename(rescued), shown.stderr)
        self.assertEqual(c.ask("status")["waiting"], 1)
        self.assertEqual([e for e in c.stream if e.get("event") == "verdict"], [])
        self.assertEqual(y.stop(), 4)
        self.assertIn("1 readings could not be kept", y.said())
        os.rename(rescued, y.db)
        self.assertEqual(y.rows("SELECT count(*) FROM event WHERE kind = 0"), [(10,)])
        self.assertEqual(y.lugmark("verify").returncode, 0)
        y.start()                                        # and the session goes on
        self.assertEqual(y.client().ask("status")["tally"]["readings"], 10)
        y.replays = True

    def test_another_file_lies_in_its_place(self):
        y, c = self.begun()
        y.replays = False
        aside = y.db + ".aside"
        os.rename(y.db, aside)
        with open(y.db, "w", encoding="utf-8") as out:
            out.write("not a register")
        self.assertEqual(c.event("journal")["state"], "failed")
        y.ports["front"].read(code(11))
        until(lambda: c.ask("status")["waiting"] == 1)
        with open(y.db, encoding="utf-8") as got:
            self.assertEqual(got.read(), "not a register")
        os.rename(aside, y.db)                           # the right one is put back
        self.assertEqual(c.event("verdict")["eid"], code(11))
        self.assertEqual(c.event("journal")["state"], "well")
        self.assertEqual(y.rows("SELECT count(*) FROM event WHERE kind = 0"), [(11,)])
        y.replays = True

    def test_only_the_file_beside_it_is_removed(self):
        y, c = self.begun()
        y.replays = False
        os.unlink(y.db + "-wal")
        self.assertIn("-wal", c.event("journal")["problem"])
        self.assertFalse(c.ask("saw", number="0001")["ok"])
        self.assertEqual(y.stop(), 0)
        y.db += ".rescued"
        self.assertEqual(y.rows("SELECT count(*) FROM event WHERE kind = 0"), [(10,)])
        self.assertEqual(y.lugmark("verify").returncode, 0)

    def test_made_read_only(self):
        """Who has it open may go on; nothing that was told is lost, or it says that it cannot."""
        y, c = self.begun()
        for tail in ("", "-wal", "-shm"):
            os.chmod(y.db + tail, 0o400)
        y.ports["front"].read(code(11))
        self.assertEqual(c.event("verdict")["eid"], code(11))
        self.assertTrue(c.ask("head", n=11)["ok"])
        y.kill()
        for tail in ("", "-wal", "-shm"):
            os.chmod(y.db + tail, 0o600)
        y.start()
        self.assertEqual(y.rows("SELECT count(*) FROM event WHERE kind = 0"), [(11,)])


if __name__ == "__main__":
    tap.main()
