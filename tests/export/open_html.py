"""Reads a report as HTML's own standard says, opens it in a browser, and has axe-core look at it there.

The browser is Chromium or one of its kin, named in SHEDLIGHT_BROWSER or found on the path.
"""

import base64
import importlib.resources
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import html5lib

page = Path(sys.argv[1])
text = page.read_text(encoding="utf-8")
# Stops at the first thing the standard calls a parse error.
html5lib.HTMLParser(strict=True).parse(text)
print("html: no parse error")

names = ["chromium", "chromium-browser", "google-chrome"]
browser = os.environ.get("SHEDLIGHT_BROWSER") or next(filter(None, map(shutil.which, names)), None)
if browser is None:
    sys.exit("no browser: install chromium, or name one of its kin in SHEDLIGHT_BROWSER")

axe = importlib.resources.files("axe_core_python").joinpath("axe.min.js").read_text(encoding="utf-8")
run = """
axe.run(document, {resultTypes: ["violations", "passes"]}).then(found => {
    const told = {
        version: axe.version,
        passes: found.passes.map(rule => rule.id),
        violations: found.violations.map(rule => [rule.id, rule.impact, rule.nodes.map(node => node.html).slice(0, 3)]),
        wide: document.documentElement.scrollWidth - document.documentElement.clientWidth,
        headings: document.querySelectorAll("h2").length,
        figures: [...document.querySelectorAll("figure svg")].filter(svg => svg.getBoundingClientRect().width > 100).length,
    };
    const place = document.createElement("pre");
    place.id = "axe-told";
    place.textContent = btoa(unescape(encodeURIComponent(JSON.stringify(told))));
    document.body.append(place);
});
"""
with tempfile.TemporaryDirectory() as folder:
    folder = Path(folder)
    (folder / "axe.js").write_text(axe, encoding="utf-8")
    (folder / "run.js").write_text(run, encoding="utf-8")
    scripts = '<script src="axe.js"></script><script src="run.js"></script></body>'
    opened = folder / "report.html"
    opened.write_text(text.replace("</body>", scripts), encoding="utf-8")
    command = [browser, "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--hide-scrollbars"]
    command += [f"--user-data-dir={folder / 'profile'}", "--window-size=1280,900", "--virtual-time-budget=120000", "--dump-dom"]
    ran = subprocess.run([*command, opened.as_uri()], capture_output=True, text=True, timeout=300)
told = re.search(r'<pre id="axe-told">([^<]*)</pre>', ran.stdout)
assert told, ("axe-core said nothing", ran.stderr[-2000:])
told = json.loads(base64.b64decode(told.group(1)))
assert not told["violations"], told["violations"]
assert len(told["passes"]) > 20, told["passes"]
assert told["wide"] <= 0, ("it is wider than the window, in pixels", told["wide"])
print(f"axe-core {told['version']}: {len(told['passes'])} rules hold, none is broken")
print(f"browser: {told['headings']} sections, {told['figures']} figures drawn")
