"""A daemon reads framed modules by their description alone, also one that must be asked."""
import os
import select
import subprocess
import threading

import tap
from frames import CONFIG, ascii30
from yard import DaemonTest, WAIT, code, until


class Module:
    """A module at the other end of a port: it answers when it is asked, or does not."""

    def __init__(self, port):
        self.port = port
        self.heard = b""
        self.answer = None
        self.ended = threading.Event()
        self.thread = threading.Thread(target=self.run, daemon=True)
        self.thread.start()

    def run(self):
        while not self.ended.is_set():
            if not select.select([self.port.master], [], [], 0.05)[0]:
                continue
            self.heard += os.read(self.port.master, 4096)
            if self.heard.endswith(b"\x02R\r") and self.answer is not None:
                answer, self.answer = self.answer, None
                self.port.write(answer)

    def end(self):
        self.ended.set()
        self.thread.join(WAIT)


class Frames(DaemonTest):
    def reader(self, c, name="front"):
        return {r["name"]: r for r in c.ask("readers")["readers"]}[name]

    def test_a_framed_module(self):
        y = self.yard(config="decoder = frame ascii30\n" + CONFIG)
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        port = y.ports["front"]
        port.write(b"\x00\xff noise" + ascii30(code(1)) + b"\r\n")
        self.assertEqual(c.event("verdict")["animal"], "A1")
        frame = ascii30(code(2))
        for byte in frame:
            port.write(bytes([byte]))
        self.assertEqual(c.event("verdict")["animal"], "A2")
        broken = bytearray(ascii30(code(3)))
        broken[4] ^= 1
        port.write(bytes(broken) + frame[:11] + ascii30(code(4)) + ascii30(code(5)))
        self.assertEqual(c.event("verdict")["animal"], "A4")
        self.assertEqual(c.event("verdict")["animal"], "A5")
        front = self.reader(c)
        self.assertEqual(front["readings"], 4)
        self.assertEqual(front["rejects"]["check"], 1)
        self.assertEqual(front["rejects"]["no-code"], 2)
        self.assertEqual(front["rejects"]["no-reply"], 0)

    def test_a_module_that_must_be_asked(self):
        y = self.yard(start=False, config="decoder = frame ascii30\ninit = \\x02ON\\r\n"
                      "poll = \\x02R\\r\npoll_ms = 60\nreply_ms = 40\n" + CONFIG)
        module = Module(y.ports["front"])
        self.addCleanup(module.end)
        y.start()
        c = y.client(watch=True)
        c.ask("open", kind="walk")
        for n in range(1, 4):
            module.answer = ascii30(code(n))
            self.assertEqual(c.event("verdict")["animal"], f"A{n}")
        until(lambda: self.reader(c)["rejects"]["no-reply"] >= 3)  # it is not kept waiting
        self.assertTrue(module.heard.startswith(b"\x02ON\r\x02R\r"))
        self.assertEqual(module.heard.count(b"ON"), 1)
        self.assertGreaterEqual(module.heard.count(b"\x02R\r"), 6)
        self.assertEqual(self.reader(c)["state"], "live")

    def test_a_bad_description_is_named_by_its_line(self):
        y = self.yard(start=False, config="decoder = frame ascii30\n"
                      + CONFIG.replace("country:4:hex:reversed", "contry:4"))
        done = subprocess.run(y.argv(), capture_output=True, text=True, timeout=WAIT)
        self.assertEqual(done.returncode, 3)
        self.assertIn(f"{y.config}:7: [frame ascii30]: fields: 'contry:4'", done.stderr)
        self.assertIn("country national block", done.stderr)


if __name__ == "__main__":
    tap.main()
