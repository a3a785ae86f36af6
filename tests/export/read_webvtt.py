"""Reads captions with webvtt-py: read_webvtt.py FOLDER"""

import sys
from pathlib import Path

import webvtt

cues = 0
for path in sorted(Path(sys.argv[1]).glob("**/*.vtt")):
    own = webvtt.read(str(path))
    written = path.read_text(encoding="utf-8").count(" --> ")
    assert len(own) == written > 0, path
    for cue in own:
        assert cue.identifier.startswith("mark-") and cue.text.strip(), path
        assert cue.end_in_seconds >= cue.start_in_seconds >= 0, path
    cues += len(own)
print(f"webvtt: {cues} cues")
