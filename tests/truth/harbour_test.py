#!/usr/bin/env python3
"""The demo shot against exact truth: harbour_test.py PLATEWRIGHT STEADY_FOLDER FULL_FOLDER WORK_FOLDER

Both folders hold the harbour as the stage draws it, one with steady lamps and without rain, mist and grain, one with
everything. The shot gets the clip and the outlines in fixtures/; the truth beside the clip is read by the scoring alone.

Removed region: the pixels the stage says the figure, its shadow or its reflection changed (truth/removed). There the
clean plate as delivered is compared with truth/empty in sRGB code values: PSNR over the three channels, per frame.

Step across the hole's edge: the hole's matte as delivered is 1/2 along a contour. At a place of that contour with normal
n, the step is |C(p + s n) - C(p - s n)|, C the finished frame in sRGB code values, mean of the channels, bilinear between
pixels; s is SPAN, which lies beyond the matte's feather, so that a soft edge cannot hide a step. Its mean over the
contour is divided by the mean of the same measure at places BESIDE pixels inside and outside, where n and s are the
same: what the picture itself does over that distance. Left out are places where any of the samples lies outside the
frame or within a few pixels of the passer-by: the hole's edge there is her outline, where a step belongs.

Prints figures and lines "BAR name value" for tests/bars.toml; ends with status 1 when something is not as promised.
"""
import hashlib
import json
import os
import pathlib
import re
import shutil
import subprocess
import sys
import time

import cv2
import numpy as np

FIXTURES = pathlib.Path(__file__).resolve().parents[2] / "fixtures"
SPAN = 3.0
BESIDE = (-14.0, -11.0, -8.0, 8.0, 11.0, 14.0)


# The hole as a picture, put before the shot in the copy that is rendered.
HOLE = """black = { kind = "colour", value = [0, 0, 0] }
white = { kind = "colour", value = [1, 1, 1] }
hole_seen = { kind = "layer", back = "black", front = "white", mask = "hole" }
hole_out = { kind = "deliver", image = "hole_seen", file = "hole/harbour.####.png", encoding = "linear" }
"""


def read(path):
    """Code values 0..255, float, 3 channels or 1."""
    picture = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
    if picture is None:
        sys.exit(f"{path}: cannot be read")
    return picture.astype(np.float32) / (257 if picture.dtype == np.uint16 else 1)


def psnr(a, b, where):
    return 10 * np.log10(255**2 / max(1e-9, float(((a - b)[where] ** 2).mean())))


def lay_out(clip, work):
    """A folder as a person would have it: the shot file, its outlines, and the clip."""
    shutil.rmtree(work, ignore_errors=True)
    (work / "plate").mkdir(parents=True)
    (work / "harbour.toml").write_text(HOLE + (FIXTURES / "harbour.toml").read_text())
    shutil.copytree(FIXTURES / "harbour", work / "harbour")
    for frame in sorted(clip.glob("f.*.png")):
        os.link(frame, work / "plate" / frame.name) if same_disk(frame, work) else shutil.copy(frame, work / "plate")
    return work / "harbour.toml"


def same_disk(a, b):
    return a.stat().st_dev == b.stat().st_dev


def run(*words):
    started = time.monotonic()
    done = subprocess.run([str(w) for w in words], capture_output=True, text=True)
    if done.returncode != 0:
        sys.exit(f"{' '.join(str(w) for w in words)}\nended with status {done.returncode}\n{done.stdout}{done.stderr}")
    return done.stdout, time.monotonic() - started


def bilinear(picture, points):
    return cv2.remap(picture, points[:, 0].astype(np.float32)[:, None], points[:, 1].astype(np.float32)[:, None],
                     cv2.INTER_LINEAR)[:, 0]


def seam(frame, hole, keep_off):
    """Step across the edge of the hole, and the steps beside it, in code values; None without a usable edge."""
    height, width = hole.shape
    inside = (hole >= 127.5).astype(np.uint8)
    contours, _ = cv2.findContours(inside, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
    if not contours:
        return None
    # Distance to the contour, positive inside; its gradient, a little smoothed, is the normal.
    distance = cv2.distanceTransform(inside, cv2.DIST_L2, 5) - cv2.distanceTransform(1 - inside, cv2.DIST_L2, 5)
    distance = cv2.GaussianBlur(distance, (0, 0), 2)
    gx, gy = cv2.Sobel(distance, cv2.CV_32F, 1, 0), cv2.Sobel(distance, cv2.CV_32F, 0, 1)
    at = np.concatenate([c[:, 0] for c in contours]).astype(np.float64)
    normal = np.stack([bilinear(gx, at), bilinear(gy, at)], axis=1).astype(np.float64)
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    at, normal = at[length[:, 0] > 1e-3], (normal / np.maximum(length, 1e-9))[length[:, 0] > 1e-3]
    at = at - 0.5 * normal  # findContours gives the outermost pixels inside; the edge lies half a pixel further out.

    offsets = (0.0,) + BESIDE
    usable = np.ones(len(at), bool)
    for offset in offsets:
        for side in (SPAN, -SPAN):
            p = at + (offset + side) * normal
            usable &= (p[:, 0] >= 0) & (p[:, 1] >= 0) & (p[:, 0] <= width - 1) & (p[:, 1] <= height - 1)
            usable &= bilinear(keep_off, p) <= 0
    if usable.sum() < 50:
        return None
    at, normal = at[usable], normal[usable]

    def step(offset):
        a = bilinear(frame, at + (offset + SPAN) * normal)
        b = bilinear(frame, at + (offset - SPAN) * normal)
        return float(np.abs(a - b).mean())

    return step(0.0), float(np.mean([step(o) for o in BESIDE])), int(usable.sum())


def score(clip, work):
    truth = clip / "truth"
    removed_db, ratio, answer_db, rim_db = {}, {}, {}, {}
    for path in sorted((work / "out").glob("harbour.*.png")):
        f = int(path.name.split(".")[1])
        finished, clean = read(path), read(work / "clean" / path.name)
        empty, answer = read(truth / "empty" / f"f.{f:04d}.png"), read(truth / "answer" / f"f.{f:04d}.png")
        removed = read(truth / "removed" / f"f.{f:04d}.png") > 127
        passerby = read(truth / "passerby" / f"f.{f:04d}.png")
        hole = read(work / "hole" / path.name)[..., 0]
        if removed.any():
            removed_db[f] = psnr(clean, empty, removed)
        keep_off = cv2.dilate(passerby, np.ones((9, 9), np.uint8))
        edge = seam(finished, hole, keep_off)
        if edge:
            ratio[f] = edge[0] / edge[1]
        answer_db[f] = psnr(finished, answer, np.ones(removed.shape, bool))
        rim = (keep_off > 0) & removed
        if rim.any():
            rim_db[f] = psnr(finished, answer, rim)
    return removed_db, ratio, answer_db, rim_db


def digest(work):
    return {p.relative_to(work).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest()
            for folder in ("out", "clean", "hole") for p in sorted((work / folder).glob("*.png"))}


def report(name, clip, work):
    removed_db, ratio, answer_db, rim_db = score(clip, work)
    print(f"\n{name}: frame, clean plate in the removed region (dB), edge of the hole (step / steps beside), finished frame "
          "against the answer (dB), the same on and around the passer-by in the removed region (dB)")
    text = lambda table, f, form: format(table[f], form) if f in table else "-"
    for f in answer_db:
        print(f"  {f:3d}  {text(removed_db, f, '6.2f'):>7} {text(ratio, f, '5.3f'):>7} {answer_db[f]:7.2f} "
              f"{text(rim_db, f, '6.2f'):>7}")
    if not removed_db or not ratio:
        sys.exit(f"{name}: nothing was scored")
    worst, worst_seam = min(removed_db, key=removed_db.get), max(ratio, key=ratio.get)
    print(f"{name}: removed region {removed_db[worst]:.2f} dB at worst (frame {worst}), "
          f"{np.median(list(removed_db.values())):.2f} dB in the median; edge of the hole {ratio[worst_seam]:.3f} times at "
          f"worst (frame {worst_seam}), {np.median(list(ratio.values())):.3f} in the median")
    print(f"BAR harbour.{name}.removed.worst_db {removed_db[worst]:.4f}")
    print(f"BAR harbour.{name}.removed.median_db {np.median(list(removed_db.values())):.4f}")
    print(f"BAR harbour.{name}.seam.worst_ratio {ratio[worst_seam]:.4f}")


def main():
    platewright, steady, full, work = [pathlib.Path(a).resolve() for a in sys.argv[1:5]]
    for name, clip in (("steady", steady), ("full", full)):
        shot = lay_out(clip, work / name)
        _, seconds = run(platewright, "render", shot, "--threads", 2)
        print(f"{name}: measured and rendered in {seconds:.1f} s")
        for plane in ("hall", "ground"):
            run(platewright, "measure", shot, plane, "--out", work / name / f"{plane}.json")
            print(f"  {plane}: " + run(platewright, "score", work / name / f"{plane}.json",
                                       clip / "truth" / f"{plane}.json")[0].splitlines()[0])
        report(name, clip, work / name)

    keys = {p.stem: len(re.findall(r'id="frame-\d+"', p.read_text())) for p in (FIXTURES / "harbour").glob("*.svg")}
    print("\noutline keys: " + ", ".join(f"{n} {k}" for n, k in sorted(keys.items())))
    print(f"BAR harbour.outline.keys {sum(keys.values())}")

    print()
    failed = False
    before = digest(work / "full")
    shot = work / "full" / "harbour.toml"
    for words in (["--threads", 1, "--again"],):
        _, seconds = run(platewright, "render", shot, *words)
        differ = [n for n, d in digest(work / "full").items() if before[n] != d]
        print(f"{' '.join(str(w) for w in words)}: {'same bytes' if not differ else f'{len(differ)} files differ'} "
              f"({len(before)} files, {seconds:.1f} s)")
        failed |= bool(differ)
    sys.exit(failed)


if __name__ == "__main__":
    main()
