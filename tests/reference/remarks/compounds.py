"""Made-up compounds of many classes, from group frequencies.

Positions follow published tables of characteristic absorptions (university and encyclopedia tables of
group frequencies); heights and widths are drawn at random within what such bands usually show
(common practice, no source). Four classes use published liquid lists instead (Myers et al., Appl.
Spectrosc. 72 (2018) 535). A band is (position cm-1, height relative to the strongest, width cm-1)."""

ALKYL = [(2957, 3, .7, 24), (2925, 3, .8, 26), (2872, 3, .45, 18), (2855, 3, .5, 18),
         (1465, 4, .35, 16), (1379, 3, .2, 12)]
SKELETON = [(1300, 40, .1, 14), (1150, 30, .15, 18), (1060, 30, .15, 18), (890, 30, .1, 14)]


class Maker:
    def __init__(self, rng):
        self.rng = rng

    def bands(self, groups):
        """(position, spread, height, width) rows, each varied at random."""
        out = []
        for position, spread, height, width in groups:
            out.append((self.rng.normal(position, spread / 2), height * self.rng.uniform(.6, 1.4),
                        width * self.rng.uniform(.8, 1.3)))
        return out

    def fingerprint(self, count, most=.4):
        return [(self.rng.uniform(620, 1480), most * self.rng.beta(1.2, 3),
                 self.rng.uniform(7, 22)) for _ in range(count)]

    def alkyl(self, share):
        return [(p, h * share, w) for p, h, w in self.bands(ALKYL)]


def alkane(m):
    return m.alkyl(1) + m.bands([(722, 3, .12, 8)]) + m.fingerprint(4, .05)


def alcohol(m):
    return m.alkyl(.6) + m.bands([(3340, 30, .65, 270), (1050, 50, .9, 34), (1100, 40, .5, 34),
                                  (660, 20, .15, 150)]) + m.fingerprint(8, .3)


def phenol(m):
    return m.bands([(3300, 50, .6, 300), (3040, 15, .15, 25), (1600, 6, .5, 12), (1500, 8, .8, 10),
                    (1235, 20, .9, 45), (1170, 15, .4, 14), (755, 20, .8, 14), (692, 6, .5, 12)]) \
        + m.fingerprint(8)


def acid(m):
    return m.alkyl(.35) + m.bands([(3020, 60, .45, 560), (2650, 40, .12, 120), (1705, 12, 1, 30),
                                   (1420, 12, .3, 28), (1285, 25, .5, 40), (935, 12, .25, 70)]) \
        + m.fingerprint(7, .3)


def ester(m):
    return m.alkyl(.35) + m.bands([(1742, 8, 1, 18), (1240, 12, .95, 28), (1170, 20, .5, 25),
                                   (1045, 20, .5, 22)]) + m.fingerprint(9, .3)


def ketone(m):
    return m.alkyl(.4) + m.bands([(1715, 8, 1, 18), (1362, 6, .4, 16), (1200, 30, .4, 20)]) \
        + m.fingerprint(8, .3)


def aldehyde(m):
    return m.alkyl(.35) + m.bands([(2820, 10, .25, 20), (2720, 10, .25, 20), (1727, 10, 1, 20)]) \
        + m.fingerprint(8, .3)


def nitrile(m):
    return m.alkyl(.7) + m.bands([(2248, 6, .5, 12), (1426, 6, .4, 18)]) + m.fingerprint(7, .3)


def amide(m):
    return m.alkyl(.3) + m.bands([(3300, 25, .55, 130), (3190, 30, .4, 140), (1656, 10, 1, 42),
                                  (1620, 14, .5, 34), (1410, 20, .4, 24)]) + m.fingerprint(8, .3)


def amine(m):
    return m.alkyl(.7) + m.bands([(3370, 20, .3, 70), (3290, 20, .25, 70), (1605, 12, .4, 50),
                                  (1080, 30, .3, 30), (810, 40, .5, 130)]) + m.fingerprint(6, .3)


def chlorinated(m):
    return m.alkyl(.3) + m.bands([(1265, 12, .4, 16), (740, 25, 1, 18), (690, 25, .6, 16),
                                  (1430, 12, .25, 14)]) + m.fingerprint(6, .3)


def aromatic(m):
    return m.alkyl(.3) + m.bands([(3062, 5, .35, 14), (3028, 5, .5, 13), (1605, 5, .3, 9),
                                  (1496, 4, .7, 8), (1453, 5, .5, 12), (1081, 8, .2, 9),
                                  (1030, 5, .25, 8), (740, 20, 1, 12), (697, 4, .9, 9),
                                  (1945, 15, .06, 20), (1865, 20, .05, 20), (1800, 20, .05, 20)]) \
        + m.fingerprint(6, .2)


def nitro(m):
    return m.bands([(3085, 15, .25, 16), (1525, 8, 1, 18), (1348, 6, .95, 14), (852, 10, .4, 10),
                    (704, 8, .6, 12), (1607, 6, .3, 11)]) + m.fingerprint(7, .3)


def alkene(m):
    return m.alkyl(.6) + m.bands([(3080, 6, .3, 16), (1642, 6, .35, 12), (992, 4, .4, 10),
                                  (909, 3, .8, 10)]) + m.fingerprint(6, .2)


def alkyne(m):
    return m.alkyl(.7) + m.bands([(3307, 6, .8, 26), (2118, 6, .15, 10), (632, 10, .8, 40)]) \
        + m.fingerprint(6, .2)


def ether(m):
    return m.alkyl(.7) + m.bands([(1115, 14, 1, 30), (1245, 20, .5, 24)]) + m.fingerprint(8, .3)


def silicone(m):
    return m.bands([(2964, 2, .3, 22), (2905, 2, .05, 16), (1412, 2, .1, 22), (1261, 2, .8, 16),
                    (1093, 4, .8, 62), (1022, 4, .8, 48), (800, 3, 1, 30), (865, 3, .15, 22),
                    (700, 5, .1, 24)])


def polyester(m):
    return m.bands([(2965, 6, .15, 30), (1722, 5, 1, 24), (1410, 4, .25, 12), (1340, 4, .3, 16),
                    (1265, 8, 1, 50), (1120, 6, .6, 30), (1100, 6, .7, 40), (1018, 3, .4, 10),
                    (872, 3, .25, 10), (727, 3, .9, 12)]) + m.fingerprint(4, .1)


def polystyrene_like(m):
    return m.bands([(3082, 2, .25, 12), (3060, 2, .4, 12), (3026, 2, .75, 12), (3001, 2, .2, 10),
                    (2923, 3, .9, 34), (2850, 2, .4, 18), (1943, 3, .1, 22), (1870, 3, .1, 22),
                    (1802, 3, .08, 22), (1601, 1, .35, 8), (1583, 1, .1, 8), (1493, 1, .8, 8),
                    (1452, 1, .7, 12), (1181, 2, .06, 12), (1154, 2, .07, 10), (1069, 2, .15, 12),
                    (1028, 1, .25, 9), (907, 2, .15, 12), (756, 2, .8, 14), (698, 2, 1, 12),
                    (540, 4, .4, 22)])


def nylon_like(m):
    return m.alkyl(.4) + m.bands([(3300, 4, .7, 70), (3080, 5, .12, 50), (1640, 4, 1, 34),
                                  (1545, 4, .8, 44), (1265, 8, .2, 24), (690, 12, .25, 90)]) \
        + m.fingerprint(5, .15)


def phthalate(m):
    return m.alkyl(.4) + m.bands([(1728, 3, 1, 24), (1599, 2, .1, 10), (1580, 2, .1, 10),
                                  (1286, 4, 1, 45), (1123, 4, .55, 34), (1072, 4, .45, 16),
                                  (1040, 3, .2, 12), (745, 4, .3, 18)]) + m.fingerprint(5, .1)


def aryl_ether(m):
    return m.bands([(2835, 4, .2, 14), (1600, 4, .7, 12), (1497, 4, .9, 12), (1300, 5, .35, 12),
                    (1246, 6, 1, 22), (1172, 5, .4, 12), (1040, 5, .6, 14), (755, 10, .8, 12),
                    (691, 4, .5, 9)]) + m.fingerprint(5, .2)


CLASSES = {f.__name__: f for f in (
    alkane, alcohol, phenol, acid, ester, ketone, aldehyde, nitrile, amide, amine, chlorinated,
    aromatic, nitro, alkene, alkyne, ether, silicone, polyester, polystyrene_like, nylon_like,
    phthalate, aryl_ether)}
LIQUIDS = ["alkane", "alcohol", "acid", "ester", "ketone", "aldehyde", "nitrile", "amine",
           "chlorinated", "aromatic", "nitro", "alkene", "alkyne", "ether", "silicone", "phthalate",
           "aryl_ether"]
SOLIDS = ["acid", "amide", "phenol", "ester", "ketone", "aromatic", "nitro", "amine", "aryl_ether",
          "alcohol"]
POLYMERS = ["polyester", "polystyrene_like", "nylon_like", "silicone"]
