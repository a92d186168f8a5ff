"""A browser's side of the page server, on bare sockets: what is sent is what the test wrote."""
import http.client
import json
import re
import socket

from yard import WAIT, DaemonTest, REGISTER

JSON = {"Content-Type": "application/json"}


class Stream:
    """Server-sent events as a browser reads them, with the last id."""

    def __init__(self, address, path="/events", last_id=None, headers=""):
        self.socket = socket.create_connection(address, timeout=WAIT)
        if last_id is not None:
            headers += f"Last-Event-ID: {last_id}\r\n"
        self.socket.sendall(f"GET {path} HTTP/1.1\r\nHost: {address[0]}:{address[1]}\r\n"
                            f"{headers}\r\n".encode())
        self.buffer = b""
        self.last_id = last_id
        self.head = self.until(b"\r\n\r\n").decode()
        self.status = int(self.head.split(" ")[1])

    def until(self, mark):
        while mark not in self.buffer:
            got = self.socket.recv(65536)
            if not got:
                raise EOFError("the stream ended")
            self.buffer += got
        part, self.buffer = self.buffer.split(mark, 1)
        return part

    def message(self):
        """The next message: (id or None, object)."""
        place, data = None, None
        for line in self.until(b"\n\n").decode().split("\n"):
            if line.startswith("id: "):
                place = self.last_id = int(line[4:])
            elif line.startswith("data: "):
                data = json.loads(line[6:])
        return place, data

    def event(self, kind):
        while True:
            place, data = self.message()
            if data["event"] == kind:
                return place, data

    def close(self):
        self.socket.close()


class PageTest(DaemonTest):
    def page(self, register=REGISTER, listen="127.0.0.1:0", config="", **more):
        y = self.yard(register, config=f"[page]\nlisten = {listen}\n{config}", **more)
        found = re.search(r"http://([0-9.]+):(\d+)/", y.said())
        self.at = (found.group(1), int(found.group(2)))
        return y

    def stream(self, path="/events", **more):
        s = Stream(self.at, path, **more)
        self.addCleanup(s.close)
        return s

    def ask(self, method, path, body=None, headers=None, at=None):
        """(status, headers, body) of one request on a connection of its own."""
        c = http.client.HTTPConnection(*(at or self.at), timeout=WAIT)
        try:
            c.request(method, path, body, headers or {})
            r = c.getresponse()
            return r.status, dict(r.getheaders()), r.read()
        finally:
            c.close()

    def get(self, path, **more):
        status, _, body = self.ask("GET", path, **more)
        return status, json.loads(body)

    def do(self, verb, headers=None, **more):
        status, _, body = self.ask("POST", "/do", json.dumps(dict(more, do=verb)),
                                   dict(JSON, **(headers or {})))
        return status, json.loads(body)

    def raw(self, data, wait=WAIT):
        """Send bytes, read to the end of the connection."""
        with socket.create_connection(self.at, timeout=wait) as s:
            s.sendall(data)
            got = b""
            while True:
                try:
                    more = s.recv(65536)
                except ConnectionResetError:
                    return got
                if not more:
                    return got
                got += more

    def host(self):
        return f"{self.at[0]}:{self.at[1]}"

    def memory_kb(self, y):
        with open(f"/proc/{y.process.pid}/status", encoding="ascii") as f:
            return int(re.search(r"VmRSS:\s+(\d+)", f.read()).group(1))

    def cpu_s(self, y):
        with open(f"/proc/{y.process.pid}/stat", encoding="ascii") as f:
            fields = f.read().rsplit(")", 1)[1].split()
        return (int(fields[11]) + int(fields[12])) / 100

    def children(self, y):
        with open(f"/proc/{y.process.pid}/task/{y.process.pid}/children", encoding="ascii") as f:
            return f.read().split()


