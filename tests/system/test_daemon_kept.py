"""What lugmarkd keeps: through kills, restarts and disks that refuse."""
import os
import resource
import signal
import sqlite3
import time

import tap
from yard import DaemonTest, code, until


class Kept(DaemonTest):
    def test_kill_in_the_middle_of_a_stream(self):
        """Whatever was told is kept, once; the open session goes on."""
        y = self.yard()
        c = y.client(watch=True)
        told = {}
        self.assertTrue(c.ask("open", kind="walk", token="open")["ok"])
        sent = 0
        for _ in range(6):
            goal = len(told) + 150
            y.ports["front"].read(*[code(1 + (sent + n) % 40) for n in range(400)])
            sent += 400
            while len(told) < goal:
                v = c.event("verdict")
                self.assertNotIn(v["seq"], told)
                told[v["seq"]] = v["eid"]
            y.kill()
            try:                               # what was on its way counts as told, too
                while True:
                    v = c.line()
                    told[v["seq"]] = v["eid"]
            except (EOFError, ConnectionError):
                pass
            c.close()
            y.start()
            c = y.client()
            self.assertEqual(c.greeting["session"]["id"], "1")
            kept = dict(y.rows("SELECT seq, printf('%015d', ((bits >> 38) & 1023) * 1000000000000"
                               " + (bits & 274877906943)) FROM event WHERE kind = 0"))
            for seq, eid in told.items():
                self.assertEqual(kept.get(seq), eid)
            self.assertEqual(c.ask("status")["tally"]["readings"], len(kept))
            self.assertTrue(c.ask("watch")["ok"])
        self.assertTrue(c.ask("open", kind="walk", token="open")["again"])
        self.assertEqual(y.rows("SELECT count(*), count(DISTINCT seq) FROM event WHERE kind = 4"),
                         [(1, 1)])
        self.assertTrue(c.ask("close")["ok"])

    def test_nothing_is_lost_without_a_kill(self):
        y = self.yard()
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        for _ in range(10):
            y.ports["front"].read(*[code(1 + n % 40) for n in range(200)])
        for _ in range(2000):
            last = c.event("verdict")
        self.assertEqual(last["tally"]["readings"], 2000)
        self.assertEqual(y.rows("SELECT count(*) FROM event WHERE kind = 0"), [(2000,)])

    def test_live_and_afterwards_are_the_same(self):
        y = self.yard()
        c = y.client(watch=True)
        c.ask("open", kind="walk", mob="does")
        y.ports["front"].read(code(1), code(2), code(1), "999000000090001", "999000000077777")
        for _ in range(5):
            c.event("verdict")
        c.ask("saw", number="0009")
        c.ask("saw", number="0011", on_last=True)
        c.ask("head", n=9)
        before = c.ask("findings")["findings"]
        y.kill()
        y.start()
        c = y.client()
        self.assertEqual(c.ask("findings")["findings"], before)
        tally = c.ask("status")["tally"]
        closed = c.ask("close")["tally"]
        self.assertEqual(tally, closed)
        after = c.ask("findings")["findings"]
        y.stop()
        y.start()
        self.assertEqual(y.client().ask("findings")["findings"], after)

    def test_the_session_clock_goes_on(self):
        y = self.yard()
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        y.ports["front"].read(code(1))
        c.event("verdict")
        y.kill()
        time.sleep(1.0)
        y.start()
        c = y.client(watch=True)
        y.ports["front"].read(code(1))
        self.assertTrue(c.event("verdict")["repeat"])
        (first,), (second,) = y.rows("SELECT clock_ms FROM event WHERE kind = 0 ORDER BY seq")
        self.assertGreaterEqual(second - first, 1000)
        self.assertLess(second - first, 30000)

    def test_watch_after_has_no_gap_and_nothing_twice(self):
        y = self.yard()
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        live = [c.event("session")]
        for _ in range(10):
            y.ports["front"].read(*[code(1 + n % 40) for n in range(300)])
            live += [c.event("verdict") for _ in range(300)]
        late = y.client()
        late.send(do="watch", after=live[0]["seq"] - 1)   # and does not read yet: it must be paced
        y.ports["front"].read(*[code(1 + n % 40) for n in range(300)])
        live += [c.event("verdict") for _ in range(300)]
        self.assertTrue(late.answer()["ok"])
        self.assertEqual(late.stream, [])
        lines = [late.event() for _ in range(len(live))]
        self.assertEqual([g["seq"] for g in lines], [g["seq"] for g in live])
        self.assertEqual(lines, live)
        y.ports["front"].read(code(2))
        self.assertEqual(late.event(), c.event())

    def test_sigterm_keeps_what_came_and_leaves_cleanly(self):
        y = self.yard()
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        y.ports["front"].read(code(1), code(2))
        c.event("verdict")
        c.event("verdict")
        self.assertEqual(y.stop(), 0)
        self.assertFalse(os.path.exists(y.socket))
        self.assertEqual(y.rows("SELECT count(*) FROM event WHERE kind = 0"), [(2,)])
        self.assertIn("ended", y.said())

    def test_sighup_changes_nothing(self):
        y = self.yard()
        c = y.client()
        y.process.send_signal(signal.SIGHUP)
        time.sleep(0.2)
        self.assertTrue(c.ask("status")["ok"])

    def test_a_register_change_counts_from_the_next_reading_on(self):
        y = self.yard()
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        y.ports["front"].read("999000000077777")
        self.assertIn("not-in-register", c.event("verdict")["reasons"])
        y.lugmark("add", "--animal", "N1", "--eid", "999000000077777", "--visual", "7777")
        y.ports["front"].read(code(1), "999000000077777")
        self.assertEqual(c.event("verdict")["animal"], "A1")
        self.assertEqual(c.event("verdict")["animal"], "N1")
        seqs = [row[0] for row in y.rows("SELECT seq FROM event WHERE kind = 6 ORDER BY seq")]
        self.assertGreater(seqs[-1], seqs[0])
        before = c.ask("findings")["findings"]
        y.kill()
        y.start()
        self.assertEqual(y.client().ask("findings")["findings"], before)


class DiskTrouble(DaemonTest):
    def failing(self, y, c):
        """A disk that will not take one byte more, until well() is called."""
        size = max(os.path.getsize(y.db + "-wal"), os.path.getsize(y.db))
        resource.prlimit(y.process.pid, resource.RLIMIT_FSIZE, (size, resource.RLIM_INFINITY))

    def well(self, y):
        resource.prlimit(y.process.pid, resource.RLIMIT_FSIZE,
                         (resource.RLIM_INFINITY, resource.RLIM_INFINITY))

    def grow_wal(self, y, c):
        n = 0
        while os.path.getsize(y.db + "-wal") <= os.path.getsize(y.db):
            self.assertTrue(c.ask("head", n=n)["ok"])
            n += 1
        c.stream.clear()

    def test_readings_wait_for_a_full_disk(self):
        y = self.yard()
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        self.grow_wal(y, c)
        self.failing(y, c)
        y.ports["front"].read(*[code(n) for n in range(1, 11)])
        failed = c.event("journal")
        self.assertEqual(failed["state"], "failed")
        self.assertTrue(failed["problem"])
        refused = c.ask("saw", number="0001")
        self.assertEqual((refused["ok"], refused["exit"]), (False, 4))
        y.ports["front"].read(*[code(n) for n in range(11, 21)])
        status = until(lambda: (lambda s: s if s["waiting"] == 20 else None)(c.ask("status")))
        self.assertEqual(status["journal"], "failed")
        self.assertEqual([e for e in c.heard if e.get("event") == "verdict"], [])
        self.well(y)
        got = []
        while len(got) < 20 or "journal" not in [g["event"] for g in got]:
            got.append(c.event())
        self.assertEqual([g["eid"] for g in got if g["event"] == "verdict"],
                         [code(n) for n in range(1, 21)])
        self.assertEqual([g["state"] for g in got if g["event"] == "journal"], ["well"])
        self.assertEqual(y.rows("SELECT count(*) FROM event WHERE kind = 0"), [(20,)])
        self.assertEqual(y.said().count("written again"), 1)

    def test_a_register_that_somebody_else_is_writing(self):
        y = self.yard()
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        other = sqlite3.connect(y.db, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        y.ports["front"].read(code(1))
        self.assertEqual(c.event("journal")["state"], "failed")
        other.execute("ROLLBACK")
        other.close()
        self.assertEqual(c.event("verdict")["animal"], "A1")
        self.assertEqual(y.rows("SELECT count(*) FROM event WHERE kind = 0"), [(1,)])

    def test_sigterm_with_a_full_disk_says_what_is_lost(self):
        y = self.yard()
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        self.grow_wal(y, c)
        self.failing(y, c)
        y.ports["front"].read(code(1))
        c.event("journal")
        self.assertEqual(y.stop(), 4)
        self.assertIn("1 readings could not be kept", y.said())


if __name__ == "__main__":
    tap.main()
