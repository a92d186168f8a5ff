"""The driver `nfc` with the real libnfc, on a PN532 that is played on a pseudo-terminal."""
import fcntl
import os
import shutil
import signal
import subprocess
import tempfile
import time

import pn532
import tap
from pn532 import ndef_tag, tlv
from yard import BUILD, DaemonTest, REGISTER, WAIT, until

HELPER = os.path.join(BUILD, "lugmark-nfc")


def code(n):
    return f"9990000000{n:05d}"


def bits(n):
    return (1 << 63 | 999 << 38 | n).to_bytes(8, "big")


def record(flags, kind, payload, long=False):
    size = len(payload).to_bytes(4, "big") if long else bytes([len(payload)])
    return bytes([flags if long else flags | 0x10, len(kind)]) + size + kind + payload


def text(n, flags=0xC1):
    return record(flags, b"T", b"\x02en" + code(n).encode())


def uri(n, flags=0xC1):
    return record(flags, b"U", b"\x04example.org/a/" + code(n).encode())


UID = "04a1b2c3d4e5f6"


def tag(message, uid=UID, **more):
    return ndef_tag(uid, tlv(message), **more)


class NfcTest(DaemonTest):
    def nfc(self, more="", readers=(), register=REGISTER, link="nfc", start=True):
        y = self.yard(register=register, start=False, readers=readers)
        self.module = pn532.Module(os.path.join(y.dir, link))
        self.addCleanup(self.module.close)
        with open(y.config, "a", encoding="utf-8") as out:
            out.write(f"[reader nfc]\nlane = 9\ndriver = nfc\nport = {self.module.link}\n{more}")
        return y.start() if start else y

    def walk(self, **more):
        y = self.nfc(**more)
        c = y.client(watch=True)
        self.assertTrue(c.ask("open", kind="walk")["ok"])
        return y, c

    def state(self, c, name="nfc"):
        return {r["name"]: r for r in c.ask("readers")["readers"]}[name]

    def problem(self, c, part):
        def said():
            got = self.state(c)
            return got if part in (got["problem"] or "") else None
        return until(said)

    def fresh(self, c):
        """The next verdict that is no repeat; a tag that stays gives repeats without end."""
        end = time.monotonic() + WAIT
        while time.monotonic() < end:
            got = c.event("verdict")
            if not got["repeat"]:
                return got
        raise AssertionError("no new animal in time")

    def helper_pid(self, y):
        def find():
            with open(f"/proc/{y.process.pid}/task/{y.process.pid}/children", encoding="ascii") as f:
                pids = f.read().split()
            return int(pids[0]) if pids else None
        return until(find)


class Tags(NfcTest):
    def test_what_is_written_on_tags(self):
        _, c = self.walk()
        external = record(0xC4, b"example.org:iso11784", bits(3))
        poster = record(0xC1, b"Sp", uri(4, 0x81) + text(4, 0x41))
        long = record(0xC1, b"T", b"\x02en" + b"goat " * 12 + code(5).encode() + b" " * 40, long=True)
        wide = record(0xC1, b"T", b"\x82en" + code(6).encode("utf-16"))
        chunks = record(0xA1, b"T", b"\x02en99900") + bytes([0x56, 0, 10]) + b"0000000007"
        two = record(0x82, b"text/plain", b"x") + text(8, 0x41)
        for n, message in ((1, text(1)), (2, uri(2)), (3, external), (4, poster), (5, long),
                           (6, wide), (7, chunks), (8, two)):
            self.module.put(tag(message))
            got = self.fresh(c)
            self.assertEqual((got["animal"], got["eid"], got["lane"]), (f"A{n}", code(n), "9"))
        controls = bytes.fromhex("0000 0103A00C34") + tlv(text(9))
        self.module.put(ndef_tag(UID, controls))
        self.assertEqual(self.fresh(c)["animal"], "A9")
        self.module.put(ndef_tag(UID, b"\x03\xff" + (400).to_bytes(2, "big")
                                 + record(0xC1, b"T", b"\x02en" + code(10).encode() + b" " * 375,
                                          long=True) + b"\xfe", size=872))
        self.assertEqual(self.fresh(c)["animal"], "A10")
        self.module.take_away()
        self.assertEqual(c.ask("close")["tally"]["present"], 10)

    def test_a_tag_that_stays_is_one_pass(self):
        _, c = self.walk()
        self.module.put(tag(text(1)))
        self.assertEqual(self.fresh(c)["animal"], "A1")
        for _ in range(5):
            self.assertTrue(c.event("verdict")["repeat"])
        self.module.take_away()
        time.sleep(0.5)
        before = c.ask("status")["tally"]
        time.sleep(0.5)
        after = c.ask("status")["tally"]
        self.assertEqual(before["readings"], after["readings"])
        self.assertEqual((after["passes"], after["present"]), (1, 1))

    def test_chips_without_a_code(self):
        _, c = self.walk()
        for shown, given in (("uid:04A1B2C3D4E5F6", ndef_tag(UID, "")),
                             ("uid:04A1B2C3D4E5F7", tag(text(1)[:-1], "04a1b2c3d4e5f7")),
                             ("uid:04A1B2C3D4E5F8", pn532.Tag("04a1b2c3d4e5f8")),
                             ("uid:DEADBEEF", tag(text(3), "deadbeef", sak=8)),
                             ("uid:04000000000001", pn532.Tag("04000000000001", b"", sak=0x20)),
                             ("uid:04000000000002", tag(text(1, 0x81) + text(2, 0x41),
                                                        "04000000000002"))):
            self.module.put(given)
            got = self.fresh(c)
            self.assertEqual((got["eid"], got["animal"]), (shown, None))
            self.assertEqual(got["reasons"], ["not-in-register"])
        self.module.take_away()
        found = c.ask("findings")["findings"]
        self.assertEqual([f["eid"] for f in found["findings"]],
                         [["uid:04A1B2C3D4E5F6"], ["uid:04A1B2C3D4E5F7"], ["uid:04A1B2C3D4E5F8"],
                          ["uid:DEADBEEF"], ["uid:04000000000001"], ["uid:04000000000002"]])
        self.assertEqual(found["counts"]["doubtful"], 0)
        c.ask("close")

    def test_a_chip_bound_to_a_device(self):
        y, c = self.walk()
        self.module.put(ndef_tag(UID, ""))
        self.assertEqual(self.fresh(c)["eid"], "uid:04A1B2C3D4E5F6")
        y.lugmark("tag", "A5", "--uid", UID)
        got = self.fresh(c)
        self.assertEqual((got["animal"], got["eid"]), ("A5", "uid:04A1B2C3D4E5F6"))
        self.assertEqual((got["visual"], got["colour"], got["attention"]), (["0005"], "yellow", "go"))
        self.module.take_away()
        c.ask("saw", number="0005", on_last=True, lane="9")
        tally = c.ask("close")["tally"]
        self.assertEqual((tally["present"], tally["identified"]), (1, 1))
        self.assertEqual(y.rows("SELECT DISTINCT known FROM event WHERE kind = 0"), [(3,)])
        y.lugmark("verify")
        refused = y.lugmark("tag", "A6", "--uid", UID, good=False)
        self.assertEqual(refused.returncode, 3)
        self.assertIn("worn by animal A5", refused.stderr)

    def test_by_number_only(self):
        _, c = self.walk(more="uid = yes\n")
        self.module.put(tag(text(1)))
        self.assertEqual(self.fresh(c)["eid"], "uid:04A1B2C3D4E5F6")
        self.assertEqual(self.module.reads, 0)

    def test_chips_without_a_number_of_their_own(self):
        y, c = self.walk()
        self.module.put(pn532.Tag("08123456"), pn532.Tag("04a1b2c3d4e5f6a7b8c9"))
        until(lambda: "passed over" in y.said())
        time.sleep(0.5)
        self.assertEqual(c.ask("status")["tally"]["readings"], 0)
        self.assertEqual(y.said().count("passed over"), 1)

    def test_two_tags_at_once(self):
        _, c = self.walk()
        self.module.put(tag(text(1)), tag(uri(2), "04a1b2c3d4e5f7"), ndef_tag("04a1b2c3d4e5f8", ""))
        seen = {(self.fresh(c)["animal"]) for _ in range(3)}
        self.assertEqual(seen, {"A1", "A2", None})
        again = {c.event("verdict")["eid"] for _ in range(12)}
        self.assertEqual(again, {code(1), code(2), "uid:04A1B2C3D4E5F8"})

    def test_torn_while_it_is_read(self):
        _, c = self.walk()
        for n in range(3):  # it takes three READs
            self.module.torn_after = self.module.reads + n
            self.module.put(tag(text(n + 1)))
            until(lambda: not self.module.tags)
            time.sleep(0.15)
        self.module.torn_after = None
        self.assertEqual(c.ask("status")["tally"]["readings"], 0)  # neither half a code nor a number
        self.module.put(tag(text(7)))
        self.assertEqual(self.fresh(c)["animal"], "A7")

    def test_a_tag_that_can_never_be_read(self):
        y, c = self.walk()
        self.module.put(pn532.Tag(UID, b""))
        self.assertEqual(self.fresh(c)["eid"], "uid:04A1B2C3D4E5F6")
        until(lambda: "cannot be read to its end" in y.said())
        for _ in range(20):
            c.event("verdict")
        self.assertEqual(y.said().count("cannot be read to its end"), 1)


class Faults(NfcTest):
    def test_damaged_frames(self):
        _, c = self.walk()
        self.module.put(tag(text(1)))
        self.assertEqual(self.fresh(c)["animal"], "A1")
        for n, fault in enumerate(("bad-checksum", "no-ack", "junk"), start=2):
            with self.module.lock:
                self.module.faults = [fault]
            until(lambda: not self.module.faults)
            self.module.put(tag(text(n)))
            self.assertEqual(self.fresh(c)["animal"], f"A{n}")
        self.assertEqual(self.state(c)["opened"], 1)

    def test_the_answer_that_found_a_tag_is_lost(self):
        _, c = self.walk()
        self.module.put(tag(text(1)))
        self.assertEqual(self.fresh(c)["animal"], "A1")
        for n, fault in enumerate(("bad-checksum", "no-ack", "junk"), start=2):
            self.module.take_away()
            before = self.module.commands
            until(lambda: self.module.commands > before + 2)
            with self.module.lock:
                self.module.faults = [fault]
                self.module.tags = [tag(text(n), uid=f"0400000000000{n}")]
                self.module.selected = None
            self.assertEqual(self.fresh(c)["animal"], f"A{n}")
        self.assertEqual(self.state(c)["opened"], 1)

    def test_the_status_that_makes_libnfc_abort(self):
        y, c = self.walk(readers=("front",))
        self.module.status = 0x80
        self.module.put(tag(text(1)))
        got = self.problem(c, "signal 6 (Aborted)")
        self.assertEqual(got["state"], "backing-off")
        y.ports["front"].read(code(2))
        self.assertEqual(self.fresh(c)["animal"], "A2")
        self.module.status = None
        self.assertEqual(self.fresh(c)["animal"], "A1")
        got = self.state(c)
        self.assertEqual((got["state"], got["problem"]), ("live", None))
        self.assertGreaterEqual(got["opened"], 2)

    def test_silence_of_the_module(self):
        y, c = self.walk(readers=("front",))
        until(lambda: self.module.commands > 20)
        self.module.quiet = True
        self.problem(c, "fails again and again")
        self.problem(c, "no PN532 module answers")
        y.ports["front"].read(code(2))
        self.assertEqual(self.fresh(c)["animal"], "A2")
        self.module.quiet = False
        self.module.put(tag(text(1)))
        self.assertEqual(self.fresh(c)["animal"], "A1")
        self.assertEqual(self.state(c)["state"], "live")

    def test_a_library_that_hangs(self):
        y, c = self.walk(readers=("front",))
        until(lambda: self.module.commands > 20)
        with self.module.lock:
            self.module.faults = ["drip"]
        start = time.monotonic()
        self.problem(c, "did not answer in time")
        self.assertLess(time.monotonic() - start, 9)
        y.ports["front"].read(code(2))
        self.assertEqual(self.fresh(c)["animal"], "A2")
        self.module.unplug()  # takes the drip with it
        self.module.plug()
        self.module.put(tag(text(1)))
        self.assertEqual(self.fresh(c)["animal"], "A1")

    def test_a_helper_that_does_not_move(self):
        y, c = self.walk(readers=("front",))
        until(lambda: self.module.commands > 20)
        pid = self.helper_pid(y)
        os.kill(pid, signal.SIGSTOP)
        y.ports["front"].read(code(2))
        self.assertEqual(self.fresh(c)["animal"], "A2")
        start = time.monotonic()
        self.assertEqual(y.stop(), 0)  # SIGTERM does nothing to it, SIGKILL does
        self.assertLess(time.monotonic() - start, 5)
        self.assertFalse(os.path.exists(f"/proc/{pid}"))
        y.start()

    def test_the_cable_is_pulled_and_put_back(self):
        y, c = self.walk()
        for n in range(1, 4):
            self.module.put(tag(text(n)))
            self.assertEqual(self.fresh(c)["animal"], f"A{n}")
            self.module.unplug()
            self.problem(c, "is not there")
            self.module.plug()
            until(lambda: self.state(c)["state"] == "live")
            self.assertEqual(self.state(c)["device"], os.ttyname(self.module.slave))
        self.assertIn("is gone", y.said())

    def test_the_helper_is_killed(self):
        y, c = self.walk()
        self.module.put(tag(text(1)))
        self.assertEqual(self.fresh(c)["animal"], "A1")
        os.kill(self.helper_pid(y), signal.SIGKILL)
        self.problem(c, "signal 9 (Killed)")
        self.module.put(tag(text(2)))
        self.assertEqual(self.fresh(c)["animal"], "A2")

    def test_the_daemon_is_killed(self):
        y, c = self.walk()
        self.module.put(tag(text(1)))
        self.assertEqual(self.fresh(c)["animal"], "A1")
        self.module.take_away()  # it has nothing to write, and so no error from writing
        pid = self.helper_pid(y)
        y.kill()
        until(lambda: not os.path.exists(f"/proc/{pid}") or "Z" in open(
            f"/proc/{pid}/stat", encoding="ascii").read().rsplit(")", 1)[1])
        y.start()  # the port is free for the next helper
        c = y.client(watch=True)
        self.module.put(tag(text(2)))
        self.assertEqual(self.fresh(c)["animal"], "A2")

    def test_a_busy_port(self):
        y = self.nfc(start=False)
        fd = os.open(self.module.link, os.O_RDWR | os.O_NOCTTY)
        fcntl.flock(fd, fcntl.LOCK_EX)
        y.start()
        c = y.client(watch=True)
        self.problem(c, "is in use by")
        os.close(fd)
        c.ask("open", kind="walk")
        self.module.put(tag(text(1)))
        self.assertEqual(self.fresh(c)["animal"], "A1")

    def test_a_link_with_colons(self):
        _, c = self.walk(link="pci-0000:00:14.0-usb-0:1:1.0-port0")
        self.module.put(tag(text(1)))
        self.assertEqual(self.fresh(c)["animal"], "A1")

    def test_bad_settings(self):
        for lines, part in (("", "needs a port"), ("port = /dev/null\nuid = maybe\n", "uid 'maybe'"),
                            ("port = /dev/null\nspeed = 9\n", "has no key speed")):
            y = self.yard(start=False, readers=())
            with open(y.config, "a", encoding="utf-8") as out:
                out.write("[reader nfc]\ndriver = nfc\n" + lines)
            y.start(wait=False)
            self.assertEqual(y.process.wait(WAIT), 3)
            self.assertIn(part, y.said())


class Helper(NfcTest):
    """The program alone, as a person runs it to see what is wrong."""

    def setUp(self):
        self.dir = tempfile.mkdtemp(prefix="lugmark-nfc-")
        self.addCleanup(shutil.rmtree, self.dir)

    def run_(self, *args, **more):
        done = subprocess.run([HELPER, *args], capture_output=True, text=True, timeout=WAIT,
                              stdin=subprocess.DEVNULL, **more)
        self.assertNotIn("Sanitizer", done.stderr)
        return done

    def module_(self):
        m = pn532.Module(os.path.join(self.dir, "nfc"))
        self.addCleanup(m.close)
        return m

    def test_help(self):
        done = self.run_("--help")
        self.assertEqual(done.returncode, 0)
        self.assertIn("13.56 MHz cannot read the electronic ear tags", done.stdout)
        self.assertIn("134.2 kHz", done.stdout)
        self.assertEqual(self.run_("--version").returncode, 0)

    def test_wrong_usage(self):
        for args in ((), ("--port",), ("--port", "x", "y"), ("--nothing",)):
            done = self.run_(*args)
            self.assertEqual((done.returncode, done.stdout), (2, ""))
            self.assertIn("to mend: lugmark-nfc --help", done.stderr)

    def test_ports_that_are_none(self):
        for path, part in ((self.dir + "/none", "is not there"), ("/dev/null", "no serial port"),
                           (self.dir, "")):
            done = self.run_("--port", path)
            self.assertEqual((done.returncode, done.stdout), (4, ""))
            self.assertTrue(done.stderr.startswith("lugmark-nfc: "), done.stderr)
            self.assertIn(part.replace("no serial", "not a serial"), done.stderr)

    def test_no_module(self):
        m = self.module_()
        m.quiet = True
        done = self.run_("--port", m.link)
        self.assertEqual(done.returncode, 4)
        self.assertIn("no PN532 module answers", done.stderr)
        self.assertIn("to mend:", done.stderr)

    def test_no_permission(self):
        m = self.module_()
        os.chmod(self.dir, 0o755)
        os.chmod(os.ttyname(m.slave), 0)
        helper = os.path.join(self.dir, "lugmark-nfc")
        shutil.copy(HELPER, helper)
        as_nobody = {"user": 65534, "group": 65534, "extra_groups": []} if os.getuid() == 0 else {}
        done = subprocess.run([helper, "--port", m.link], capture_output=True, text=True,
                              timeout=WAIT, stdin=subprocess.DEVNULL, check=False, **as_nobody)
        self.assertEqual(done.returncode, 4)
        self.assertIn("no permission to open", done.stderr)

    def test_lines_on_a_terminal(self):
        m = self.module_()
        m.put(tag(text(1)))
        with subprocess.Popen([HELPER, "--port", m.link], stdout=subprocess.PIPE,
                              stderr=subprocess.PIPE, text=True) as p:
            lines = [p.stdout.readline() for _ in range(3)]
            self.assertEqual(lines, [f'{{"reading":"{code(1)}"}}\n'] * 3)
            p.send_signal(signal.SIGINT)
            self.assertEqual(p.wait(WAIT), 0)
            self.assertEqual(p.stderr.read(), "")

    def test_closed_standard_files(self):
        m = self.module_()
        m.put(tag(text(1)))
        out = os.path.join(self.dir, "out")
        done = subprocess.Popen(["sh", "-c", f'exec "{HELPER}" --port "{m.link}" >"{out}" <&- 2>&-'])
        until(lambda: os.path.exists(out) and os.path.getsize(out) > 50)
        done.terminate()
        done.wait(WAIT)


if __name__ == "__main__":
    tap.main()
