"""A daemon and its pseudo-terminal readers for tests in a browser: one JSON request a line, one answer.

{"make":{"register":"csv","readers":["front"]}} then {"read":[...]}, {"bytes":"..."}, {"signal":"STOP"},
{"kill":true}, {"start":true}, {"unplug":"front"}, {"plug":"front"}, {"lugmark":[...]}, {"close":true}.
"""
import json
import os
import signal
import socket
import sys
import time
import traceback

TESTS = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
os.environ["LUGMARK_PACKS"] = os.path.join(os.path.dirname(TESTS), "src", "cli", "packs")
sys.path.insert(0, os.path.join(TESTS, "system"))
import yard  # noqa: E402


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Host:
    def __init__(self):
        self.yard = None
        self.port = free_port()

    def make(self, wanted):
        config = f"[page]\nlisten = 127.0.0.1:{self.port}\n" + wanted.get("config", "")
        self.yard = yard.Yard(wanted.get("register", yard.REGISTER),
                              readers=tuple(wanted.get("readers", ["front"])), config=config)
        self.yard.replays = False  # the system tests do that; here the page is looked at
        for args in wanted.get("before", []):
            self.yard.lugmark(*args)
        return {"port": self.port, **self.start(True)}

    def bytes(self, text, reader="front"):
        """Write what a reader would. The answer says when: seconds of the wall clock."""
        at = time.time()
        self.yard.ports[reader].write(text.encode("utf-8", "surrogatepass"))
        return {"at": at}

    def read(self, codes, reader="front"):
        return self.bytes("".join(code + "\r\n" for code in codes), reader)

    def signal(self, name):
        self.yard.process.send_signal(getattr(signal, "SIG" + name))
        return {}

    def kill(self, _):
        self.yard.kill()
        return {}

    def start(self, _):
        self.yard.start()
        return {"pid": self.yard.process.pid}

    def unplug(self, reader):
        self.yard.ports[reader].unplug()
        return {}

    def plug(self, reader):
        self.yard.ports[reader].plug()
        self.yard.until_live([reader])
        return {}

    def lugmark(self, args):
        done = self.yard.lugmark(*args, good=False)
        return {"code": done.returncode, "out": done.stdout, "err": done.stderr}

    def ask(self, request):
        return self.yard.client().ask(request.pop("do"), **request)

    def close(self, _):
        made, self.yard = self.yard, None
        if made is not None:
            if made.process is not None and made.process.poll() is None:
                made.process.send_signal(signal.SIGCONT)  # a test that failed left it stopped
            made.close()
        return {}


def main():
    host = Host()
    try:
        for line in sys.stdin:
            request = json.loads(line)
            more = {"reader": request.pop("reader")} if "reader" in request else {}
            (verb, value), = request.items()
            try:
                answer = {"ok": True, **getattr(host, verb)(value, **more)}
            except Exception:  # the test that asked must hear of it
                answer = {"ok": False, "error": traceback.format_exc()}
            print(json.dumps(answer), flush=True)
    finally:
        host.close(True)


if __name__ == "__main__":
    main()
