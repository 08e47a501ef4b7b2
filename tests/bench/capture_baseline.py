"""What general-purpose libraries make of played notes: music21's quantiser, partitura's pitch spelling (ps13).

    cargo bench --bench capture -- --cases DIR --baseline python3      (needs: pip install music21 partitura)

Reads a line of JSON for each performance, {"notes": [[onset, duration, key], ...]} in quarters of the click, and writes
{"onset": [...], "duration": [...], "name": [...]} for the same notes in the same order.
"""
import json
import sys
import warnings

import numpy as np

warnings.filterwarnings("ignore")
import partitura.musicanalysis  # noqa: E402
from music21 import note, stream  # noqa: E402


def quantised(notes):
    s = stream.Stream()
    own = []
    for at, length, key in notes:
        n = note.Note(int(key))
        n.quarterLength = max(length, 0.01)
        s.insert(max(at, 0.0), n)
        own.append(n)
    s.quantize((4, 3), processOffsets=True, processDurations=True, inPlace=True, recurse=False)
    return [float(n.getOffsetBySite(s)) for n in own], [float(n.quarterLength) for n in own]


def named(notes):
    rows = [(at, max(length, 0.01), int(key)) for at, length, key in notes]
    array = np.array(rows, dtype=[("onset_beat", "f4"), ("duration_beat", "f4"), ("pitch", "i4")])
    spelling = partitura.musicanalysis.estimate_spelling(array)
    sign = {0: "", 1: "#", -1: "b", 2: "##", -2: "bb"}
    return [f"{s['step']}{sign.get(int(s['alter']), '?')}{int(s['octave'])}" for s in spelling]


for line in sys.stdin:
    notes = json.loads(line)["notes"]
    onset, duration = quantised(notes)
    print(json.dumps({"onset": onset, "duration": duration, "name": named(notes)}), flush=True)
