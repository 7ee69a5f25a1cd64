#!/usr/bin/python3
"""The yard, end to end: what a camera saw, rebuilt with the built command and compared with the known answer.

  yard_test.py PLATEWRIGHT WORK_FOLDER

Optional: it needs a folder with yard.mp4, yard/truth.json and yard/empty.png, named by PW_FOOTAGE or lying at
../shared/footage beside the repository; where there is none it says so and leaves with status 77 (left out).
fixtures/yard.toml is rendered from the movie itself, the movie's frames alone beside it, and only then the answer is
opened. Figures are printed as lines "BAR name value"; what must hold whatever the figures are is asserted.
"""
import json
import os
import pathlib
import re
import shutil
import subprocess
import sys
import time

LEFT_OUT = 77
REPOSITORY = pathlib.Path(__file__).resolve().parents[2]

# Of frame 1, in pixels from the picture's outer corner: the part of the floor the dog runs over, and two pillars with
# texture that nothing ever covers.
FLOOR = [(340, 539), (470, 330), (650, 165), (959, 165), (959, 539)]
PILLARS = [(480, 60), (640, 60), (640, 150), (480, 150)]
FEWEST_PIXELS = 4000  # A frame that shows less of a part is not judged by it.

# The clip's frames with nothing done to them; the hole as a picture, 16 bit so that even its faintest edge is seen.
# Added to the copy that is rendered.
SHOW = """
plate_out = { kind = "deliver", image = "plate", file = "clip/yard.####.png", encoding = "srgb" }
black = { kind = "colour", value = [0, 0, 0] }
white = { kind = "colour", value = [1, 1, 1] }
hole_seen = { kind = "layer", back = "black", front = "white", mask = "hole" }
hole_out = { kind = "deliver", image = "hole_seen", file = "hole/yard.####.png", encoding = "linear", depth = "16" }
"""


def leave_out(why):
    print(f"yard: left out, {why}")
    sys.exit(LEFT_OUT)


def footage_folder():
    named = os.environ.get("PW_FOOTAGE")
    folder = pathlib.Path(named) if named else REPOSITORY.parent / "shared" / "footage"
    if not (folder / "yard.mp4").is_file():
        leave_out(f"no footage at {folder} (PW_FOOTAGE names another folder)")
    return folder


def prepare(work, clip):
    shutil.rmtree(work, ignore_errors=True)
    shutil.copytree(REPOSITORY / "fixtures" / "yard", work / "yard")
    # Inline nodes stand above the first [table].
    lines = (REPOSITORY / "fixtures" / "yard.toml").read_text().splitlines(keepends=True)
    first = next(i for i, line in enumerate(lines) if line.startswith("["))
    (work / "yard.toml").write_text("".join(lines[:first]) + SHOW + "".join(lines[first:]))
    shutil.copy(clip, work)


def run(*command):
    started = time.monotonic()
    done = subprocess.run([str(c) for c in command], capture_output=True, text=True)
    print(f"$ {' '.join(pathlib.Path(str(c)).name for c in command)}  ({time.monotonic() - started:.1f} s)")
    print(done.stdout + done.stderr, end="", flush=True)
    if done.returncode != 0:
        sys.exit(f"yard: the command ended with status {done.returncode}")


def drawn_keys(svg):
    """What a person drew: every outline on every keyed frame, and every "gone from here"."""
    return re.findall(r'id="([a-z]+)-(\d+)"', re.sub(r'id="frame-\d+"', "", svg.read_text()))


class Answer:
    """The known answer, and what the pictures are compared with."""

    def __init__(self, folder, frames):
        truth = json.loads((folder / "truth.json").read_text())
        self.size = tuple(truth["size"])
        self.region = np.array(truth["region"], float)
        self.empty = cv2.imread(str(folder / "empty.png")).astype(np.float32)
        self.frame_from_first = {int(n): np.array(h) for n, h in truth["frames"].items()}
        self.frames = frames

    def centred(self, n):
        """frame_from_first for positions counted from the centre of the first pixel, as OpenCV does."""
        half = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1]])
        return np.linalg.inv(half) @ self.frame_from_first[n] @ half

    def part(self, corners, n):
        moved = cv2.perspectiveTransform(np.array([corners], float), self.centred(n))[0]
        filled = np.zeros(self.size[::-1], np.uint8)
        cv2.fillPoly(filled, [np.round(moved).astype(np.int32)], 1)
        return filled.astype(bool)

    def dog(self, n, frame):
        """Where the clip is not the empty floor; the same with a margin; and the empty floor, as frame n sees it."""
        to_frame = self.centred(n)
        floor = cv2.warpPerspective(self.empty, to_frame, self.size, flags=cv2.INTER_CUBIC)
        known = cv2.warpPerspective(np.ones(self.size[::-1], np.float32), to_frame, self.size) > 0.999
        judged = known & self.part(FLOOR, n)
        differs = cv2.GaussianBlur(np.abs(frame - floor).max(axis=2), (0, 0), 3) > 14
        solid = cv2.morphologyEx((differs & judged).astype(np.uint8), cv2.MORPH_OPEN, np.ones((9, 9), np.uint8))
        wide = cv2.dilate(solid, np.ones((15, 15), np.uint8)).astype(bool) & judged
        return solid.astype(bool), wide, floor


def psnr(a, b, where):
    error = np.mean(np.square(a[where] - b[where], dtype=np.float64))
    return min(99.0, 10 * np.log10(255**2 / max(error, 1e-9)))


def read(pattern, n, flags=None):
    picture = cv2.imread(str(pattern) % n, cv2.IMREAD_COLOR if flags is None else flags)
    assert picture is not None, f"{str(pattern) % n} was not delivered"
    return picture


def judge_pictures(answer, work, drawn):
    """Figures by frame. floor and pillars: PSNR of the whole pinned still in code values, under the dog against the
    empty floor and on the pillars against the clip. changed: pixels outside the hole that are not the clip's. bare:
    pixels of the dog outside the hole. stray: pixels of the hole far from what was drawn, on keyed frames."""
    floor, pillars, changed, bare, stray = {}, {}, {}, {}, {}
    for n in answer.frames:
        clip, out = read(work / "clip/yard.%04d.png", n), read(work / "out/yard.%04d.png", n)
        clean = read(work / "clean/yard.%04d.png", n).astype(np.float32)
        hole = read(work / "hole/yard.%04d.png", n, cv2.IMREAD_UNCHANGED)
        assert out.shape == clip.shape and out.dtype == clip.dtype and hole.dtype == np.uint16
        hole = hole if hole.ndim == 2 else hole[..., :3].max(axis=2)
        frame = clip.astype(np.float32)
        dog, around, empty = answer.dog(n, frame)
        texture = answer.part(PILLARS, n)
        if around.sum() >= FEWEST_PIXELS:
            floor[n] = psnr(clean, empty, around)
        if texture.sum() >= FEWEST_PIXELS:
            pillars[n] = psnr(clean, frame, texture)
        changed[n] = int((out != clip).any(axis=2)[hole == 0].sum())
        bare[n] = int((dog & (hole < 60000)).sum())
        if n in drawn:
            shape = np.zeros(hole.shape, np.uint8)
            cv2.fillPoly(shape, [drawn[n]], 1)
            stray[n] = int((hole[cv2.dilate(shape, np.ones((41, 41), np.uint8)) == 0] != 0).sum())
    return floor, pillars, changed, bare, stray


def judge_motion(answer, track):
    """RMS error of the region's corners, frame by frame, counted from the answer's own reference frame."""
    poses = {f["frame"]: f for f in track["frames"]}
    ref_from_first = np.linalg.inv(np.array(poses[1]["frame_from_ref"]))
    errors = {}
    for n in answer.frames:
        if n == 1:
            continue
        assert poses[n]["status"] != "lost", f"the motion is lost at frame {n}"
        measured = np.array(poses[n]["frame_from_ref"]) @ ref_from_first
        there = cv2.perspectiveTransform(answer.region[None], measured)[0]
        true = cv2.perspectiveTransform(answer.region[None], answer.frame_from_first[n])[0]
        errors[n] = float(np.sqrt(((there - true) ** 2).sum(axis=1).mean()))
    return errors


def outline_polygons(svg, name):
    polygons = {}
    for n, path in re.findall(rf'id="{name}-(\d+)" d="([^"]*)"', svg.read_text()):
        numbers = [float(v) for v in re.findall(r"-?\d+(?:\.\d+)?", path)]
        polygons[int(n)] = np.round(np.reshape(numbers, (-1, 2))).astype(np.int32)
    return polygons


def main(platewright, work):
    footage = footage_folder()
    prepare(work, footage / "yard.mp4")
    run(platewright, "render", work / "yard.toml")
    frames = sorted(int(f.stem.split(".")[1]) for f in (work / "clip").glob("yard.*.png"))
    run(platewright, "measure", work / "yard.toml", "ground", "--out", work / "ground.json")

    svg = work / "yard" / "outlines.svg"
    keys = drawn_keys(svg)
    answer = Answer(footage / "yard", frames)
    floor, pillars, changed, bare, stray = judge_pictures(answer, work, outline_polygons(svg, "dog"))
    motion = judge_motion(answer, json.loads((work / "ground.json").read_text()))

    for name, unit, values, worst in (("floor", "dB", floor, min), ("pillars", "dB", pillars, min),
                                      ("motion", "px", motion, max)):
        at = worst(values, key=values.get)
        print(f"{name}: {len(values)} frames, median {np.median(list(values.values())):.3f} {unit}, "
              f"worst {values[at]:.3f} {unit} at frame {at}")
    print(f"dog outside the hole: {sum(bare.values())} pixels, most at frame {max(bare, key=bare.get)}")
    bars = {
        "floor.median_db": np.median(list(floor.values())),
        "floor.worst_db": min(floor.values()),
        "pillars.median_db": np.median(list(pillars.values())),
        "pillars.worst_db": min(pillars.values()),
        "motion.rms_px": float(np.sqrt(np.mean(np.square(list(motion.values()))))),
        "motion.worst_px": max(motion.values()),
        "outside.differing_pixels": sum(changed.values()),
        "outline.keys": len(keys),
    }
    for name, value in bars.items():
        print(f"BAR yard.{name} {value:.6g}")
    assert len(frames) == 96 and len(floor) >= 40 and len(pillars) == 96, "not every frame was judged"
    assert not any(changed.values()), "pixels outside the hole have other code values than the clip"
    assert not any(stray.values()), f"the hole reaches far beyond what was drawn: {stray}"
    assert not any(bare.values()), f"the dog looks out of the hole: {bare}"


if __name__ == "__main__":
    if len(sys.argv) != 3:
        sys.exit(__doc__)
    try:
        import cv2
        import numpy as np
    except ImportError as missing:
        leave_out(f"{missing.name} is not installed for {sys.executable}")
    cv2.setNumThreads(2)
    main(pathlib.Path(sys.argv[1]).resolve(), pathlib.Path(sys.argv[2]).resolve())
