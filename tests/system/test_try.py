"""lugmark readers --try: captured bytes through every decoder, without a daemon."""
import os
import subprocess
import threading
import time
import tty

import tap
from cli import LUGMARK, CliTest
from frames import CONFIG, PUBLISHED, ascii30

CODE = "999000000012345"
READER = "[reader front]\nport = /nowhere\ndecoder = frame ascii30\n"


class Try(CliTest):
    def setUp(self):
        super().setUp()
        self.config = self.write("yard.conf", "[holding]\nname = Example\n" + READER + CONFIG
                                 + "[lane 1]\nrearm_s = 3\n")

    def try_(self, data, *args, **more):
        """Try these bytes with the configuration. What --json says."""
        self.write("capture.bin", data)
        return self.json("readers", "--try", "capture.bin", "--config", self.config, *args, **more)

    def named(self, got, name):
        return {d["name"]: d for d in got["decoders"]}[name]

    def test_a_frame_by_its_description(self):
        got = self.try_(b"noise" + PUBLISHED + b"\r\n" + ascii30(CODE) * 2)
        self.assertEqual(got["schema"], "lugmark.try/1")
        self.assertEqual(got["bytes"], 5 + 30 + 2 + 60)
        self.assertEqual(got["best"], "frame ascii30")
        frame = self.named(got, "frame ascii30")
        self.assertEqual(frame["readers"], "front")
        self.assertEqual(frame["readings"], 3)
        self.assertEqual(frame["codes"], [{"eid": "900250000023921", "times": 1},
                                          {"eid": CODE, "times": 2}])
        self.assertEqual(frame["rejects"]["no-code"], 1)
        self.assertTrue(frame["guarded"])
        self.assertEqual([f["at"] for f in frame["frames"]], [5, 37, 67])
        first = {p["name"]: p for p in frame["frames"][0]["parts"]}
        self.assertEqual(list(first), ["start", "national", "country", "data", "animal", "skip",
                                       "check", "end"])
        self.assertEqual(first["national"]["hex"],
                         PUBLISHED[1:11].hex().upper())
        self.assertEqual(first["national"]["value"], "250000023921")
        self.assertEqual(first["country"]["value"], "900")
        self.assertEqual(first["animal"]["value"], "1")
        self.assertEqual(first["check"]["hex"], "07F8")
        self.assertEqual({p["note"] for p in first.values()}, {None})
        for name in ("text", "telegram", "telegram, bit_order = lsb"):
            self.assertEqual(self.named(got, name)["readings"], 0)

    def test_as_text(self):
        self.write("capture.bin", PUBLISHED + b"xx" + PUBLISHED)
        out = self.good("readers", "--try", "capture.bin", "--config", self.config)
        self.assertIn("62 bytes of capture.bin", out)
        self.assertIn("frame ascii30 (reader front): 2 readings\n    900250000023921  2 times\n"
                      "    thrown away 1: no-code (2 bytes)\n", out)
        self.assertIn("best: frame ascii30", out)
        self.assertIn("frame ascii30, frame at byte 32:\n  start      02\n"
                      "  national   31 37 31 41 39 32 35 33 41 33  = 250000023921\n", out)
        self.assertNotIn("nothing guards", out)

    def test_the_built_in_decoders_need_no_configuration(self):
        self.write("capture.bin", f"{CODE}\r\nx\r\n{CODE}\r\n")
        got = self.json("readers", "--try", "capture.bin")
        self.assertEqual(got["best"], "text")
        self.assertIsNone(got["config"])
        self.assertEqual(self.named(got, "text")["codes"], [{"eid": CODE, "times": 2}])
        self.assertEqual(self.named(got, "text")["rejects"]["no-code"], 1)
        telegram = bytes.fromhex("0032D6DC0402079F80406253B8040201")
        lsb = bytes(int(f"{b:08b}"[::-1], 2) for b in telegram)
        hdx = bytes.fromhex("7E966D8000039F0001123B000000")
        turned = bytes(int(f"{b:08b}"[::-1], 2) for b in hdx)
        for data, name in ((telegram, "telegram"), (lsb, "telegram, bit_order = lsb"),
                           (hdx, "telegram, coding = hdx"),
                           (turned, "telegram, coding = hdx, bit_order = lsb")):
            got = self.json("readers", "--try", "-", stdin=data)
            self.assertEqual(got["best"], name)
            self.assertEqual(got["source"], "standard input")
            self.assertEqual(self.named(got, name)["codes"][0]["eid"], "999000000112233")

    def test_the_default_configuration_is_found(self):
        if os.path.exists("/etc/lugmark/lugmark.conf"):
            self.skipTest("this machine has a configuration of its own, which comes first")
        os.makedirs(self.path(".config/lugmark"))
        os.rename(self.path("yard.conf"), self.path(".config/lugmark/lugmark.conf"))
        self.write("capture.bin", PUBLISHED)
        self.assertEqual(self.json("readers", "--try", "capture.bin")["best"], "frame ascii30")

    def near(self, data, change=("", "")):
        """What the nearest misfit says is wrong: name of the part and the note."""
        self.write("yard.conf", READER + CONFIG.replace(*change))
        got = self.try_(data, exit_code=1)
        self.assertIsNone(got["best"])
        frame = self.named(got, "frame ascii30")
        self.assertEqual(frame["readings"], 0)
        self.assertEqual(frame["frames"], [])
        return [(p["name"], p["note"]) for p in frame["nearest"]["parts"] if p["note"]]

    def test_what_comes_nearest(self):
        damaged = PUBLISHED[:27] + b"\x06" + PUBLISHED[28:]
        self.assertEqual(self.near(b"\x02\x02" + damaged), [("check", "wanted 07 F8")])
        self.assertEqual(self.near(PUBLISHED[:-1] + b"\r"), [("end", "wanted 03 or 07")])
        self.assertEqual(self.near(PUBLISHED, ("skip:10", "literal:31 skip:9")),
                         [("literal", "wanted 31")])
        self.assertEqual(self.near(PUBLISHED, ("hex:reversed country", "decimal country"))[0][0],
                         "national")
        self.assertEqual(self.near(PUBLISHED, ("4:hex:reversed", "4:hex"))[0][0], "country")
        self.assertEqual(self.near(PUBLISHED[:12])[0][1], "the capture ends before it does")
        self.assertEqual(self.near(PUBLISHED, ("start = 02", "start = 02\nlength_counts = "
                                               "start through end\nfields2 = length:1"))[0][0],
                         "length")
        self.write("capture.bin", damaged)
        self.write("yard.conf", READER + CONFIG)
        out = self.good("readers", "--try", "capture.bin", "--config", self.config, exit_code=1)
        self.assertIn("no decoder found a code", out)
        self.assertIn("  check      06 F8  <- wanted 07 F8\n", out)
        self.assertIn("02 31 37 31 41 39 32 35", out)  # the dump
        self.write("capture.bin", b"nothing of the kind\xff")
        out = self.good("readers", "--try", "capture.bin", "--config", self.config, exit_code=1)
        self.assertIn("frame ascii30: its start is nowhere in these bytes", out)
        self.assertIn("nothing of the k", out)

    def test_nothing_guards_it(self):
        self.write("yard.conf", CONFIG + "[frame loose]\nstart = 02\n"
                   "fields = national:10:hex:reversed country:4:hex:reversed skip:14\nend = 03\n")
        got = self.try_(PUBLISHED * 3)
        loose = self.named(got, "frame loose")
        self.assertFalse(loose["guarded"])
        self.assertEqual(loose["readings"], 3)
        self.assertEqual(got["best"], "frame ascii30")
        out = self.good("readers", "--try", "capture.bin", "--config", self.config)
        self.assertEqual(out.count("nothing guards it"), 1)

    def test_readers_with_settings_of_their_own(self):
        self.write("yard.conf", "[reader a]\nport = /nowhere\npattern = ID=([0-9]{15})\n"
                   "[reader b]\nport = /nowhere\ndecoder = telegram\ncoding = hdx\n"
                   "[reader c]\nport = /nowhere\n[reader d]\ndriver = replay\nfile = x\n")
        got = self.try_(f"ID={CODE}\r\nIX={CODE}\r\n")
        self.assertEqual([d["name"] for d in got["decoders"]],
                         ["text of reader a", "telegram of reader b", "telegram", "text",
                          "telegram, bit_order = lsb", "telegram, coding = hdx",
                          "telegram, coding = hdx, bit_order = lsb"])
        self.assertEqual(self.named(got, "text of reader a")["readings"], 1)
        self.assertEqual(self.named(got, "text")["readings"], 2)
        self.assertEqual(got["best"], "text")

    def test_mistakes_are_named(self):
        for text, line, part in (
                (CONFIG.replace("national", "natonal"), 3, "natonal:10:hex:reversed"),
                (CONFIG.replace("check =", "chekc ="), 4, "did you mean check?"),
                (CONFIG.replace("xor", "xro"), 4, "check: 'xro' is no check"),
                (READER, 1, "no section [frame ascii30]"),
                (READER.replace("frame ascii30", "frmae"), 3, "'frmae' is not known"),
                ("[frame a]\nfields = block:8\n", 1, "start = 02"),
                (CONFIG + "[frame b\n", 6, "without its closing ]")):
            self.write("yard.conf", text)
            said = self.bad("readers", "--try", "-", "--config", self.config, stdin=b"x")
            self.assertIn(f"yard.conf:{line}: ", said)
            self.assertIn(part, said)
        self.write("yard.conf", CONFIG)
        self.assertIn("none.conf", self.bad("readers", "--try", "-", "--config", "none.conf",
                                            stdin=b""))
        self.assertIn("none.bin", self.bad("readers", "--try", "none.bin"))
        self.bad("readers", "--try", self.dir)
        self.assertIn("more than 16 MiB", self.bad("readers", "--try", "/proc/self/fd/0",
                                                   stdin=bytes((16 << 20) + 1)))

    def test_usage(self):
        self.write("capture.bin", b"x")
        for args in (("--config", self.config), ("--seconds", "3"), ("--line", "9600 8N1"),
                     ("--try", "capture.bin", "--seconds", "3"),
                     ("--try", "capture.bin", "--line", "9600 8N1"), ("--try",)):
            self.bad("readers", *args, exit_code=2)

    def test_nothing_came(self):
        got = self.try_(b"", exit_code=1)
        self.assertEqual(got["bytes"], 0)
        self.assertIsNone(got["best"])

    def test_many_codes_are_bounded(self):
        got = self.try_(b"".join(ascii30(f"9990000{n:08d}") for n in range(1, 301)))
        frame = self.named(got, "frame ascii30")
        self.assertEqual(frame["readings"], 300)
        self.assertEqual(len(frame["codes"]), 200)
        self.assertEqual(frame["other_codes"], 100)
        self.assertEqual(len(frame["frames"]), 3)


class Ports(CliTest):
    def setUp(self):
        super().setUp()
        self.master, self.slave = os.openpty()
        tty.setraw(self.slave)
        self.port = os.ttyname(self.slave)
        self.addCleanup(os.close, self.master)
        self.addCleanup(os.close, self.slave)

    def test_a_port_for_some_seconds(self):
        self.write("yard.conf", CONFIG)
        done = subprocess.Popen([LUGMARK, "readers", "--try", self.port, "--seconds", "2", "--line",
                                 "38400 8N1", "--config", self.path("yard.conf")], env=self.env,
                                stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        self.assertIn("listening", done.stderr.readline())
        os.write(self.master, PUBLISHED[:9])
        time.sleep(0.1)
        os.write(self.master, PUBLISHED[9:])
        out, err = done.communicate(timeout=60)
        self.assertEqual(done.returncode, 0, err)
        self.assertIn(f"30 bytes of {self.port}", out)
        self.assertIn("900250000023921  1 time\n", out)
        self.bad("readers", "--try", self.port, "--line", "fast", exit_code=2)
        self.bad("readers", "--try", self.port, "--seconds", "0", exit_code=2)
        self.bad("readers", "--try", "/dev/null", exit_code=4)

    def test_a_reader_that_must_be_asked(self):
        """init and poll of the reader at this port are said."""
        self.write("yard.conf", CONFIG + f"[reader front]\nport = {self.port}\ninit = ON\\r\n"
                   "poll = R\\x0D\npoll_ms = 100\ndecoder = frame ascii30\n")
        heard = []

        def module():
            while b"".join(heard).count(b"R\r") < 3:
                heard.append(os.read(self.master, 100))
            os.write(self.master, PUBLISHED)

        thread = threading.Thread(target=module, daemon=True)
        thread.start()
        got = self.json("readers", "--try", self.port, "--seconds", "2", "--config",
                        self.path("yard.conf"))
        thread.join(10)
        self.assertEqual(got["best"], "frame ascii30")
        said = b"".join(heard)
        self.assertTrue(said.startswith(b"ON\rR\rR\rR\r"), said)


if __name__ == "__main__":
    tap.main()
