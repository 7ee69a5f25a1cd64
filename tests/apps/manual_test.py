#!/usr/bin/env python3
"""The manual page and the completion, against what --help says. manual_test.py PLATEWRIGHT"""
import os
import re
import shutil
import subprocess
import sys
import unittest

PROGRAM = os.path.abspath(sys.argv.pop(1))


def says(*words):
    return subprocess.run([PROGRAM, *words], capture_output=True, text=True, check=True).stdout


def commands():
    listed = says("--help").split("Subcommands:")[1].split("\n\n")[0]
    return re.findall(r"^  (\w+) ", listed, re.M)


class Manual(unittest.TestCase):
    def test_has_all_commands_and_options(self):
        page = says("--manual").replace("\\-", "-")
        names = commands()
        self.assertIn("render", names)
        for name in names:
            section = page.split(f".SS {name}\n")[1].split(".SS ")[0]
            for option in re.findall(r"^ +(--[a-z-]+)", says(name, "--help"), re.M):
                self.assertIn(f"\\fB{option}\\fR", section, name)
            self.assertIn(f"platewright {name}", section, "an example")
        self.assertIn("130 stopped by Ctrl-C", page.split(".SH NOTES")[1])

    @unittest.skipUnless(shutil.which("groff"), "groff is not installed")
    def test_is_sound(self):
        done = subprocess.run(["groff", "-man", "-ww", "-Tutf8"], input=says("--manual"), capture_output=True, text=True)
        self.assertEqual((done.returncode, done.stderr), (0, ""))
        self.assertIn("contactsheet", done.stdout)

    def complete(self, *words):
        script = says("--completion") + "\nCOMP_WORDS=(" + " ".join(f'"{w}"' for w in words) + ")\n" \
            "COMP_CWORD=$((${#COMP_WORDS[@]} - 1))\n_platewright\nprintf '%s\\n' \"${COMPREPLY[@]}\"\n"
        return subprocess.run(["bash", "-c", script], capture_output=True, text=True, check=True).stdout.split()

    def test_bash_completes(self):
        self.assertEqual(self.complete("platewright", "ren"), ["render"])
        self.assertEqual(sorted(self.complete("platewright", "")),
                         sorted(commands() + ["--help", "--version", "--manual", "--completion"]))
        self.assertEqual(self.complete("platewright", "render", "quay.toml", "--keep"), ["--keep-going"])
        self.assertEqual(self.complete("platewright", "score", "--ma"), ["--matte"])
        self.assertEqual(self.complete("platewright", "render", "qu"), [], "files are completed by bash itself")


if __name__ == "__main__":
    unittest.main()
