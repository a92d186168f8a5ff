"""Programs that end again and again, or that talk without end: heard, but not for ever."""
import os
import time

import tap
from yard import DaemonTest, code, until


class Restless(DaemonTest):
    def program(self, script):
        y = self.yard(readers=(), start=False)
        path = os.path.join(y.dir, "run")
        with open(path, "w", encoding="utf-8") as out:
            out.write("#!/bin/sh\n" + script)
        os.chmod(path, 0o755)
        with open(y.config, "a", encoding="utf-8") as out:
            out.write(f"[reader front]\ndriver = program\ncommand = {path}\n")
        return y.start()

    def front(self, c):
        return c.ask("readers")["readers"][0]

    def log(self, y):
        mark = "reader front: "
        return [line.split(mark, 1)[1] for line in y.said().splitlines() if mark in line]

    def test_one_that_ends_after_each_reading(self):
        y = self.program(f"echo '{{\"reading\":\"{code(1)}\"}}'\n")
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        time.sleep(5)
        state = self.front(c)
        self.assertGreaterEqual(state["opened"], 4)
        self.assertLessEqual(state["opened"], 8)  # 0.1, 0.2, 0.4 ... seconds apart
        self.assertGreaterEqual(state["readings"], 3)  # none of what it said is lost
        logged = [line for line in self.log(y) if not line.startswith("says: ")]
        self.assertEqual([line.split(":")[0] for line in logged], ["live", "backing-off"] * 3)
        self.assertIn("again and again", logged[-1])

    def test_one_that_talks_without_end(self):
        y = self.program("i=0\nwhile test $i -lt 500; do i=$((i + 1)); echo line $i >&2; done\n"
                         f"echo '{{\"reading\":\"{code(2)}\"}}'\nexec sleep 1000\n")
        c = y.client(watch=True)
        until(lambda: self.front(c)["readings"] == 1)
        said = [line for line in self.log(y) if line.startswith("says: ")]
        self.assertEqual(said[:20], [f"says: line {n}" for n in range(1, 21)])
        self.assertEqual(len(said), 21)
        self.assertIn("more than is shown", said[20])


if __name__ == "__main__":
    tap.main()
