#!/usr/bin/env python3
"""Writes the MusicXML of the two demo pieces. Python 3 alone; run from anywhere: python3 pieces/make_scores.py

Each piece is a table: one row a printed bar, the right hand, the left hand, and signs.
A hand is a row of tokens, `pitches:quarters`. Pitches are spelled as they sound (eb5 = E flat 5,
c4 is middle C) and joined with + into a chord; r is a rest; a leading ~ rolls the chord upward;
a trailing ! sets a fermata. Before a file is written every bar is checked: each hand fills it,
no hand has more than four notes at once or reaches beyond a tenth, every pitch lies on the
strings C2 to C7, and each string letter keeps the one accidental its lever gives it.
"""

from fractions import Fraction
from pathlib import Path
import re

HERE = Path(__file__).resolve().parent
DIVISIONS = 4  # to the quarter: sixteenths
TYPES = {
    Fraction(4): ("whole", 0),
    Fraction(3): ("half", 1),
    Fraction(2): ("half", 0),
    Fraction(3, 2): ("quarter", 1),
    Fraction(1): ("quarter", 0),
    Fraction(3, 4): ("eighth", 1),
    Fraction(1, 2): ("eighth", 0),
    Fraction(1, 4): ("16th", 0),
}
STEPS = {"c": 0, "d": 2, "e": 4, "f": 5, "g": 7, "a": 9, "b": 11}

FERRY = dict(
    path="ferry/ferry.musicxml",
    title="The Ferry at Low Water",
    composer="written for Catchword",
    rights="MIT License, as the rest of Catchword",
    fifths=-2,  # B flat major: an E flat harp with the A levers up
    alters={"b": -1, "e": -1},
    meter=(3, 4),
    tempo=96,
    words="Rocking gently. Levers: A up",
    bars=[
        # casting off
        ("bb4+f5:2 d5:1", "bb2:1 f3:1 d4:1", "repeat-start mp"),
        ("bb4+g5:1 f5:1/2 d5:1/2 bb4:1", "g2:1 d3:1 bb3:1", ""),
        ("g4+eb5:2 g5:1", "eb2:1 bb2:1 g3:1", ""),
        ("~a4+c5+f5:3", "f2:1 c3:1 a3:1", ""),
        # to the far bank
        ("bb4+f5:2 d5:1", "bb2:1 f3:1 d4:1", ""),
        ("bb4+g5:1 f5:1/2 d5:1/2 bb4:1", "g2:1 d3:1 bb3:1", ""),
        ("c5:1 eb5:1 d5:1/2 c5:1/2", "c3:1 g3:1 f3:1", ""),
        ("a4:1 c5:1 eb5:1", "f2:1 c3:1 eb3:1", "ending-1"),
        ("~d4+f4+bb4:3", "bb2:1 f3:1 bb3:1", "ending-2 double"),
        # the deep channel
        ("r:1 bb4+d5:1 bb4+d5:1", "g3:1 a3:1 bb3:1", "p"),
        ("r:1 c5+eb5:1 c5+eb5:1", "c4:2 bb3:1", ""),
        ("r:1 a4+c5:1 a4+c5:1", "a3:1 bb3:1 g3:1", ""),
        ("~f4+a4+d5:3", "d3:1 a3:1 d4:1", ""),
        # against the stream
        ("~g4+bb4+eb5:2 f5:1", "eb2:1 bb2:1 g3:1", "mf"),
        ("~a4+c5+f5:2 g5:1", "f2:1 c3:1 a3:1", ""),
        ("~bb4+d5+g5:2 a5:1", "g2:1 d3:1 bb3:1", ""),
        ("bb5:1 a5:1/2 g5:1/2 f5:1", "f2:1 c3:1 a3:1", "f double"),
        # back in sight
        ("bb4+f5:2 d5:1", "bb2:1 f3:1 d4:1", "mp"),
        ("bb4+g5:1 f5:1/2 d5:1/2 bb4:1", "g2:1 d3:1 bb3:1", ""),
        ("g4+eb5:2 g5:1", "eb2:1 bb2:1 g3:1", ""),
        ("f5:1 eb5:1 c5:1", "c3:1 g3:1 eb4:1", ""),
        # made fast
        ("a4:1 c5:1 eb5:1", "f2:1 c3:1 eb3:1", ""),
        ("f4+d5:1 eb5:1/2 d5:1/2 c5:1", "bb2:1 f3:1 d4:1", "p"),
        ("~bb4+d5+f5+bb5:3!", "~bb2+f3+d4:3!", "final"),
    ],
)

NIGHT = dict(
    path="all-through-the-night/all-through-the-night.musicxml",
    title="Ar Hyd y Nos (All Through the Night)",
    composer="traditional, Wales; first printed by Edward Jones, 1784",
    rights="The tune is in the public domain; this arrangement: MIT License, as the rest of Catchword",
    fifths=-1,  # F major: an E flat harp with the E and A levers up
    alters={"b": -1},
    meter=(4, 4),
    tempo=80,
    words="Quietly. Levers: E and A up",
    bars=[
        # by the hearth: an introduction
        ("r:2 f5:1 c5:1", "f2:1 c3:1 f3:1 a3:1", "p"),
        ("r:2 f5:1 a5:1", "d2:1 a2:1 d3:1 f3:1", ""),
        ("d5:2 e5:2", "bb2:1 f3:1 c3:1 g3:1", ""),
        ("f5:2 r:2", "f2:1 c3:1 f3:2", ""),
        # first verse line
        ("f5:3/2 e5:1/2 d5:1 f5:1", "f2:1 c3:1 d3:1 a3:1", "mp"),
        ("g5:3/2 f5:1/2 e5:1 c5:1", "g2:1 d3:1 c3:1 g3:1", ""),
        ("d5:2 e5:3/2 e5:1/2", "bb2:1 f3:1 c3:1 g3:1", ""),
        ("~a4+c5+f5:4", "f2:1 c3:1 f3:1 a3:1", ""),
        # second verse line
        ("f5:3/2 e5:1/2 d5:1 f5:1", "f2:1 c3:1 d3:1 a3:1", ""),
        ("g5:3/2 f5:1/2 e5:1 c5:1", "g2:1 d3:1 c3:1 g3:1", ""),
        ("d5:2 e5:3/2 e5:1/2", "bb2:1 f3:1 c3:1 g3:1", ""),
        ("~a4+c5+f5:4", "f3:1 e3:1 d3:1 c3:1", "double"),
        # over the hill
        ("d5+bb5:1 c5+a5:1 d5+bb5:1 e5+c6:1", "bb2:1 f3:1 bb3:1 d4:1", "mf"),
        ("f5+d6:1 e5+c6:1 d5+bb5:1 c5+a5:1", "bb2:1 f3:1 bb3:1 a3:1", ""),
        ("d5+bb5:1 c5+a5:1 bb4+g5:1 a4+f5:1", "g2:1 d3:1 g3:1 bb3:1", ""),
        ("c5+a5:1 bb4+g5:1 a4+f5:1 g4+e5:1", "c3:1 g3:1 c4:1 bb3:1", "double"),
        # home with the lamp
        ("f5:3/2 e5:1/2 d5:1 f5:1", "f2:1 c3:1 d3:1 a3:1", "p"),
        ("g5:3/2 f5:1/2 e5:1 c5:1", "g2:1 d3:1 c3:1 g3:1", ""),
        ("d5:2 e5:3/2 e5:1/2", "bb2:1 f3:1 c3:1 g3:1", ""),
        ("~a4+c5+f5:4!", "~f2+c3+f3+a3:4!", "final"),
    ],
)


def pitch(text):
    """`eb5` as (letter, alter, octave)."""
    match = re.fullmatch(r"([a-g])([b#]?)(\d)", text)
    if not match:
        raise ValueError(f"not a pitch: {text!r}")
    letter, sign, octave = match.groups()
    return letter, {"b": -1, "#": 1, "": 0}[sign], int(octave)


def midi(p):
    letter, alter, octave = p
    return 12 * (octave + 1) + STEPS[letter] + alter


def tokens(hand):
    """The events of one hand in one bar: (pitches, length, rolled, fermata)."""
    events = []
    for token in hand.split():
        body, length = token.rstrip("!").split(":")
        rolled = body.startswith("~")
        pitches = [] if body == "r" else [pitch(p) for p in body.lstrip("~").split("+")]
        if pitches != sorted(pitches, key=midi):
            raise ValueError(f"write chords from the bottom: {token}")
        events.append((pitches, Fraction(length), rolled, token.endswith("!")))
    return events


def check(piece):
    beats, unit = piece["meter"]
    whole = Fraction(4 * beats, unit)
    for number, (right, left, _) in enumerate(piece["bars"], 1):
        for name, hand in (("right", right), ("left", left)):
            where = f"{piece['title']}, bar {number}, {name} hand"
            events = tokens(hand)
            filled = sum(length for _, length, _, _ in events)
            if filled != whole:
                raise ValueError(f"{where}: {filled} quarters, not {whole}")
            for pitches, _, _, _ in events:
                keys = [midi(p) for p in pitches]
                if len(keys) > 4 or (keys and keys[-1] - keys[0] > 16):
                    raise ValueError(f"{where}: beyond one hand: {pitches}")
                if any(not 36 <= k <= 96 for k in keys):
                    raise ValueError(f"{where}: no such string: {pitches}")
                for letter, alter, _ in pitches:
                    if alter != piece["alters"].get(letter, 0):
                        raise ValueError(f"{where}: the lever of {letter} is not set so")


def beams(events):
    """Beam values for eighths that share a quarter beat."""
    at, marks = Fraction(0), []
    for _, length, _, _ in events:
        marks.append((at, length))
        at += length
    result = [None] * len(events)
    for i, (at, length) in enumerate(marks[:-1]):
        next_at, next_length = marks[i + 1]
        both = length == next_length == Fraction(1, 2) and events[i][0] and events[i + 1][0]
        if both and at.denominator == 1 and next_at < at + 1:
            result[i], result[i + 1] = "begin", "end"
    return result


def write_hand(out, hand, staff, voice):
    events = tokens(hand)
    for (pitches, length, rolled, fermata), beam in zip(events, beams(events)):
        kind, dots = TYPES[length]
        shared = [
            f"        <duration>{length * DIVISIONS}</duration>",
            f"        <voice>{voice}</voice>",
            f"        <type>{kind}</type>",
        ] + ["        <dot/>"] * dots
        if not pitches:
            out += ["      <note>", "        <rest/>", *shared, f"        <staff>{staff}</staff>", "      </note>"]
            continue
        for i, (letter, alter, octave) in enumerate(pitches):
            out.append("      <note>")
            if i > 0:
                out.append("        <chord/>")
            out.append("        <pitch>")
            out.append(f"          <step>{letter.upper()}</step>")
            if alter:
                out.append(f"          <alter>{alter}</alter>")
            out += [f"          <octave>{octave}</octave>", "        </pitch>", *shared, f"        <staff>{staff}</staff>"]
            if beam and i == 0:
                out.append(f'        <beam number="1">{beam}</beam>')
            marks = (["          <arpeggiate/>"] if rolled else []) + (["          <fermata/>"] if fermata and i == 0 else [])
            if marks:
                out += ["        <notations>", *marks, "        </notations>"]
            out.append("      </note>")


def barline(location, *content):
    return [f'      <barline location="{location}">', *(f"        {c}" for c in content), "      </barline>"]


def write(piece):
    check(piece)
    beats, unit = piece["meter"]
    out = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">',
        '<score-partwise version="4.0">',
        "  <work>",
        f"    <work-title>{piece['title']}</work-title>",
        "  </work>",
        "  <identification>",
        f'    <creator type="composer">{piece["composer"]}</creator>',
        f"    <rights>{piece['rights']}</rights>",
        "    <encoding>",
        "      <software>pieces/make_scores.py</software>",
        "    </encoding>",
        "  </identification>",
        "  <part-list>",
        '    <score-part id="P1">',
        "      <part-name>Harp</part-name>",
        "    </score-part>",
        "  </part-list>",
        '  <part id="P1">',
    ]
    for number, (right, left, signs) in enumerate(piece["bars"], 1):
        signs = signs.split()
        out.append(f'    <measure number="{number}">')
        if number == 1:
            out += [
                "      <attributes>",
                f"        <divisions>{DIVISIONS}</divisions>",
                "        <key>",
                f"          <fifths>{piece['fifths']}</fifths>",
                "          <mode>major</mode>",
                "        </key>",
                "        <time>",
                f"          <beats>{beats}</beats>",
                f"          <beat-type>{unit}</beat-type>",
                "        </time>",
                "        <staves>2</staves>",
                '        <clef number="1">',
                "          <sign>G</sign>",
                "          <line>2</line>",
                "        </clef>",
                '        <clef number="2">',
                "          <sign>F</sign>",
                "          <line>4</line>",
                "        </clef>",
                "      </attributes>",
            ]
        if "repeat-start" in signs:
            out += barline("left", "<bar-style>heavy-light</bar-style>", '<repeat direction="forward"/>')
        if "ending-1" in signs:
            out += barline("left", '<ending number="1" type="start"/>')
        if "ending-2" in signs:
            out += barline("left", '<ending number="2" type="start"/>')
        if number == 1:
            out += [
                '      <direction placement="above">',
                "        <direction-type>",
                f"          <words>{piece['words']}</words>",
                "        </direction-type>",
                "        <direction-type>",
                "          <metronome>",
                "            <beat-unit>quarter</beat-unit>",
                f"            <per-minute>{piece['tempo']}</per-minute>",
                "          </metronome>",
                "        </direction-type>",
                "        <staff>1</staff>",
                f'        <sound tempo="{piece["tempo"]}"/>',
                "      </direction>",
            ]
        for dynamic in ("p", "mp", "mf", "f"):
            if dynamic in signs:
                out += [
                    '      <direction placement="below">',
                    "        <direction-type>",
                    "          <dynamics>",
                    f"            <{dynamic}/>",
                    "          </dynamics>",
                    "        </direction-type>",
                    "        <staff>1</staff>",
                    "      </direction>",
                ]
        write_hand(out, right, 1, 1)
        out += ["      <backup>", f"        <duration>{Fraction(4 * beats, unit) * DIVISIONS}</duration>", "      </backup>"]
        write_hand(out, left, 2, 2)
        if "ending-1" in signs:
            out += barline(
                "right", "<bar-style>light-heavy</bar-style>", '<ending number="1" type="stop"/>', '<repeat direction="backward"/>'
            )
        elif "ending-2" in signs:
            out += barline("right", "<bar-style>light-light</bar-style>", '<ending number="2" type="stop"/>')
        elif "double" in signs:
            out += barline("right", "<bar-style>light-light</bar-style>")
        elif "final" in signs:
            out += barline("right", "<bar-style>light-heavy</bar-style>")
        out.append("    </measure>")
    out += ["  </part>", "</score-partwise>", ""]
    path = HERE / piece["path"]
    path.parent.mkdir(exist_ok=True)
    path.write_text("\n".join(out), encoding="utf-8")
    print(f"{path.relative_to(HERE)}: {len(piece['bars'])} bars")


if __name__ == "__main__":
    for piece in (FERRY, NIGHT):
        write(piece)
