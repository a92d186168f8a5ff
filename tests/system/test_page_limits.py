"""What hostile and broken clients of the page can do to a race: nothing."""
import os
import resource
import select
import socket
import threading
import time

import tap
from web import PageTest
from yard import DAEMON, WAIT, code, until


SLOW_S = 1.5  # for one reading, on a machine that has other things to do as well


class Limits(PageTest):
    def race(self, y, client, first, n=20):
        """Readings one by one, each to its verdict: the longest wait in seconds."""
        worst = 0
        for i in range(n):
            start = time.monotonic()
            y.ports["front"].read(code((first + i) % 40 + 1))
            client.event("verdict")
            worst = max(worst, time.monotonic() - start)
        return worst

    def test_requests_that_are_none(self):
        y = self.page()
        host = f"Host: {self.host()}\r\n".encode()
        for want, data in (
                (431, b"GET / HTTP/1.1\r\n" + host + b"X: " + b"a" * 9000 + b"\r\n\r\n"),
                (431, b"GET / HTTP/1.1\r\n" + host + b"X: y\r\n" * 2000),
                (414, b"GET /" + b"a" * 3000 + b" HTTP/1.1\r\n" + host + b"\r\n"),
                (414, b"GET /?q=" + b"a" * 3000 + b" HTTP/1.1\r\n" + host + b"\r\n"),
                (431, b"GET / HTTP/1.1\r\n" + host + b"Origin: " + b"a" * 500 + b"\r\n\r\n"),
                (400, b"GET / HTTP/1.1\r\n\r\n"),
                (400, b"GET / HTTP/1.1\r\n" + host + host + b"\r\n"),
                (400, b"GET / HTTP/1.1\r\n" + host + b" folded\r\n\r\n"),
                (400, b"GET / HTTP/1.1\r\n" + host + b"A : b\r\n\r\n"),
                (400, b"GET / HTTP/1.1\r\n" + host + b"A: b\0c\r\n\r\n"),
                (400, b"GET / HTTP/1.1\r\n" + host + b"no colon\r\n\r\n"),
                (400, b"GET /\x01 HTTP/1.1\r\n" + host + b"\r\n"),
                (400, b"GET http://x/ HTTP/1.1\r\n" + host + b"\r\n"),
                (400, b"GET  / HTTP/1.1\r\n" + host + b"\r\n"),
                (400, b"GET /\r\n\r\n"), (400, b"\r\n\r\n"), (400, b"\0" * 50 + b"\r\n\r\n"),
                (400, b"\x16\x03\x01\x02\x00\x01\x00\r\n\r\n"),
                (505, b"GET / HTTP/2.0\r\n" + host + b"\r\n"),
                (505, b"GET / HTTP/1.9\r\n" + host + b"\r\n"),
                (411, b"POST /do HTTP/1.1\r\n" + host + b"Content-Type: application/json\r\n\r\n"),
                (411, b"POST /do HTTP/1.1\r\n" + host + b"Transfer-Encoding: chunked\r\n\r\n0\r\n\r\n"),
                (400, b"POST /do HTTP/1.1\r\n" + host + b"Content-Length: 2\r\nContent-Length: 3\r\n\r\n{}x"),
                (411, b"POST /do HTTP/1.1\r\n" + host + b"Content-Length: 2\r\nTransfer-Encoding: chunked\r\n\r\n"),
                (400, b"POST /do HTTP/1.1\r\n" + host + b"Content-Length: -1\r\n\r\n"),
                (400, b"POST /do HTTP/1.1\r\n" + host + b"Content-Length: 1,1\r\n\r\n"),
                (413, b"POST /do HTTP/1.1\r\n" + host + b"Content-Length: 99999999999999999999\r\n\r\n"),
                (413, b"POST /do HTTP/1.1\r\n" + host
                 + b"Content-Type: application/json\r\nContent-Length: 1048577\r\n\r\n"),
                (413, b"POST /pair HTTP/1.1\r\n" + host
                 + b"Content-Type: application/json\r\nContent-Length: 1025\r\n\r\n"),
                (400, b"GET / HTTP/1.1\r\n" + host + b"Content-Length: 5\r\n\r\nhello")):
            with self.subTest(data=data[:70]):
                got = self.raw(data)
                self.assertTrue(got.startswith(b"HTTP/1.1 %d " % want), got[:80])
                self.assertIn(b"Connection: close", got)
                self.assertEqual(got.count(b"HTTP/1.1 "), 1)
        self.assertIsNone(y.process.poll())

    def test_long_bodies(self):
        y = self.page()
        pad = "x" * 70000
        status, answer = self.do("saw", number="1", pad=pad)
        self.assertEqual((status, answer["ok"]), (413, False))
        keys = [f"A{n}" for n in range(1, 41)] * 400  # an open may be long
        self.assertEqual(self.do("open", kind="sale", lot="L", animals=keys)[0], 200)
        y.replays = False

    def test_requests_one_behind_the_other(self):
        self.page()
        one = f"GET /icon.svg HTTP/1.1\r\nHost: {self.host()}\r\n".encode()
        got = self.raw(one + b"\r\n" + one + b"\r\n" + one + b"Connection: close\r\n\r\n")
        self.assertEqual(got.count(b"HTTP/1.1 200 OK"), 3)
        got = self.raw(one.replace(b"1.1", b"1.0") + b"\r\n")
        self.assertIn(b"Connection: close", got)
        body = b'{"do":"status"}'
        got = self.raw(f"POST /do HTTP/1.1\r\nHost: {self.host()}\r\nExpect: 100-continue\r\n"
                       f"Content-Type: application/json\r\nConnection: close\r\n"
                       f"Content-Length: {len(body)}\r\n\r\n".encode() + body)
        self.assertTrue(got.startswith(b"HTTP/1.1 100 Continue\r\n\r\nHTTP/1.1 200 OK"), got)
        with socket.create_connection(self.at, timeout=WAIT) as s:  # says all, then ends
            s.sendall(one + b"\r\n")
            s.shutdown(socket.SHUT_WR)
            self.assertIn(b"200 OK", s.recv(65536))

    def test_byte_by_byte(self):
        self.page()
        with socket.create_connection(self.at, timeout=WAIT) as s:
            s.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            for byte in f"GET /icon.svg HTTP/1.1\r\nHost: {self.host()}\r\n\r\n".encode():
                s.sendall(bytes([byte]))
                time.sleep(0.002)
            self.assertIn(b"200 OK", s.recv(65536))

    def test_slow_requests_end(self):
        """Ten seconds for a whole request, however slowly its bytes drip."""
        self.page()
        start, done = time.monotonic(), {}
        lines = {"nothing": b"", "head": f"GET / HTTP/1.1\r\nHost: {self.host()}\r\n".encode(),
                 "body": (f"POST /do HTTP/1.1\r\nHost: {self.host()}\r\nContent-Length: 500\r\n"
                          "Content-Type: application/json\r\n\r\n").encode()}
        socks = {name: socket.create_connection(self.at) for name in lines}
        for name, s in socks.items():
            s.sendall(lines[name])
        while len(done) < 3 and time.monotonic() - start < 18:
            for name, s in socks.items():
                if name in done:
                    continue
                if select.select([s], [], [], 0)[0]:
                    done[name] = (s.recv(4096)[:12], time.monotonic() - start)
                elif name != "nothing":
                    s.sendall(b"X")
            time.sleep(0.2)
        for s in socks.values():
            s.close()
        self.assertEqual({n: d[0] for n, d in done.items()},
                         {"nothing": b"", "head": b"HTTP/1.1 408", "body": b"HTTP/1.1 408"})
        for _, after in done.values():
            self.assertTrue(9 < after < 14, done)

    def test_head_of_a_stream(self):
        y = self.page()
        for _ in range(40):
            status, headers, body = self.ask("HEAD", "/events")
            self.assertEqual((status, body), (200, b""))
            self.assertIn("text/event-stream", headers["Content-Type"])
        for path in ("/", "/api/find?q=1", "/nothing", "/api/packs"):  # what http.client would hide
            got = self.raw(f"HEAD {path} HTTP/1.1\r\nHost: {self.host()}\r\nConnection: close"
                           "\r\n\r\n".encode())
            self.assertTrue(got.endswith(b"\r\n\r\n"), got)
            self.assertNotIn(b"Content-Length: 0", got)
        self.assertEqual(self.ask("HEAD", "/api/packs")[0], 200)
        self.assertIsNone(y.process.poll())

    def test_a_thousand_connections(self):
        y = self.page()
        c = y.client(watch=True)
        self.do("open", kind="walk")
        before = self.memory_kb(y)
        soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
        resource.setrlimit(resource.RLIMIT_NOFILE, (min(4096, hard), hard))
        self.addCleanup(resource.setrlimit, resource.RLIMIT_NOFILE, (soft, hard))
        socks, worst = [], 0
        try:
            for i in range(1000):
                s = socket.socket()
                s.settimeout(WAIT)
                s.connect(self.at)
                if i % 3 == 0:
                    s.sendall(f"GET /events HTTP/1.1\r\nHost: {self.host()}\r\n\r\n".encode())
                elif i % 3 == 1:
                    s.sendall(b"GET / HTTP/1.1\r\nHost:")
                socks.append(s)
                if i % 50 == 0:
                    worst = max(worst, self.race(y, c, i, 2))
            worst = max(worst, self.race(y, c, 0, 30))
            held = len(os.listdir(f"/proc/{y.process.pid}/fd"))
            self.assertLess(held, 64 + 30)
            cpu = self.cpu_s(y)
            time.sleep(1)
            self.assertLess(self.cpu_s(y) - cpu, 0.3)
            self.assertLess(self.memory_kb(y) - before, self.allowed(8000))
        finally:
            for s in socks:
                s.close()
        self.assertLess(worst, SLOW_S)
        self.assertLess(y.said().count("\n"), 20)
        until(lambda: self.do("status")[0] == 200)

    def do(self, verb, headers=None, **more):
        try:
            return super().do(verb, headers, **more)
        except OSError:  # turned away at the door, before the request was read
            return 503, {}

    def test_one_address_has_not_all(self):
        self.page()
        streams = [self.stream() for _ in range(16)]
        with self.assertRaises((EOFError, OSError, AssertionError)):
            s = self.stream()
            self.assertEqual(s.status, 200)
        streams[0].close()
        until(lambda: self.do("status")[0] == 200)

    def test_those_who_only_sit_there_make_room(self):
        self.page()
        idle = [socket.create_connection(self.at) for _ in range(16)]
        time.sleep(1.2)
        self.assertEqual(self.do("status")[0], 200)
        for s in idle:
            s.close()

    def test_out_of_descriptors(self):
        y = self.page()
        c = y.client(watch=True)
        self.do("open", kind="walk")
        held = len(os.listdir(f"/proc/{y.process.pid}/fd"))
        resource.prlimit(y.process.pid, resource.RLIMIT_NOFILE, (held + 3, held + 3))
        socks = [socket.create_connection(self.at) for _ in range(12)]
        until(lambda: "no connection can be taken" in y.said())
        cpu, said = self.cpu_s(y), len(y.said())
        time.sleep(2)
        self.assertLess(self.cpu_s(y) - cpu, 0.3)
        self.assertLess(len(y.said()) - said, 1000)
        self.assertLess(self.race(y, c, 0, 10), SLOW_S)
        for s in socks:
            s.close()
        until(lambda: self.do("status")[0] == 200)

    def test_who_does_not_read_is_dropped(self):
        y = self.page()
        first = self.do("open", kind="walk")[1]["seq"]
        c = y.client(watch=True)
        s = socket.socket()
        s.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        s.connect(self.at)
        s.sendall(f"GET /events HTTP/1.1\r\nHost: {self.host()}\r\n\r\n".encode())
        s.recv(100)
        before = self.memory_kb(y)
        fds = lambda: len(os.listdir(f"/proc/{y.process.pid}/fd"))
        held, n = fds(), 0
        while fds() >= held and n < 20000:
            y.ports["front"].read(*[code((n + k) % 40 + 1) for k in range(100)])
            for _ in range(100):
                c.event("verdict")
            n += 100
        self.assertLess(n, 20000)
        self.assertGreater(n * 400, 1 << 20)
        self.assertLess(self.memory_kb(y) - before, self.allowed(20000))
        s.close()
        # It comes back and misses nothing, however much it is.
        back, got = self.stream(last_id=first), []
        self.assertEqual(back.message()[0], first)
        while len(got) < n:
            place, _ = back.message()
            got += [place] if place is not None else []
            if len(got) == 700:
                y.ports["front"].read(code(1))  # and what happens meanwhile comes in its turn
        self.assertEqual(got, list(range(first + 1, first + n + 1)))
        self.assertEqual(back.event("verdict")[0], first + n + 1)

    def test_streams_leave_nothing_behind(self):
        y = self.page()
        self.do("open", kind="walk")

        def streams(n):
            for _ in range(n):
                s = self.stream()
                s.message()
                s.close()
        streams(200)
        until(lambda: self.do("status")[0] == 200)
        before = self.memory_kb(y)
        streams(500)
        until(lambda: self.do("status")[0] == 200)
        # A leak of 2.4 kB each would be 1200 kB.
        self.assertLess(self.memory_kb(y) - before, self.allowed(600))
        until(lambda: len(os.listdir(f"/proc/{y.process.pid}/fd")) < 40)

    def allowed(self, kb):
        """The sanitizers keep what was freed for a while: then only their own leak check tells."""
        with open(DAEMON, "rb") as f:
            return 400000 if b"__asan_init" in f.read() else kb

    def test_readings_do_not_wait_for_pages(self):
        """Many pages ask for all they can while the readings flow."""
        y = self.page()
        c = y.client(watch=True)
        self.do("open", kind="walk")
        alone = self.race(y, c, 0, 40)
        stop = threading.Event()

        def ask(path):
            while not stop.is_set():
                try:
                    self.ask("GET", path)
                except OSError:
                    pass
        threads = [threading.Thread(target=ask, args=(p,)) for p in
                   ("/api/find?q=0", "/api/not-seen?limit=200", "/api/statement?from=2026-01-01&to="
                    "2026-12-31", "/report", "/style.css")]
        for t in threads:
            t.start()
        busy = self.race(y, c, 0, 200)
        stop.set()
        for t in threads:
            t.join()
        self.assertLess(busy, SLOW_S, (alone, busy))


if __name__ == "__main__":
    tap.main()
