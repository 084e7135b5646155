"""One spectrum as a file, for tests that need no more of it than that it is usable."""

POINTS = 1801  # 4000 to 400 cm-1 by 2


def transmittance(x):
    """Two bands on a clean baseline: a usable film."""
    return 90.0 - 60.0 / (1 + ((x - 1700) / 12.0) ** 2) - 40.0 / (1 + ((x - 1200) / 15.0) ** 2)


def jcamp(title):
    rows = []
    for start in range(0, POINTS, 6):
        xs = [4000 - 2 * i for i in range(start, min(start + 6, POINTS))]
        rows.append("%d %s" % (xs[0], " ".join("%d" % round(transmittance(x) * 100) for x in xs)))
    return "\r\n".join(["##TITLE=" + title, "##JCAMP-DX=4.24", "##DATA TYPE=INFRARED SPECTRUM",
                        "##XUNITS=1/CM", "##YUNITS=TRANSMITTANCE", "##FIRSTX=4000", "##LASTX=400",
                        "##NPOINTS=%d" % POINTS, "##XFACTOR=1", "##YFACTOR=0.0001",
                        "##DELTAX=-2", "##FIRSTY=%.4f" % (transmittance(4000) / 100),
                        "##XYDATA=(X++(Y..Y))", *rows, "##END=", ""]).encode()
