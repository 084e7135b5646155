"""A plain reader of the four export dialects, written apart from their writers (deploy/lab/exports.py).

Returns (wavenumbers, transmittances as fractions). JCAMP-DX after McDonald and Wilks, Appl.
Spectrosc. 42 (1988) 151: a check that fails is an error.
"""
import re

_SQZ = {c: ("+", d) for d, c in enumerate("@ABCDEFGHI")}
_SQZ.update({c: ("-", d) for d, c in enumerate("@abcdefghi") if c != "@"})
_DIF = {c: ("+", d) for d, c in enumerate("%JKLMNOPQR")}
_DIF.update({c: ("-", d) for d, c in enumerate("%jklmnopqr") if c != "%"})
_DUP = {c: d for d, c in enumerate(" STUVWXYZs") if c != " "}

_TOKEN = re.compile(r"[@A-Ia-i%J-Rj-rS-Zs]\d*|[+-]?\d+(?:\.\d*)?")


def _row(line):
    """One table row -> (abscissa, [ordinates], whether the last one came as a difference)."""
    tokens = _TOKEN.findall(line)
    abscissa, values, last, difference = float(tokens[0]), [], None, 0
    for token in tokens[1:]:
        head, tail = token[0], token[1:]
        if head in _DUP:
            for _ in range(int(str(_DUP[head]) + tail) - 1):
                values.append(values[-1] + (difference if last == "DIF" else 0))
        elif head in _DIF:
            sign, digit = _DIF[head]
            difference, last = int(sign + str(digit) + tail), "DIF"
            values.append(values[-1] + difference)
        else:
            sign, digit = _SQZ.get(head, ("", head))
            values.append(int(sign + str(digit) + tail))
            last = "value"
    return abscissa, values, last == "DIF"


def ordinates(rows, first, step):
    """The integers of a (X++(Y..Y)) table; checks every row's abscissa and the repeated ordinates."""
    out, relayed = [], False
    for line in rows:
        abscissa, values, difference = _row(line)
        if relayed:
            if values[0] != out[-1]:
                raise ValueError("Y check: %d after %d in %r" % (values[0], out[-1], line))
            values = values[1:]
            at = len(out) - 1
        else:
            at = len(out)
        if abs(abscissa - (first + at * step)) > 1e-3:
            raise ValueError("X check: %r at point %d" % (line, at))
        out += values
        relayed = difference
    return out


def jcamp(data):
    text = data.decode("ascii")
    labels = dict(re.findall(r"^##([^=]*)=[ ]?(.*?)\r?$", text, re.M))
    if not text.startswith("##TITLE=") or not text.rstrip().endswith("##END="):
        raise ValueError("not one whole block")
    if max(map(len, text.splitlines())) > 80:
        raise ValueError("a line is longer than 80 characters")
    rows = text.split("##XYDATA= (X++(Y..Y))\r\n")[1].split("##END=")[0].splitlines()
    first, last, count = float(labels["FIRSTX"]), float(labels["LASTX"]), int(labels["NPOINTS"])
    step = (last - first) / (count - 1)
    values = [v * float(labels["YFACTOR"]) for v in ordinates(rows, first, step)]
    if len(values) != count:
        raise ValueError("%d points instead of %d" % (len(values), count))
    if labels["YUNITS"] == "ABSORBANCE":
        values = [10.0 ** -v for v in values]
    else:
        values = [v / 100.0 for v in values]
    return [first + k * step for k in range(count)], values


def comma(data):
    lines = data.decode("iso-8859-1").splitlines()
    begin = lines.index("cm-1;%T") + 1
    pairs = [[float(w.replace(",", ".")) for w in line.split(";")] for line in lines[begin:]]
    return [x for x, _ in pairs], [y / 100.0 for _, y in pairs]


def micrometres(data):
    pairs = [[float(w) for w in line.split("\t")] for line in data.decode("ascii").splitlines()[1:]]
    return [1e4 / x for x, _ in pairs], [y for _, y in pairs]
