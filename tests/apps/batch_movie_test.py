#!/usr/bin/env python3
"""Movies that are killed, shared, or run out of room while they are written. batch_movie_test.py PLATEWRIGHT"""
import os
import resource
import shutil
import subprocess
import time
import unittest

from quay import PROGRAM, Quay, moving_outline

FRAMES = 12
HEAD = moving_outline(256, 144, FRAMES)
EDIT = 'edit = { kind = "deliver", image = "lit", file = "out/o.mov" }\n'  # ProRes
LOOK = 'look = { kind = "deliver", image = "lit", file = "out/o.mp4" }\n'  # H.264
NAMES = ["o.mov", "o.mp4"]
NO_ROOM = "there is no room left to write the file; free some disk space and run again\n"
NO_LONGER = "the file is larger than the system lets a file grow; raise the limit (ulimit -f)\n"


class Movies(Quay):
    def setUp(self):
        super().setUp()
        self.out = self.folder / "out"
        self.shot(HEAD + EDIT + LOOK)

    def there(self):
        """Contents by name; half-written files too."""
        return {p.name: p.read_bytes() for p in sorted(self.out.glob("*"))} if self.out.exists() else {}

    def undisturbed(self):
        self.run_it()
        whole = self.there()
        self.assertEqual(sorted(whole), NAMES)
        return whole

    def test_says_only_its_own(self):
        _, err = self.run_it()
        self.assertRegex(err, r"^shape: measured in [0-9.]+ s\n$")

    def test_killed_at_twenty_moments(self):
        whole = self.undisturbed()
        shutil.rmtree(self.out)
        begun = time.monotonic()
        process = self.start("--again")
        while not self.there():
            time.sleep(0.001)
        opened = time.monotonic()
        process.communicate(timeout=120)
        lasts = time.monotonic() - opened
        broke_off = 0
        for k in range(20):
            shutil.rmtree(self.out)
            process = self.start()
            while process.poll() is None and not self.there():
                time.sleep(0.001)
            time.sleep(lasts * k / 20)
            process.kill()
            process.communicate()
            left = self.there()
            for name, content in left.items():
                if not name.endswith(".part"):
                    self.assertEqual(content, whole[name], name)
            broke_off += sorted(left) != NAMES
            self.run_it()
            self.assertEqual(self.there(), whole, "the same as undisturbed, and nothing half-written is left")
        self.assertGreaterEqual(broke_off, 8, "too few of the runs were killed while they wrote")

    def test_killed_over_an_older_movie(self):
        whole = self.undisturbed()
        older = {n: b"older" for n in NAMES}
        for name, content in older.items():
            (self.out / name).write_bytes(content)
        process = self.start()
        while process.poll() is None and len(self.there()) < 4:
            time.sleep(0.001)
        process.kill()
        process.communicate()
        left = self.there()
        self.assertEqual({n: left[n] for n in NAMES}, older, "what was there stays until the new one is whole")
        self.run_it()
        self.assertEqual(self.there(), whole)

    def test_two_at_once(self):
        whole = self.undisturbed()
        shutil.rmtree(self.out)
        for _ in range(2):
            both = [self.start("--again"), self.start("--again")]
            for process in both:
                out, err = process.communicate(timeout=120)
                self.assertEqual(process.returncode, 0, out + err)
            self.assertEqual(self.there(), whole)

    def test_a_file_that_may_not_grow(self):
        whole = self.undisturbed()
        for name, node in (("o.mov", EDIT), ("o.mp4", LOOK)):
            size = len(whole[name])
            self.shot(HEAD + node)
            for most, older in ((100, False), (size // 2, True), (size - 1, False)):  # At its head, on the way, at its end.
                shutil.rmtree(self.out, ignore_errors=True)
                if older:
                    self.out.mkdir()
                    (self.out / name).write_bytes(b"older")
                limit = lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))
                out, err = self.run_it(status=1, preexec_fn=limit)
                self.assertTrue(err.endswith(f"out/{name}: {NO_LONGER}"), err)
                self.assertEqual(err.count("\n"), 2, err)
                self.assertIn(f"0 files of {FRAMES} frames", out)
                self.assertEqual(self.there(), {name: b"older"} if older else {})
                self.assertEqual(self.out.exists(), older, "no empty folder is left")
            self.run_it()
            self.assertEqual(self.there(), {name: whole[name]})

    def mounted(self, options, command):
        """The program's words and status with a small disk of its own at out/; skips where none may be mounted."""
        self.out.mkdir(exist_ok=True)
        mount = f"mount -t tmpfs -o {options} tmpfs out"
        probe = subprocess.run(["unshare", "-m", "sh", "-c", mount], cwd=self.folder, capture_output=True, text=True)
        if probe.returncode != 0:
            self.skipTest(f"left out: no disk can be mounted here ({probe.stderr.strip()})")
        script = f'{mount} && {command}; status=$?; ls -A out >&3; exit $status'
        read, write = os.pipe()
        done = subprocess.run(["unshare", "-m", "sh", "-c", f"exec 3>&{write}; {script}", PROGRAM], cwd=self.folder,
                              capture_output=True, text=True, pass_fds=[write], timeout=120)
        os.close(write)
        with os.fdopen(read) as left:
            return done, left.read().split()

    def test_a_full_disk(self):
        sizes = {n: len(b) for n, b in self.undisturbed().items()}
        self.assertGreater(sizes["o.mov"], 24000)
        shutil.rmtree(self.out)
        done, left = self.mounted("size=20k", '"$0" render quay.toml')  # Room for the mp4 alone.
        self.assertEqual(done.returncode, 1, done.stderr)
        self.assertTrue(done.stderr.endswith(f"out/o.mov: {NO_ROOM}"), done.stderr)
        self.assertIn(f"1 files of {FRAMES} frames", done.stdout)
        self.assertEqual(left, ["o.mp4"])

    def test_a_read_only_disk(self):
        done, left = self.mounted("size=1m,ro", '"$0" render quay.toml')
        self.assertEqual(done.returncode, 2, done.stderr)
        self.assertEqual(done.stderr, "".join(
            f"quay.toml:{line}:50: the folder out is on a read-only file system; choose another\n" for line in (6, 7)))
        self.assertEqual(left, [])

    def test_a_file_where_the_folder_should_be(self):
        self.out.write_text("no folder")
        _, err = self.run_it(status=2)
        self.assertEqual(err, "".join(
            f"quay.toml:{line}:50: the folder out cannot be made (Not a directory); a file has its name: deliver "
            "elsewhere\n" for line in (6, 7)))
        self.assertEqual(self.out.read_text(), "no folder")

    def test_a_closed_folder(self):
        other = ["setpriv", "--reuid=65534", "--clear-groups"] if os.geteuid() == 0 else []  # Root may write everywhere.
        if other and (not shutil.which("setpriv") or subprocess.run([*other, "test", "-x", PROGRAM]).returncode):
            self.skipTest("left out: there is no other user here who may run the program")
        self.folder.chmod(0o777)
        self.out.mkdir()
        self.out.chmod(0o555)
        _, err = self.run_it(status=2, before=other)
        self.assertEqual(err, "".join(
            f"quay.toml:{line}:50: the folder out may not be written to; change its permissions or choose another\n"
            for line in (6, 7)))
        self.assertEqual(self.there(), {})


if __name__ == "__main__":
    unittest.main(verbosity=2)
