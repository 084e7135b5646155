"""Spectra of exactly 64 KB as JCAMP-DX AFFN, each another film of another substance, and their records."""
import base64
import hashlib
import struct

import numpy

SIZE = 65536
POINTS = 7900  # at seven characters a value, with the abscissas, just under SIZE
PER_LINE = 10


def transmittance(random):
    """Percent transmittance x 10,000: a dozen Lorentzian bands on a sloping baseline, and noise."""
    x = numpy.linspace(4000.0, 400.0, POINTS)
    absorbance = 0.03 + random.uniform(-5e-6, 5e-6) * (x - 400.0)
    for _ in range(12):
        centre, width, height = random.uniform(450, 3900), random.uniform(6, 45), random.uniform(0.05, 1.0)
        absorbance += height / (1.0 + ((x - centre) / width) ** 2)
    percent = 100.0 * 10.0 ** -absorbance + random.normal(0.0, 0.03, POINTS)
    return x, numpy.rint(percent * 1e4).astype(int)


def spectrum(number):
    x, y = transmittance(numpy.random.default_rng(number))
    head = ["##TITLE=Unknown %08d" % number, "##JCAMP-DX=4.24", "##DATA TYPE=INFRARED SPECTRUM",
            "##ORIGIN=bench", "##OWNER=bench", "##XUNITS=1/CM", "##YUNITS=%T", "##RESOLUTION=4",
            "##FIRSTX=4000", "##LASTX=400", "##NPOINTS=%d" % POINTS, "##XFACTOR=1", "##YFACTOR=0.0001",
            "##FIRSTY=%.4f" % (y[0] * 1e-4), "##XYDATA=(X++(Y..Y))"]
    values = list(map(str, y.tolist()))
    rows = ["%.4f %s" % (x[i], " ".join(values[i:i + PER_LINE])) for i in range(0, POINTS, PER_LINE)]
    text = "\n".join(head + rows + ["##END="])
    room = SIZE - len(text) - 1
    if room < 0:
        raise ValueError("spectrum %d is %d bytes too long" % (number, -room))
    text = text.replace("##XYDATA", "$$ " + "." * (room - 4) + "\n##XYDATA", 1) if room >= 4 else text + " " * room
    return (text + "\n").encode()


def with_digest(body):
    """The body and its Content-Digest, worked out before any clock runs."""
    return body, "sha-256=:%s:" % base64.b64encode(hashlib.sha256(body).digest()).decode()


def write(path, spectra, fields):
    """A record for each spectrum; fields(index, digest) gives its header lines."""
    with open(path, "wb") as file:
        for index, (body, digest) in enumerate(spectra):
            head = "".join("%s: %s\r\n" % pair for pair in fields(index, digest).items()).encode()
            file.write(struct.pack("<II", len(head), len(body)) + head + body)
