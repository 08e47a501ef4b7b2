#!/usr/bin/env python3
"""Fits what the loudness of an inner note says of its hand, on each piece by itself, and scores it on the other.

    python3 tests/bench/loudness_fit.py --cases DIR

DIR holds a folder per performance, named PIECE_pNN: score.csv (onset_beats, pitch, hand), take.jsonl (pitch, velocity) and truth.json (for
each note of the take its row of the score, or -1). Printed: the two weights of src/score/hands/loudness.rs, per 16 steps of velocity, and
the mean log-likelihood of the hands, both weighed alike (-.693 says nothing). Only the standard library is needed.
"""

import argparse
import csv
import json
import math
from collections import defaultdict
from pathlib import Path

ROUNDS = 300
STEPS = 16.0


def inner_notes(folder):
    """Yields (is left, features) of each note between the lowest and the highest of a chord that both hands play."""
    rows = list(csv.DictReader((folder / "score.csv").open()))
    take = [json.loads(line) for line in (folder / "take.jsonl").open()]
    chords = defaultdict(list)
    for note, row in zip(take, json.loads((folder / "truth.json").read_text())["notes"]):
        if row >= 0:
            chords[rows[row]["onset_beats"]].append((int(rows[row]["pitch"]), rows[row]["hand"], note["velocity"]))
    for chord in chords.values():
        chord.sort()
        if len({hand for _, hand, _ in chord}) < 2:
            continue
        low, high = chord[0][2], chord[-1][2]
        for _, hand, velocity in chord[1:-1]:
            nearer = abs(velocity - low) - abs(velocity - high)
            yield hand == "L", (nearer / STEPS, (high - low) / STEPS)


def weight(notes):
    """Returns what a note of each hand counts, so that both hands count alike."""
    n_left = sum(is_left for is_left, _ in notes)
    return {True: 0.5 / n_left, False: 0.5 / (len(notes) - n_left)}


def probability(weights, features):
    return 1.0 / (1.0 + math.exp(-sum(w * f for w, f in zip(weights, features))))


def fit(notes):
    counts, weights = weight(notes), [0.0, 0.0]
    for _ in range(ROUNDS):
        slope = [0.0, 0.0]
        for is_left, features in notes:
            off = counts[is_left] * (is_left - probability(weights, features))
            slope = [s + off * f for s, f in zip(slope, features)]
        weights = [w + s for w, s in zip(weights, slope)]
    return weights


def likelihood(weights, notes):
    counts = weight(notes)
    return sum(counts[is_left] * math.log(probability(weights, f) if is_left else 1.0 - probability(weights, f)) for is_left, f in notes)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--cases", type=Path, required=True)
    pieces = defaultdict(list)
    for folder in sorted(parser.parse_args().cases.iterdir()):
        pieces[folder.name.rsplit("_p", 1)[0]].extend(inner_notes(folder))
    for name, notes in pieces.items():
        weights = fit(notes)
        scored = ", ".join(f"{other} {likelihood(weights, pieces[other]):.3f}" for other in pieces)
        print(f"fitted on {name}: {weights[0]:.2f} {weights[1]:.2f}; {scored}")


if __name__ == "__main__":
    main()
