"""What is said over the control socket of lugmarkd."""
import os
import socket
import stat
import subprocess
import time

import tap
from yard import DAEMON, DaemonTest, WAIT, code, until


class Talk(DaemonTest):
    def test_greeting_and_socket(self):
        y = self.yard()
        c = y.client()
        self.assertEqual(c.greeting["schema"], "lugmark.control/1")
        self.assertEqual(c.greeting["session"], None)
        self.assertRegex(c.greeting["version"], r"^\d+\.\d+\.\d+")
        mode = os.stat(y.socket).st_mode
        self.assertTrue(stat.S_ISSOCK(mode))
        self.assertEqual(stat.S_IMODE(mode), 0o660)

    def test_a_session_from_open_to_close(self):
        y = self.yard()
        c = y.client(watch=True)
        opened = c.ask("open", id=[7], kind="walk", mob="does", who="keeper")
        self.assertTrue(opened["ok"], opened)
        self.assertEqual(opened["id"], [7])
        self.assertEqual(opened["expected"], 40)
        self.assertEqual(opened["session"]["mob"], "does")
        self.assertEqual(opened["session"]["closed"], None)
        self.assertEqual(y.client().greeting["session"], opened["session"])
        self.assertEqual(c.event("session")["session"], opened["session"])

        y.ports["front"].read(code(1))
        v = c.event("verdict")
        self.assertEqual((v["attention"], v["animal"], v["visual"]), ("go", "A1", ["0001"]))
        self.assertEqual((v["colour"], v["place"], v["sex"]), ("yellow", "left ear", "female"))
        self.assertEqual((v["lane"], v["reader"], v["repeat"]), ("1", "front", False))
        self.assertEqual(v["tally"]["present"], 1)
        y.ports["front"].read(code(1))
        self.assertTrue(c.event("verdict")["repeat"])

        saw = c.ask("saw", number="0002", on_last=True)
        self.assertEqual(saw["verdict"]["reasons"], ["number-differs"])
        self.assertEqual(saw["verdict"]["eid"], code(1))
        saw = c.ask("saw", number="0003")
        self.assertEqual((saw["verdict"]["animal"], saw["verdict"]["called"]), ("A3", "0003"))
        head = c.ask("head", n=7)
        self.assertEqual(head["tally"]["heads"], 7)
        self.assertEqual(c.ask("undo")["undone"], {"heads": 7})
        undone = c.ask("undo")
        self.assertEqual(undone["undone"], {"sighting": "0003"})
        self.assertEqual(undone["tally"]["heads"], None)
        self.assertEqual(c.ask("undo")["undone"], {"sighting": "0002"})
        self.refused(c.ask("undo"), 2, "take back")

        findings = c.ask("findings")["findings"]
        self.assertEqual(findings["schema"], "lugmark.findings/1")
        self.assertEqual(findings["present"], 1)
        closed = c.ask("close")
        self.assertEqual(closed["tally"]["present"], 1)
        self.assertEqual(closed["tally"]["not_seen"], 39)
        self.assertIsNotNone(closed["session"]["closed"])
        self.assertEqual(c.ask("findings")["findings"]["counts"]["missing"], 39)
        self.assertIsNone(c.ask("status")["session"])

    def test_seqs_go_up_by_one(self):
        y = self.yard()
        c = y.client(watch=True)
        first = c.ask("open", kind="walk")["seq"]
        y.ports["front"].read(*[code(n) for n in range(1, 21)])
        seqs = [c.event("verdict")["seq"] for _ in range(20)]
        self.assertEqual(seqs, list(range(first + 1, first + 21)))

    def test_a_code_that_fits_in_no_chip_is_shown_and_kept(self):
        y = self.yard()
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        y.ports["front"].read("999999999999999", "000000000000000", code(1))
        doubtful, known = c.event("verdict"), c.event("verdict")
        self.assertEqual((doubtful["attention"], doubtful["reasons"], doubtful["text"]),
                         ("look", ["out-of-range"], "999999999999999"))
        self.assertEqual(known["animal"], "A1")
        c.ask("close")
        self.assertEqual(c.ask("findings")["findings"]["counts"]["doubtful"], 1)
        self.assertEqual(c.ask("readers")["readers"][0]["rejects"]["range"], 1)

    def test_the_number_that_is_called_comes_first(self):
        text = ("animal,eid,visual,official\n"
                f"A1,{code(1)},UK 000000 00001,yes\nA1,,17,no\nA1,,UK 000000 00001,yes\n")
        y = self.yard(text)
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        y.ports["front"].read(code(1))
        self.assertEqual(c.event("verdict")["visual"], ["17", "UK 000000 00001"])

    def test_requests_that_make_no_sense(self):
        y = self.yard()
        c = y.client()
        for verb, more in (("saw", {"number": "0001"}), ("head", {"n": 1}), ("undo", {}),
                           ("close", {})):
            self.refused(c.ask(verb, **more), 2, "no session is open")
        self.refused(c.ask("findings"), 2, "no session")
        self.refused(c.ask("open", kind="run"), 2, "kind")
        self.refused(c.ask("open"), 2, "kind")
        self.refused(c.ask("open", kind="walk", mob="deos"), 2, "deos")
        self.refused(c.ask("open", kind="walk", lot="L"), 2, "animals")
        self.refused(c.ask("open", kind="sale", animals=["A1"]), 2, "lot")
        self.refused(c.ask("open", kind="sale", lot="L", animals=[]), 2, "animal")
        self.refused(c.ask("open", kind="sale", lot="L", animals=["A1", 2]), 2, "animal 2")
        self.refused(c.ask("open", kind="sale", lot="L", mob="does", animals=["A1"]), 2, "not both")
        self.refused(c.ask("open", kind="sale", lot="L", animals=["A1", "Z9"]), 2, "Z9")
        self.refused(c.ask("open", kind="walk", who="x" * 64), 3, "who")
        self.assertTrue(c.ask("open", kind="walk")["ok"])
        self.refused(c.ask("open", kind="walk"), 2, "open already")
        self.refused(c.ask("saw"), 2, "number")
        self.refused(c.ask("saw", number=17), 2, "number")
        self.refused(c.ask("saw", number=" - "), 2, "number")
        self.refused(c.ask("saw", number="0001", on_last="yes"), 2, "number")
        self.refused(c.ask("saw", number="0001", on_last=True), 2, "nothing was read")
        self.refused(c.ask("saw", number="0001", lane="9"), 2, "no lane 9")
        for n in (-1, 1.5, "3", None, 10 ** 9):
            self.refused(c.ask("head", n=n), 2, "head count")
        self.refused(c.ask("undo"), 2, "take back")
        self.refused(c.ask("dance"), 2, "request")
        self.refused(c.ask("watch", after=-1), 2, "after")
        self.refused(c.ask("head", n=1, token=""), 2, "token")
        self.refused(c.ask("head", n=1, token="x" * 65), 2, "token")
        self.assertEqual(y.rows("SELECT count(*) FROM event WHERE kind < 6"), [(1,)])

    def test_tokens_make_a_retry_harmless(self):
        y = self.yard()
        c = y.client()
        requests = [("open", {"kind": "walk"}), ("saw", {"number": "0004"}), ("head", {"n": 40}),
                    ("undo", {}), ("close", {})]
        for i, (verb, more) in enumerate(requests):
            first = c.ask(verb, token=f"t{i}", **more)
            self.assertTrue(first["ok"], first)
            self.assertNotIn("again", first)
            again = c.ask(verb, token=f"t{i}", **more)
            self.assertEqual((again["ok"], again.get("again")), (True, True), again)
            self.assertEqual(again["seq"], first["seq"])
        self.assertEqual(y.rows("SELECT kind FROM event WHERE kind < 6 ORDER BY seq"),
                         [(4,), (1,), (2,), (3,), (5,)])

    def test_lines_that_are_no_requests(self):
        y = self.yard()
        for line in (b"hello\n", b"\n", b"[]\n", b'{"do":"status","do":"close"}\n', b"{}\n",
                     b'{"do":7}\n', b'\xff\xfe{"do":"status"}\n', b'{"do":"status"}trailing\n',
                     b"[" * 5000 + b"\n", b'{"do":"a\\u0000b"}\n', b"\0\0\0\n"):
            c = y.client()
            c.socket.sendall(line)
            answer = c.answer()
            self.assertFalse(answer["ok"], line)
            self.assertEqual(answer["exit"], 2)
            self.assertTrue(c.ask("status")["ok"])

    def test_lines_that_are_too_long(self):
        y = self.yard()
        for line in (b"x" * 70000, b'{"do":"saw","number":"' + b"x" * 70000 + b'"}\n',
                     b'{"do":"status","x":"' + b"x" * 66000 + b'"}\n',
                     b'{"do":"open","who":"' + b"x" * 1100000):
            c = y.client()
            try:
                c.socket.sendall(line)
            except (BrokenPipeError, ConnectionResetError):
                pass
            with self.assertRaises((EOFError, ConnectionError)):
                while True:
                    answer = c.answer()
                    self.assertFalse(answer["ok"])
        keys = [f"A{1 + n % 40}" for n in range(20000)]
        c = y.client()
        answer = c.ask("open", kind="sale", lot="all of them", animals=keys)
        self.assertEqual(answer["expected"], 40, answer)

    def test_a_line_in_pieces_and_two_in_one(self):
        y = self.yard()
        c = y.client()
        for byte in b'{"do":"status","id":1}\n':
            c.socket.sendall(bytes([byte]))
        self.assertEqual(c.answer()["id"], 1)
        c.socket.sendall(b"".join(b'{"do":"status","id":%d}\n' % n for n in range(200)))
        self.assertEqual([c.answer()["id"] for _ in range(200)], list(range(200)))

    def test_the_last_words_of_a_client_are_heard(self):
        y = self.yard()
        c = y.client()
        c.socket.sendall(b'{"do":"open","kind":"walk"}\n' + b'{"do":"head","n":5}\n' * 40)
        c.socket.shutdown(socket.SHUT_WR)
        self.assertEqual(sum(c.answer()["ok"] for _ in range(41)), 41)
        with self.assertRaises(EOFError):
            c.answer()

    def test_sixty_four_clients(self):
        y = self.yard()
        clients = [y.client() for _ in range(64)]
        extra = socket.socket(socket.AF_UNIX)
        extra.settimeout(WAIT)
        extra.connect(y.socket)
        self.assertIn(b"too many clients", extra.recv(4096))
        self.assertEqual(extra.recv(4096), b"")
        extra.close()
        clients.pop().close()
        until(y.answers)

    def test_idle_readings_are_shown_and_not_kept(self):
        y = self.yard()
        c = y.client(watch=True)
        y.ports["front"].read(code(5))
        idle = c.event("idle")
        self.assertEqual((idle["eid"], idle["animal"]), (code(5), "A5"))
        self.assertEqual(y.rows("SELECT count(*) FROM event WHERE kind < 6"), [(0,)])

    def test_two_lanes(self):
        y = self.yard(readers=("front", "back"))
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        self.assertEqual(c.ask("status")["lanes"], ["1", "2"])
        y.ports["back"].read(code(8))
        self.assertEqual(c.event("verdict")["lane"], "2")
        self.refused(c.ask("saw", number="0008", on_last=True), 2, "2 lanes")
        self.refused(c.ask("saw", number="0008", on_last=True, lane="1"), 2, "nothing was read")
        saw = c.ask("saw", number="0008", on_last=True, lane="2")
        self.assertEqual(saw["verdict"]["animal"], "A8")
        self.assertEqual(c.event("verdict")["called"], "0008")
        y.ports["front"].read(code(8))
        self.assertIn("two-lanes-at-once", c.event("verdict")["reasons"])


class Configured(DaemonTest):
    def test_attention_and_rearm_are_taken(self):
        y = self.yard(config="[lane 1]\nrearm_s = 0.1\n[attention]\nsame-animal-again = hold\n")
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        y.ports["front"].read(code(1))
        self.assertEqual(c.event("verdict")["attention"], "go")
        time.sleep(0.3)
        y.ports["front"].read(code(1))
        v = c.event("verdict")
        self.assertEqual((v["attention"], v["reasons"]), ("hold", ["same-animal-again"]))
        y.kill()
        y.start()
        self.assertEqual(y.client().ask("status")["tally"]["passes"], 2)

    def test_mistakes_end_it_with_3(self):
        y = self.yard(register=None, start=False, readers=())
        for text, line, part in (
                ("[holding]\nnmae = x\n", 2, "did you mean name"),
                ("[reader a]\nport = /nowhere\nprot = x\n", 3, "did you mean port"),
                ("[reader a]\nlane = 1\n", 1, "needs a port"),
                ("[reader a]\nport = /nowhere\nline = 9600 9N1\n", 3, "9600 8N1"),
                ("[laen 1]\n", 1, "did you mean lane")):
            with open(y.config, "w", encoding="utf-8") as out:
                out.write(text)
            done = subprocess.run(y.argv(), capture_output=True, text=True, timeout=WAIT)
            self.assertEqual(done.returncode, 3, done.stderr)
            self.assertIn(f"{y.config}:{line}", done.stderr)
            self.assertIn(part, done.stderr)
            self.assertFalse(os.path.exists(y.db))

    def test_usage(self):
        run = lambda *a: subprocess.run([DAEMON, *a], capture_output=True, text=True, timeout=WAIT)
        done = run("--help")
        self.assertEqual((done.returncode, done.stderr), (0, ""))
        self.assertIn("Example", done.stdout)
        self.assertIn("--foreground", done.stdout)
        self.assertEqual(run("--version").returncode, 0)
        self.assertEqual(run("--nonsense").returncode, 2)
        self.assertEqual(run("word").returncode, 2)
        self.assertEqual(run("--config").returncode, 2)
        done = run("--config", "/nowhere/at/all.conf", "--db", "/nowhere/r.db")
        self.assertEqual(done.returncode, 3)
        self.assertIn("/nowhere/at/all.conf", done.stderr)

    def test_default_places(self):
        y = self.yard(register=None, start=False, readers=())
        os.makedirs(os.path.join(y.dir, "lugmark"))
        os.rename(y.config, os.path.join(y.dir, "lugmark", "lugmark.conf"))
        env = dict(os.environ, XDG_CONFIG_HOME=y.dir, XDG_RUNTIME_DIR=y.dir, LUGMARK_DB=y.db)
        env.pop("LUGMARK_SOCKET", None)
        y.socket = os.path.join(y.dir, "lugmark.sock")
        y.argv = lambda: [DAEMON]
        y.start(env=env)
        self.assertEqual(y.client().greeting["schema"], "lugmark.control/1")
        self.assertTrue(os.path.exists(y.db))
        self.assertIn("lugmark import", y.said())


if __name__ == "__main__":
    tap.main()
