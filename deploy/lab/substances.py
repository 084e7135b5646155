"""Infrared bands of the substances that the simulated instruments measure.

A band is (position in cm-1, height in absorbance, full width at half height in cm-1, shape), where
the height is that of a film 10 um thick ('L' Lorentzian, 'G' Gaussian). Every list names where its
positions come from. Heights marked "published" come from the same optical constants; all other
heights and every width and shape are values from memory, good enough to look right.

MYERS: absorbance maxima computed from the optical constants of Myers et al., Appl. Spectrosc. 72
(2018) 535-550 (26 C, 2 cm-1; tabulation in the public domain).
"""
from collections import namedtuple

Substance = namedtuple("Substance", "name bands plates")


def _bands(text):
    """Reads "position height width shape; ..." into tuples."""
    out = []
    for part in text.split(";"):
        position, height, width, shape = part.split()
        out.append((float(position), float(height), float(width), shape))
    return tuple(out)


# MYERS, heights published where two decimals are given.
ETHANOL = _bands("""
    3338.6 1.60 230 G; 2974.3 1.55 28 L; 2927.5 0.62 32 L; 2883.6 0.70 34 L; 1455.6 0.37 34 L;
    1380.4 0.46 34 L; 1330.3 0.2 60 L; 1274.4 0.2 40 L; 1090.4 1.29 26 L; 1050.3 2.30 20 L;
    881.2 0.74 16 L; 803.7 0.08 20 L; 661 0.35 180 G""")

# MYERS, heights of 3347 and 1030 published.
METHANOL = _bands("""
    3347.2 2.38 240 G; 2944.9 0.9 45 L; 2832.6 1.0 26 L; 1449.5 0.45 55 L; 1115.6 0.35 30 L;
    1030.0 3.50 26 L; 662 0.5 190 G""")

# MYERS, heights of 2971 and 953 published.
PROPANOL = _bands("""
    3346.5 1.5 230 G; 2971.2 2.30 22 L; 2931.5 0.6 30 L; 2883.8 0.6 30 L; 1467.6 0.5 20 L;
    1408.8 0.35 30 L; 1379.4 0.9 18 L; 1340.9 0.45 25 L; 1310.3 0.4 22 L; 1161.8 0.9 14 L;
    1129.9 1.1 14 L; 1110.9 0.7 14 L; 953.1 1.76 14 L; 817.4 0.45 12 L; 655 0.4 180 G""")

# MYERS, height of 2253.5 published.
ACETONITRILE = _bands("""
    3164 0.06 20 L; 3003 0.12 18 L; 2944 0.2 14 L; 2293.0 0.25 14 L; 2253.5 0.73 9 L;
    1443.8 0.5 40 L; 1375.7 0.4 14 L; 1039.3 0.28 16 L; 918.0 0.3 12 L; 749 0.1 14 L""")

# Positions: PNNL liquid data, public domain, DOI 10.25584/2997107.
ACETONE = _bands("""
    1715.4 2.6 20 L; 1420.4 0.5 22 L; 1363.0 1.3 14 L; 1222.2 1.6 16 L; 1092.5 0.28 16 L;
    3004 0.12 18 L; 2924 0.1 22 L""")

# MYERS, positions.
TOLUENE = _bands("""
    3086.5 0.4 14 L; 3062.3 0.45 14 L; 3027.0 0.95 12 L; 2920.0 0.65 22 L; 2872.3 0.3 20 L;
    1942.2 0.09 18 L; 1857.7 0.1 18 L; 1604.6 0.45 8 L; 1495.6 1.1 7 L; 1460.1 0.5 20 L;
    1379.1 0.2 10 L; 1178.6 0.1 8 L; 1081.4 0.25 9 L; 1030.1 0.35 9 L; 728.7 2.5 9 L;
    694.5 1.7 8 L; 464.3 0.7 8 L""")

# MYERS, positions; 3080 (aromatic C-H) and its height from memory.
NITROBENZENE = _bands("""
    3080 0.22 30 L; 1606 0.35 10 L; 1524.0 2.2 13 L; 1479 0.4 9 L; 1348.0 2.3 11 L; 1108 0.4 9 L;
    852.1 0.9 9 L; 793.4 0.6 9 L; 703.3 1.9 10 L; 681.8 0.6 9 L""")

# MYERS, heights published.
OCTANE = _bands("""
    2958.6 1.35 18 L; 2924.8 2.30 24 L; 2873.6 0.45 18 L; 2855.8 0.95 16 L; 1467.4 0.42 16 L;
    1378.6 0.22 9 L; 722.2 0.10 9 L""")

# Positions from memory, liquid film.
ETHYL_ACETATE = _bands("""
    2985 0.35 18 L; 2940 0.15 24 L; 2908 0.12 20 L; 1743 2.2 16 L; 1448 0.3 20 L; 1374 0.9 12 L;
    1241 2.4 22 L; 1098 0.3 12 L; 1048 1.2 14 L; 938 0.25 10 L; 847 0.25 10 L""")

# Positions from memory, film.
CYCLOHEXANE = _bands("""
    2928 2.3 18 L; 2853 1.4 11 L; 1450 0.75 8 L; 1258 0.18 8 L; 903 0.2 7 L; 861 0.16 7 L""")

# Querry 1987, positions from optical constants on a 10 cm-1 grid.
DIETHYL_PHTHALATE = _bands("""
    2981.7 0.3 24 L; 1728.4 1.9 20 L; 1599.8 0.16 10 L; 1450 0.25 18 L; 1369.6 0.35 12 L;
    1286.0 2.0 26 L; 1126 1.1 20 L; 1071.7 0.8 18 L; 745.4 0.7 12 L""")

# Film about 38 um thick; the heights below are those of that film, so its thickness is given as
# 10 in the model. Band minima of the standard reference material 1921b where it lists them, Ph. Eur.
# positions 2849.5 and 1942.9; 2924.3, 1493.2, 1452.6, 1181.0, 756.3 and 698.7 MYERS; 1870, 1802 and
# 1745 from memory.
POLYSTYRENE = _bands("""
    3082.3 0.5 12 L; 3060.2 0.8 13 L; 3026.0 1.5 14 L; 3001.2 0.3 9 L; 2924.3 1.9 24 L;
    2849.5 0.8 14 L; 1942.9 0.18 16 L; 1870 0.15 16 L; 1802 0.13 16 L; 1745 0.12 16 L;
    1601.3 0.85 7 L; 1583.0 0.3 6 L; 1493.2 1.7 8 L; 1452.6 1.6 10 L; 1181.0 0.2 9 L;
    1154.5 0.22 8 L; 1069.2 0.3 10 L; 1028.3 0.65 8 L; 906.6 0.35 9 L; 841.8 0.2 9 L;
    756.3 2.0 14 L; 698.7 2.8 11 L; 539.4 1.0 18 L""")

SUBSTANCES = {
    s.name: s
    for s in (
        Substance("ethanol", ETHANOL, "NaCl"),
        Substance("methanol", METHANOL, "NaCl"),
        Substance("2-propanol", PROPANOL, "NaCl"),
        Substance("acetonitrile", ACETONITRILE, "NaCl"),
        Substance("acetone", ACETONE, "NaCl"),
        Substance("toluene", TOLUENE, "NaCl"),
        Substance("nitrobenzene", NITROBENZENE, "NaCl"),
        Substance("octane", OCTANE, "NaCl"),
        Substance("ethyl acetate", ETHYL_ACETATE, "NaCl"),
        Substance("cyclohexane", CYCLOHEXANE, "NaCl"),
        Substance("diethyl phthalate", DIETHYL_PHTHALATE, "NaCl"),
        Substance("polystyrene film", POLYSTYRENE, None),
    )
}

# Water vapour at 4 cm-1: positions from a published vapour spectrum of the US EPA, +/- 1.5 cm-1.
VAPOUR = (
    3904.4, 3882.7, 3867.2, 3854.3, 3840.9, 3819.1, 3801.9, 3749.6, 3737.1, 3725.5, 3713.4, 3690.3,
    3674.3, 3650.3, 3630.2, 3589.2, 3567.5, 3547.3, 3526.3, 1869.5, 1845.6, 1772.7, 1749.4, 1734.0,
    1717.7, 1699.5, 1684.8, 1673.5, 1651.8, 1558.2, 1542.4, 1521.5, 1509.6, 1489.7, 1474.8, 1458.0,
    1435.2, 1418.5, 1397.5, 1339.2)

# Carbon dioxide at 4 cm-1: the doublet and the bend, positions from memory; heights are relative.
CARBON_DIOXIDE = ((2361.0, 1.0, 18.0), (2340.0, 0.85, 20.0), (667.5, 0.4, 5.0))


def strongest(name, count=6, low=680.0, apart=25.0):
    """Positions of a substance's strongest bands, for whoever must recognise its spectrum.

    Bands below `low` (plate cut-off), broader than 100 cm-1, or within `apart` of a stronger one
    are passed over.
    """
    found = []
    for position, _, width, _ in sorted(SUBSTANCES[name].bands, key=lambda b: -b[1]):
        if position < low or width > 100.0:
            continue
        if all(abs(position - other) >= apart for other in found):
            found.append(position)
        if len(found) == count:
            break
    return found
