"""A disk that refuses a read, a write or a sync now and then while a race goes on: it is said, all
comes right by itself, and what was told is kept, once. LUGMARK_FAULTS: how many refusals (5)."""
import mmap
import os
import select
import struct
import subprocess
import time

import tap
from yard import DaemonTest, until

HERE = os.path.dirname(os.path.abspath(__file__))
FAULTS = int(os.environ.get("LUGMARK_FAULTS", "5"))
EVERY = 37      # calls; no multiple of what one commit makes, so each kind has its turn
SECONDS = 4     # that a refusal may cost at most: it is tried again once a second


class Plan:
    """What the disk is to do, shared with it."""

    def __init__(self, path):
        with open(path, "w+b") as f:
            f.truncate(4096)
            self.map = mmap.mmap(f.fileno(), 4096)

    def fail_every(self, n):
        self.map[0:4] = struct.pack("=I", n)

    def failed(self):
        return struct.unpack("=I", self.map[8:12])[0]


class Refused(DaemonTest):
    def begun(self):
        y = self.yard(start=False)
        shim = os.path.join(y.dir, "disk_fault.so")
        subprocess.run(["cc", "-shared", "-fPIC", "-o", shim,
                        os.path.join(HERE, "../torture/disk_fault.c"), "-ldl"], check=True)
        plan = Plan(os.path.join(y.dir, "plan"))
        y.start(env={"LD_PRELOAD": shim, "DISK_FAULT": os.path.join(y.dir, "plan"), "ASAN_OPTIONS":
                     os.environ.get("ASAN_OPTIONS", "") + ":verify_asan_link_order=0"})
        c = y.client(watch=True)
        self.assertTrue(c.ask("open", kind="walk", mob="does")["ok"])
        return y, c, plan

    def hear(self, c, told):
        """What is on its way: readings that were told, by their place in the journal."""
        while c.stream or b"\n" in c.buffer or select.select([c.socket], [], [], 0)[0]:
            got = c.stream.pop(0) if c.stream else c.line()
            if got.get("event") == "verdict":
                self.assertNotIn(got["seq"], told)
                told[got["seq"]] = got["eid"]

    def count_heads(self, c, n, acked):
        """Until it is taken: with the same token it counts once."""
        refused = False
        while True:
            got = c.ask("head", n=n % 50, token=f"h{n}")
            if got["ok"]:
                acked[f"h{n}"] = got["seq"]
                return refused
            self.assertEqual(got["exit"], 4, got)
            self.assertTrue(got["error"] and got["mend"], got)
            refused = True
            time.sleep(0.1)

    def race(self, y, c, plan):
        sent, told, acked, refused, n = [], {}, {}, 0, 0
        end = time.monotonic() + 20 + SECONDS * FAULTS
        plan.fail_every(EVERY)
        while plan.failed() < FAULTS:
            self.assertLess(time.monotonic(), end, (plan.failed(), c.ask("status")))
            more = [f"999000{800000000 + len(sent) + i:09d}" for i in range(3)]
            y.ports["front"].read(*more)
            sent += more
            n += 1
            if n % 3 == 0:
                refused += self.count_heads(c, n, acked)
            # by the stream alone: to ask for the status is to try again
            until(lambda: self.hear(c, told) or len(told) == len(sent))
        plan.fail_every(0)
        after = c.ask("status")
        self.assertEqual((after["journal"], after["waiting"]), ("well", 0))
        return sent, told, acked, refused

    def test_now_and_then(self):
        y, c, plan = self.begun()
        sent, told, acked, refused = self.race(y, c, plan)
        states = [e["state"] for e in c.heard if e.get("event") == "journal"]
        self.assertEqual(states, ["failed", "well"] * (len(states) // 2))
        self.assertGreater(len(states), 0)
        self.assertLessEqual(len(states) // 2, plan.failed())
        rows = y.rows("SELECT seq, printf('999%012d', bits & 274877906943) FROM event "
                      "WHERE kind = 0 ORDER BY seq")
        self.assertEqual([r[1] for r in rows], sent)       # each, once, in its order
        self.assertEqual(dict(rows), told)
        self.assertEqual(dict(y.rows("SELECT token, seq FROM event WHERE kind = 2")), acked)
        self.assertTrue(c.ask("close")["ok"])
        self.assertEqual(y.lugmark("verify").returncode, 0)
        print(f"# {plan.failed()} refusals of the disk, {len(states) // 2} said, {refused} answered "
              f"to a request: {len(sent)} readings and {len(acked)} head counts there, once each")


if __name__ == "__main__":
    tap.main()
