#!/usr/bin/python3
"""generate.py FOLDER: made-up spectra of 3,600 points (64) and 100,000 points (8) in AFFN, SQZ and
DIFDUP, whole numbers of six or seven digits with noise."""
import math
import os
import random
import sys

SQZ = dict(zip(range(-9, 10), "ihgfedcba@ABCDEFGHI"))
DIF = dict(zip(range(-9, 10), "rqponmlkj%JKLMNOPQR"))
DUP = dict(zip(range(1, 10), "STUVWXYZs"))
HEAD = """##TITLE=%s\r
##JCAMP-DX=4.24\r
##DATA TYPE=INFRARED SPECTRUM\r
##ORIGIN=generated\r
##OWNER=public domain\r
##DATE=26/03/02\r
##TIME=10:11:12\r
##RESOLUTION=4\r
##XUNITS=1/CM\r
##YUNITS=TRANSMITTANCE\r
##XFACTOR=1\r
##YFACTOR=1E-06\r
##FIRSTX=4000\r
##LASTX=400\r
##NPOINTS=%d\r
##XYDATA=(X++(Y..Y))\r
"""


def pseudo(value, letters):
    text = str(abs(value))
    return letters[int(text[0]) * (-1 if value < 0 else 1)] + text[1:]


def values(rng, n):
    bands = [(rng.uniform(0, n), rng.uniform(n / 600, n / 80), rng.uniform(0.05, 1.3)) for _ in range(12)]
    base = [0.02] * n
    for centre, width, height in bands:
        low, high = max(0, int(centre - 6 * width)), min(n, int(centre + 6 * width))
        for i in range(low, high):
            base[i] += height * math.exp(-((i - centre) / width) ** 2)
    out = [round(1e6 * 10 ** -a + rng.gauss(0, 300)) for a in base]
    hole = n // 2
    out[hole:hole + n // 40] = [out[hole]] * (n // 40)  # a blanked stretch
    return out


def head(i, n):
    return ("%.5f" % (4000 - 3600 * i / (n - 1))).rstrip("0").rstrip(".")


def plain(ys, encode):
    n, i, lines = len(ys), 0, []
    while i < n:
        line = head(i, n)
        while i < n and len(line) + len(encode(ys[i])) <= 80:
            line += encode(ys[i])
            i += 1
        lines.append(line)
    return lines


def difdup(ys):
    n, i, lines = len(ys), 0, []
    while i < n - 1:
        line = head(i, n) + pseudo(ys[i], SQZ)
        while i < n - 1:
            step, times = ys[i + 1] - ys[i], 1
            while i + times + 1 < n and ys[i + times + 1] - ys[i + times] == step:
                times += 1
            text = pseudo(step, DIF)
            if times > 1:
                text += DUP[int(str(times)[0])] + str(times)[1:]
            if len(line) + len(text) > 80:
                break
            line += text
            i += times
        lines.append(line)
    return lines + [head(n - 1, n) + pseudo(ys[-1], SQZ)]


def main():
    folder = sys.argv[1]
    os.makedirs(folder, exist_ok=True)
    for n, files in ((3600, 64), (100000, 8)):
        for k in range(files):
            ys = values(random.Random(n + k), n)
            forms = {"affn": plain(ys, lambda v: " %d" % v), "sqz": plain(ys, lambda v: pseudo(v, SQZ)),
                     "difdup": difdup(ys)}
            for form, lines in forms.items():
                with open("%s/%s-%d-%03d.jdx" % (folder, form, n, k), "w", newline="") as f:
                    f.write(HEAD % ("Generated %d" % k, n) + "\r\n".join(lines) + "\r\n##END=\r\n")


main()
