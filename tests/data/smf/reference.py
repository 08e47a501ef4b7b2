"""Makes tempo_map.mid and, with the mido library as referee, tempo_map.json: what each note-on's time and each note's length should be.

    pip install mido==1.3.3 && python reference.py

Three tracks: tempo and metre changes in the first, two with notes that cross them; running status, note-offs as
note-ons of velocity 0, deltas of one to three bytes, 480 ticks to the quarter.
"""
import json, pathlib, random, struct
import mido

PPQ = 480
here = pathlib.Path(__file__).parent


def quantity(n):
    out = [n & 127]
    while n := n >> 7:
        out.append(n & 127 | 128)
    return bytes(reversed(out))


def track(events):
    body, last, running = b"", 0, None
    for tick, data in sorted(events, key=lambda e: e[0]):
        body += quantity(tick - last)
        last = tick
        if data[0] < 0xF0 and data[0] == running:
            body += data[1:]
        else:
            body += data
        running = data[0] if data[0] < 0xF0 else None
    body += b"\0\xff\x2f\0"
    return b"MTrk" + struct.pack(">I", len(body)) + body


rng = random.Random(20)
conductor = [(0, b"\xff\x58\x04\x03\x02\x18\x08"), (0, b"\xff\x59\x02\xfd\x00"), (9 * PPQ, b"\xff\x58\x04\x06\x03\x18\x08")]
conductor += [(i * 700, b"\xff\x51\x03" + rng.randrange(300_000, 1_200_000).to_bytes(3, "big")) for i in range(24)]
hands = [[], []]
for hand, (low, step) in enumerate([(60, 240), (36, 480)]):
    for i in range(18 * PPQ // step):
        key = low + rng.randrange(20)
        on, length = i * step, rng.choice([step // 3, step // 2, step - 1])
        hands[hand] += [(on, bytes([0x90 + hand, key, rng.randrange(20, 110)])), (on + length, bytes([0x90 + hand, key, 0]))]
    hands[hand].append((19 * PPQ, bytes([0xB0 + hand, 64, 0])))
    hands[hand].append((60 * PPQ, bytes([0x90 + hand, low, 64])))
    hands[hand].append((61 * PPQ, bytes([0x90 + hand, low, 0])))
data = b"MThd" + struct.pack(">IHHH", 6, 1, 3, PPQ) + b"".join(map(track, [conductor, *hands]))
(here / "tempo_map.mid").write_bytes(data)

file = mido.MidiFile(here / "tempo_map.mid")
clock, on = 0.0, []
for message in file:
    clock += message.time
    if message.type == "note_on" and message.velocity > 0:
        on.append([round(clock, 6), message.channel, message.note, message.velocity])
notes = []
for t in file.tracks:
    tick, sounding = 0, {}
    for message in t:
        tick += message.time
        if message.type == "note_on" and message.velocity > 0:
            sounding[message.note] = tick
        elif message.type in ("note_on", "note_off"):
            start = sounding.pop(message.note)
            notes.append([start, tick - start, message.note, message.channel])
notes.sort()
(here / "tempo_map.json").write_text(json.dumps({"ticks_per_quarter": file.ticks_per_beat, "note_ons_seconds": on, "notes_ticks": notes}) + "\n")
