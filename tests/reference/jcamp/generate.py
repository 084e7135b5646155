#!/usr/bin/python3
"""Writes spectra in every form the readers know, beside the values that a reader must find.

generate.py FOLDER: NAME.jdx / NAME.csv with NAME.json = {"x": [...], "y": [...], ...}. Shares no code
with the readers: the forms follow the pseudo-digit tables of McDonald and Wilks, Appl. Spectrosc. 42
(1988) 151. The expected values are the products and the grid formula of that paper in IEEE double.
"""
import json
import math
import os
import random
import sys

SQUEEZE = {0: "@", **{d: chr(64 + d) for d in range(1, 10)}, **{-d: chr(96 + d) for d in range(1, 10)}}
DIFFER = {0: "%", **{d: chr(73 + d) for d in range(1, 10)}, **{-d: chr(105 + d) for d in range(1, 10)}}
REPEAT = {**{d: chr(82 + d) for d in range(1, 9)}, 9: "s"}


def pseudo(value, letters):
    digits = str(abs(value))
    return letters[int(digits[0]) * (-1 if value < 0 else 1)] + digits[1:]


def repeated(times):
    digits = str(times)
    return REPEAT[int(digits[0])] + digits[1:]


def runs(values):
    """[value, times] for each stretch of equal values."""
    out = []
    for value in values:
        if out and out[-1][0] == value:
            out[-1][1] += 1
        else:
            out.append([value, 1])
    return out


def plain_lines(heads, values, form, width):
    """AFFN, FIX, PAC, SQZ: every ordinate on its own; SQZDUP: runs as repeat counts."""
    at, n = 0, len(values)
    while at < n:
        line, start = heads(at), at
        while at < n:
            times = 1
            value = values[at]
            if value is None:
                token = " ?"
            elif form == "AFFN":
                token = " %d" % value
            elif form == "FIX":
                token = "%9d" % value if abs(value) < 10 ** 7 else " %d" % value
            elif form == "PAC":
                token = "%+d" % value
            else:
                token = pseudo(value, SQUEEZE)
                if form == "SQZDUP":
                    while at + times < n and values[at + times] == value:
                        times += 1
                    token += repeated(times) if times > 1 else ""
            if len(line) + len(token) > width and at > start:
                break
            line += token
            at += times
        yield line


def difference_lines(heads, values, dup, width):
    """DIF, DIFDUP: a line begins with the last value of the one before as a check."""
    at, n = 0, len(values)
    line, done = heads(0) + pseudo(values[0], SQUEEZE), 1
    while done < n:
        steps = [values[i] - values[i - 1] for i in range(done, n)]
        at = 0
        while at < len(steps):
            times = 1
            if dup:
                while at + times < len(steps) and steps[at + times] == steps[at]:
                    times += 1
            token = pseudo(steps[at], DIFFER) + (repeated(times) if times > 1 else "")
            if len(line) + len(token) > width:
                break
            line += token
            at += times
        done += at
        yield line
        line = heads(done - 1) + pseudo(values[done - 1], SQUEEZE)
    if n > 1:
        yield line  # the last check
    else:
        yield line


def mixed_lines(rng, heads, values, kinds, width):
    """Any ordinate in any of `kinds`; a line that ends in a difference is checked by the next."""
    at, n, check = 0, len(values), False
    while at < n or check:
        line = heads(at - 1 if check else at)
        line += pseudo(values[at - 1], SQUEEZE) if check else ""
        fresh, check = not check, False
        while at < n:
            kind = rng.choice(kinds)
            times = 1
            if kind == "dif" and not fresh and at:
                token, check_next = pseudo(values[at] - values[at - 1], DIFFER), True
            elif kind == "pac":
                token, check_next = "%+d" % values[at], False
            else:
                token, check_next = pseudo(values[at], SQUEEZE), False
            if "pac" in kinds and rng.random() < 0.1:
                token += "S"  # once: says nothing
            if len(line) + len(token) > width:
                break
            line += token
            at += times
            fresh, check = False, check_next
        yield line


def curve(rng, n, kind):
    if kind == "bands":
        bands = [(rng.uniform(0, n), rng.uniform(1, n / 20 + 1), rng.uniform(0.05, 1.2)) for _ in range(9)]
        return [round(1e6 * 0.9 * 10 ** -sum(h * math.exp(-((i - c) / w) ** 2) for c, w, h in bands)
                      + rng.gauss(0, 300)) for i in range(n)]
    if kind == "flat":
        out = []
        while len(out) < n:
            out += [rng.choice([0, 7, -7, 123456])] * rng.randint(1, 300)
        return out[:n]
    if kind == "small":
        return [rng.randint(-9, 9) for _ in range(n)]
    if kind == "ramp":
        return [3 * i - n for i in range(n)]
    return [rng.randint(-2 ** 31, 2 ** 31) for _ in range(n)]


def head_text(value):
    return ("%.4f" % value).rstrip("0").rstrip(".")


def write(folder, name, text, expected, encoding="latin-1"):
    with open(os.path.join(folder, name), "w", newline="", encoding=encoding) as f:
        f.write(text)
    with open(os.path.join(folder, name.rsplit(".", 1)[0] + ".json"), "w") as f:
        json.dump(expected, f)


def jcamp_case(rng, folder, name, form, n, kind, end):
    values = curve(rng, n, kind)
    if form in ("AFFN", "FIX") and rng.random() < 0.3:
        for _ in range(n // 50 + 1):
            values[rng.randrange(1, n)] = None
    yfactor = rng.choice(["1", "1E-06", "0.001", "1.2345678E-7", "0.0000000931323"])
    xfactor = rng.choice([1.0, 1.0, 0.5, 0.1234567])
    first = rng.choice([4000.0, 399.1926, 7498.123])
    last = rng.choice([400.0, 8000.25, 650.7])
    xs = [first + k * (last - first) / (n - 1) for k in range(n)]
    heads = lambda i: head_text(xs[i] / xfactor)
    width = rng.choice([80, 80, 72, 200])
    if form in ("MIX", "SQZDIF"):
        kinds = ["sqz", "dif", "pac"] if form == "MIX" else ["sqz", "dif"]
        lines = mixed_lines(rng, heads, values, kinds, width)
    elif form in ("DIF", "DIFDUP"):
        lines = difference_lines(heads, values, form == "DIFDUP", width)
    else:
        lines = plain_lines(heads, values, form, width)
    labels = [("TITLE", name), ("JCAMP-DX", "4.24"), ("DATA TYPE", "INFRARED SPECTRUM"),
              ("ORIGIN", "generated"), ("OWNER", "public domain"), ("XUNITS", "1/CM"),
              ("YUNITS", "ARBITRARY UNITS"), ("XFACTOR", repr(xfactor)), ("YFACTOR", yfactor),
              ("FIRSTX", repr(first)), ("LASTX", repr(last)), ("NPOINTS", str(n)),
              ("XYDATA", "(X++(Y..Y))")]
    text = end.join(["##%s=%s" % label for label in labels] + list(lines) + ["##END="]) + end
    factor = float(yfactor)
    write(folder, name + ".jdx", text,
          {"x": xs, "y": [None if v is None else v * factor for v in values], "form": form,
           # The other reader drops missing values, and lets a sign or an "S" change what follows.
           "npm": None not in values and form != "MIX"})


def pairs_case(rng, folder, name, n):
    xs = sorted(round(rng.uniform(400, 4000), rng.randint(0, 4)) for _ in range(n))
    xs = sorted(set(xs))
    ys = [float("%.6g" % rng.uniform(-1, 1.5)) for _ in xs]
    label = rng.choice(["XYPOINTS", "XYDATA"])  # the other reader knows the second alone
    divide = rng.choice([", ", ",", " ", "\t"])
    join = rng.choice(["\r\n", "\n", "; "])
    body = join.join("%r%s%r" % (x, divide, y) for x, y in zip(xs, ys))
    text = ("##TITLE=%s\n##JCAMP-DX=5.01\n##DATA TYPE=RAMAN SPECTRUM\n##XUNITS=1/CM\n"
            "##YUNITS=ARBITRARY UNITS\n##XFACTOR=1\n##YFACTOR=1\n##FIRSTX=%r\n##LASTX=%r\n##NPOINTS=%d\n"
            "##%s=(XY..XY)\n%s\n##END=\n" % (name, xs[0], xs[-1], len(xs), label, body))
    write(folder, name + ".jdx", text, {"x": xs, "y": ys, "form": "XY", "npm": label == "XYDATA"})


def delimited_case(rng, folder, name, n, index):
    separator, comma, encoding = [(",", False, "utf-8"), (";", True, "latin-1"), ("\t", True, "utf-16"),
                                  (" ", False, "latin-1"), ("\t", False, "utf-8-sig"), (";", False, "latin-1"),
                                  ("  ", True, "utf-16-le"), (", ", False, "latin-1")][index % 8]
    down = rng.random() < 0.5
    xs = [round(400 + 3600 * k / (n - 1), 3) for k in range(n)]
    xs = xs[::-1] if down else xs
    unit, low, high = rng.choice([("%T", 5, 99), ("Absorbance", 0, 2)])
    ys = [float("%.*f" % (rng.choice([2, 4, 5]), rng.uniform(low, high))) for _ in xs]
    for _ in range(3):
        if separator.strip() and encoding != "utf-16-le":
            ys[rng.randrange(1, n - 1)] = None
    show = lambda v: "" if v is None else (repr(v).replace(".", ",") if comma else repr(v))
    lines = ["Sample%sMade up" % (separator if separator.strip() else ": "),
             "Wavenumber (cm-1)%s%s" % (separator if separator.strip() else "  ", unit)]
    lines += [show(x) + separator + show(y) for x, y in zip(xs, ys)]
    end = rng.choice(["\r\n", "\n", "\r"])
    yunit = "absorbance" if unit == "Absorbance" else "percent transmittance"
    write(folder, name + ".csv", end.join(lines) + end,
          {"x": xs, "y": ys, "xunit": "cm-1", "yunit": yunit, "npm": False}, encoding)


def main():
    folder = sys.argv[1]
    os.makedirs(folder, exist_ok=True)
    rng = random.Random(20260302)
    count = 0
    for form in ("AFFN", "FIX", "PAC", "SQZ", "SQZDUP", "DIF", "DIFDUP", "SQZDIF", "MIX"):
        for kind in ("bands", "flat", "small", "ramp", "wild"):
            for n in (2, 3, 11, 150, 3600):
                if form == "FIX" and kind == "wild":
                    continue
                end = ["\r\n", "\n", "\r"][count % 3]
                jcamp_case(rng, folder, "%s-%s-%d" % (form.lower(), kind, n), form, n, kind, end)
                count += 1
    for i in range(24):
        pairs_case(rng, folder, "pairs-%d" % i, rng.choice([2, 5, 40, 500]))
        delimited_case(rng, folder, "delimited-%d" % i, rng.choice([7, 60, 1800]), i)
    print("%d JCAMP-DX tables, 24 tables of pairs, 24 delimited files" % count)


if __name__ == "__main__":
    main()
