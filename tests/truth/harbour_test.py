#!/usr/bin/env python3
"""The demo shot against exact truth: harbour_test.py PLATEWRIGHT REDRAW STEADY_FOLDER FULL_FOLDER WORK_FOLDER

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

In a picture as full of contrast as this one that ratio moves little, so the step that was added is measured as well: the
signed step of the finished frame less that of truth/answer, averaged over RUN neighbouring places, then the mean of its
absolute value. A clean plate 3 % too bright adds 2 code values, one a pixel too low 1.5.

Light: the field the shot measured, delivered as what it makes of a grey, against the ratio of truth/empty to the median of
truth/empty over the still's frames, laid to the frame by the true motions of hall and ground; both smoothed over SMOOTH
pixels in linear light, root mean square in the removed region over all frames, as a share of the light.

Grain: in the removed region the clean plate with grain, but without rain, less truth/empty, in linear light, against
grain drawn here by the stage's law, encoded and rounded to 8 bits as the stage does. Both go through a Laplacian, so that
no soft error of the clean plate counts, and lose the places where truth/empty has edges. Per channel and brightness the
level is the median absolute value; correlations are those of neighbours and channels, clipped at three deviations. The
largest departure is told.

Prints figures and lines "BAR name value" for tests/bars.toml; ends with status 1 when something is not as promised.
"""
import concurrent.futures
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
RUN = 12
ADDED_LIMIT = 1.2  # Code values, on the steady harbour.
# Height of the bands, side of the tiles, seed of their order, beside the command's own whole frames in one piece, and
# whether odd frames or even ones; no tile divides the picture evenly.
BANDS = ((113, 61, 2, 0), (64, 200, 3, 1))


# The hole, the light and the grain as pictures, put before the shot in the copy that is rendered.
HOLE = """black = { kind = "colour", value = [0, 0, 0] }
white = { kind = "colour", value = [1, 1, 1] }
hole_seen = { kind = "layer", back = "black", front = "white", mask = "hole" }
hole_out = { kind = "deliver", image = "hole_seen", file = "hole/harbour.####.png", encoding = "linear" }
grey = { kind = "colour", value = [0.25, 0.25, 0.25] }
grey_lit = { kind = "relit", image = "grey", light = "lamps" }
dry = { kind = "grain", image = "lit", noise = "film" }
dry_out = { kind = "deliver", image = "dry", file = "dry/harbour.####.png", encoding = "srgb" }
light_out = { kind = "deliver", image = "grey_lit", file = "light/harbour.####.png", encoding = "linear", depth = "16" }
"""
# The deliveries looked at; those that are drawn again and compared byte for byte.
COMPARED = ("out", "clean_out", "hole_out")
WANTED = {"steady": COMPARED, "full": (*COMPARED, "dry_out", "light_out")}
STILLS = (20, 21, 22, 23, 24)  # As fixtures/harbour.toml names them.
RIM_LEAST = 500  # Pixels around the passer-by that a frame needs to be judged there.
FOOT = 383  # Where hall and ground meet on their reference frame, pixels from the top.
SMOOTH = 8
LEVELS = (0.004, 0.01, 0.02, 0.04, 0.08, 0.14, 0.22, 0.35, 0.6)  # Edges of the bins of brightness, linear.
GRAIN = 0.0105  # The stage's own, at 18 % grey.


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


def along(hole, keep_off):
    """Places of the hole's edge, normals into the hole, and the number of the piece of RUN places each belongs to."""
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
    piece = np.concatenate([100000 * i + np.arange(len(c)) // RUN for i, c in enumerate(contours)])
    normal = np.stack([bilinear(gx, at), bilinear(gy, at)], axis=1).astype(np.float64)
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    normal /= np.maximum(length, 1e-9)
    at -= 0.5 * normal  # findContours gives the outermost pixels inside; the edge lies half a pixel further out.
    usable = length[:, 0] > 1e-3
    for offset in (0.0,) + BESIDE:
        for side in (SPAN, -SPAN):
            p = at + (offset + side) * normal
            usable &= (p[:, 0] >= 0) & (p[:, 1] >= 0) & (p[:, 0] <= width - 1) & (p[:, 1] <= height - 1)
            usable &= bilinear(keep_off, p) <= 0
    return (at[usable], normal[usable], piece[usable]) if usable.sum() >= 50 else None


def steps(picture, at, normal, offset):
    return bilinear(picture, at + (offset + SPAN) * normal) - bilinear(picture, at + (offset - SPAN) * normal)


def seam(frame, answer, hole, keep_off):
    """(Step across the hole's edge divided by the steps beside it, added step in code values); None without an edge."""
    places = along(hole, keep_off)
    if places is None:
        return None
    at, normal, piece = places
    beside = np.mean([np.abs(steps(frame, at, normal, o)).mean() for o in BESIDE])
    added = steps(frame, at, normal, 0.0) - steps(answer, at, normal, 0.0)
    _, piece, count = np.unique(piece, return_inverse=True, return_counts=True)
    means = np.stack([np.bincount(piece, added[:, k]) / count for k in range(3)], axis=1)
    return float(np.abs(steps(frame, at, normal, 0.0)).mean() / beside), float(np.abs(means[count > RUN // 2]).mean())


def score(clip, work):
    truth = clip / "truth"
    removed_db, ratio, added, answer_db, rim_db = {}, {}, {}, {}, {}
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
        edge = seam(finished, answer, hole, keep_off)
        if edge:
            ratio[f], added[f] = edge
        answer_db[f] = psnr(finished, answer, np.ones(removed.shape, bool))
        rim = (keep_off > 0) & removed
        if rim.sum() >= RIM_LEAST:
            rim_db[f] = psnr(finished, answer, rim)
    return removed_db, ratio, added, answer_db, rim_db


def linear(code):
    v = code / 255
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4).astype(np.float32)


def encoded(light):
    light = np.clip(light, 0, 1)
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055) * 255


def laid(picture, to_from):
    """The picture moved by a homography of corner coordinates."""
    half = np.array([[1, 0, -0.5], [0, 1, -0.5], [0, 0, 1]])
    return cv2.warpPerspective(picture, half @ to_from @ np.linalg.inv(half), picture.shape[1::-1],
                               flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)


def light_error(clip, work):
    """Root mean square error of the light field in the removed region, over all frames; and without any light."""
    truth = clip / "truth"
    motions = [{int(k): np.array(h) for k, h in json.loads((truth / f"{plane}.json").read_text())["frames"].items()}
               for plane in ("hall", "ground")]

    def empty(f):
        return linear(read(truth / "empty" / f"f.{f:04d}.png"))

    base = STILLS[len(STILLS) // 2]
    stills = [np.median([laid(empty(f), m[base] @ np.linalg.inv(m[f])) for f in STILLS], axis=0).astype(np.float32)
              for m in motions]
    below = np.zeros(stills[0].shape, np.float32)
    below[FOOT:] = 1
    squares, unlit, count = 0.0, 0.0, 0
    for path in sorted((work / "light").glob("harbour.*.png")):
        f = int(path.name.split(".")[1])
        removed = read(truth / "removed" / f"f.{f:04d}.png") > 127
        if not removed.any():
            continue
        hall, ground = (laid(s, m[f] @ np.linalg.inv(m[base])) for s, m in zip(stills, motions))
        foot = laid(below, motions[0][f] @ np.linalg.inv(motions[0][base]))
        still = hall * (1 - foot) + ground * foot
        wanted = cv2.GaussianBlur(empty(f), (0, 0), SMOOTH) / cv2.GaussianBlur(still, (0, 0), SMOOTH)
        found = read(path) / 255 / 0.25
        squares += float(((found / wanted - 1)[removed] ** 2).sum())
        unlit += float(((1 / wanted - 1)[removed] ** 2).sum())
        count += 3 * int(removed.sum())
    return (squares / count) ** 0.5, (unlit / count) ** 0.5


def grain_error(clip, work):
    """Largest departure of the grain's level from the plate's, as a share of it, and of a correlation."""
    truth = clip / "truth"
    random = np.random.default_rng(3)
    bins = {}  # (channel, bin) -> ([finished values], [reference values])
    products = np.zeros((2, 8))
    squares = np.zeros((2, 8, 2))
    pairs = [((0, 1), 1, 1), ((1, 0), 1, 1), ((1, 1), 1, 1), ((0, 2), 1, 1), ((2, 0), 1, 1),
             ((0, 0), 0, 1), ((0, 0), 0, 2), ((0, 0), 1, 2)]
    for f in range(1, 49, 6):
        removed = read(truth / "removed" / f"f.{f:04d}.png") > 127
        passerby = read(truth / "passerby" / f"f.{f:04d}.png") > 0
        where = cv2.erode((removed & ~cv2.dilate(passerby.astype(np.uint8), np.ones((9, 9))).astype(bool)).astype(np.uint8),
                          np.ones((15, 15))) > 0
        if where.sum() < 2000:
            continue
        empty = linear(read(truth / "empty" / f"f.{f:04d}.png"))
        edges = np.abs(cv2.Laplacian(encoded(cv2.GaussianBlur(empty, (0, 0), 1)), cv2.CV_32F, ksize=3)).max(axis=2)
        where &= cv2.dilate(edges, np.ones((5, 5))) < 6
        sigma = GRAIN * np.sqrt(0.06 + 0.94 * empty / 0.18)
        drawn = linear(np.floor(encoded(empty + sigma * random.standard_normal(empty.shape)) + 0.5))
        finished = linear(read(work / "dry" / f"harbour.{f:04d}.png")[..., :3])
        errors = [cv2.Laplacian((p - empty).astype(np.float32), cv2.CV_32F, ksize=1) for p in (finished, drawn)]
        for c in range(3):
            index = np.digitize(empty[..., c], LEVELS)
            for b in range(1, len(LEVELS)):
                here = where & (index == b)
                for side, e in enumerate(errors):
                    bins.setdefault((c, b), ([], []))[side].append(e[..., c][here])
        for side, e in enumerate(errors):
            z = e / sigma
            limit = 3 * 1.4826 * np.median(np.abs(z[where]))
            z = np.where(where[..., None], np.clip(z, -limit, limit), 0)
            for i, ((dy, dx), c, d) in enumerate(pairs):
                a, b = z[: z.shape[0] - dy, : z.shape[1] - dx, c], z[dy:, dx:, d]
                products[side, i] += float((a * b).sum())
                squares[side, i] += float((a * a).sum()), float((b * b).sum())
    worst, lines = 0.0, []
    for (c, b), (finished, drawn) in sorted(bins.items()):
        finished, drawn = np.concatenate(finished), np.concatenate(drawn)
        if len(drawn) < 1500:
            continue
        ratio = float(np.median(np.abs(finished)) / np.median(np.abs(drawn)))
        lines.append(f"    channel {'BGR'[c]}, brightness {LEVELS[b - 1]} to {LEVELS[b]}: {ratio:.3f} of the plate's")
        worst = max(worst, abs(ratio - 1))
    correlation = products / np.sqrt(squares.prod(axis=2))
    print("\n".join(lines))
    print("    correlations of the finished frame, and of the plate's grain: "
          + ", ".join(f"{a:.3f} {b:.3f}" for a, b in correlation.T))
    return worst, float(np.abs(correlation[0] - correlation[1]).max())


def digest(folders):
    return {f"{k}/{p.name}": hashlib.sha256(p.read_bytes()).hexdigest()
            for k, folder in enumerate(folders) for p in sorted(folder.iterdir())}


def report(name, clip, work):
    """Prints the figures; the largest added step."""
    removed_db, ratio, added, answer_db, rim_db = score(clip, work)
    print(f"\n{name}: frame; clean plate in the removed region, dB; edge of the hole: step / steps beside; added step, code "
          "values; finished frame against the answer, dB; the same around the passer-by where she is in front, dB")

    def text(table, f, form):
        return format(table[f], form) if f in table else "-"

    for f in answer_db:
        print(f"  {f:3d} {text(removed_db, f, '.2f'):>7} {text(ratio, f, '.3f'):>7} {text(added, f, '.2f'):>6} "
              f"{min(answer_db[f], 99):7.2f} {text(rim_db, f, '.2f'):>7}")
    if not removed_db or not ratio:
        sys.exit(f"{name}: nothing was scored")
    worst, worst_seam, most = min(removed_db, key=removed_db.get), max(ratio, key=ratio.get), max(added, key=added.get)
    median = np.median(list(removed_db.values()))
    print(f"{name}: removed region {removed_db[worst]:.2f} dB at worst (frame {worst}), {median:.2f} dB in the median; edge "
          f"of the hole {ratio[worst_seam]:.3f} times at worst (frame {worst_seam}), {np.median(list(ratio.values())):.3f} "
          f"in the median; added step {added[most]:.2f} code values at worst (frame {most}), "
          f"{np.median(list(added.values())):.2f} in the median")
    print(f"BAR harbour.{name}.removed.worst_db {removed_db[worst]:.4f}")
    print(f"BAR harbour.{name}.removed.median_db {median:.4f}")
    print(f"BAR harbour.{name}.seam.worst_ratio {ratio[worst_seam]:.4f}")
    print(f"BAR harbour.{name}.rim.worst_db {min(rim_db.values()):.4f}")
    return added[most]


def compared(what, before, folders, seconds):
    """True when the folders' files are the same as before, byte for byte."""
    again = digest(folders)
    differ = [n for n in before | again if before.get(n) != again.get(n)]
    print(f"{what}: {len(again)} files, "
          f"{'same bytes' if not differ else f'{len(differ)} differ, the first is {differ[0]}'} ({seconds:.1f} s)")
    return bool(before) and not differ


def main():
    platewright, redraw, steady, full, work = [pathlib.Path(a).resolve() for a in sys.argv[1:6]]
    clips = {"steady": steady, "full": full}

    def render(name):
        return run(platewright, "render", lay_out(clips[name], work / name), *WANTED[name], "--threads", 1)[1]

    with concurrent.futures.ThreadPoolExecutor(2) as both:
        for name, seconds in zip(clips, both.map(render, clips)):
            print(f"{name}: measured and rendered in {seconds:.1f} s by one thread")
    for name, clip in clips.items():
        for plane in ("hall", "ground"):
            shot, track = work / name / "harbour.toml", work / name / f"{plane}.json"
            run(platewright, "measure", shot, plane, "--out", track)
            print(f"{name}, {plane}: {run(platewright, 'score', track, clip / 'truth' / track.name)[0].splitlines()[0]}")
    added = {name: report(name, clip, work / name) for name, clip in clips.items()}

    light, unlit = light_error(full, work / "full")
    print(f"full: light field off by {100 * light:.2f} % RMS in the removed region; without one {100 * unlit:.2f} %")
    print(f"BAR harbour.full.light.rms {light:.4f}")
    level, correlation = grain_error(full, work / "full")
    print(f"full: grain off by {100 * level:.1f} % in level and {correlation:.3f} in correlation at worst")
    print(f"BAR harbour.full.grain.level {level:.4f}")
    print(f"BAR harbour.full.grain.correlation {correlation:.4f}")

    keys = {p.stem: len(re.findall(r'id="frame-\d+"', p.read_text())) for p in (FIXTURES / "harbour").glob("*.svg")}
    print("\noutline keys: " + ", ".join(f"{n} {k}" for n, k in sorted(keys.items())))
    print(f"BAR harbour.outline.keys {sum(keys.values())}\n")

    # One thread drew it whole; now all of it is measured and drawn by two, then drawn in bands of shuffled tiles.
    shot, folders = work / "full" / "harbour.toml", [work / "full" / name.removesuffix("_out") for name in COMPARED]
    before = digest(folders)
    for folder in folders:
        shutil.rmtree(folder)
    _, seconds = run(platewright, "render", shot, *COMPARED, "--threads", 2, "--again")
    same = compared("two threads, measured again", before, folders, seconds)
    before = digest(folders[:1])

    def in_bands(words):
        folder = work / "full" / f"bands_{words[0]}"
        folder.mkdir()
        return folder, run(redraw, shot, "out", f"{folder.name}/harbour.####.png", *words)[1]

    with concurrent.futures.ThreadPoolExecutor(2) as both:
        for words, (folder, seconds) in zip(BANDS, both.map(in_bands, BANDS)):
            what = "every other frame, bands of {} rows, tiles of {} in order {}".format(*words)
            half = dict(sorted(before.items())[words[3]::2])
            same = compared(what, half, [folder], seconds) and same
    if added["steady"] > ADDED_LIMIT:
        print(f"the hole's edge adds a step of {added['steady']:.2f} code values, more than {ADDED_LIMIT}")
    sys.exit(not same or added["steady"] > ADDED_LIMIT)


if __name__ == "__main__":
    main()
