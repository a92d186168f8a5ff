"""The same events give the same findings: live, from the journal, and by reconcile from files."""
import json

import tap
import yard

SHARED = yard.REGISTER + ("C1,goat,female,does,on-farm,flag tag,left ear,yellow,yes,"
                          "999000000080001,0700\n"
                          "C2,goat,female,does,on-farm,flag tag,left ear,yellow,yes,"
                          "999000000080002,0700\n"
                          "S1,goat,female,does,sold,flag tag,left ear,yellow,yes,"
                          "999000000080003,0800\n")


class Replay(yard.DaemonTest):
    def read(self, y, watcher, name, *codes):
        for c in codes:
            y.ports[name].read(c)
            watcher.event("verdict")

    def test_every_kind_replays_byte_for_byte(self):
        y = self.yard(SHARED, readers=("front", "side"),
                      config="[lane 1]\nrearm_s = 1\n[attention]\nsold = look\n")
        watcher = y.client(watch=True)
        c = y.client()
        self.assertTrue(c.ask("open", kind="walk", mob="does", who="Ada")["ok"])
        code = yard.code
        self.read(y, watcher, "front", code(1), code(2))
        c.ask("saw", number="0003", lane="1", on_last=True)      # number and code differ
        c.ask("saw", number="0004", lane="1")                    # tag gave no reading
        c.ask("saw", number="nobody", lane="1")
        self.read(y, watcher, "front", code(5))
        self.read(y, watcher, "side", code(5))                   # two lanes at once
        self.read(y, watcher, "front", "999000000090001", "999000000080003", "900000000000001",
                  "999000000077777", "001000000000001")
        y.lugmark("edit", "A6", "--mob", "bucks")                # counts from the next reading on
        self.read(y, watcher, "front", code(6))
        yard.time.sleep(1.2)
        self.read(y, watcher, "front", code(1))                  # again, after the re-arm time
        c.ask("head", n=12)
        c.ask("head", n=99)
        c.ask("undo")
        live_open = c.ask("findings")["findings"]
        self.assertEqual(live_open["heads"], 12)
        self.assertTrue(c.ask("close")["ok"])
        live = c.ask("findings")["findings"]
        stored, again = y.replay("1")
        self.assertEqual(stored, again)
        self.assertEqual(live, json.loads(stored))
        reasons = {f["reason"] for f in live["findings"]}
        self.assertLessEqual({"not-seen", "not-in-register", "same-animal-again",
                              "two-animals-one-number", "two-lanes-at-once", "other-mob", "sold",
                              "number-differs", "no-reading", "test-code", "unknown-country"},
                             reasons)
        sold = [f for f in live["findings"] if f["reason"] == "sold"]
        self.assertEqual(sold[0]["attention"], "look")           # set in the configuration
        self.assertEqual(live["session"]["who"], "Ada")

    def test_a_lot_replays(self):
        y = self.yard()
        c = y.client(watch=True)
        d = y.client()
        d.ask("open", kind="sale", lot="autumn", animals=["A1", "A2"])
        self.read(y, c, "front", yard.code(1), yard.code(9))
        d.ask("close")
        stored, again = y.replay("1")
        self.assertEqual(stored, again)
        found = {(f["reason"], f["animal"], f["attention"]) for f in json.loads(stored)["findings"]}
        self.assertEqual(found, {("not-seen", "A2", "hold"), ("other-lot", "A9", "hold")})


if __name__ == "__main__":
    tap.main()
