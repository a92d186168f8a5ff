"""What the register must not take, so that it reads its own export; links of tags that came off
before; animals moved between holdings of one keeper."""
import datetime
import json

import cli
import tap

SUPPLY = "strip,position,eid,visual,form,colour,official,received\n"
FUTURE = (datetime.date.today() + datetime.timedelta(days=3)).isoformat()


class Links(cli.CliTest):
    def setUp(self):
        super().setUp()
        self.good("init")
        self.good("add", "--animal", "A1", "--sex", "doe", "--born", "2024-01-01", "--visual", "0101",
                  "--eid", "999000000000101", "--official", "yes", "--applied", "2024-01-05")

    def refused(self, *args, say):
        before = self.good("export")
        said = self.bad(*args)
        self.assertIn(say, said)
        self.assertEqual(self.good("export"), before)
        return said

    def devices(self, key):
        return json.loads(self.good("show", key, "--json"))["devices"]

    def test_a_tag_that_came_off_before_is_linked_to_the_one_that_follows(self):
        self.good("remove", "A1", "--reason", "lost", "--date", "2026-02-01")
        self.good("retag", "A1", "--old", "0101", "--reason", "lost", "--visual", "0102",
                  "--date", "2026-02-20")
        old, new = self.devices("A1")
        self.assertEqual((old["removed"], old["why"]), ("2026-02-01", "lost"))
        self.assertEqual((new["applied"], new["replaces"]), ("2026-02-20", 1))
        # nothing follows it twice
        self.refused("retag", "A1", "--old", "0101", "--reason", "lost", "--visual", "0103",
                     say="wears no device 0101")
        # one that is worn goes before one that came off, also with the same number
        self.good("retag", "A1", "--old", "0102", "--reason", "torn", "--visual", "0102")
        self.assertEqual(self.devices("A1")[2]["replaces"], 2)

    def test_the_only_one_that_came_off_need_not_be_named(self):
        self.good("remove", "A1", "--reason", "lost")
        self.good("retag", "A1", "--reason", "lost", "--visual", "0102")
        self.assertEqual(self.devices("A1")[1]["replaces"], 1)
        self.good("add", "--animal", "A2")
        self.assertIn("lugmark tag puts one on",
                      self.refused("retag", "A2", "--reason", "lost", "--visual", "7",
                                   say="A2 wears no device"))

    def test_the_counter_is_shown(self):
        self.good("retag", "A1", "--reason", "unreadable", "--retag-counter", "2", "--visual", "0101")
        self.assertIn("999000000000101, retag 2", self.good("show", "A1"))

    def test_a_grown_animal_may_be_tagged_again(self):
        self.good("remove", "A1", "--reason", "lost")
        self.good("tag", "A1", "--visual", "0102", "--form", "flag tag", "--quiet-cautions")

    def test_parentage_given_while_tagging_is_looked_at(self):
        self.good("add", "--animal", "K1", "--dam", "A1", "--born", "2026-01-01", "--visual", "1")
        self.refused("tag", "A1", "--visual", "0102", "--dam", "K1", "--yes", say="its own forebear")

    def test_dates_that_import_would_refuse_are_not_entered(self):
        for args in (["split", "A1", "--device", "last", "--new", "B1", "--born", FUTURE],
                     ["edit", "A1", "--born", FUTURE],
                     ["tag", "--visual", "9", "--born", FUTURE, "--yes"]):
            self.refused(*args, say="lies in the future")
        self.refused("edit", "A1", "--status", "sold", "--status-date", "2023-01-01",
                     say="born 2024-01-01, so it cannot be sold since 2023-01-01")
        self.refused("edit", "A1", "--status", "dead", "--status-date", "2026-01-01",
                     "--born", "2026-02-01", say="so it cannot be dead since")
        self.write("r.csv", "animal,visual,born,status,status_date\nX,1,2025-01-01,sold,2024-01-01\n"
                            "Y,2,2025,sold,2025\n")
        self.assertIn("r.csv:2:5: status_date: 2024-01-01, before its birth",
                      self.bad("import", "r.csv"))
        self.write("s.csv", SUPPLY + f"S,1,,0001,,,,{FUTURE}\n")
        self.assertIn("s.csv:2:8: received: lies in the future", self.bad("stock", "import", "s.csv"))
        self.write("m.ini", "[file]\ndates = dmy\ndates = mdy\n")
        self.assertIn("m.ini:3: the order of dates is said already",
                      self.bad("import", "--mapping", "m.ini", "r.csv"))

    def test_moved_to_another_holding_is_no_sale(self):
        self.good("buy", "--transfer", "--from", "hill", "--animal", "T1", "--visual", "T1",
                  "--date", "2026-02-01")
        self.good("sell", "A1", "--transfer", "--to", "hill", "--date", "2026-03-01")
        said = self.good("statement", "--from", "2026-01-01", "--to", "2026-04-01", "--json")
        total = json.loads(said)["total"]
        self.assertEqual([total[k] for k in ("opening", "moved-in", "moved-out", "bought", "sold",
                                             "book")], [1, 1, 1, 0, 0, 1])
        self.assertIn("transferred out 2026-03-01 to hill", self.good("show", "A1", "--history"))

    def test_sold_and_back_by_the_advice_given(self):
        self.good("sell", "A1", "--date", "2026-02-01")
        advice = self.refused("found", "A1", say="lugmark edit KEY --status on-farm --status-date DAY")
        self.assertIn("--why bought", advice)
        self.good("edit", "A1", "--status", "on-farm", "--status-date", "2026-03-01", "--why", "bought")
        total = json.loads(self.good("statement", "--from", "2026-01-01", "--to", "2026-04-01",
                                     "--json"))["total"]
        self.assertEqual((total["sold"], total["bought"], total["book"]), (1, 1, 1))

    def test_a_period_that_is_not_over_is_said(self):
        done = self.run_("statement", "--from", "2026-01-01", "--to", FUTURE)
        self.assertIn("the period is not over", done.stderr)
        self.assertIn(f"--cutoff {FUTURE} lies in the future",
                      self.bad("count", "2026", "--close", "--cutoff", FUTURE))
        done = self.run_("statement", "--from", "2026-01-01", "--to", "2026-02-01")
        self.assertNotIn("the period is not over", done.stderr)


if __name__ == "__main__":
    tap.main()
