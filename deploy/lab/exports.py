"""Writers for the export dialects of four makes of instrument. Each gives the bytes of one file.

`zone` is the instrument PC's time zone (None: this machine's): most programs write local time
without saying which.
"""
LINE = 80  # longest line of a JCAMP-DX file


def _affn_rows(first, step, values):
    """(X++(Y..Y)) rows: an abscissa, then as many ordinates as fit."""
    row, k0 = "", 0
    for k, value in enumerate(values):
        word = " %d" % value
        if row and len(row) + len(word) > LINE - 2:
            yield row
            row = ""
        if not row:
            k0 = k
            row = "%.4f" % (first + k0 * step)
        row += word
    yield row


def _pseudo(value, positive, negative):
    """A number whose sign and first digit are one pseudo-digit."""
    digits = str(abs(value))
    table = negative if value < 0 else positive
    return table[int(digits[0])] + digits[1:]


def _squeezed(value):
    return _pseudo(value, "@ABCDEFGHI", "@abcdefghi")


def _difference(value):
    return _pseudo(value, "%JKLMNOPQR", "%jklmnopqr")


def _repeated(count):
    digits = str(count)
    return "_STUVWXYZs"[int(digits[0])] + digits[1:]


def _difdup_rows(first, step, values):
    """Difference form with repeats. A row starts with the last row's last ordinate as its check."""
    k = 0
    while True:
        row = "%.4f" % (first + k * step) + _squeezed(values[k])
        last, run = None, 0
        while k + 1 < len(values):
            delta = values[k + 1] - values[k]
            if delta == last:
                word = ""
            else:
                word = (_repeated(run) if run > 1 else "") + _difference(delta)
            # Four characters are kept free for the repeat count that closes the row.
            if len(row) + len(word) > LINE - 6:
                break
            row += word
            run = run + 1 if delta == last else 1
            last = delta
            k += 1
        yield row + (_repeated(run) if run > 1 else "")
        if k + 1 == len(values):
            # The closing row holds nothing but the check of a row that ends in a difference.
            if last is not None:
                yield "%.4f" % (first + k * step) + _squeezed(values[k])
            return


def _jcamp(labels, rows):
    lines = ["##%s=%s" % (name, " " + str(value) if value != "" else "") for name, value in labels]
    return ("\r\n".join(lines + list(rows) + ["##END="]) + "\r\n").encode("ascii", "replace")


def _ends(x, y):
    return [
        ("FIRSTX", "%.4f" % x[0]), ("LASTX", "%.4f" % x[-1]),
        ("MAXX", "%.4f" % max(x)), ("MINX", "%.4f" % min(x)),
        ("MAXY", "%.6f" % max(y)), ("MINY", "%.6f" % min(y)),
        ("NPOINTS", len(x)), ("FIRSTY", "%.6f" % y[0]),
    ]


def jcamp_affn(spectrum, zone=None):
    """JCAMP-DX 4.24, fixed form, percent transmittance, wavenumbers rising; date and time apart."""
    x, y = spectrum.x[::-1], [round(t * 1e6) for t in reversed(spectrum.t)]
    step = (x[-1] - x[0]) / (len(x) - 1)
    local = spectrum.measured.astimezone(zone)
    factor = 0.0001
    labels = [
        ("TITLE", spectrum.title), ("JCAMP-DX", "4.24"), ("DATA TYPE", "INFRARED SPECTRUM"),
        ("ORIGIN", "Teaching laboratory"), ("OWNER", "Teaching laboratory"),
        ("DATE", local.strftime("%y/%m/%d")), ("TIME", local.strftime("%H:%M:%S")),
        ("SPECTROMETER/DATA SYSTEM", "FT bench, DTGS detector"),
        ("INSTRUMENT PARAMETERS", "%d scans; gain 1" % spectrum.scans),
        ("SAMPLING PROCEDURE", "transmission"),
        ("RESOLUTION", "%.1f" % spectrum.resolution),
        ("XUNITS", "1/CM"), ("YUNITS", "%T"),
        ("XFACTOR", "1"), ("YFACTOR", "%g" % factor), ("DELTAX", "%.6f" % step),
    ]
    labels += _ends(x, [v * factor for v in y]) + [("XYDATA", "(X++(Y..Y))")]
    return _jcamp(labels, _affn_rows(x[0], step, y))


def jcamp_difdup(spectrum, zone=None):
    """JCAMP-DX 5.01, difference and repeat form, absorbance, wavenumbers falling; long date with zone."""
    factor = 2.0 ** -16
    x, y = spectrum.x, [round(a / factor) for a in spectrum.absorbance()]
    step = (x[-1] - x[0]) / (len(x) - 1)
    stamp = spectrum.measured.astimezone(zone).strftime("%Y/%m/%d %H:%M:%S.00 %z")
    labels = [
        ("TITLE", spectrum.title), ("JCAMP-DX", "5.01  $$ exported by the bench program"),
        ("DATA TYPE", "INFRARED SPECTRUM"), ("DATA CLASS", "XYDATA"),
        ("ORIGIN", "Undergraduate laboratory"), ("OWNER", "PUBLIC DOMAIN"),
        ("LONG DATE", stamp), ("SAMPLE DESCRIPTION", spectrum.title),
        ("$SCANS", spectrum.scans),
        ("RESOLUTION", "%g" % spectrum.resolution),
        ("XUNITS", "1/CM"), ("YUNITS", "ABSORBANCE"),
        ("XFACTOR", "1.000000"), ("YFACTOR", repr(factor)), ("DELTAX", "%.8f" % step),
    ]
    labels += _ends(x, [v * factor for v in y]) + [("XYDATA", "(X++(Y..Y))")]
    return _jcamp(labels, _difdup_rows(x[0], step, y))


def _comma(text):
    return text.replace(".", ",")


def delimited_comma(spectrum, zone=None):
    """Semicolons between, decimal commas; wavenumbers falling, percent transmittance; a short header."""
    local = spectrum.measured.astimezone(zone)
    lines = [
        "Sample;%s" % spectrum.title, "Date;%s" % local.strftime("%d.%m.%Y"),
        "Time;%s" % local.strftime("%H:%M:%S"), "Temperature;22,5 \u00b0C",
        "Resolution;%s" % _comma("%.1f" % spectrum.resolution), "Scans;%d" % spectrum.scans,
        "cm-1;%T",
    ]
    lines += ["%s;%s" % (_comma("%.3f" % x), _comma("%.4f" % (100.0 * t)))
              for x, t in zip(spectrum.x, spectrum.t)]
    return ("\r\n".join(lines) + "\r\n").encode("iso-8859-1", "replace")


def tabbed_micrometres(spectrum, zone=None):
    """Tabs between, wavelengths in micrometres rising, transmittance as a fraction; one heading line."""
    lines = ["Wavelength (um)\tTransmittance"]
    lines += ["%.7f\t%.6f" % (1e4 / x, t) for x, t in zip(spectrum.x, spectrum.t)]
    return ("\n".join(lines) + "\n").encode("ascii")
