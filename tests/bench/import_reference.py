"""Compares `catchword inspect` with counts on which reference libraries agree.

    python3 tests/bench/import_reference.py --reference reference.json --files DIR --bin target/release/catchword [--json FILE]

reference.json: {"files": [{"path": ..., "agreed": {noteheads, sounding, grace, midi_sum, pc_hist, total_q, bars}}]}; `agreed` may be absent.
DIR is where the paths start; a path that is not there is looked for by its file name alone anywhere below DIR.
Printed: files read, refused (with the reason), crashed; agreed files exact in every count, and each that is not with what differs.
Exit code 1 when a run crashed or fewer than 99 % of the agreed files are exact.
"""
import argparse, json, pathlib, subprocess, sys

NAMES = {"noteheads": "noteheads", "sounding": "sounding", "grace": "grace", "midi_sum": "pitch_sum",
         "pc_hist": "pitch_classes", "total_q": "total_quarters", "bars": "bars"}


def differences(said, agreed):
    out = {}
    for theirs, ours in NAMES.items():
        want, got = agreed[theirs], said[ours]
        same = abs(want - got) < 1e-3 if theirs == "total_q" else want == got
        if not same:
            out[ours] = (got, want)
    return out


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("--reference", required=True)
    ap.add_argument("--files", required=True)
    ap.add_argument("--bin", required=True)
    ap.add_argument("--json")
    a = ap.parse_args()
    root = pathlib.Path(a.files)
    by_name = {p.name: p for p in root.rglob("*") if p.suffix in (".xml", ".mxl", ".musicxml")}
    exact = n_agreed = read = 0
    missing, refused, crashed, differing = [], [], [], {}
    for entry in json.load(open(a.reference))["files"]:
        path = root / entry["path"]
        if not path.exists():
            path = by_name.get(path.name)
        if path is None:
            missing.append(entry["path"])
            continue
        agreed = entry.get("agreed")
        n_agreed += agreed is not None
        r = subprocess.run([a.bin, "inspect", str(path), "--json"], capture_output=True, text=True)
        if r.returncode == 1:
            refused.append((entry["path"], r.stderr.strip()))
            if agreed:
                differing[entry["path"]] = {"refused": r.stderr.strip()}
            continue
        if r.returncode != 0:
            crashed.append((entry["path"], r.stderr.strip()[-300:]))
            continue
        read += 1
        if agreed:
            found = differences(json.loads(r.stdout), agreed)
            exact += not found
            if found:
                differing[entry["path"]] = found
    print(f"read {read}, refused {len(refused)}, crashed {len(crashed)}, not there {len(missing)}")
    for path, why in refused + crashed:
        print(f"  {path}: {why}")
    for path in missing:
        print(f"  not there: {path}")
    print(f"agreed counts exact on {exact} of {n_agreed} files ({100 * exact / max(n_agreed, 1):.1f} %)")
    for path, found in differing.items():
        print(f"  {path}")
        for name, pair in found.items():
            print(f"    {name}: {pair}")
    if a.json:
        json.dump({"exact": exact, "agreed": n_agreed, "differing": differing}, open(a.json, "w"), indent=1)
    return bool(crashed) or exact < 0.99 * n_agreed


if __name__ == "__main__":
    sys.exit(main())
