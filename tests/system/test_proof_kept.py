"""The short forms of `make torture`: kills under load, backups while a session runs, flipped bytes
as a keeper meets them, and a register brought back from its backup."""
import os
import subprocess
import sys

import tap
from yard import DaemonTest, code

HERE = os.path.dirname(os.path.abspath(__file__))


class Kills(DaemonTest):
    def test_twenty_kills_under_load(self):
        done = subprocess.run([sys.executable, os.path.join(HERE, "../torture/kill.py"), "20"],
                              capture_output=True, text=True, timeout=300, check=False)
        self.assertEqual(done.returncode, 0, done.stdout + done.stderr)
        self.assertRegex(done.stdout, r"20 kills .* acknowledged and there once: [1-9]")


class Backups(DaemonTest):
    def running(self):
        y = self.yard()
        c = y.client(watch=True)
        c.ask("open", kind="walk", mob="does")
        return y, c

    def test_backups_while_a_session_runs(self):
        """Each is sound, holds all that was told when it began, and nothing is held up by it."""
        y, c = self.running()
        told, copies = 0, []
        for n in range(6):
            y.ports["front"].read(*[code(1 + i % 40) for i in range(200)])
            for _ in range(100):
                told = c.event("verdict")["seq"]
            path = os.path.join(y.dir, f"copy{n}.db")
            y.lugmark("backup", path)
            copies.append((path, told))
            for _ in range(100):
                c.event("verdict")
        self.assertTrue(c.ask("close")["ok"])
        live = y.db
        for path, seq in copies:
            y.db = path
            self.assertEqual(y.lugmark("verify").returncode, 0)
            kept = [r[0] for r in y.rows("SELECT seq FROM event ORDER BY seq")]
            self.assertEqual(kept, list(range(1, len(kept) + 1)))
            self.assertGreaterEqual(len(kept), seq)
        y.db = live
        self.assertEqual(y.rows("SELECT count(*) FROM event WHERE kind = 0"), [(1200,)])

    def test_restored_it_goes_on_where_the_backup_was_made(self):
        y, c = self.running()
        y.ports["front"].read(*[code(n) for n in range(1, 11)])
        for _ in range(10):
            c.event("verdict")
        copy = os.path.join(y.dir, "copy.db")
        y.lugmark("backup", copy)
        before = c.ask("findings")["findings"]
        y.ports["front"].read(code(11))
        c.event("verdict")
        y.kill()
        for tail in ("", "-wal", "-shm"):
            os.unlink(y.db + tail)                       # the disk is gone
        os.rename(copy, y.db)
        y.start()
        c = y.client(watch=True)
        self.assertEqual(c.ask("findings")["findings"], before)
        y.ports["front"].read(code(12))
        self.assertEqual(c.event("verdict")["animal"], "A12")
        self.assertEqual(c.ask("close")["tally"]["identified"], 11)
        self.assertEqual(y.lugmark("verify").returncode, 0)


class Flipped(DaemonTest):
    def flip(self, path, at):
        with open(path, "r+b") as f:
            f.seek(at)
            byte = f.read(1)[0] ^ 4
            f.seek(at)
            f.write(bytes([byte]))

    def refuses(self, y, part):
        done = y.lugmark("verify", good=False)
        self.assertEqual(done.returncode, 4, done.stdout + done.stderr)
        self.assertIn(part, done.stderr)
        self.assertIn("to mend: keep a copy", done.stderr)
        self.assertIn("backup", done.stdout)

    def test_a_breed_and_a_readers_name(self):
        """Texts that no index and no rule of the tables knows."""
        register = "animal,breed,eid\n" + "".join(
            f"A{n},Saanenish{n:03d},{code(n)}\n" for n in range(1, 60))
        y = self.yard(register=register, start=False)
        with open(y.db, "rb") as f:
            at = f.read().index(b"Saanenish033")
        self.flip(y.db, at + 2)
        self.refuses(y, "checksum")
        copy = os.path.join(y.dir, "copy.db")
        y.lugmark("backup", copy)                        # a copy of damage stays known as damage
        self.assertEqual(y.lugmark("verify", good=False).returncode, 4)
        y.db = copy
        self.refuses(y, "checksum")
        y.replays = False

    def test_damage_is_not_signed_as_sound_when_the_page_is_written_again(self):
        register = "animal,breed,eid\n" + "".join(
            f"A{n},Saanenish{n:03d},{code(n)}\n" for n in range(1, 60))
        y = self.yard(register=register, start=False)
        with open(y.db, "rb") as f:
            at = f.read().index(b"Saanenish033")
        self.flip(y.db, at + 2)
        for n in (32, 33, 34):
            y.lugmark("edit", f"A{n}", "--breed", "boer")
        self.refuses(y, "checksum")
        y.replays = False

    def test_in_the_file_beside_it(self):
        y = self.yard()
        c = y.client()
        self.assertTrue(c.ask("open", kind="walk")["ok"])
        for n in range(12):
            self.assertTrue(c.ask("head", n=n)["ok"])
        y.kill()
        y.replays = False
        self.flip(y.db + "-wal", 32 + 24 + 2000)
        os.unlink(y.db + "-shm")
        self.refuses(y, "later ones cannot be read")


if __name__ == "__main__":
    tap.main()
