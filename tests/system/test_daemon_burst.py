"""A disk that was busy for a while, and all that waited is told at once."""
import json
import socket
import sqlite3
import threading
import time
import unittest

import tap
from yard import REGISTER, Yard, code, until

READINGS = 8000           # some 5 MB of verdicts: a watcher is dropped at 1 MiB unread


class Follower(threading.Thread):
    """Reads as fast as it can, and looks at it later."""

    def __init__(self, path):
        super().__init__(daemon=True)
        self.socket = socket.socket(socket.AF_UNIX)
        self.socket.settimeout(60)
        self.socket.connect(path)
        self.socket.sendall(b'{"do":"watch"}\n')
        self.pieces = []

    def run(self):
        while piece := self.socket.recv(1 << 16):
            self.pieces.append(piece)

    def seqs(self):
        lines = b"".join(self.pieces).split(b"\n")[:-1]
        said = [json.loads(line) for line in lines]
        return [one["seq"] for one in said if one.get("event") == "verdict"]


class Burst(unittest.TestCase):
    def setUp(self):
        self.yard = Yard(REGISTER, readers=("a", "b"))
        self.addCleanup(self.yard.close)
        self.yard.start()

    def wait_for_the_disk(self):
        """Somebody else writes to the register; until all readings wait."""
        y = self.yard
        lock = sqlite3.connect(y.db, isolation_level=None)
        lock.execute("BEGIN IMMEDIATE")
        for at in range(0, READINGS, 80):
            for port in y.ports.values():
                port.read(*[code(n + 1) for n in range(40)])
        return lock

    def test_who_reads_is_not_dropped(self):
        y = self.yard
        good = Follower(y.socket)
        stuck = y.client(watch=True)  # takes nothing from here on
        other = y.client()
        other.ask("open", kind="walk")
        good.start()
        lock = self.wait_for_the_disk()
        self.assertEqual(good.seqs(), [])  # nothing is said before it is on the disk
        other.send(do="status")
        other.send(do="head", n=3)
        begin = time.monotonic()
        lock.execute("ROLLBACK")
        lock.close()
        status, head = other.answer(), other.answer()
        took = time.monotonic() - begin
        self.assertEqual(status["tally"]["readings"], READINGS)
        self.assertEqual(status["waiting"], 0)
        self.assertTrue(head["ok"], head)
        until(lambda: len(good.seqs()) >= READINGS)
        kept = [seq for (seq,) in y.rows("SELECT seq FROM event WHERE kind = 0 ORDER BY seq")]
        self.assertEqual(good.seqs(), kept)
        self.assertGreater(head["seq"], kept[-1])
        self.assertEqual(y.said().count("a client was dropped"), 1)  # and that is the other one
        with self.assertRaises((EOFError, OSError)):
            while True:
                stuck.line()
        self.assertLess(took, 30)


if __name__ == "__main__":
    tap.main()
