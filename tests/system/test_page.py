"""What the page server serves, and that a race seen through it lacks nothing and repeats nothing."""
import json
import os
import re
import shutil
import socket
import threading
import time

import tap
from web import JSON, PageTest
from yard import BUILD, DAEMON, REGISTER, code, until


class Files(PageTest):
    def test_pages_and_files(self):
        y = self.page()
        for path, kind in (("/", "text/html"), ("/book", "text/html"), ("/pair", "text/html"),
                           ("/style.css", "text/css"), ("/common.js", "text/javascript"),
                           ("/icon.svg", "image/svg+xml")):
            status, headers, body = self.ask("GET", path)
            self.assertEqual(status, 200, path)
            self.assertTrue(headers["Content-Type"].startswith(kind), path)
            self.assertEqual(headers["X-Content-Type-Options"], "nosniff")
            self.assertEqual(headers["Referrer-Policy"], "no-referrer")
            policy = headers["Content-Security-Policy"]
            for part in ("default-src 'none'", "script-src 'self'", "style-src 'self'",
                         "frame-ancestors 'none'", "base-uri 'none'", "form-action 'self'"):
                self.assertIn(part, policy)
            self.assertNotIn("unsafe", policy)
            self.assertGreater(len(body), 0)
            again, _, rest = self.ask("GET", path, headers={"If-None-Match": headers["ETag"]})
            self.assertEqual((again, rest), (304, b""))
            head, said, none = self.ask("HEAD", path)
            self.assertEqual((head, none, said["Content-Length"]), (200, b"", str(len(body))))
        built = os.path.join(BUILD, "page")  # made small by the build
        with open(os.path.join(built, "page_list.h"), encoding="utf-8") as f:
            names = re.findall(r'"([^"]+)"', f.read())
        self.assertIn("race.js", names)
        total = 0
        for name in names:
            with open(os.path.join(built, name), "rb") as f:
                text = f.read()
            total += len(text)
            if name.endswith((".css", ".js", ".svg")):
                self.assertEqual(self.ask("GET", "/" + name)[2], text, name)
        self.assertLess(total, 100000)
        self.assertIn(f"http://{self.host()}/", y.said())

    def test_no_way_out_of_the_files(self):
        self.page()
        for path in ("/../main.c", "/..%2fmain.c", "/%2e%2e/main.c", "/page/style.css",
                     "/etc/passwd", "//etc/passwd", "/style.css/", "/style.css%00.js", "/race.html/..",
                     "/.", "/api", "/api/", "/api/animalx"):
            status, _, body = self.ask("GET", path)
            self.assertEqual(status, 404, path)
            self.assertFalse(json.loads(body)["ok"])

    def test_the_address_is_told(self):
        y = self.page()
        self.assertEqual(y.client().ask("status")["page"], f"http://{self.host()}/")

    def test_a_port_that_is_taken_stops_no_race(self):
        with socket.create_server(("127.0.0.1", 0)) as other:
            y = self.yard(config=f"[page]\nlisten = 127.0.0.1:{other.getsockname()[1]}\n")
            self.assertIn("cannot listen", y.said())
            c = y.client(watch=True)
            self.assertIsNone(c.ask("status")["page"])
            c.ask("open", kind="walk")
            y.ports["front"].read(code(1))
            self.assertEqual(c.event("verdict")["animal"], "A1")

    def test_off(self):
        y = self.yard(config="[page]\nlisten = off\n")
        self.assertIsNone(y.client().ask("status")["page"])
        self.assertNotIn("listening", y.said())
        answer = y.client().ask("pair")
        self.assertFalse(answer["ok"])


class Race(PageTest):
    def test_hello_and_beat(self):
        y = self.page(config="[holding]\nname = Example holding\n")
        s = self.stream()
        self.assertEqual(s.status, 200)
        self.assertIn("text/event-stream", s.head)
        self.assertIn("no-store", s.head)
        place, hello = s.message()
        self.assertEqual((hello["event"], hello["schema"], hello["may"]),
                         ("hello", "lugmark.control/1", "act"))
        self.assertEqual((hello["session"], hello["tally"], hello["journal"], hello["problem"]),
                         (None, None, "well", None))
        self.assertEqual(hello["holding"]["name"], "Example holding")
        self.assertEqual(hello["lanes"], ["1"])
        self.assertEqual(hello["readers"][0]["name"], "front")
        self.assertEqual(place, hello["last_seq"])
        start = time.monotonic()
        for _ in range(3):
            self.assertEqual(s.message(), (None, {"event": "beat"}))
        self.assertLess(time.monotonic() - start, 9)
        self.assertIsNone(y.process.poll())

    def test_a_session_through_the_page(self):
        y = self.page()
        s = self.stream()
        status, opened = self.do("open", kind="walk", mob="does", id=4, token="t1")
        self.assertEqual((status, opened["ok"], opened["id"], opened["expected"]), (200, True, 4, 40))
        self.assertEqual(self.do("open", kind="walk", mob="does", token="t1")[1]["again"], True)
        place, told = s.event("session")
        self.assertEqual((place, told["session"]["mob"]), (opened["seq"], "does"))
        y.ports["front"].read(code(1))
        place, verdict = s.event("verdict")
        self.assertEqual((place, verdict["animal"]), (opened["seq"] + 1, "A1"))
        self.assertEqual(self.do("saw", number="0002")[1]["verdict"]["animal"], "A2")
        self.assertEqual(self.do("head", n=7)[1]["tally"]["heads"], 7)
        self.assertEqual(self.do("undo")[1]["undone"], {"heads": 7})
        self.assertEqual(self.do("readers")[1]["readers"][0]["state"], "live")
        self.assertEqual(self.do("findings")[1]["findings"]["present"], 2)
        self.assertEqual(self.do("close")[1]["tally"]["not_seen"], 38)
        status, late = self.do("saw", number="0003")
        self.assertEqual((status, late["ok"]), (400, False))
        self.assertTrue(late["mend"])

    def test_not_seen_and_find(self):
        y = self.page()
        self.assertEqual(self.get("/api/not-seen")[1], {"ok": True, "total": 0, "animals": []})
        self.do("open", kind="walk", mob="does")
        y.ports["front"].read(code(4), code(14))
        until(lambda: self.do("status")[1]["tally"]["present"] == 2)
        _, got = self.get("/api/not-seen?limit=3")
        self.assertEqual((got["total"], [a["animal"] for a in got["animals"]]),
                         (38, ["A1", "A2", "A3"]))
        self.assertEqual(got["animals"][0],
                         {"animal": "A1", "visual": ["0001"],
                          "marks": [{"visual": "0001", "colour": "yellow", "place": "left ear",
                                     "form": "flag tag"}],
                          "colour": "yellow", "place": "left ear", "should": "", "sex": "female", "mob": "does",
                          "status": "on-farm"})
        _, got = self.get("/api/not-seen?q=04&limit=20")
        self.assertEqual([a["animal"] for a in got["animals"]], ["A40"])
        _, got = self.get("/api/not-seen?q=a1")
        self.assertEqual([a["animal"] for a in got["animals"]],
                         ["A1", "A10", "A11", "A12", "A13", "A15", "A16", "A17", "A18", "A19"])
        _, got = self.get("/api/find?q=9001")
        self.assertEqual([a["animal"] for a in got["animals"]], ["B1"])
        _, got = self.get("/api/find?q=999000000090001")
        self.assertEqual([a["animal"] for a in got["animals"]], ["B1"])
        self.assertEqual(self.get("/api/find?q=%F0%9F%90%90")[1]["animals"], [])
        self.assertEqual(self.get("/api/not-seen?limit=x")[0], 400)
        self.assertEqual(self.get("/api/find?q=%zz")[0], 400)
        self.assertEqual(self.get("/api/find?q=" + "9" * 500)[0], 400)

    def test_hostile_texts_come_as_they_are(self):
        nasty = "<img onerror=alert(1)>"
        self.page(register=REGISTER + f'"{nasty}",goat,male,bucks,on-farm,flag tag,left ear,,yes,'
                  f'999000000090002,"{nasty}"\n')
        _, headers, body = self.ask("GET", "/api/find?q=onerror")
        self.assertTrue(headers["Content-Type"].startswith("application/json"))
        self.assertEqual(headers["Cache-Control"], "no-store")
        self.assertEqual(json.loads(body)["animals"][0]["visual"], [nasty])
        self.assertEqual(self.get("/api/animal?key=%3Cimg%20onerror%3Dalert(1)%3E")[1]["animal"],
                         nasty)


class Resume(PageTest):
    def follow(self, until_seq, last_id, seen):
        """Read to a place, as a browser that was cut off somewhere."""
        s = self.stream(last_id=last_id)
        try:
            while s.last_id is None or s.last_id < until_seq:
                place, data = s.message()
                if data["event"] in ("verdict", "session", "tally"):
                    self.assertEqual(place, data["seq"])
                    seen.append(place)
        finally:
            s.close()
        return s.last_id

    def test_nothing_lost_nothing_twice(self):
        """A page that is cut off again and again while the readings flow."""
        y = self.page()
        first = self.do("open", kind="walk")[1]["seq"]
        total = 1500

        def race():
            for i in range(total):
                y.ports["front"].read(code(i % 40 + 1))
                time.sleep(0.001)

        writer = threading.Thread(target=race)
        writer.start()
        seen, last, step, cuts = [], first - 1, 1, 0
        while last < first + total:
            last = self.follow(min(last + step, first + total), last, seen)
            step = step * 7 % 61 + 1
            cuts += 1
        writer.join()
        self.assertEqual(seen, list(range(first, first + total + 1)))
        self.assertGreater(cuts, 40)

    def test_the_place_in_the_address(self):
        y = self.page()
        first = self.do("open", kind="walk")[1]["seq"]
        y.ports["front"].read(code(1), code(2), code(3))
        until(lambda: self.do("status")[1]["last_seq"] == first + 3)
        s = self.stream(f"/events?after={first + 1}")
        self.assertEqual(s.message()[0], first + 1)
        self.assertEqual([s.message()[0] for _ in range(2)], [first + 2, first + 3])
        s = self.stream(f"/events?after={first + 1}", last_id=first + 2)
        self.assertEqual([s.message()[0] for _ in range(2)], [first + 2, first + 3])
        for odd in ("x", "-1", "1x", "99999999999999999999", ""):
            s = self.stream(f"/events?after={odd}")
            self.assertEqual(s.message()[0], first + 3, odd)

    def test_after_the_daemon_died(self):
        """What was in memory is gone then: the journal tells it."""
        y = self.page()
        first = self.do("open", kind="walk")[1]["seq"]
        y.ports["front"].read(*[code(n) for n in range(1, 31)])
        until(lambda: self.do("status")[1]["last_seq"] == first + 30)
        y.kill()
        y.start()
        self.at = ("127.0.0.1", int(y.client().ask("status")["page"].rsplit(":", 1)[1][:-1]))
        seen = []
        s = self.stream(last_id=first + 4)
        self.assertEqual(s.message()[1]["event"], "hello")
        y.ports["front"].read(code(31))
        while len(seen) < 27:
            place, data = s.message()
            if data["event"] != "beat" and data["event"] != "reader":
                seen.append((place, data.get("animal")))
        self.assertEqual(seen, [(first + n, f"A{n}") for n in range(5, 32)])

    def test_a_session_that_ended_before_the_daemon_did(self):
        """Of that nothing is in memory: it is folded again."""
        y = self.page()
        first = self.do("open", kind="walk")[1]["seq"]
        y.ports["front"].read(*[code(n) for n in range(1, 31)])
        until(lambda: self.do("status")[1]["last_seq"] == first + 30)
        closed = self.do("close")[1]["seq"]
        y.stop()
        y.start()
        self.at = ("127.0.0.1", int(y.client().ask("status")["page"].rsplit(":", 1)[1][:-1]))
        s = self.stream(last_id=first + 4)
        got = [s.event("verdict") for _ in range(26)]
        self.assertEqual([(place, v["animal"]) for place, v in got],
                         [(first + n, f"A{n}") for n in range(5, 31)])
        place, end = s.event("session")
        self.assertEqual(place, closed)
        self.assertTrue(end["session"]["closed"])

    def test_two_pages_hear_the_same(self):
        y = self.page()
        one, two = self.stream(), self.stream()
        self.do("open", kind="walk")
        y.ports["front"].read(*[code(n) for n in range(1, 21)])
        heard = [[s.event("verdict") for _ in range(20)] for s in (one, two)]
        self.assertEqual(heard[0], heard[1])
        self.assertEqual([v["animal"] for _, v in heard[0]], [f"A{n}" for n in range(1, 21)])


class Views(PageTest):
    def test_what_lugmark_makes(self):
        y = self.page()
        self.do("open", kind="count", mob="does", count="2026")
        y.ports["front"].read(*[code(n) for n in range(1, 39)], "999000000077777")
        until(lambda: self.do("status")[1]["tally"]["passes"] == 39)
        self.assertEqual(self.get("/api/findings?session=1")[0], 200)
        self.do("close")
        _, got = self.get("/api/sessions")
        self.assertEqual([(s["id"], s["kind"], s["count"]) for s in got["sessions"]],
                         [("1", "count", "2026")])
        _, got = self.get("/api/findings?session=1")
        self.assertEqual((got["schema"], got["counts"]["missing"]), ("lugmark.findings/1", 2))
        _, got = self.get("/api/explain?session=1")
        self.assertIsInstance(got, list)
        _, got = self.get("/api/counts")
        self.assertEqual([(c["name"], c["sessions"], c["closed"]) for c in got["counts"]],
                         [("2026", 1, None)])
        self.assertEqual(self.get("/api/count?name=2026")[0], 200)
        status, got = self.get("/api/statement?from=2026-01-01&to=2026-12-31&count=2026")
        self.assertEqual((status, got["schema"]), (200, "lugmark.statement/1"))
        self.assertIn("packs", self.get("/api/packs")[1])
        _, got = self.get("/api/animal?key=A17")
        self.assertEqual((got["animal"], got["history"][0]["why"]), ("A17", "import"))
        status, headers, body = self.ask("GET", "/report?session=1")
        self.assertEqual(status, 200, body)
        self.assertIn(b"<html", body.lower())
        self.assertNotIn(b"<script", body.lower())
        self.assertIn("style-src 'unsafe-inline'", headers["Content-Security-Policy"])
        self.assertNotIn("script-src", headers["Content-Security-Policy"])

    def test_accept_reject_and_take_back(self):
        y = self.page()
        self.do("open", kind="walk", mob="does")
        y.ports["front"].read(*[code(n) for n in range(1, 40)], "999000000077777")
        until(lambda: self.do("status")[1]["tally"]["passes"] == 40)
        self.do("close")
        _, got = self.get("/api/explain?session=1")
        made = [e["id"] for e in got if e["kind"] == "new-device"]
        self.assertTrue(made, got)
        status, got = self.do("accept", session="1", explanation=made[0], id=3)
        self.assertEqual((status, got["ok"], got["settled"], got["animals"]),
                         (200, True, "accepted", ["A40"]), got)
        self.assertIn("999000000077777", json.dumps(self.get("/api/animal?key=A40")[1]))
        self.do("open", kind="walk", mob="does")
        y.ports["front"].read("999000000077777")
        until(lambda: self.do("status")[1]["tally"]["present"] == 1)
        status, got = self.do("undo-register")
        self.assertEqual((status, got["ok"], got["animals"]), (200, True, ["A40"]), got)
        self.assertEqual(self.do("undo-register", dry_run=True)[0], 200)
        for session, which in (("x", "X1"), ("1", "X1 --accept-all"), ("1; rm", "X1"), ("1", ""),
                               ("--help", "X1"), ("", "X1")):
            status, got = self.do("accept", session=session, explanation=which)
            self.assertEqual((status, got["ok"]), (400, False), (session, which))
        status, got = self.do("reject", session="1", explanation="X99999")
        self.assertEqual((status, got["ok"]), (400, False))

    def test_the_lists_for_people(self):
        y = self.page()
        self.assertIn("no session", y.lugmark("findings", "--list").stdout)
        self.assertIn("no count", y.lugmark("count", "--list").stdout)
        for _ in range(2):
            self.do("open", kind="count", mob="does", count="2026")
            self.do("close")
        said = y.lugmark("findings", "--list").stdout.splitlines()
        self.assertEqual([line.split(",")[0] for line in said], ["count of mob does"] * 2)
        self.assertIn("session 2", said[0])
        self.assertEqual(y.lugmark("count", "--list").stdout, "2026: 2 sessions\n")
        y.lugmark("count", "2026", "--close", good=False)
        self.assertIn("closed 20", y.lugmark("count", "--list").stdout)
        self.assertTrue(self.get("/api/counts")[1]["counts"][0]["closed"])
        self.assertEqual(y.lugmark("count", good=False).returncode, 2)
        self.assertEqual(y.lugmark("findings", "1", "--list", good=False).returncode, 2)

    def test_no_text_becomes_an_option(self):
        y = self.page()
        bad = os.path.join(y.dir, "made-by-the-page")
        for path in ("/api/animal?key=--help", "/api/animal?key=--db%3D/etc/passwd",
                     f"/api/animal?key=-o{bad}", "/api/count?name=--close",
                     "/api/count?name=--db%3D/dev/null", "/api/findings?session=--list",
                     "/api/findings?session=1%20--db", "/api/explain?session=--accept-all",
                     f"/api/statement?from=2026-01-01&to=2026-12-31&count=--output%3D{bad}",
                     f"/api/statement?from=--output%3D{bad}&to=2026-12-31",
                     "/api/sale?session=1&pack=/etc/passwd", "/api/sale?session=1&pack=../x.json",
                     f"/report?session=--output%3D{bad}", "/report?session=-1",
                     "/api/animal?key=%00", "/api/animal?key=a%00b", "/api/animal?key=%ff",
                     "/api/animal?key=%1b%5b2J", "/api/animal", "/api/count",
                     "/api/sale?lot=nobody", "/api/animal?key=$(id)", "/api/animal?key=%60id%60"):
            status, got = self.get(path)
            self.assertEqual((status, got["ok"]), (400, False), path)
            self.assertNotIn("Usage", json.dumps(got), path)
            if "pack=" in path:  # a pack is named; that is no way to a file
                self.assertEqual(got["error"], "pack cannot be that")
        self.assertFalse(os.path.exists(bad))

    def test_more_at_once_than_may_run(self):
        y = self.page()
        done, most = [], [0]

        def one():
            done.append(self.ask("GET", "/api/statement?from=2026-01-01&to=2026-12-31")[0])

        threads = [threading.Thread(target=one) for _ in range(12)]
        for t in threads:
            t.start()
        while any(t.is_alive() for t in threads):
            most[0] = max(most[0], len(self.children(y)))
            time.sleep(0.002)
        self.assertEqual(done, [200] * 12)
        self.assertLessEqual(most[0], 4)
        self.assertGreater(most[0], 0)
        until(lambda: self.children(y) == [])

    def test_who_leaves_takes_the_process_along(self):
        """A register that another program holds makes every look wait."""
        y = self.page()
        fake = self.slow_lugmark(y)
        socks = []
        for _ in range(3):
            s = socket.create_connection(self.at)
            s.sendall(f"GET /api/packs HTTP/1.1\r\nHost: {self.host()}\r\n\r\n".encode())
            socks.append(s)
        until(lambda: len(self.children(y)) == 3)
        for s in socks:
            s.close()
        until(lambda: self.children(y) == [], 5)
        self.assertIsNone(y.process.poll())
        self.assertTrue(os.path.exists(fake))

    def slow_lugmark(self, y, text="exec sleep 600"):
        """A daemon in a folder where `lugmark` is a program that takes its time."""
        folder = os.path.join(y.dir, "bin")
        os.mkdir(folder)
        shutil.copy(DAEMON, folder)
        path = os.path.join(folder, "lugmark")
        with open(path, "w", encoding="ascii") as out:
            out.write(f"#!/bin/sh\n{text}\n")
        os.chmod(path, 0o755)
        y.stop()
        argv = y.argv()
        argv[0] = os.path.join(folder, "lugmarkd")
        y.argv = lambda: argv
        y.start()
        self.at = ("127.0.0.1", int(y.client().ask("status")["page"].rsplit(":", 1)[1][:-1]))
        return path

    def test_too_much_and_too_odd(self):
        y = self.page()
        self.slow_lugmark(y, 'case "$1" in sale-check) yes;; show) kill -9 $$;; '
                             'findings) echo "lugmark: no; to mend: ask again" >&2; exit 3;; '
                             '*) echo 1;; esac')
        status, got = self.get("/api/packs")
        self.assertEqual((status, got["ok"]), (500, False))
        self.assertIn("too long", got["error"])
        status, got = self.get("/api/animal?key=A1")
        self.assertEqual((status, got["ok"]), (500, False))
        self.assertEqual(self.get("/api/sessions"),
                         (400, {"ok": False, "error": "no", "mend": "ask again"}))
        until(lambda: self.children(y) == [], 5)
        self.assertLess(self.memory_kb(y), 400000)


if __name__ == "__main__":
    tap.main()
