#!/usr/bin/env python3
"""The harbour through ten deliveries: deliveries_test.py PLATEWRIGHT STEADY_FOLDER WORK_FOLDER

A clip comes to a shot as whatever somebody chose to deliver. FRAMES of the steady harbour are delivered in ten ways by
programs of their own (the ffmpeg command; OpenCV for EXR), and each delivery is put through the same shot: the outlines
in fixtures/, two planes, two stills, their pins, the clean plate. What comes out is the same clean plate within a loss
that is stated for each in tests/bars.toml:

  removed    PSNR against truth/empty where the figure, its shadow or its reflection was (truth/removed), sRGB code
             values, three channels, worst frame;
  same       PSNR against the clean plate that comes of the PNG files themselves, there and in all frames together;
  delivery   PSNR of the delivered frames themselves, as the ffmpeg command decodes them, against the PNG files: what
             the delivery lost before anything was done to it. Printed, to read the others by.

The letterboxed delivery says where its picture is (active), and its bars come back as they came in; the turned one is
set upright by its display matrix. Deliveries that cannot be used as they are (interlaced, pixels that are not square)
are refused with the remedy, and nothing is written.

Prints lines "BAR name value" for tests/bars.toml; ends with status 1 when something is not as promised. The truth is
read by the scoring alone.
"""
import concurrent.futures
import os
import pathlib
import re
import shutil
import struct
import subprocess
import sys
import time

os.environ["OPENCV_IO_ENABLE_OPENEXR"] = "1"  # Before it is loaded.
import cv2
import numpy as np

FIXTURES = pathlib.Path(__file__).resolve().parents[2] / "fixtures"
FRAMES = range(12, 29)  # From a key of every outline to another.
SCORED = range(13, 29, 3)
SIZE, BAR = (960, 540), 90  # Of the clip; rows of each bar of the letterboxed delivery.
LEAK = 4
KEPT = {"rough", "figure", "wet", "passerby", "legs", "hall", "ground", "empty_hall", "empty_ground", "pinned_hall",
        "pinned_ground", "foot", "joined", "clean", "clean_out"}

YUV = "scale=out_color_matrix=bt709:out_range=tv:flags=lanczos+accurate_rnd+full_chroma_int+full_chroma_inp"
TAGS = "-colorspace bt709 -color_primaries bt709 -color_trc bt709 -color_range tv".split()
X264 = "-c:v libx264 -threads 1 -preset medium".split()
X265 = "-c:v libx265 -crf 16 -x265-params pools=none:frame-threads=1:log-level=error".split()


def to_yuv(pixels, before=""):
    return ["-vf", f"{before}{YUV},format={pixels}", *TAGS]


# Name: the file, what ffmpeg makes it with (None: made below), what the footage says.
DELIVERIES = {
    "png8": ("plate/f.####.png", None, 'encoding = "srgb"'),
    "png16": ("in/f.####.png", None, 'encoding = "srgb"'),
    "exr": ("in/f.####.exr", None, ""),
    "dpx": ("in/f.####.dpx", ["-pix_fmt", "gbrp10be"], 'encoding = "srgb"'),
    "prores": ("in.mov", [*to_yuv("yuv422p10le"), "-c:v", "prores_ks", "-profile:v", "3"], 'encoding = "srgb"'),
    "ffv1": ("in.mkv", ["-c:v", "ffv1", "-pix_fmt", "gbrp16le"], 'encoding = "srgb"'),
    "h264_high": ("in.mp4", [*to_yuv("yuv420p"), *X264, "-b:v", "16M"], 'encoding = "srgb"'),
    "h264_low": ("in.mp4", [*to_yuv("yuv420p"), *X264, "-b:v", "4M"], 'encoding = "srgb"'),
    "hevc10": ("in.mp4", [*to_yuv("yuv420p10le"), *X265], 'encoding = "srgb"'),
    "letterboxed": ("in.mp4", [*to_yuv("yuv420p", f"pad=iw:ih+{2 * BAR}:0:{BAR},"), *X264, "-b:v", "16M"],
                    f'encoding = "srgb", active = [0, {BAR}, {SIZE[0]}, {BAR + SIZE[1]}]'),
    "turned": ("in.mov", [*to_yuv("yuv422p10le", "transpose=cclock,"), "-c:v", "prores_ks", "-profile:v", "3"],
               'encoding = "srgb"'),
}
MOVIES = (".mov", ".mkv", ".mp4")
EIGHT = ("h264_high", "h264_low", "letterboxed")  # Bits.

REFUSED = {
    "interlaced": ([*to_yuv("yuv422p10le", "interlace,"), "-c:v", "prores_ks", "-flags", "+ildct"],
                   "the movie is interlaced; make whole frames of its fields first"),
    "wide_pixels": ([*to_yuv("yuv420p", "scale=720:540,setsar=4/3,"), *X264],
                    "the pixels are not square (aspect 4:3); resample the movie to square pixels first"),
}


def run(*words, status=0):
    done = subprocess.run([str(w) for w in words], capture_output=True, text=True)
    if done.returncode != status:
        sys.exit(f"{' '.join(str(w) for w in words)}\nended with status {done.returncode}\n{done.stdout}{done.stderr}")
    return done.stdout + done.stderr


def ffmpeg(*words):
    return run("ffmpeg", "-v", "error", "-nostdin", "-y", "-threads", "1", *words)


def read(path):
    """Code values 0..255, float, 3 channels or 1."""
    picture = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
    if picture is None:
        sys.exit(f"{path}: cannot be read")
    return picture.astype(np.float32) / (257 if picture.dtype == np.uint16 else 1)


def psnr(squares):
    return 10 * np.log10(255**2 / max(1e-9, float(np.mean(squares))))


def make(name, clip, work):
    """The delivery, in the folder of its shot. The ffmpeg command starts from 16 bits: of 8 it makes more by shifting."""
    shutil.rmtree(work, ignore_errors=True)
    (work / "in").mkdir(parents=True)
    file, coding, _ = DELIVERIES[name]
    target = work / file.replace("####", "%04d")
    count = ["-frames:v", str(len(FRAMES))]
    if name == "png8":
        os.symlink(clip, work / "plate")  # The files themselves.
        return
    deep = work / "deep"
    deep.mkdir()
    for f in FRAMES:
        code = cv2.imread(str(clip / f"f.{f:04d}.png"))
        if name == "exr":  # IEC 61966-2-1.
            code = code / 255.0
            light = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4).astype(np.float32)
            cv2.imwrite(str(target) % f, light, [cv2.IMWRITE_EXR_TYPE, cv2.IMWRITE_EXR_TYPE_HALF])
        else:
            cv2.imwrite(str(target if name == "png16" else deep / "f.%04d.png") % f, code.astype(np.uint16) * 257)
    if coding:
        begin = ["-start_number", FRAMES[0]]
        ready = work / "lying.mov" if name == "turned" else target
        ffmpeg("-framerate", "24", *begin, "-i", deep / "f.%04d.png", *coding, *([] if file.endswith(MOVIES) else begin), ready)
        if name == "turned":
            turn(ready, target)
    shutil.rmtree(deep)


def turn(lying, target):
    """The same file with the display matrix (ISO/IEC 14496-12, track header, version 0) that turns its frames by 90
    degrees clockwise: x of the picture shown is the stored height less y, y is x. No command's own idea of a sign."""
    data = bytearray(lying.read_bytes())
    header = data.index(b"tkhd")
    if data[header + 4] != 0:
        sys.exit(f"{lying}: its track header is of a version this does not know")
    one = 1 << 16
    data[header + 44:header + 80] = struct.pack(">9i", 0, one, 0, -one, 0, 0, SIZE[0] * one, 0, 1 << 30)
    target.write_bytes(data)


def pinned_alone(shot):
    """What the demo shot has of nodes up to the pinned stills, and those delivered as the clean plate."""
    head, *nodes = re.split(r"^(?=\[\w+\]$)", shot, flags=re.M)
    kept = [n for n in nodes if re.match(r"\[(\w+)\]", n)[1] in KEPT]
    assert len(kept) == len(KEPT)
    for old, new in (('"bare_', '"empty_'), ('front = "lit"', 'front = "joined"')):
        kept = [n.replace(old, new) for n in kept]
    return head + "".join(kept)


def lay_out(name, work):
    """The demo shot for this delivery: its footage, the frames used here, the clean plate of pinned stills alone."""
    file, _, says = DELIVERIES[name]
    shot = pinned_alone((FIXTURES / "harbour.toml").read_text())
    movie = f", start = {FRAMES[0]}" if file.endswith(MOVIES) else ""
    footage = f'plate = {{ kind = "footage", file = "{file}"{movie}{", " if says else ""}{says} }}'
    shot = re.sub(r"^plate = .*$", footage, shot, count=1, flags=re.M)
    shot = re.sub(r"^shot = .*$", f'shot = {{ like = "plate", frames = [{FRAMES[0]}, {FRAMES[-1]}], rate = "24/1" }}', shot,
                  count=1, flags=re.M)
    shot = re.sub(r"^\[clean_out\]$", '[clean_out]\ndepth = "16"', shot, flags=re.M)
    shutil.copytree(FIXTURES / "harbour", work / "harbour")
    for drawing in (work / "harbour").glob("*.svg"):  # Without the keys that lie outside these frames.
        key = r'  <g id="frame-(\d+)">.*?</g>\n'
        text = re.sub(key, lambda m: m[0] if int(m[1]) in FRAMES else "", drawing.read_text(), flags=re.S)
        drawing.write_text(text)
    if name == "letterboxed":  # Drawn over frames of another height: everything lies lower.
        lower = lambda m: f"[{m[1]}, {int(m[2]) + BAR}]"
        shot = re.sub(r"^region = .*$", lambda line: re.sub(r"\[(\d+), (\d+)\]", lower, line[0]), shot, flags=re.M)
        for drawing in (work / "harbour").glob("*.svg"):
            text = drawing.read_text()
            size = f'height="{SIZE[1] + 2 * BAR}" viewBox="0 -{BAR} {SIZE[0]} {SIZE[1] + 2 * BAR}"'
            drawing.write_text(text.replace(f'height="{SIZE[1]}" viewBox="0 0 {SIZE[0]} {SIZE[1]}"', size))
    (work / "harbour.toml").write_text(shot)
    return work / "harbour.toml"


def decoded(file, bits):
    """The SCORED frames as they were delivered, upright, code values 0..255: movies and DPX as the ffmpeg command reads
    them, stills as OpenCV does."""
    if file.suffix not in (*MOVIES, ".dpx"):
        pictures = [read(str(file).replace("####", f"{f:04d}")) for f in SCORED]
        if file.suffix == ".exr":
            pictures = [255 * np.where(p <= 0.0031308, 12.92 * p, 1.055 * p ** (1 / 2.4) - 0.055) for p in pictures]
        return pictures
    words = ["-i", file] if file.suffix in MOVIES else ["-start_number", FRAMES[0], "-i", str(file).replace("####", "%04d")]
    step = SCORED[1] - SCORED[0]
    raw = subprocess.run(
        ["ffmpeg", "-v", "error", "-nostdin", *map(str, words), "-vf",
         f"select='not(mod(n-{SCORED[0] - FRAMES[0]},{step}))',scale=flags=lanczos+accurate_rnd+full_chroma_int+"
         f"full_chroma_inp,format={'rgb24' if bits == 8 else 'rgb48le'}", "-vsync", "passthrough", "-f", "rawvideo", "-"],
        capture_output=True)
    if raw.returncode != 0:
        sys.exit(raw.stderr.decode())
    frames = np.frombuffer(raw.stdout, np.uint8 if bits == 8 else np.uint16).reshape(len(SCORED), -1, SIZE[0], 3)
    return list(frames[..., ::-1].astype(np.float32) / (1 if bits == 8 else 257))


def one(name, platewright, clip, work):
    """Delivers and renders; seconds."""
    make(name, clip, work)
    started = time.monotonic()
    told = run(platewright, "render", lay_out(name, work), "clean_out", "--threads", 1, "--frames",
               ",".join(map(str, SCORED)))
    return time.monotonic() - started, told


def upright(name, picture):
    return picture[BAR:BAR + SIZE[1]] if name == "letterboxed" else picture


def bars_off(picture, delivered):
    """The largest difference in the bars, code values: what came back, and what came in as the ffmpeg command reads it.
    Without the rows beside the picture, into which each reader lets the picture's colour leak in its own way."""
    bars = slice(0, BAR - LEAK), slice(BAR + SIZE[1] + LEAK, None)
    return max(float(np.abs(picture[rows] - delivered[rows]).max()) for rows in bars)


def refused(name, coding, remedy, platewright, work):
    """True when such a movie is refused with the remedy, and nothing is written."""
    folder = work / name
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    ffmpeg("-framerate", "24", "-start_number", FRAMES[0], "-i", work / "png16" / "in" / "f.%04d.png", "-frames:v", "4", *coding,
           folder / "in.mov")
    shot = folder / "s.toml"
    shot.write_text('plate = { kind = "footage", file = "in.mov" }\n'
                    'out = { kind = "deliver", image = "plate", file = "out/f.####.png" }\n')
    told = run(platewright, "render", shot, status=2)
    right = f"{folder / 'in.mov'}: {remedy}\n" in told and not (folder / "out").exists()
    print(f"{name}: {'refused with the remedy' if right else 'not refused as it should be'}: {told.strip()}")
    return right


def main():
    platewright, clip, work = [pathlib.Path(a).resolve() for a in sys.argv[1:4]]
    with concurrent.futures.ThreadPoolExecutor(2) as both:
        took = dict(zip(DELIVERIES, both.map(lambda n: one(n, platewright, clip, work / n), DELIVERIES)))
    good = True

    def clean(name, f):
        return read(work / name / "clean" / f"harbour.{f:04d}.png")

    original = {f: read(clip / f"f.{f:04d}.png") for f in SCORED}
    base = {f: clean("png8", f) for f in SCORED}
    print("delivery: what it lost itself, dB; the clean plate in the removed region against the truth, dB at worst and in "
          "the median; the same clean plate as of the PNG files, dB there and overall; seconds")
    for name in DELIVERIES:
        frames = decoded(work / name / DELIVERIES[name][0], 8 if name in EIGHT else 10)
        lost = psnr([np.mean((upright(name, frame) - original[f]) ** 2) for frame, f in zip(frames, SCORED)])
        removed, there, overall = [], [], []
        for f in SCORED:
            picture = upright(name, clean(name, f))
            where = read(clip / "truth" / "removed" / f"f.{f:04d}.png") > 127
            overall.append(np.mean((picture - base[f]) ** 2))
            if where.any():
                empty = read(clip / "truth" / "empty" / f"f.{f:04d}.png")
                removed.append(psnr((picture - empty)[where] ** 2))
                there.append(np.mean((picture - base[f])[where] ** 2))
        print(f"  {name:12} {min(lost, 99):6.2f}   {min(removed):6.2f} {np.median(removed):6.2f}   "
              f"{min(psnr(there), 99):6.2f} {min(psnr(overall), 99):6.2f}   {took[name][0]:.1f}")
        if name == "letterboxed":
            off = max(bars_off(clean(name, f), frame) for f, frame in zip(SCORED, frames))
            print(f"  {'':12} its bars came back within {off:.2f} code values")
            good = good and off <= 1.5
        print(f"BAR deliveries.{name}.removed.worst_db {min(removed):.4f}")
        if name != "png8":
            print(f"BAR deliveries.{name}.same_db {min(psnr(there), 99):.4f}")

    for name, (coding, remedy) in REFUSED.items():
        good = refused(name, coding, remedy, platewright, work) and good
    sys.exit(not good)


if __name__ == "__main__":
    main()
