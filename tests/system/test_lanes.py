"""Several readers and several lanes: one animal is one pass, wherever and however often it is read."""
import json
import os
import subprocess
import time

import tap
from yard import LUGMARK, WAIT, DaemonTest, Port, code, until


class Lanes(DaemonTest):
    def lanes(self, *lanes, start=True, config=""):
        """A yard with one reader for each name of a lane given: r0, r1, ..."""
        y = self.yard(readers=(), start=False)
        for i, lane in enumerate(lanes):
            port = y.ports[f"r{i}"] = Port(os.path.join(y.dir, f"r{i}"))
            config += f"[reader r{i}]\nlane = {lane}\nport = {port.link}\n"
        with open(y.config, "a", encoding="utf-8") as out:
            out.write(config)
        if start:
            y.start()
        return y

    def read(self, c, port, n):
        port.read(code(n))
        verdict = c.event("verdict")
        self.assertEqual(verdict["eid"], code(n))
        return verdict

    def by_lane(self, c):
        return {lane["lane"]: (lane["readings"], lane["passes"])
                for lane in c.ask("status")["by_lane"]}

    def findings(self, c):
        found = c.ask("findings")["findings"]["findings"]
        return [(f["kind"], f["reason"], f["animal"]) for f in found if f["kind"] != "missing"]

    def test_two_antennas_of_one_lane_make_one_pass(self):
        y = self.lanes("1", "1")
        c = y.client(watch=True)
        c.ask("open", kind="walk", mob="does")
        for n in range(1, 21):
            first, second = y.ports["r0"], y.ports["r1"]
            if n % 2:
                first, second = second, first
            verdicts = [self.read(c, p, n) for p in (first, second, first, second)]
            self.assertEqual([v["repeat"] for v in verdicts], [False, True, True, True])
            self.assertEqual({v["lane"] for v in verdicts}, {"1"})
            self.assertEqual({v["reader"] for v in verdicts}, {"r0", "r1"})
        tally = c.ask("status")["tally"]
        self.assertEqual((tally["readings"], tally["passes"], tally["present"]), (80, 20, 20))
        self.assertEqual(self.by_lane(c), {"1": (80, 20)})
        readings = [r["readings"] for r in c.ask("readers")["readers"]]
        self.assertEqual(readings, [40, 40])
        self.assertEqual(self.findings(c), [])
        c.ask("close")

    def test_one_code_on_two_lanes_at_once(self):
        y = self.lanes("1", "2", config="[lane 1]\n[lane 2]\n")
        c = y.client(watch=True)
        c.ask("open", kind="walk", mob="does")
        self.assertEqual(self.read(c, y.ports["r0"], 1)["reasons"], [])
        verdict = self.read(c, y.ports["r1"], 1)
        self.assertEqual(verdict["reasons"], ["two-lanes-at-once"])
        self.assertEqual(self.read(c, y.ports["r1"], 2)["reasons"], [])
        tally = c.ask("status")["tally"]
        self.assertEqual((tally["readings"], tally["passes"], tally["present"]), (3, 2, 2))
        self.assertIn(("duplicate", "two-lanes-at-once", "A1"), self.findings(c))
        c.ask("close")

    def test_time_enough_to_walk_around_is_no_two_lanes(self):
        y = self.lanes("1", "2", config="[lane 1]\ncrossing_s = 0\n")
        c = y.client(watch=True)
        c.ask("open", kind="walk", mob="does")
        self.read(c, y.ports["r0"], 1)
        time.sleep(0.05)
        self.assertEqual(self.read(c, y.ports["r1"], 1)["reasons"], ["same-animal-again"])

    def test_each_lane_has_its_tally(self):
        y = self.lanes("left", "right", "left", "back gate")
        c = y.client(watch=True)
        self.assertIsNone(c.ask("status")["by_lane"])
        c.ask("open", kind="walk", mob="does")
        for n in range(1, 11):
            self.read(c, y.ports["r0"], n)
            self.read(c, y.ports["r2"], n)
        for n in range(11, 14):
            self.read(c, y.ports["r1"], n)
        self.read(c, y.ports["r1"], 99)  # a stranger's pass counts, too
        y.ports["r1"].read("999000000")  # this is no reading
        until(lambda: c.ask("readers")["readers"][1]["rejects"]["no-code"] == 1)
        wanted = {"left": (20, 10), "right": (4, 4), "back gate": (0, 0)}
        self.assertEqual(self.by_lane(c), wanted)
        tally = c.ask("status")["tally"]
        self.assertEqual(tally["readings"], sum(r for r, _ in wanted.values()))
        self.assertEqual(tally["passes"], sum(p for _, p in wanted.values()))
        shown = subprocess.run([LUGMARK, "status", "--socket", y.socket], capture_output=True,
                               text=True, timeout=WAIT, stdin=subprocess.DEVNULL).stdout
        for line in ("lane left: readings 20, passes 10", "lane right: readings 4, passes 4",
                     "lane back gate: readings 0, passes 0"):
            self.assertIn(line, shown)
        y.kill()
        y.start()
        c = y.client(watch=True)
        self.assertEqual(self.by_lane(c), wanted)
        c.ask("close")
        self.assertIsNone(c.ask("status")["by_lane"])
        c.ask("open", kind="walk", mob="does")  # a new session begins at nothing
        self.assertEqual(set(self.by_lane(c).values()), {(0, 0)})


class Order(DaemonTest):
    """What a reader says of the time is never believed: order is the order of arrival."""

    ORDER = [5, 3, 9, 1, 8, 2, 7, 4, 6, 10]

    def times(self):
        """Backwards, far off, twice the same, nonsense."""
        return ["2031-01-01T00:00:00.000Z", "1999-12-31T23:59:59.999Z", "2026-11-02T08:00:00.000Z",
                "2026-11-02T07:00:00.000Z", "2026-11-02T08:00:00.000Z", "2026-11-02T08:00:00.000Z",
                "2026-11-02T05:00:00.000Z", "1970-01-01T00:00:00.000Z", "2026-11-02T04:00:00.000Z",
                "2026-11-02T03:00:00.000Z"]

    def walk(self, config, files):
        y = self.yard(readers=(), start=False)
        for name, text in files.items():
            with open(os.path.join(y.dir, name), "w", encoding="utf-8") as out:
                out.write(text.replace("DIR", y.dir))
            os.chmod(os.path.join(y.dir, name), 0o755)
        with open(y.config, "a", encoding="utf-8") as out:
            out.write(config.replace("DIR", y.dir))
        y.start()
        c = y.client(watch=True)
        c.ask("open", kind="walk", mob="does")
        open(os.path.join(y.dir, "go"), "wb").close()
        verdicts = [c.event("verdict") for _ in self.ORDER]
        self.assertEqual([v["animal"] for v in verdicts], [f"A{n}" for n in self.ORDER])
        self.assertEqual(verdicts, sorted(verdicts, key=lambda v: v["seq"]))
        stamped = [v["t"] for v in verdicts]
        self.assertEqual(stamped, sorted(stamped))
        self.assertFalse(set(stamped) & set(self.times()))
        self.assertEqual([v["reasons"] for v in verdicts], [[]] * len(self.ORDER))
        clocks = [ms for (ms,) in y.rows("SELECT clock_ms FROM event WHERE kind = 0 ORDER BY seq")]
        self.assertEqual(clocks, sorted(clocks))
        c.ask("close")

    def test_a_replay_with_times_out_of_order(self):
        rows = "".join(f"{t},7,{code(n)}\n" for t, n in zip(self.times(), self.ORDER))
        self.walk("[reader file]\ndriver = replay\nfile = DIR/in.csv\n", {"in.csv": rows})

    def test_a_program_with_times_out_of_order(self):
        lines = "".join(json.dumps({"t": t, "lane": "7", "seq": 100 - i, "clock_ms": 5000 - i,
                                    "reading": code(n)}) + "\n"
                        for i, (t, n) in enumerate(zip(self.times(), self.ORDER)))
        # it waits for the session: what a live reader says before one begins is in none
        script = ("#!/bin/sh\nwhile ! test -e DIR/go; do sleep 0.05; done\ncat DIR/lines\n"
                  "exec sleep 1000\n")
        self.walk("[reader other]\ndriver = program\ncommand = DIR/run\n",
                  {"run": script, "lines": lines})

    def test_a_replay_at_its_own_pace_with_times_out_of_order(self):
        times = ["2026-11-02T08:00:00.300Z", "2026-11-02T08:00:00.100Z", "2026-11-02T08:00:00.200Z",
                 *["2026-11-02T08:00:00.000Z"] * 7]
        rows = "".join(f"{t},7,{code(n)}\n" for t, n in zip(times, self.ORDER))
        self.walk("[reader file]\ndriver = replay\npace = real\nfile = DIR/in.csv\n",
                  {"in.csv": rows})


if __name__ == "__main__":
    tap.main()
