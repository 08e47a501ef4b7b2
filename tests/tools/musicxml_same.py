"""Compares the notes of MusicXML files as a general-purpose library reads them (music21) with what this program reads.

    python3 tests/tools/musicxml_same.py --bin target/release/catchword FILE...      (needs: pip install music21)

For each file music21's sounding notes (ties joined, grace notes aside) are printed beside the count of `catchword inspect`; with
`--against FILE` two files are compared note by note: onset, length, name and octave, staff.
"""
import argparse
import re
import subprocess
import sys
import warnings

warnings.filterwarnings("ignore")
from music21 import converter  # noqa: E402


def notes(path):
    score = converter.parse(path)
    out = []
    tied = {}
    # Each staff of an instrument is a part of its own in music21.
    for staff, part in enumerate(score.parts, 1):
        for element in part.recurse().notes:
            if element.duration.isGrace:
                continue
            at = element.getOffsetInHierarchy(part)
            for note in getattr(element, "notes", [element]):
                row = [float(at), float(element.quarterLength), note.pitch.nameWithOctave, staff]
                tie = note.tie or element.tie
                kind = tie.type if tie else None
                # music21's own stripTies leaves chords apart that change voice over a bar line.
                before = tied.pop((row[2], round(row[0], 4)), None) if kind in ("stop", "continue") else None
                if before:
                    before[1] += row[1]
                    row = before
                else:
                    out.append(row)
                if kind in ("start", "continue"):
                    tied[row[2], round(row[0] + row[1], 4)] = row
    return sorted((round(at, 4), round(length, 4), name, staff) for at, length, name, staff in out)


def main():
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--bin")
    arguments.add_argument("--against")
    arguments.add_argument("files", nargs="+")
    options = arguments.parse_args()
    failed = False
    for path in options.files:
        own = notes(path)
        words = [f"{path}: {len(own)} notes"]
        if options.bin:
            said = subprocess.run([options.bin, "inspect", path], capture_output=True, text=True, check=True).stdout
            counted = sum(int(n) for n in re.findall(r"(\d+) notes? once ties are joined", said))
            words.append(f"inspect: {counted}")
            failed |= counted != len(own)
        if options.against:
            other = notes(options.against)
            same = len(set(own) & set(other))
            words.append(f"{same} of {len(set(other))} the same")
            failed |= set(own) != set(other)
        print(", ".join(words))
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
