"""A PN532 module on a pseudo-terminal: the serial frames that libnfc exchanges with one.

Frames: 00 00 FF LEN LCS D4 CMD ... DCS 00, each answered by 00 00 FF 00 FF 00 and then by a frame
with D5 CMD+1. Anticollision and field timing are not modelled; halting is: a tag that was deselected
answers again only after the field was off.
"""
import os
import select
import threading
import time
import tty

ACK = bytes.fromhex("0000ff00ff00")
READ = 0x30


def ndef_tag(uid, data, sak=0, size=144):
    """A Type 2 tag: its UID and what stands from page 4 on, both in hex or bytes."""
    uid = bytes.fromhex(uid) if isinstance(uid, str) else uid
    data = bytes.fromhex(data) if isinstance(data, str) else data
    head = (uid + bytes(9))[:3] + b"\x00" + (uid[3:] + bytes(9))[:8] + bytes([0xE1, 0x10, size // 8, 0])
    return Tag(uid, head + data + bytes(size - len(data)), sak)


def tlv(message):
    message = bytes.fromhex(message) if isinstance(message, str) else message
    head = bytes([len(message)]) if len(message) < 255 else b"\xff" + len(message).to_bytes(2, "big")
    return b"\x03" + head + message + b"\xfe"


class Tag:
    def __init__(self, uid, memory=bytes(64), sak=0):
        self.uid = bytes.fromhex(uid) if isinstance(uid, str) else uid
        self.memory = memory
        self.sak = sak
        self.halted = False

    def target(self):
        atqa = b"\x00\x44" if len(self.uid) > 4 else b"\x00\x04"
        return atqa + bytes([self.sak, len(self.uid)]) + self.uid


class Module:
    """The module, with tags that tests put in front of it and faults that tests plant."""

    def __init__(self, link):
        self.link = link
        self.tags = []
        self.lock = threading.Lock()
        self.master = self.slave = self.thread = None
        self.stopping = False
        self.selected = None
        self.reads = 0          # READ commands answered
        self.commands = 0
        self.quiet = False      # answers nothing at all
        self.faults = []        # what to do with the next answers: bad-checksum, no-ack, junk, drip
        self.status = None      # status byte of InDataExchange, where it is not 0
        self.torn_after = None  # the tag leaves after so many READs
        self.plug()

    # --- the cable ---

    def plug(self):
        self.master, self.slave = os.openpty()
        tty.setraw(self.slave)
        os.symlink(os.ttyname(self.slave), self.link + ".new")
        os.rename(self.link + ".new", self.link)
        self.stopping = False
        self.thread = threading.Thread(target=self._serve, args=(self.master,), daemon=True)
        self.thread.start()

    def unplug(self):
        os.unlink(self.link)
        self._stop()

    def _stop(self):
        self.stopping = True
        self.thread.join()
        os.close(self.slave)
        os.close(self.master)
        self.master = self.slave = None

    def close(self):
        if self.master is not None:
            self._stop()

    # --- what tests do ---

    def put(self, *tags):
        with self.lock:
            for tag in tags:
                tag.halted = False
            self.tags = list(tags)
            self.selected = None

    def take_away(self):
        self.put()

    # --- frames ---

    def _serve(self, master):
        buffer = b""
        while not self.stopping:
            ready, _, _ = select.select([master], [], [], 0.02)
            if not ready:
                continue
            try:
                buffer += os.read(master, 4096)
            except OSError:
                time.sleep(0.02)
                continue
            buffer = self._frames(master, buffer)

    def _frames(self, master, buffer):
        while True:
            start = buffer.find(b"\x00\x00\xff")
            if start < 0:
                return buffer[-2:]
            buffer = buffer[start:]
            if len(buffer) < 6:
                return buffer
            length = buffer[3]
            if buffer[:6] == ACK:
                buffer = buffer[6:]
                continue
            if len(buffer) < 7 + length:
                return buffer
            body, buffer = buffer[5:5 + length], buffer[7 + length:]
            self._answer(master, body[1], body[2:])

    def _answer(self, master, command, data):
        with self.lock:
            self.commands += 1
            if self.quiet:
                return
            fault = self.faults.pop(0) if self.faults else None
            reply = bytes([0xD5, command + 1]) + self._reply(command, data)
        check = -sum(reply) & 0xFF
        if fault == "bad-checksum":
            check ^= 0x55
        frame = (b"\x00\x00\xff" + bytes([len(reply), -len(reply) & 0xFF]) + reply
                 + bytes([check, 0]))
        if fault == "junk":
            frame = bytes(range(40))
        if fault == "drip":
            os.write(master, ACK)
            self._drip(master, b"\x00\x00\xff\xff\x01" + reply[:2] + bytes(255))
            return
        os.write(master, (b"" if fault == "no-ack" else ACK) + frame)

    def _drip(self, master, frame):
        """A frame so slow that waiting for its bytes one by one goes on and on."""
        for byte in frame:
            if self.stopping:
                return
            os.write(master, bytes([byte]))
            time.sleep(0.2)

    # --- commands ---

    def _reply(self, command, data):
        if command == 0x00:
            return data
        if command == 0x02:
            return bytes.fromhex("32010607")
        if command == 0x06:
            return bytes(len(data) // 2)
        if command == 0x32 and data[0] == 1 and not data[1] & 1:
            for tag in self.tags:
                tag.halted = False
            self.selected = None
        if command == 0x4A:
            return self._list()
        if command == 0x40:
            return self._exchange(data[1:])
        if command in (0x44, 0x52):
            if self.selected is not None:
                self.selected.halted = True
            self.selected = None
            return b"\x00"
        return b""

    def _list(self):
        for tag in self.tags:
            if not tag.halted and tag is not self.selected:
                self.selected = tag
                return b"\x01\x01" + tag.target()
        return b"\x00"

    def _exchange(self, data):
        tag = self.selected
        if self.status is not None:
            return bytes([self.status])
        if tag is None or tag not in self.tags:
            return b"\x01"
        if data[0] != READ or not tag.memory:
            return b"\x13"
        if self.torn_after is not None and self.reads >= self.torn_after:
            self.tags.remove(tag)
            self.torn_after = None
            return b"\x01"
        self.reads += 1
        at = data[1] * 4 % len(tag.memory)
        return b"\x00" + (tag.memory + tag.memory)[at:at + 16]
