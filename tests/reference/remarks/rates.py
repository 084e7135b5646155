#!/usr/bin/python3
"""False alarms and misses of the remarks on labelled spectra.

    rates.py EXAMINE-TOOL [--write FILE] [--ordinary N] [--each N] [--seed N]

Makes N ordinary spectra of many compound classes and preparations, and N of each fault, and compares
what the examination says with what was planted. Prints the rates; with --write, also as a table in
Markdown. Fails if a target is missed: any remark on at most 15 % of the ordinary spectra, "run
again" on at most 2 %, and at most 5 % of the planted faults missed (those of faults.HARD apart)."""
import argparse
import os
import sys

import numpy as np

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "computing"))

import records  # noqa: E402
from faults import FAULTS, HARD  # noqa: E402
from spectra import Spectrum  # noqa: E402

ANY_MOST, AGAIN_MOST, MISS_MOST = 15.0, 2.0, 5.0
WEIGHTS = {"usable": 0, "note": 1, "again": 2}


def packed(s):
    unit, y = s.record()
    x = s.x
    keep = np.isfinite(y)
    if s.rng.random() < .5:
        x, y, keep = x[::-1], y[::-1], keep[::-1]
    has_oh = s.compound in ("acid", "amide", "nylon_like")
    flags = int(has_oh) | 2 * int(s.rng.random() < .3 or "solvent_left" in s.faults) | \
        4 * int(s.processed)
    return records.pack(x[keep], y[keep], unit=unit, kind=s.kind, preparation=s.preparation,
                        plates=s.stated, flags=flags, scans=s.scans, lab_scans=16,
                        resolution=s.resolution, lab_resolution=4.0, lab_low=400, lab_high=4000)


def make(rng, fault, preparations):
    for _ in range(1000):
        s = Spectrum(rng, str(rng.choice(preparations)) if preparations else None)
        if fault is None:
            return s
        s.faults.append(fault.__name__)
        if fault(s):
            return s
    sys.exit("no spectrum takes the fault " + fault.__name__)


def percent(part, whole):
    return 100.0 * part / whole if whole else 0.0


def ordinary_rates(spectra, answers):
    rows, codes = {}, {}
    for s, answer in zip(spectra, answers):
        row = rows.setdefault(s.preparation or "not stated", [0, 0, 0])
        row[0] += 1
        row[1] += bool(answer["remarks"])
        row[2] += answer["verdict"] == "again"
        for remark in answer["remarks"]:
            codes[remark["code"]] = codes.get(remark["code"], 0) + 1
    return rows, codes


def caught(answer, code, weight):
    return any(r["code"] == code and WEIGHTS[r["weight"]] >= WEIGHTS[weight]
               for r in answer["remarks"])


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("tool")
    parser.add_argument("--write")
    parser.add_argument("--ordinary", type=int, default=1500)
    parser.add_argument("--each", type=int, default=40)
    parser.add_argument("--seed", type=int, default=20260101)
    parser.add_argument("--show", help="print the spectra that this fault was missed in, or 'ordinary'")
    options = parser.parse_args()
    rng = np.random.default_rng(options.seed)
    ordinary = [make(rng, None, None) for _ in range(options.ordinary)]
    answers = records.run(options.tool, ["examine"], [packed(s) for s in ordinary])
    rows, codes = ordinary_rates(ordinary, answers)
    total = [sum(row[i] for row in rows.values()) for i in range(3)]
    lines = ["| ordinary spectra | number | any remark | run again |", "|---|---|---|---|"]
    for name, row in sorted(rows.items()) + [("all", total)]:
        lines.append("| %s | %d | %.1f %% | %.1f %% |" %
                     (name, row[0], percent(row[1], row[0]), percent(row[2], row[0])))
    lines += ["", "By remark, of all ordinary spectra: " + ", ".join(
        "%s %.1f %%" % (code, percent(count, total[0]))
        for code, count in sorted(codes.items(), key=lambda c: -c[1])) + ".", "",
        "| planted fault | remark | number | missed |", "|---|---|---|---|"]
    if options.show == "ordinary":
        for s, a in zip(ordinary, answers):
            if a["remarks"]:
                print(s.preparation, s.compound, a["verdict"], [(r["code"], r["text"]) for r in a["remarks"]])
    missed = planted = made = 0
    for fault, (preparations, code, weight) in FAULTS.items():
        spectra = [make(rng, fault, preparations) for _ in range(options.each)]
        answers = records.run(options.tool, ["examine"], [packed(s) for s in spectra])
        lost = 0
        for s, a in zip(spectra, answers):
            if not caught(a, code, weight):
                lost += 1
                if options.show == fault.__name__:
                    print(s.preparation, s.compound, a["verdict"], a["noise"], a["baseline"],
                          [(r["code"], r["text"]) for r in a["remarks"]],
                          [(round(b["position"]), round(b["prominence"], 3), round(b["width"])) for b in a["bands"]])
        made += len(spectra)
        if fault not in HARD:
            missed += lost
            planted += len(spectra)
        lines.append("| %s | %s, %s | %d | %.1f %% |" % (
            fault.__name__.replace("_", " ") + (" *" if fault in HARD else ""), code, weight, len(spectra), percent(lost, len(spectra))))
    lines.append("| all but those marked * | | %d | %.1f %% |" % (planted, percent(missed, planted)))
    text = "\n".join(lines)
    print(text)
    print("spectra: %d" % (total[0] + made))
    if options.write:
        with open(options.write, "w", encoding="utf-8") as file:
            file.write(text + "\n")
    good = percent(total[1], total[0]) <= ANY_MOST and percent(total[2], total[0]) <= AGAIN_MOST and \
        percent(missed, planted) <= MISS_MOST
    print("targets met" if good else "TARGETS MISSED")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
