"""The daemon's edges: a page on IPv6, the sale of a lot by its name, a disk that refuses for long, a
control socket that cannot be made."""
import json
import mmap
import os
import re
import struct
import subprocess
import sys
import time

import tap
from web import JSON, PageTest
from yard import DAEMON, DaemonTest, code, until

HERE = os.path.dirname(os.path.abspath(__file__))
os.environ["LUGMARK_PACKS"] = os.path.join(HERE, "../../src/cli/packs")


class OverSix(PageTest):
    def test_a_page_on_the_other_loopback(self):
        with open("/proc/net/if_inet6", encoding="ascii") as f:
            if not any(line.split()[0] == "0" * 31 + "1" for line in f):
                self.skipTest("this machine has no ::1")
        y = self.yard(config="[page]\nlisten = [::1]:0\n")
        port = int(re.search(r"http://\[::1\]:(\d+)/", y.said()).group(1))
        self.at = ("::1", port)
        self.assertEqual(self.ask("GET", "/", headers={"Host": f"[::1]:{port}"})[0], 200)
        self.assertEqual(self.ask("GET", "/", headers={"Host": f"127.0.0.1:{port}"})[0], 421)
        status, _, said = self.ask("POST", "/do", json.dumps({"do": "status"}),
                                   dict(JSON, Host=f"[::1]:{port}", Origin=f"http://[::1]:{port}"))
        self.assertEqual((status, json.loads(said)["ok"]), (200, True))


class OnAllNetworks(DaemonTest):
    """In a network of the daemon's own, in which there is nothing but loopback."""

    ALONE = ["unshare", "--net", sys.executable, "-c", """
import fcntl, os, socket, struct, sys
with socket.socket() as s:  # loopback up
    fcntl.ioctl(s, 0x8914, struct.pack("16sH14x", b"lo", 1))
os.execv(sys.argv[1], sys.argv[1:])
"""]

    def alone(self, listen):
        if subprocess.run([*self.ALONE, "/bin/true"], capture_output=True, check=False).returncode:
            self.skipTest("no network of its own may be made here")
        y = self.yard(start=False, config=f"[page]\nlisten = {listen}\n")
        argv = y.argv()
        y.argv = lambda: self.ALONE + argv
        return y.start()

    def test_where_it_listens_and_where_it_is_found(self):
        for listen, there, here in (("0.0.0.0:8480", "0.0.0.0", "127.0.0.1"),
                                    ("[::]:8480", "[::]", "[::1]")):
            if there == "[::]" and not os.path.exists("/proc/net/if_inet6"):
                continue
            y = self.alone(listen)
            self.assertIn(f"listening on http://{there}:8480/", y.said())
            self.assertIn(f"http://{here}:8480/", json.dumps(y.client().ask("status")))
            y.stop()

    def test_a_machine_without_a_lan_opens_nothing_for_others(self):
        for listen in ("127.0.0.1:8480", "[::1]:8480"):
            y = self.alone(listen)
            answer = y.client().ask("pair")
            self.assertNotIn("for paired devices", y.said(), answer)
            self.assertEqual(y.said().count("listening on"), 1)
            y.stop()


class Asked(PageTest):
    def test_a_lot_is_known_by_its_name_and_the_latest_session_counts(self):
        y = self.page()
        c = y.client()
        for animals in (["A1", "A2"], ["A3"]):
            self.assertTrue(c.ask("open", kind="sale", lot="spring", animals=animals)["ok"])
            self.assertTrue(c.ask("close")["ok"])
        status, said = self.get("/api/sale?lot=spring")
        self.assertEqual(status, 200, said)
        self.assertEqual([a["animal"] for a in said["animals"]], ["A3"])
        for query in ("lot=autumn", "lot=", "session=x", "pack=../x"):
            self.assertEqual(self.get("/api/sale?" + query)[0], 400, query)

    def test_a_pairing_without_a_secret(self):
        y = self.page(config="lan = 127.0.0.3\n")
        for body in ("{}", "[]", "", "nothing", '{"secret":5}'):
            status, _, said = self.ask("POST", "/pair", body, JSON)
            self.assertEqual(status, 400, body)
            self.assertIn("no secret in it", json.loads(said)["error"])
        self.refused(y.client().ask("pair", may=5), 2, "may")
        self.refused(y.client().ask("pair", may="rule"), 2, "may")


class Paused(DaemonTest):
    def test_a_disk_that_refuses_for_long_holds_the_readers_back(self):
        y = self.yard(start=False)
        shim, plan = os.path.join(y.dir, "disk_fault.so"), os.path.join(y.dir, "plan")
        subprocess.run(["cc", "-shared", "-fPIC", "-o", shim,
                        os.path.join(HERE, "../torture/disk_fault.c"), "-ldl"], check=True)
        with open(plan, "w+b") as f:
            f.truncate(4096)
            disk = mmap.mmap(f.fileno(), 4096)
        y.start(env={"LD_PRELOAD": shim, "DISK_FAULT": plan, "ASAN_OPTIONS":
                     os.environ.get("ASAN_OPTIONS", "") + ":verify_asan_link_order=0"})
        c = y.client(watch=True)
        self.assertTrue(c.ask("open", kind="walk", mob="does")["ok"])
        disk[0:4] = struct.pack("=I", 1)  # every call
        port, sent, rest = y.ports["front"], 0, b""
        os.set_blocking(port.master, False)  # once they are left alone nobody takes what is written
        while "the ports are left alone" not in y.said():
            self.assertLess(sent, 90000)
            if not rest:
                rest = "".join(f"999000{800000000 + sent + i:09d}\r\n" for i in range(50)).encode()
                sent += 50
            try:
                rest = rest[os.write(port.master, rest):]
            except BlockingIOError:
                time.sleep(0.005)
        os.set_blocking(port.master, True)
        disk[0:4] = struct.pack("=I", 0)
        port.write(rest)
        port.read(code(1))
        until(lambda: (y.rows("SELECT count(*) FROM event WHERE kind = 0") or [(0,)])[0][0]
              == sent + 1, 60)
        self.assertEqual(y.rows("SELECT count(DISTINCT bits) FROM event WHERE kind = 0"),
                         [(sent + 1,)])


class Socket(DaemonTest):
    def test_a_control_socket_that_cannot_be_made(self):
        y = self.yard(start=False)
        for path, said in ((os.path.join(y.dir, "no", "x.sock"), "is there and may be written to"),
                           (os.path.join(y.config, "x.sock"), "is there and may be written to"),
                           (y.config, "something else where the control socket should be")):
            done = subprocess.run([DAEMON, "--config", y.config, "--db", y.db, "--socket", path,
                                   "--foreground"], capture_output=True, text=True, timeout=30,
                                  check=False)
            self.assertEqual(done.returncode, 4, done.stderr)
            self.assertIn(said, done.stderr)
            self.assertIn(path, done.stderr)


tap.main()
