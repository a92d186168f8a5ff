"""watch, and the commands that talk to the daemon."""
import json
import os
import signal
import socket
import subprocess
import tempfile
import threading
import unittest

import screen
import tap
import yard


class WatchTest(yard.DaemonTest):
    def setUp(self):
        self.y = self.yard()
        self.env = dict(os.environ, LUGMARK_DB=self.y.db, LUGMARK_SOCKET=self.y.socket,
                        LC_ALL="C.UTF-8", TERM="xterm", TZ="UTC")

    def lm(self, *args, exit_code=0):
        done = subprocess.run([yard.LUGMARK, *args], env=self.env, cwd=self.y.dir, text=True,
                              stdin=subprocess.DEVNULL, capture_output=True, timeout=60,
                              check=False)
        self.assertEqual(done.returncode, exit_code, (args, done.stdout, done.stderr))
        self.assertNotIn("Sanitizer", done.stderr)
        return done.stdout

    def pipe(self, *args):
        """watch in a pipe; its lines come one by one."""
        p = subprocess.Popen([yard.LUGMARK, "watch", *args], env=self.env, text=True,
                             stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                             stderr=subprocess.PIPE)
        self.addCleanup(lambda: (p.kill(), p.wait(), p.stdout.close(), p.stderr.close()))
        return p

    def screen(self, *args, **size):
        s = screen.Screen([yard.LUGMARK, "watch", *args], self.env, **size)
        self.addCleanup(s.close)
        return s


class Commands(WatchTest):
    def test_a_session_from_open_to_close(self):
        self.assertIn("40 animals are expected", self.lm("open", "walk", "--mob", "does",
                                                         "--count", "spring", "--who", "Me"))
        self.assertIn("A1", self.lm("saw", "0001", "--lane", "1", exit_code=1))
        self.y.ports["front"].read(yard.code(2))
        yard.until(lambda: "seen 2" in self.lm("status"))
        self.lm("saw", "0002", "--on-last")
        self.assertIn("number-differs", self.lm("saw", "0003", "--on-last", exit_code=1))
        self.assertIn("0003", self.lm("undo"))
        self.assertEqual(self.lm("head", "30"), "30 heads counted\n")
        self.assertIn("30", self.lm("undo"))
        self.lm("head", "12", "--lane", "1")
        self.assertEqual(json.loads(self.lm("status", "--json"))["tally"]["heads"], 12)
        self.assertIn("tag gave no reading", self.lm("findings", exit_code=1))
        closed = self.lm("close", exit_code=1)
        for part in ("(missing): 38", "0040", "(unread): 1", "between 28 and 38"):
            self.assertIn(part, closed)
        self.lm("close", exit_code=2)
        self.assertEqual(closed, self.lm("findings", "1", exit_code=1))  # to the letter
        # the daemon, the register and reconcile give the same findings
        text = self.lm("findings", "--json", exit_code=1)
        self.assertEqual(text, self.lm("findings", "1", "--json", exit_code=1))
        asked = json.loads(text)
        self.y.stop()
        kept = json.loads(self.lm("findings", "--json", exit_code=1))
        self.assertEqual(kept, asked)
        self.assertEqual(json.loads(self.lm("findings", "1", "--json", exit_code=1)), asked)
        self.lm("findings", "2", exit_code=3)
        self.lm("export", "--format", "events", "--session", "1", "-o", "e.ndjson")
        self.lm("export", "--session", "1", "-o", "r.csv")
        again = json.loads(self.lm("reconcile", "--register", "r.csv", "--events", "e.ndjson",
                                   "--json", exit_code=1))
        self.assertEqual(again, asked)

    def test_nothing_flagged_is_exit_0(self):
        self.lm("open", "walk", "--mob", "bucks")
        self.y.ports["front"].read("999000000090001")
        yard.until(lambda: "seen 1" in self.lm("status"))
        self.assertIn("Nothing flagged", self.lm("findings"))
        self.assertIn("Nothing flagged", self.lm("close"))

    def test_a_lot_is_looked_up_in_the_register(self):
        with open(os.path.join(self.y.dir, "autumn.txt"), "w", encoding="utf-8") as out:
            out.write(f"A1\n0002\n{yard.code(3)}\n")
        out = self.lm("open", "sale", "--lot", "autumn.txt")
        self.assertIn("3 animals are expected", out)
        self.assertIn("lot autumn", out)
        self.assertIn("other-lot", self.lm("saw", "0004", exit_code=1))
        self.lm("open", "walk", exit_code=2)

    def test_a_lot_with_strangers_opens_nothing(self):
        with open(os.path.join(self.y.dir, "bad.csv"), "w", encoding="utf-8") as out:
            out.write("eid,visual\n,0001\n,0999\n")
        self.lm("open", "sale", "--lot", "bad.csv", exit_code=3)
        self.assertIn("no session is open", self.lm("status"))

    def test_a_lot_that_is_too_long_is_said_to_be(self):
        with open(os.path.join(self.y.dir, "long.txt"), "w", encoding="utf-8") as out:
            out.write("A1\n" * 220000)
        self.lm("open", "sale", "--lot", "long.txt", exit_code=3)
        self.assertIn("no session is open", self.lm("status"))

    def test_readers(self):
        yard.until(lambda: "live" in self.lm("readers"))
        self.y.ports["front"].write(b"no code in this\r\n")
        yard.until(lambda: "no-code" in self.lm("readers"))
        self.assertEqual(json.loads(self.lm("readers", "--json"))["readers"][0]["name"], "front")
        self.y.ports["front"].unplug()
        yard.until(lambda: subprocess.run([yard.LUGMARK, "readers"], env=self.env, check=False,
                                          stdout=subprocess.DEVNULL).returncode == 1)


class Piped(WatchTest):
    def test_one_line_an_event(self):
        self.lm("open", "walk", "--mob", "does")
        p = self.pipe("--until-close", "--after", "1")
        self.assertIn("walk of mob does", p.stdout.readline())
        self.y.ports["front"].read(yard.code(1), yard.code(1), "999000000012345")
        line = p.stdout.readline()
        self.assertRegex(line, r"^\d{4}-\d\d-\d\dT[\d:.]+Z  lane 1  GO    0001  A1  9990")
        line = p.stdout.readline()
        self.assertIn("HOLD", line)
        self.assertIn("not-in-register", line)
        self.lm("head", "3")
        self.assertIn("heads counted 3", p.stdout.readline())
        self.lm("close", exit_code=1)
        self.assertIn("closed", p.stdout.readline())
        self.assertEqual(p.wait(20), 0)
        self.assertEqual(p.stderr.read(), "")

    def test_json_is_the_daemons_own_lines(self):
        self.lm("open", "walk", "--mob", "does")
        p = self.pipe("--json", "--after", "1")
        got = json.loads(p.stdout.readline())
        self.assertEqual(got["event"], "session")
        self.y.ports["front"].read(yard.code(1))
        got = json.loads(p.stdout.readline())
        self.assertEqual((got["event"], got["animal"], got["attention"]), ("verdict", "A1", "go"))
        p.send_signal(signal.SIGTERM)
        self.assertEqual(p.wait(20), 0)

    def test_nothing_is_missed_or_told_twice_when_the_daemon_dies(self):
        self.lm("open", "walk", "--mob", "does")
        p = self.pipe("--json", "--until-close", "--after", "1")
        json.loads(p.stdout.readline())
        self.y.ports["front"].read(*(yard.code(n) for n in range(1, 4)))
        seen = [json.loads(p.stdout.readline())["animal"] for _ in range(3)]
        self.y.kill()
        self.assertIn("lost the daemon", p.stderr.readline())
        self.y.start()
        yard.until(lambda: "live" in self.lm("readers"))
        self.y.ports["front"].read(*(yard.code(n) for n in range(4, 7)))
        yard.until(lambda: "seen 6" in self.lm("status"))
        self.lm("close", exit_code=1)
        rest = [json.loads(line) for line in p.stdout]
        self.assertEqual(p.wait(20), 0)
        seen += [e["animal"] for e in rest if e["event"] == "verdict"]
        self.assertEqual(seen, [f"A{n}" for n in range(1, 7)])
        self.assertIsNotNone(rest[-1]["session"]["closed"])

    def test_until_close_ends_when_the_close_fell_into_a_gap(self):
        self.lm("open", "walk", "--mob", "does")
        p = self.pipe("--until-close", "--after", "1")
        p.stdout.readline()
        self.y.kill()
        self.assertIn("lost the daemon", p.stderr.readline())
        p.send_signal(signal.SIGSTOP)
        self.y.start()
        self.lm("close", exit_code=1)
        p.send_signal(signal.SIGCONT)
        self.assertIn("closed", p.stdout.read())
        self.assertEqual(p.wait(20), 0)


class OnScreen(WatchTest):
    def test_states_animals_and_the_end(self):
        s = self.screen()
        s.until("NO SESSION OPEN", "lugmark open walk", "readers:", "front live")
        self.lm("open", "walk", "--mob", "does")
        s.until("walk of mob does", "expected 40", "not yet seen 40")
        self.assertEqual(s.bells(), 0)
        self.y.ports["front"].read(yard.code(7))
        rows = s.until("seen 1", "yellow, left ear", "female", "A7", "GO")
        self.assertEqual(s.bells(), 0)
        self.assertEqual(len(rows), 24)
        go = [r for r in rows if set(r) == {"─"}]
        self.y.ports["front"].read("999000000012345")
        rows = s.until("HOLD: nobody we know", "999000000012345", "hold 1")
        self.assertEqual(s.bells(), 1)
        hold = [r for r in rows if set(r) == {"█"} and len(r) == 80]
        self.assertTrue(len(go) == 2 and len(hold) == 2, rows)
        self.lm("saw", "0009", exit_code=1)
        rows = s.until("LOOK: tag gave no reading", "look 1")
        self.assertEqual(s.bells(), 2)
        flags = [r for r in rows if r.startswith(" ") and ":" in r[:5]]
        self.assertIn("0009", flags[0])
        self.assertIn("HOLD", flags[1])
        self.assertEqual(len([r for r in rows if set(r) == {"▒"}]), 2)
        self.lm("close", exit_code=1)
        s.until("NO SESSION OPEN")
        os.write(s.master, b"q")
        self.assertEqual(s.process.wait(20), 0)
        self.assertTrue(s.restored())

    def test_the_number_is_large(self):
        self.lm("open", "walk", "--mob", "does")
        for rows, columns, high in ((24, 80, 10), (60, 200, 25), (12, 40, 5)):
            s = self.screen(rows=rows, columns=columns)
            s.until("expected 40")
            self.y.ports["front"].read(yard.code(columns))  # nobody: a question mark
            self.lm("saw", "1111", exit_code=1)
            text = s.until("nobody we know")
            number = [r for r in text if len(r.split()) >= 4 and set(r) == {" ", "█"}
                      and len(set(r.split())) == 1]
            self.assertGreaterEqual(len(number), high * 3 // 5, "\n".join(text))
            self.assertLessEqual(max(len(r) for r in text), columns)

    def test_a_lost_daemon_is_plain_to_see_and_comes_back(self):
        self.lm("open", "walk", "--mob", "does")
        s = self.screen()
        s.until("expected 40")
        self.y.ports["front"].read(yard.code(1))
        s.until("seen 1", "A1")
        self.y.kill()
        s.until("LOST THE DAEMON", "trying again")
        self.y.start()
        s.until("walk of mob does", "seen 1", "A1", "front live")
        self.y.ports["front"].read(yard.code(2))
        s.until("seen 2", "A2")

    def test_resize_ascii_and_no_bell(self):
        self.env["LC_ALL"] = "C"
        self.lm("open", "walk", "--mob", "does")
        s = self.screen("--no-bell")
        s.until("expected 40")
        s.size(12, 40)
        os.kill(s.process.pid, signal.SIGWINCH)
        s.until(" readers:")
        self.lm("saw", "9999", exit_code=1)
        rows = s.until("HOLD: nobody we know")
        self.assertIn("#" * 40, rows)
        self.assertTrue(s.raw.isascii())
        self.assertEqual(s.bells(), 0)
        for rows_, columns in ((5, 20), (1, 1), (3, 300), (200, 3)):
            s.size(rows_, columns)
            os.kill(s.process.pid, signal.SIGWINCH)
            s.pump(0.2)
            self.assertIsNone(s.process.poll())

    def test_control_c_gives_the_terminal_back(self):
        s = self.screen()
        s.until("NO SESSION OPEN")
        os.write(s.master, b"\x03")
        self.assertEqual(s.process.wait(20), 0)
        self.assertTrue(s.restored())

    def test_a_dumb_terminal_gets_lines(self):
        self.env["TERM"] = "dumb"
        self.lm("open", "walk", "--mob", "does")
        s = self.screen("--after", "1")
        yard.until(lambda: (s.pump(), b"session: walk" in s.raw)[1])
        self.assertNotIn(b"\x1b", s.raw)


class FakeDaemon(threading.Thread):
    """Speaks as it is told: one script a connection."""

    def __init__(self, path, scripts):
        super().__init__(daemon=True)
        self.server = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self.server.bind(path)
        self.server.listen()
        self.scripts = scripts
        self.got = []
        self.start()

    def run(self):
        for script in self.scripts:
            peer, _ = self.server.accept()
            with peer, peer.makefile("rb") as lines:
                for step in script:
                    if step is None:
                        self.got.append(json.loads(lines.readline()))
                    else:
                        peer.sendall(step)
        self.server.close()


GREETING = b'{"schema":"lugmark.control/1","version":"0.1.0","session":null,"more":1}\n'


class Client(unittest.TestCase):
    def talk(self, scripts, *args):
        with tempfile.TemporaryDirectory() as folder:
            path = os.path.join(folder, "s")
            fake = FakeDaemon(path, scripts)
            done = subprocess.run([yard.LUGMARK, *args, "--socket", path], text=True, timeout=60,
                                  stdin=subprocess.DEVNULL, capture_output=True, check=False)
            fake.join(5)
        self.assertNotIn("Sanitizer", done.stderr)
        return done, fake.got

    def test_a_lost_answer_is_asked_for_again_with_the_same_token(self):
        answer = b'{"ok":true,"seq":3,"again":true}\n'
        done, got = self.talk([[GREETING, None], [GREETING, None, answer]], "head", "7")
        self.assertEqual((done.returncode, done.stdout), (0, "7 heads counted\n"), done.stderr)
        self.assertEqual(len(got), 2)
        self.assertEqual(got[0], got[1])
        self.assertTrue(8 <= len(got[0]["token"]) <= 64)

    def test_two_calls_have_two_tokens(self):
        answer = b'{"ok":true,"seq":3}\n'
        tokens = {self.talk([[GREETING, None, answer]], "head", "7")[1][0]["token"]
                  for _ in range(3)}
        self.assertEqual(len(tokens), 3)

    def test_another_schema_is_refused(self):
        done, _ = self.talk([[b'{"schema":"lugmark.control/2"}\n']], "status")
        self.assertEqual((done.returncode, done.stdout), (4, ""))
        self.assertIn("lugmark.control/2", done.stderr)

    def test_rubbish_from_the_other_end(self):
        for greeting in (b"", b"\n", b"hello\n", b'{"schema":7}\n', b"\xff\xff\n", b"[]\n"):
            done, _ = self.talk([[greeting]], "status")
            self.assertEqual((done.returncode, done.stdout), (4, ""), greeting)
            self.assertTrue(done.stderr)

    def test_an_error_is_passed_on_and_cleaned(self):
        answer = b'{"ok":false,"error":"bad \\u001b[31m","mend":"mend it","exit":3}\n'
        done, _ = self.talk([[GREETING, None, b'{"event":"x"}\n', answer]], "head", "7")
        self.assertEqual(done.returncode, 3)
        self.assertNotIn("\x1b", done.stderr)
        self.assertIn("to mend: mend it", done.stderr)

    def test_an_event_that_is_told_twice_is_shown_once(self):
        session = b'{"id":"1","kind":"walk","closed":%s}'
        greeting = GREETING.replace(b'"session":null', b'"session":' + session % b"null")
        verdict = b'{"event":"verdict","seq":%d,"attention":"go","animal":"A%d"}\n'
        end = b'{"event":"session","seq":9,"session":' + session % b'"2026-11-02T08:00:00Z"' + b"}\n"
        done, got = self.talk([[greeting, None, None, None, b'{"ok":true}\n', verdict % (5, 1),
                                verdict % (5, 1), verdict % (6, 2), verdict % (5, 1), end]],
                              "watch", "--until-close")
        self.assertEqual(done.returncode, 0)
        self.assertEqual([r["do"] for r in got], ["status", "readers", "watch"])
        self.assertEqual([line.split()[-1] for line in done.stdout.splitlines()[:-1]], ["A1", "A2"])

    def test_what_the_daemon_says_cannot_drive_the_terminal(self):
        answer = (b'{"ok":true,"verdict":{"attention":"go","say":"\\u001b]0;x\\u0007",'
                  b'"animal":"A\\u001b[2J","visual":["\\u009b1"]}}\n')
        done, _ = self.talk([[GREETING, None, answer]], "saw", "1")
        self.assertEqual(done.returncode, 0)
        for odd in "\x1b\x07\x9b":
            self.assertNotIn(odd, done.stdout)


if __name__ == "__main__":
    tap.main()
