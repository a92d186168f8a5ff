"""The daemon at the race against minimal.c: one reading and its verdict, and eight lanes at once."""
import os
import statistics
import subprocess
import time

import own

# An antenna needs 13 ms and more for a code (ISO 11785), so eight give at most so many a second.
PHYSICAL = 8 / 0.013
LANES = 8
COUNT = 20000


def settle(build, env):
    end = time.monotonic() + 120
    while subprocess.run([f"{build}/lugmark", "status"], env=env, stdout=subprocess.DEVNULL,
                         stderr=subprocess.DEVNULL).returncode > 1:
        if time.monotonic() > end:
            raise SystemExit("bench: the daemon does not answer")
        time.sleep(0.05)


def plain(build, base, lanes, tool):
    """minimal.c behind one of the two tools that drive it; what that prints."""
    link, sock = f"{base}/plain", f"{base}/plain.sock"
    names = [f"{link}{i}" for i in range(lanes)] if tool[0] == "flood" else [link]
    with own.running([f"{build}/bench/{tool[0]}", link, sock, *tool[1:]], stdout=subprocess.PIPE,
                     text=True) as driver:
        while not all(os.path.islink(name) for name in names):
            time.sleep(0.02)  # the plain program needs its ports before it starts
        with own.running([f"{build}/bench/minimal", sock, f"{base}/plain.db", *names]):
            text = driver.communicate(timeout=300)[0]
    return [float(x) for x in text.split()]


def ours(build, base, lanes, tool):
    link, conf = f"{base}/ours", f"{base}/conf"
    env = dict(os.environ, LUGMARK_DB=f"{base}/r.db", LUGMARK_SOCKET=f"{base}/s")
    with open(conf, "w", encoding="ascii") as out:
        for i in range(lanes):
            name = f"{link}{i}" if tool[0] == "flood" else link
            out.write(f"[lane {i + 1}]\n[reader r{i}]\nlane = {i + 1}\ndriver = serial\n"
                      f"port = {name}\nline = 115200 8N1\ndecoder = text\n")
    subprocess.run([f"{build}/lugmark", "init"], env=env, stdout=subprocess.DEVNULL,
                   stderr=subprocess.DEVNULL, check=True)
    with own.running([f"{build}/lugmarkd", "--config", conf], env=env, stderr=subprocess.DEVNULL):
        settle(build, env)
        subprocess.run([f"{build}/lugmark", "open", "walk"], env=env, check=True,
                       stdout=subprocess.DEVNULL)
        text = own.say([f"{build}/bench/{tool[0]}", link, f"{base}/s", *tool[1:], '{"do":"watch"}'])
    return [float(x) for x in text.split()]


def by_turns(build, directory, name, rounds, lanes, tool):
    mine, peer = [], []
    for i in range(rounds):
        base = os.path.join(directory, f"{name}{i}")
        os.mkdir(base)
        peer.append(plain(build, base, lanes, tool))
        mine.append(ours(build, base, lanes, tool))
    return mine, peer


def bench(build, directory, row, rounds):
    mine, peer = by_turns(build, directory, "latency", rounds, 1, ["pinger", "2000", "2000"])
    for name, k in (("p50", 0), ("p99", 1)):
        a, b = statistics.median(x[k] for x in mine), statistics.median(x[k] for x in peer)
        row(f"reading to verdict, durable, {name}", f"{a:.0f} us", f"plain program {b:.0f} us",
            a / b, "<= 1.3", a <= 1.3 * b)
    mine, peer = by_turns(build, directory, "lanes", rounds, LANES,
                          ["flood", str(LANES), str(COUNT)])
    a, b = statistics.median(x[0] for x in mine), statistics.median(x[0] for x in peer)
    row("8 lanes, each reading durable, sustained", f"{a:,.0f} /s", f"plain program {b:,.0f} /s",
        a / b, ">= 0.8", a >= 0.8 * b)
    row("", f"{a:,.0f} /s", f"8 antennas at most {PHYSICAL:,.0f} /s", a / PHYSICAL, "> 100",
        a > 100 * PHYSICAL)
