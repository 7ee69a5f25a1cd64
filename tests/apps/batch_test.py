#!/usr/bin/env python3
"""Renders that are left alone: killed, stopped, run again, shared, cut off; what is there afterwards is compared
byte for byte with an undisturbed run. batch_test.py PLATEWRIGHT"""
import json
import os
import re
import shutil
import signal
import subprocess
import time
import unittest

from quay import Quay, moving_outline

FRAMES = 24
SHOT = moving_outline(320, 180, FRAMES) + """out = { kind = "deliver", image = "lit", file = "out/o.####.exr" }
look = { kind = "deliver", image = "lit", file = "look/o.####.png", depth = "16" }
"""


def files(folder):
    """Contents by name; temporary ones too."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


class Batch(Quay):
    def setUp(self):
        super().setUp()
        self.shot(SHOT)

    def delivered(self):
        return {n: b for n, b in files(self.folder).items() if n.startswith(("out/", "look/", "tiff/", "dpx/", "jpeg/"))}

    def undisturbed(self):
        self.run_it()
        whole = self.delivered()
        self.assertEqual(len(whole), 2 * FRAMES)
        return whole

    def empty(self):
        for name in ("out", "look"):
            shutil.rmtree(self.folder / name, ignore_errors=True)

    def test_killed_at_twenty_moments(self):
        whole = self.undisturbed()
        broke_off = 0
        for k in range(20):
            self.empty()
            process = self.start()
            while process.poll() is None and len(list(self.folder.glob("*/[.ol]*"))) < 1 + k * 45 // 20:
                time.sleep(0.002)
            process.kill()
            process.communicate()
            left = self.delivered()
            for name, content in left.items():
                if not name.endswith(".part"):
                    self.assertEqual(content, whole[name], name)
            broke_off += 0 < len(left) < 2 * FRAMES
            self.run_it()
            self.assertEqual(self.delivered(), whole, "the same as undisturbed, and nothing half-written is left")
        self.assertGreaterEqual(broke_off, 8, "too few of the runs were killed while they wrote")

    def test_stopped_by_hand(self):
        whole = self.undisturbed()
        self.empty()
        process = self.start("--threads", "1")
        while not list(self.folder.glob("out/o.*")):
            time.sleep(0.005)
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=60)
        self.assertEqual(process.returncode, 130, out + err)
        left = self.delivered()
        self.assertTrue(0 < len(left) < 2 * FRAMES)
        self.assertTrue(all(whole[n] == b for n, b in left.items()))
        self.assertIn("run it again", out)
        out, _ = self.run_it()
        self.assertIn(f"{2 * FRAMES - len(left)} files of {FRAMES} frames", out)
        self.assertIn(f"; {len(left)} files were there already", out)
        self.assertEqual(self.delivered(), whole)

    def test_only_what_is_missing_or_stale_is_drawn(self):
        whole = self.undisturbed()
        times = {n: os.stat(self.folder / n).st_mtime_ns for n in whole}
        (self.folder / "out/o.0007.exr").unlink()
        for name in ("look/o.0009.png", "out/o.0011.exr"):  # Copied half.
            (self.folder / name).write_bytes(whole[name][:len(whole[name]) * 6 // 10])
        shutil.copyfile(self.folder / "look/o.0012.png", self.folder / "out/o.0012.exr")  # Another format's.
        shutil.copyfile(self.folder / "out/o.0003.exr", self.folder / "out/o.0005.exr")  # Another frame's.
        out, _ = self.run_it()
        self.assertIn(f"5 files of {FRAMES} frames", out)
        self.assertEqual(self.delivered(), whole)
        untouched = [n for n in whole if os.stat(self.folder / n).st_mtime_ns == times[n]]
        self.assertEqual(len(untouched), 2 * FRAMES - 5)
        out, _ = self.run_it("--set", "out.depth=float", "out")
        self.assertIn(f"{FRAMES} files of {FRAMES} frames", out)
        out, _ = self.run_it("--set", "ground.value=[0.1, 0.2, 0.4]")
        self.assertIn(f"{2 * FRAMES} files of {FRAMES} frames", out)
        out, _ = self.run_it("--scale", "0.5")
        self.assertIn(f"{2 * FRAMES} files of {FRAMES} frames", out)
        out, _ = self.run_it()
        self.assertEqual(self.delivered(), whole)
        out, _ = self.run_it("--again")
        self.assertIn(f"{2 * FRAMES} files of {FRAMES} frames", out)
        self.assertEqual(self.delivered(), whole)

    def test_every_format_says_what_it_came_from(self):
        for name, ending in (("tiff", "tif"), ("dpx", "dpx"), ("jpeg", "jpg")):
            (self.folder / f"{name}.toml").write_text(
                SHOT.replace('"out/o.####.exr"', f'"{name}/o.####.{ending}"'))
            self.run_it("out", "--frames", "1-4", shot=f"{name}.toml")
            whole = self.delivered()
            out, _ = self.run_it("out", "--frames", "1-5", shot=f"{name}.toml")
            self.assertRegex(out, r"^1 files of 5 frames .*; 4 files were there already", name)
            self.assertEqual({n: b for n, b in self.delivered().items() if n in whole}, whole)

    def test_chunks_beside_one_another(self):
        whole = self.undisturbed()
        self.empty()
        both = [self.start("--frames", f"1-{FRAMES}"), self.start("--frames", f"1-{FRAMES}"),
                self.start("--frames", f"12-{FRAMES}")]
        for process in both:
            out, err = process.communicate(timeout=120)
            self.assertEqual(process.returncode, 0, out + err)
        self.assertEqual(self.delivered(), whole)

    def test_the_log(self):
        self.run_it("--log", "night.log")
        (self.folder / "out/o.0002.exr").unlink()
        self.run_it("--log", "night.log")
        lines = [json.loads(line) for line in (self.folder / "night.log").read_text().splitlines()]
        outcomes = [(e["node"], e["frame"], e["outcome"]) for e in lines if e["event"] == "file"]
        self.assertEqual(len(outcomes), 4 * FRAMES)
        self.assertEqual(sorted(o[2] for o in outcomes).count("kept"), 2 * FRAMES - 1)
        self.assertEqual(outcomes.count(("out", 2, "written")), 2)
        ends = [e for e in lines if e["event"] == "end"]
        self.assertEqual([(e["written"], e["kept"]) for e in ends], [(2 * FRAMES, 0), (1, 2 * FRAMES - 1)])
        for e in lines:
            self.assertTrue(re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", e["time"]) and e["process"] > 0)

    def broken(self):
        """A shot of a sequence with a hole, one line of which also needs a plane that cannot be measured."""
        (self.folder / "make.toml").write_text(
            'shot = { size = [64, 48], frames = [1, 6] }\nc = { kind = "colour", value = [1, 1, 1] }\n'
            'o = { kind = "deliver", image = "c", file = "in/a.####.png" }\n')
        self.run_it(shot="make.toml")
        (self.folder / "in/a.0003.png").write_bytes(b"")
        (self.folder / "hole.toml").write_text(
            'plate = { kind = "footage", file = "in/a.####.png" }\n'
            'flat = { kind = "plane", image = "plate", region = [[5, 5], [60, 5], [60, 40], [5, 40]], reference = 3 }\n'
            'still = { kind = "still", image = "plate", frames = 1 }\n'
            'moved = { kind = "pin", image = "still", motion = "flat" }\n'
            'a = { kind = "deliver", image = "plate", file = "out/a.####.png" }\n'
            'b = { kind = "deliver", image = "moved", file = "look/b.####.png" }\n')

    def test_a_failed_measure(self):
        self.broken()
        self.run_it(shot="hole.toml", status=2)
        self.assertEqual(self.delivered(), {})
        self.assertFalse((self.folder / "out").exists(), "no empty folder is left")
        out, err = self.run_it("--keep-going", shot="hole.toml", status=1)
        self.assertEqual(sorted(self.delivered()), [f"out/a.000{f}.png" for f in (1, 2, 4, 5, 6)])
        self.assertIn("b is left out: what it leans on could not be measured\n", err)
        self.assertIn("1 of 6 frames failed; see above", out)

    def test_strict(self):
        self.broken()
        out, err = self.run_it("a", "--threads", "1", "--strict", shot="hole.toml", status=1)
        self.assertEqual(sorted(self.delivered()), ["out/a.0001.png", "out/a.0002.png"])
        self.assertIn("in/a.0003.png", err)
        self.assertIn("1 of 6 frames failed; see above\nended at the first problem, because of --strict\n", out)

    def test_strict_minds_what_footage_warns_of(self):
        subprocess.run(["ffmpeg", "-loglevel", "error", "-f", "lavfi", "-i", "testsrc=size=320x180:rate=25:duration=0.4", "-pix_fmt",
                        "yuv420p", str(self.folder / "clip.mp4")], check=True)
        (self.folder / "clip.toml").write_text(
            "shot = { size = [320, 180], frames = [1, 4], rate = 30 }\n"
            'plate = { kind = "footage", file = "clip.mp4" }\n'
            'out = { kind = "deliver", image = "plate", file = "out/o.####.png" }\n')
        _, err = self.run_it("--strict", shot="clip.toml", status=2)
        self.assertIn("plate runs at 25 frames a second and the shot at 30", err)
        self.assertTrue(err.endswith("nothing is drawn, because with --strict a warning ends the run\n"), err)
        self.assertEqual(self.delivered(), {})
        self.run_it(shot="clip.toml")
        self.assertEqual(len(self.delivered()), 4)

    def test_a_plane_goes_on_after_a_broken_frame(self):
        self.broken()
        (self.folder / "hole.toml").write_text((self.folder / "hole.toml").read_text().replace("reference = 3", "reference = 1"))
        self.run_it("b", shot="hole.toml")
        poses = json.loads((self.folder / "hole.measured/flat.json").read_text())["frames"]
        self.assertEqual([p["frame"] for p in poses if p["status"] == "lost" and p["reason"] == "the frame could not be read"], [3])

    def test_no_log(self):
        before = (self.folder / "quay.toml").read_bytes()
        _, err = self.run_it("--log", "quay.toml", status=2)
        self.assertEqual(err, "--log quay.toml: this file is no log; name a new file\n")
        self.assertEqual((self.folder / "quay.toml").read_bytes(), before)

    def test_a_closed_log(self):
        _, err = self.run_it("--log", "nowhere/night.log", status=2)
        self.assertEqual(err, "--log nowhere/night.log: the log cannot be written (No such file or directory); name a "
                              "file in a folder that is there and open\n")
        self.assertEqual(self.delivered(), {})


if __name__ == "__main__":
    unittest.main()
