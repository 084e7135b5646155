"""Compares what was written with what is archived: lost, doubled, foreign, wrongly stamped, merged."""
from collections import Counter

from .written import owed

# The settling time (0.4 s) and what an agent on a busy machine takes to start and to notice a file.
LEAST_SECONDS = 2.5


class Comparison:
    """faults: one line each. counts: what was found, for the summary."""

    def __init__(self, record, targets, archive, least=LEAST_SECONDS):
        self.faults, self.counts = [], Counter()
        self.record, self.targets, self.archive = record, targets, archive
        with record.lock:
            self._captures(least)
            self._measurements()
        if archive.refused:
            self.faults.append("%d captures were refused by the gateway" % archive.refused)
        if archive.unwitnessed:
            self.faults.append("%d agents miss a ledger entry they witnessed" % archive.unwitnessed)

    def missing(self):
        return self.counts["lost"]

    def _fault(self, kind, text):
        self.counts[kind] += 1
        self.faults.append("%s: %s" % (kind, text))

    def _captures(self, least):
        for digest, writes in self.record.by_digest.items():
            due = sum(owed(write, self.targets[write.instrument].lives, least)
                      for write in writes if write.whole)
            found = self.archive.captures[digest]
            self.counts["written"] += len(writes)
            self.counts["owed"] += due
            self.counts["captured"] += found
            if found < due:
                self._fault("lost", "%s of %s: %d owed, %d archived (%s)"
                            % (writes[0].path, writes[0].instrument, due, found, digest.hex()))
            if found > len(writes):
                self._fault("doubled", "%s of %s: written %d times, archived %d times (%s)"
                            % (writes[0].path, writes[0].instrument, len(writes), found, digest.hex()))
        for digest in self.archive.captures:
            if digest in self.record.partial:
                self.counts["partial"] += 1
            elif digest not in self.record.by_digest:
                self._fault("foreign", "%s was never written" % digest.hex())

    def _spectrum(self, digest):
        """(spectrum, person, whole) of the bytes; None for bytes that nobody wrote."""
        writes = self.record.by_digest.get(digest)
        if writes:
            return writes[0].spectrum, writes[0].person, True
        spectrum = self.record.partial.get(digest)
        if spectrum is None:
            return None
        whole = [w for w in self.record.writes if w.spectrum == spectrum]
        return spectrum, whole[0].person if whole else None, False

    def _measurements(self):
        of_spectrum = {}
        partial = set()
        for measurement, digests in self.archive.renditions.items():
            known = [found for found in map(self._spectrum, digests) if found]
            spectra = {found[0] for found in known}
            self.counts["measurements"] += 1
            if len(spectra) > 1:
                self._fault("merged", "measurement %d holds the spectra %s" % (measurement, sorted(spectra)))
            if any(not found[2] for found in known):
                partial |= spectra
            for spectrum in spectra:
                of_spectrum.setdefault(spectrum, set()).add(measurement)
            self._stamp(measurement, {found[1] for found in known if found[1]})
        for spectrum, measurements in of_spectrum.items():
            if len(measurements) > 1 and spectrum not in partial:
                self._fault("split", "spectrum %d became %d measurements" % (spectrum, len(measurements)))
        for digest in self.record.by_digest:
            if self.archive.captures[digest] and not self.archive.measurements.get(digest):
                self._fault("unread", "%s was archived without a measurement" % digest.hex())

    def _stamp(self, measurement, persons):
        stamped = self.archive.persons[measurement]
        self.counts["stamped" if stamped else "unclaimed"] += 1
        if stamped and stamped != persons:
            self._fault("wrongly stamped", "measurement %d has the persons %s, measured by %s"
                        % (measurement, sorted(stamped), sorted(persons)))
