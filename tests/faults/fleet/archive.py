"""What the gateway's database says, read beside it and never written."""
import os
import sqlite3
from collections import Counter, defaultdict


class Archive:
    """A picture of the archive at one moment: captures by digest, and measurements."""

    def __init__(self, data):
        path = os.path.join(data, "gateway.db")
        sql = sqlite3.connect("file:%s?mode=ro" % path, uri=True, timeout=20.0)
        try:
            self.captures = Counter(digest for digest, in sql.execute("SELECT sha256 FROM capture"))
            self.unread = {digest for digest, in
                           sql.execute("SELECT sha256 FROM object WHERE error_text IS NOT NULL")}
            self.renditions = defaultdict(set)  # measurement -> digests
            self.measurements = defaultdict(set)  # digest -> measurements
            for measurement, digest in sql.execute("SELECT measurement_id, sha256 FROM rendition"):
                self.renditions[measurement].add(digest)
                self.measurements[digest].add(measurement)
            self.persons = {measurement: set() for measurement, in sql.execute("SELECT id FROM measurement")}
            # The newest stamp itself, not the copy kept for lists.
            for measurement, person in sql.execute(
                    "SELECT s.measurement_id, p.person_id FROM stamp s JOIN stamp_person p ON p.stamp_id = s.id"
                    " WHERE s.revision = (SELECT MAX(revision) FROM stamp WHERE measurement_id = s.measurement_id)"):
                self.persons[measurement].add(person)
            self.refused = sql.execute("SELECT COALESCE(SUM(refused), 0) FROM agent").fetchone()[0]
            self.unwitnessed = sql.execute("SELECT COUNT(*) FROM agent WHERE ledger_ok = 0").fetchone()[0]
        finally:
            sql.close()
