#!/usr/bin/python3
"""CPU time of the same figure by matplotlib, warm, in one process: curve, ticks, labels, table, words.

usage: matplotlib_bench.py CURVE.f64 ROUNDS
"""
import io
import statistics
import sys
import time

import matplotlib
import numpy as np

matplotlib.use("pdf")
import matplotlib.pyplot as plt  # noqa: E402  (the backend is chosen first)

WORDS = ["Maya Rosendahl", "Acetylsalicylic acid, recrystallised", "20461X", "12 March 2026, 14:32",
         "Chem 231, Organic Laboratory", "014, Tuesday afternoon", "6, An ester", "IR-2",
         "Science, floor 2, room 214, bench C", "sample", "mull", "NaCl", "16", "4 cm-1",
         "signed on at the bench", "ESTER_02.DX", "Assignments, by hand",
         "Teaching record. Not an identification; not a safety assessment."]


def draw(x, y, out):
    figure, axes = plt.subplots(figsize=(11.69, 8.27))
    axes.plot(x, y, lw=0.85, color="black")
    axes.set_xlim(4000, 400)
    axes.set_ylim(0, 102)
    axes.set_xticks(range(400, 4001, 200))
    axes.set_yticks(range(0, 101, 10))
    axes.grid(True, lw=0.4)
    axes.set_xlabel("Wavenumber / cm-1")
    axes.set_ylabel("Transmittance / %")
    for k in range(20):
        position = 3000 - 120 * k
        axes.text(position, 20 + k, str(position), rotation=90, size=8)
        for column, word in enumerate((str(position), "strong", "sharp")):
            figure.text(0.05 + 0.05 * column, 0.02 + 0.008 * k, word, size=8)
    for k, word in enumerate(WORDS):
        figure.text(0.5, 0.9 + 0.005 * k, word, size=9)
    figure.savefig(out, format="pdf")
    plt.close(figure)


def main():
    y = np.fromfile(sys.argv[1])
    x = np.linspace(4000, 400, len(y))
    times = []
    size = 0
    for _ in range(int(sys.argv[2]) + 3):
        out = io.BytesIO()
        start = time.process_time()
        draw(x, y, out)
        times.append((time.process_time() - start) * 1e3)
        size = len(out.getvalue())
    print("matplotlib %.2f ms %d bytes" % (statistics.median(times[3:]), size))


if __name__ == "__main__":
    main()
