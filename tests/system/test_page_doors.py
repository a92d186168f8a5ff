"""Who gets in: where a request comes from, and how another device is paired."""
import json
import os
import re
import stat
import subprocess

import tap
from web import JSON, PageTest
from yard import DAEMON, WAIT, code

OUTSIDE = "127.0.0.2:0"  # of this machine, but none of the two addresses that are trusted


class Origin(PageTest):
    def test_where_a_request_says_it_comes_from(self):
        self.page()
        here, port = self.host(), self.at[1]
        body = json.dumps({"do": "status"})
        for want, headers in (
                (200, {}), (200, {"Origin": f"http://{here}"}),
                (200, {"Host": f"localhost:{port}", "Origin": f"http://localhost:{port}"}),
                (421, {"Host": "evil.example"}), (421, {"Host": f"evil.example:{port}"}),
                (421, {"Host": f"127.0.0.1:{port + 1}"}), (421, {"Host": "127.0.0.1"}),
                (421, {"Host": f"127.0.0.1:{port}.evil.example"}),
                (421, {"Host": f"evil@127.0.0.1:{port}"}), (421, {"Host": f"127.0.0.2:{port}"}),
                (421, {"Host": f"[::1]:{port}"}), (421, {"Host": "."}),
                (403, {"Origin": "http://evil.example"}), (403, {"Origin": "null"}),
                (403, {"Origin": f"https://{here}"}), (403, {"Origin": f"http://localhost:{port}"}),
                (403, {"Origin": f"http://{here}.evil.example"}),
                (403, {"Origin": f"http://evil.example/{here}"}),
                (403, {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "no-cors"}),
                (403, {"Sec-Fetch-Site": "same-site"}), (200, {"Sec-Fetch-Site": "same-origin"})):
            with self.subTest(headers=headers):
                status, _, said = self.ask("POST", "/do", body, dict(JSON, **headers))
                self.assertEqual(status, want, said)
                self.assertEqual(json.loads(said)["ok"], want == 200)
        # Somebody follows a link from elsewhere: a page, but nothing that acts.
        self.assertEqual(self.ask("GET", "/", headers={"Sec-Fetch-Site": "cross-site",
                                                       "Sec-Fetch-Mode": "navigate"})[0], 200)
        self.assertEqual(self.ask("GET", "/events", headers={"Origin": "http://evil.example"})[0],
                         403)

    def test_what_a_body_says_it_is(self):
        self.page()
        body = json.dumps({"do": "status"})
        for want, kind in ((200, "application/json"), (200, "application/json; charset=utf-8"),
                           (200, "APPLICATION/JSON"), (415, "text/plain"), (415, "application/jsonx"),
                           (415, "application/x-www-form-urlencoded"), (415, "multipart/form-data"),
                           (415, "text/json"), (415, "")):
            with self.subTest(kind=kind):
                headers = {"Content-Type": kind} if kind else {}
                self.assertEqual(self.ask("POST", "/do", body, headers)[0], want)

    def test_what_is_not_asked_for(self):
        self.page()
        for method, path, want in (("PUT", "/do", 405), ("DELETE", "/", 405), ("OPTIONS", "/do", 405),
                                   ("TRACE", "/", 405), ("CONNECT", "/", 405), ("GET", "/do", 405),
                                   ("get", "/", 405), ("PATCH", "/events", 405)):
            status, headers, body = self.ask(method, path, headers=JSON)
            self.assertEqual(status, want, (method, path))
            self.assertEqual(headers["Allow"], "GET, HEAD, POST")
            self.assertNotIn(b"<", body)
        self.assertEqual(self.ask("POST", "/", "{}", JSON)[0], 405)
        self.assertEqual(self.ask("POST", "/api/packs", "{}", JSON)[0], 404)
        for body in ("", "x", "[]", "null", '"open"', '{"do":1}', '{"do":"watch"}', '{"do":"rm"}',
                     '{"do":"status","do":"open"}', "{" * 5000, '{"do":"status"', "\0", "\xff"):
            status, _, said = self.ask("POST", "/do", body.encode("latin-1"), JSON)
            self.assertEqual((status, json.loads(said)["ok"]), (400, False), body[:20])


class Pairing(PageTest):
    def lugmarkd(self, y, *args):
        return subprocess.run([DAEMON, *args, "--socket", y.socket], capture_output=True, text=True,
                              timeout=WAIT, stdin=subprocess.DEVNULL)

    def secret(self, y, *args):
        done = self.lugmarkd(y, "--pair", *args)
        self.assertEqual(done.returncode, 0, done.stderr)
        url = re.search(r"http://([0-9.]+):(\d+)/pair#(\S+)", done.stdout)
        self.assertEqual((url.group(1), int(url.group(2))), self.at)
        return url.group(3)

    def guess(self, secret, **more):
        status, headers, body = self.ask("POST", "/pair", json.dumps(dict(more, secret=secret)), JSON)
        return status, headers, json.loads(body)

    def paired(self, y, *args, **more):
        status, headers, answer = self.guess(self.secret(y, *args), **more)
        self.assertEqual(status, 200, answer)
        return answer, {"Cookie": headers["Set-Cookie"].split(";")[0]}

    def test_nobody_gets_in_unpaired(self):
        self.page(listen=OUTSIDE)
        for path in ("/", "/book"):
            status, headers, _ = self.ask("GET", path)
            self.assertEqual((status, headers["Location"]), (303, "/pair"))
        for path in ("/events", "/api/find?q=1", "/api/not-seen", "/api/packs", "/report", "/race.html",
                     "/api/animal?key=A1", "/nothing"):
            for cookie in (None, "lugmark=", "lugmark=" + "0" * 64, "lugmark=" + "x" * 64, "a=b",
                           "lugmark=" + "0" * 200):
                status, _, body = self.ask("GET", path, headers={"Cookie": cookie} if cookie else {})
                self.assertEqual((status, json.loads(body)["ok"]), (401, False), path)
        self.assertEqual(self.do("status")[0], 401)
        self.assertEqual(self.do("pair")[0], 401)
        for path in ("/pair", "/style.css", "/pair.js", "/icon.svg"):
            self.assertEqual(self.ask("GET", path)[0], 200, path)
        status, _, _ = self.ask("POST", "/do", "x" * 900000, JSON)
        self.assertEqual(status, 401)  # and its body was not waited for

    def test_pair_and_act(self):
        y = self.page(listen=OUTSIDE)
        secret = self.secret(y)
        status, headers, answer = self.guess(secret.upper().replace("-", " "), name="rail")
        self.assertEqual((status, answer), (200, {"ok": True, "may": "act", "name": "rail"}))
        cookie = headers["Set-Cookie"]
        self.assertRegex(cookie, r"^lugmark=[0-9a-f]{64}; HttpOnly; SameSite=Strict; Path=/; Max-Age=\d+$")
        us = {"Cookie": "other=1; " + cookie.split(";")[0] + "; more=2"}
        self.assertEqual(self.ask("GET", "/", headers=us)[0], 200)
        self.assertEqual(self.do("open", us, kind="walk", mob="does")[0], 200)
        head = f"Cookie: {us['Cookie']}\r\n"
        s = self.stream(headers=head)
        self.assertEqual(s.event("hello")[1]["may"], "act")
        y.ports["front"].read(code(1))
        self.assertEqual(s.event("verdict")[1]["animal"], "A1")
        # What another device must not do though it may act.
        for verb in ("pair", "paired", "unpair"):
            self.assertEqual(self.do(verb, us, name="all")[0], 403)
        status, _, answer = self.guess(secret)
        self.assertEqual((status, answer["ok"]), (403, False))  # once only
        twice = {"Cookie": us["Cookie"] + "; lugmark=" + "0" * 64}
        self.assertEqual(self.ask("GET", "/events", headers=twice)[0], 401)

    def test_look_only(self):
        y = self.page(listen=OUTSIDE)
        answer, us = self.paired(y, "look")
        self.assertEqual(answer["may"], "look")
        self.assertEqual(self.do("status", us)[0], 200)
        self.assertEqual(self.do("findings", us)[0], 400)  # there was no session yet
        for verb in ("open", "saw", "head", "undo", "close", "accept", "reject", "undo-register",
                     "pair", "unpair", "watch"):
            status, answer = self.do(verb, us, kind="walk", session="1", explanation="X1")
            self.assertEqual(answer["ok"], False)
            self.assertEqual(status, 400 if verb == "watch" else 403, verb)
        self.assertIsNone(self.do("status", us)[1]["session"])
        s = self.stream(headers=f"Cookie: {us['Cookie']}\r\n")
        self.assertEqual(s.event("hello")[1]["may"], "look")
        self.assertEqual(self.lugmarkd(y, "--pair=look").returncode, 0)
        self.assertEqual(self.lugmarkd(y, "--pair=all").returncode, 2)

    def test_guessing(self):
        y = self.page(listen=OUTSIDE)
        self.assertEqual(self.guess("anything")[0], 403)
        secret = self.secret(y)
        for n in range(4):
            status, _, answer = self.guess(f"{n}{secret[1:]}" if secret[0] != str(n) else "x")
            self.assertEqual((status, answer["ok"]), (403, False))
        status, _, answer = self.guess(secret)
        self.assertEqual(status, 429, answer)  # five from one address, counting the first
        # It is spent for everybody after one more wrong one; here the address must rest anyway.
        self.assertEqual(self.guess(secret)[0], 429)
        self.assertIn("no device", self.lugmarkd(y, "--paired").stdout)

    def test_a_new_secret_ends_the_old(self):
        y = self.page(listen=OUTSIDE)
        old = self.secret(y)
        new = self.secret(y)
        self.assertNotEqual(old, new)
        self.assertEqual(self.guess(old)[0], 403)
        self.assertEqual(self.guess(new)[0], 200)

    def test_list_forget_and_show_out(self):
        y = self.page(listen=OUTSIDE)
        _, one = self.paired(y, name="rail")
        _, two = self.paired(y, "look", name="rail")
        _, odd = self.paired(y, name="a\n9 act b")
        listed = self.lugmarkd(y, "--paired").stdout.splitlines()
        self.assertEqual([line.split("\t")[:2] for line in listed],
                         [["rail", "may act"], ["device-2", "may look"], ["a?9 act b", "may act"]])
        s = self.stream(headers=f"Cookie: {one['Cookie']}\r\n")
        s.event("hello")
        done = self.lugmarkd(y, "--unpair", "rail")
        self.assertEqual((done.returncode, done.stdout), (0, "forgotten: 1\n"))
        with self.assertRaises((EOFError, ConnectionResetError)):
            while True:
                s.message()
        self.assertEqual(self.do("status", one)[0], 401)
        self.assertEqual(self.do("status", two)[0], 200)
        self.assertEqual(self.lugmarkd(y, "--unpair", "rail").returncode, 2)
        # Kept over a restart, as hashes that only the owner may read.
        y.stop()
        path = y.db + ".paired"
        self.assertEqual(stat.S_IMODE(os.stat(path).st_mode), 0o600)
        with open(path, encoding="utf-8") as f:
            text = f.read()
        self.assertEqual(len(text.splitlines()), 2)
        self.assertNotIn(two["Cookie"].split("=")[1], text)
        y.start()
        self.at = ("127.0.0.2", int(y.client().ask("status")["page"].rsplit(":", 1)[1][:-1]))
        self.assertEqual(self.do("status", two)[0], 200)
        self.assertEqual(self.do("status", odd)[0], 200)
        self.assertEqual(self.do("status", one)[0], 401)
        self.assertEqual(self.lugmarkd(y, "--unpair", "all").stdout, "forgotten: 2\n")
        self.assertEqual(self.do("status", two)[0], 401)
        # A file that others may read pairs nobody.
        y.stop()
        with open(path, "w", encoding="utf-8") as f:
            f.write(text)
        os.chmod(path, 0o644)
        y.start()
        self.at = ("127.0.0.2", int(y.client().ask("status")["page"].rsplit(":", 1)[1][:-1]))
        self.assertEqual(self.do("status", two)[0], 401)
        self.assertIn("can be read by others", y.said())

    def test_the_network_is_open_only_while_it_must(self):
        """On this machine alone, until a device is to be paired; and again when none is left."""
        y = self.page(config="lan = 127.0.0.3\n")
        inside, port = self.at, self.at[1]
        self.assertEqual(self.do("status")[0], 200)  # no cookie here
        self.at = ("127.0.0.3", port)
        with self.assertRaises(ConnectionRefusedError):
            self.do("status")
        _, us = self.paired(y)
        self.assertEqual(self.do("status", us)[0], 200)
        self.assertEqual(self.do("status")[0], 401)
        y.stop()
        y.start()
        at = int(y.client().ask("status")["page"].rsplit(":", 1)[1][:-1])
        self.at = ("127.0.0.3", at)
        self.assertEqual(self.do("status", us)[0], 200)
        self.lugmarkd(y, "--unpair", "all")
        with self.assertRaises(ConnectionRefusedError):
            self.do("status", us)
        self.assertEqual(inside[0], "127.0.0.1")

    def test_pairing_from_the_page_itself(self):
        """Who sits at the machine needs no terminal."""
        self.page(config="lan = 127.0.0.3\n")
        status, answer = self.do("pair", may="look")
        self.assertEqual((status, answer["may"]), (200, "look"))
        self.assertTrue(answer["url"].startswith("http://127.0.0.3:"))
        rows = answer["qr"]
        self.assertEqual({len(r) for r in rows}, {len(rows)})
        for y, x in ((0, 0), (0, len(rows) - 7), (len(rows) - 7, 0)):  # the three eyes
            self.assertEqual(rows[y][x:x + 7], "1111111")
            self.assertEqual(rows[y + 1][x:x + 7], "1000001")
        self.assertEqual(self.do("paired")[1]["paired"], [])

    def test_the_code_in_the_terminal(self):
        y = self.page(config="lan = 127.0.0.3\n")
        done = self.lugmarkd(y, "--pair")
        picture = [re.sub("\033\\[[0-9;]*m", "", line) for line in done.stdout.split("\n")
                   if "\033" in line]
        dots = [[half for half in ({" ": (0, 0), "▀": (1, 0), "▄": (0, 1), "█": (1, 1)}[c]
                                   for c in line)] for line in picture]
        rows = [[c[k] for c in line] for line in dots for k in (0, 1)]
        n = len(rows[0]) - 8
        self.assertEqual((n - 21) % 4, 0)
        for i in range(4):  # the quiet zone
            self.assertEqual(sum(rows[i]), 0)
            self.assertEqual(sum(rows[4 + n + i] if 4 + n + i < len(rows) else [0]), 0)
            self.assertEqual(sum(r[i] + r[-1 - i] for r in rows), 0)
        self.assertEqual(rows[4][4:11], [1] * 7)
        self.assertEqual(rows[5][4:11], [1, 0, 0, 0, 0, 0, 1])

    def test_no_daemon_and_no_network(self):
        y = self.page(config="lan = off\n")
        done = self.lugmarkd(y, "--pair")
        self.assertEqual(done.returncode, 4)
        self.assertIn("lan = off", done.stderr)
        y.stop()
        done = self.lugmarkd(y, "--pair")
        self.assertEqual(done.returncode, 4)
        self.assertIn("start lugmarkd first", done.stderr)
        self.assertEqual(self.lugmarkd(y, "--pair", "look", "more").returncode, 2)


if __name__ == "__main__":
    tap.main()
