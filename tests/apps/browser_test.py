#!/usr/bin/env python3
"""The H.264 preview in a real browser: its size, its duration, and the frame that is on show after a seek. Where
there is no Chromium it says so and leaves with status 77 (left out). browser_test.py PLATEWRIGHT"""
import http.server
import json
import os
import pathlib
import queue
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import unittest

PROGRAM = os.path.abspath(sys.argv.pop(1))
BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")
FRAMES, STEP = 30, 10
WIDTH, HEIGHT = FRAMES * STEP + 20, 180
RATE = 24000 / 1001
SEEKS = [0, 17, 5, 29, 16, 1, 24]  # Frames from 0, forward and back, the first and the last among them.
# A white bar that is STEP pixels further right on every frame, over a colour.
SHOT = f"""shot = {{ size = [{WIDTH}, {HEIGHT}], frames = [1, {FRAMES}], rate = "24000/1001" }}
ground = {{ kind = "colour", value = [0.4, 0.05, 0.02] }}
white = {{ kind = "colour", value = [1, 1, 1] }}
bar = {{ kind = "outline", keys = {{ 1 = "M 0 0 H {STEP} V {HEIGHT} H 0 Z", {FRAMES} = "M {(FRAMES - 1) * STEP} 0 H {FRAMES * STEP} V {HEIGHT} H {(FRAMES - 1) * STEP} Z" }} }}
both = {{ kind = "layer", back = "ground", front = "white", mask = "bar" }}
look = {{ kind = "deliver", image = "both", file = "look.mp4" }}
"""
PAGE = """<!doctype html><video src="look.mp4" muted preload="auto"></video><script>
const v = document.querySelector("video"), seeks = %s, rate = %r;
const send = answer => fetch("answer", { method: "POST", body: JSON.stringify(answer) });
v.onerror = () => send({ error: v.error.message });
const once = name => new Promise(done => v.addEventListener(name, done, { once: true }));
function seen() {
  const c = document.createElement("canvas");
  c.width = v.videoWidth, c.height = v.videoHeight;
  const to = c.getContext("2d");
  to.drawImage(v, 0, 0);
  const row = to.getImageData(0, c.height / 2, c.width, 1).data;
  let sum = 0, at = 0;
  for (let x = 0; x < c.width; ++x) if (row[4 * x + 1] > 180) sum += 1, at += x + 0.5;
  return { width: sum, centre: at / sum, ground: Array.from(row.slice(4 * (c.width - 8), 4 * (c.width - 8) + 3)) };
}
v.onloadeddata = async () => {
  v.onloadeddata = null;
  const frames = [];
  for (const n of seeks) {
    const there = once("seeked");
    v.currentTime = (n + 0.5) / rate;
    await there;
    frames.push(seen());
  }
  v.currentTime = 0;
  await once("seeked");
  v.play();
  await once("ended");
  send({ width: v.videoWidth, height: v.videoHeight, duration: v.duration, frames, ended: v.currentTime });
};
</script>""" % (SEEKS, RATE)


class Served(http.server.BaseHTTPRequestHandler):
    """The page, the movie, in parts where parts are asked for, and a place for the answer."""

    def do_GET(self):
        is_movie = self.path == "/look.mp4"
        body = self.server.movie if is_movie else PAGE.encode()
        part = re.fullmatch(r"bytes=(\d+)-(\d*)", self.headers.get("Range", "")) if is_movie else None
        first = int(part[1]) if part else 0
        last = min(int(part[2]) if part and part[2] else len(body) - 1, len(body) - 1)
        self.send_response(206 if part else 200)
        self.send_header("Content-Type", "video/mp4" if is_movie else "text/html")
        self.send_header("Content-Length", str(last + 1 - first))
        if part:
            self.send_header("Content-Range", f"bytes {first}-{last}/{len(body)}")
        if is_movie:
            self.send_header("Accept-Ranges", "bytes")
        self.end_headers()
        self.wfile.write(body[first:last + 1])

    def do_POST(self):
        self.server.answers.put(json.loads(self.rfile.read(int(self.headers["Content-Length"]))))
        self.send_response(204)
        self.end_headers()

    def log_message(self, *_):
        pass


class InABrowser(unittest.TestCase):
    def setUp(self):
        self.folder = pathlib.Path(tempfile.mkdtemp(prefix="pw-browser-"))

    def tearDown(self):
        shutil.rmtree(self.folder, ignore_errors=True)

    def answer(self, movie):
        server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Served)
        server.movie, server.answers = movie, queue.Queue()
        threading.Thread(target=server.serve_forever, daemon=True).start()
        browser = subprocess.Popen(
            [BROWSER, "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", f"--user-data-dir={self.folder}/profile",
             "--remote-debugging-port=0", f"http://127.0.0.1:{server.server_port}/"],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True)
        try:
            return server.answers.get(timeout=90)
        except queue.Empty:
            self.fail("the browser did not answer within 90 seconds")
        finally:
            os.killpg(browser.pid, signal.SIGKILL)
            browser.wait()
            server.shutdown()
            server.server_close()

    def test_the_preview_plays(self):
        (self.folder / "quay.toml").write_text(SHOT)
        done = subprocess.run([PROGRAM, "render", "quay.toml"], cwd=self.folder, capture_output=True, text=True)
        self.assertEqual(done.returncode, 0, done.stderr)
        told = self.answer((self.folder / "look.mp4").read_bytes())
        self.assertNotIn("error", told)
        self.assertEqual((told["width"], told["height"]), (WIDTH, HEIGHT))
        self.assertAlmostEqual(told["duration"], FRAMES / RATE, delta=0.002)
        self.assertAlmostEqual(told["ended"], FRAMES / RATE, delta=0.05)
        for n, seen in zip(SEEKS, told["frames"], strict=True):
            self.assertAlmostEqual(seen["width"], STEP, delta=1, msg=f"frame {n}")
            self.assertAlmostEqual(seen["centre"], n * STEP + STEP / 2, delta=1, msg=f"frame {n}")
            # BT.709-6, item 1.2: V = 1.099 L^0.45 - 0.099. A wrong matrix (BT.601) is 10 codes off.
            for code, light in zip(seen["ground"], (0.4, 0.05, 0.02)):
                self.assertAlmostEqual(code, 255 * (1.099 * light**0.45 - 0.099), delta=4, msg=f"frame {n}")


if __name__ == "__main__":
    if not BROWSER:
        print("browser: left out, there is no Chromium on this machine")
        sys.exit(77)
    unittest.main(verbosity=2)
