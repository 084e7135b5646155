"""Fills a gateway's database with measurements of years past, by SQL in its own tables.

For benches alone: what comes in through the gateway is examined, this is not. 50 measurements a student,
20 students a section, 10 experiments a course, so that a list has the same length however many there are;
every measurement has its object, capture, rendition with a print, turn, stamp, owner, two ledger entries
and the examination of a real one. Their ids rise with time, over the last three years."""
import sqlite3
import time

EACH = 50  # measurements of a student
FIRST_ID = 1 << 40  # below every id that a gateway makes today (base/id.h)
EPOCH_2024 = 1704067200000000
ACCESSION = 100000

STEPS = (
    ("person", """INSERT INTO person (id, login, given, family, created_us)
        SELECT :first + i, 'student' || i, 'Given' || i, 'Family' || i, :then FROM n WHERE i < :count / 50"""),
    ("course", """INSERT INTO course (id, code, title, created_us)
        SELECT :first + i, 'OLD ' || i, 'Years past', :then FROM n WHERE i < 10"""),
    ("section", """INSERT INTO section (id, course_id, code, created_us)
        SELECT :first + i, :first + i % 10, 's' || i, :then FROM n WHERE i < :count / 1000"""),
    ("enrolled", """INSERT INTO enrolled (section_id, person_id, number, from_us)
        SELECT :first + i / 20, :first + i, 'n' || i, :then FROM n WHERE i < :count / 50"""),
    ("experiment", """INSERT INTO experiment (id, course_id, code, title, expected)
        SELECT :first + i, :first + i % 10, 'E' || (i / 10), 'Old experiment', 5 FROM n WHERE i < 100"""),
    ("turn", """INSERT INTO turn (id, instrument_id, section_id, experiment_id, sample, opened_us, closed_us, source)
        SELECT :first + i, (SELECT id FROM load_instrument WHERE n = i % 32),
               :first + i % (:count / 50) / 20, :first + i % (:count / 50) / 20 % 10 + i / (:count / 50) * 10, 'unknown',
               :then + i * :step * 5, :then + i * :step * 5 + 600000000, 'bench' FROM n WHERE i < :count / 5"""),
    ("turn_person", """INSERT INTO turn_person (turn_id, person_id)
        SELECT :first + i, :first + i % (:count / 50) FROM n WHERE i < :count / 5"""),
    ("object", """INSERT INTO object (sha256, size, state, format, first_us)
        SELECT digest, 65536, 'stored', 'jcamp-dx', :then FROM load_digest"""),
    ("ledger", """INSERT INTO ledger (number, at_us, actor, actor_id, verb, subject, hash)
        SELECT :number + 1 + i, :then + i * :step / 2, 0, 0, 'capture', 'capture:' || (:first + i), randomblob(32)
        FROM n WHERE i < :count * 2"""),
    ("capture", """INSERT INTO capture (id, agent_id, number, sha256, instrument_id, path, mtime_us, captured_us,
               steady_us, boot_id, corrected_us, received_us, ledger_number, ledger_hash)
        SELECT :first + i, 1, i + 1, digest, (SELECT id FROM load_instrument WHERE n = i % 32),
               'IR/' || i || '.jdx', :then + i * :step, :then + i * :step, 1, 'old', :then + i * :step,
               :then + i * :step, :number + 1 + 2 * i, zeroblob(32) FROM load_digest"""),
    ("measurement", """INSERT INTO measurement (id, accession, instrument_id, turn_id, capture_id, title, technique,
               measured_us, time_source, verdict, examination, kept, counts, stamp_id, section_id, experiment_id,
               unclaimed)
        SELECT :first + i * 4096, :accession + i, (SELECT id FROM load_instrument WHERE n = i % 32),
               :first + i / 5, :first + i, 'Unknown ' || i, 'infrared', :then + i * :step, 'export', 'usable',
               :examination, 'kept', i % 5 = 4, :first + i, :first + i / 5 % (:count / 50) / 20,
               :first + i / 5 % (:count / 50) / 20 % 10 + i / 5 / (:count / 50) * 10, 0 FROM n WHERE i < :count"""),
    ("rendition", """INSERT INTO rendition (id, measurement_id, instrument_id, capture_id, sha256, block, format,
               points, print, added_us)
        SELECT :first + i, :first + i * 4096, (SELECT id FROM load_instrument WHERE n = i % 32),
               :first + i, digest, 1, 'jcamp-dx', 7900, :print, :then + i * :step FROM load_digest"""),
    ("stamp", """INSERT INTO stamp (id, measurement_id, revision, section_id, experiment_id, sample, rule, author,
               author_id, at_us)
        SELECT :first + i, :first + i * 4096, 1, :first + i / 5 % (:count / 50) / 20,
               :first + i / 5 % (:count / 50) / 20 % 10 + i / 5 / (:count / 50) * 10, 'unknown', 'turn', 0, 0,
               :then + i * :step FROM n WHERE i < :count"""),
    ("stamp_person", """INSERT INTO stamp_person (stamp_id, person_id)
        SELECT :first + i, :first + i / 5 % (:count / 50) FROM n WHERE i < :count"""),
    ("owned", """INSERT INTO owned (person_id, measurement_id)
        SELECT :first + i / 5 % (:count / 50), :first + i * 4096 FROM n WHERE i < :count"""),
)


def fill(database, count):
    """Adds `count` (a multiple of 1,000) to a database whose gateway is down and which holds one measurement."""
    sql = sqlite3.connect(database, isolation_level=None)
    sql.executescript("PRAGMA synchronous = OFF; PRAGMA cache_size = -2000000; PRAGMA temp_store = MEMORY;")
    examination, shape = sql.execute("SELECT m.examination, r.print FROM measurement m JOIN rendition r "
                                     "ON r.measurement_id = m.id LIMIT 1").fetchone()
    span = time.time_ns() // 1000 - EPOCH_2024 - 86400000000
    values = {"count": count, "first": FIRST_ID, "then": EPOCH_2024, "step": span // count,
              "accession": ACCESSION, "examination": examination, "print": shape,
              "number": sql.execute("SELECT max(number) FROM ledger").fetchone()[0]}
    sql.execute("BEGIN")
    sql.execute("CREATE TEMP TABLE load_digest AS WITH RECURSIVE n (i) AS (SELECT 0 UNION ALL SELECT i + 1 FROM n "
                "WHERE i + 1 < ?) SELECT i, randomblob(32) AS digest FROM n", (count,))
    sql.execute("CREATE TEMP TABLE load_instrument AS SELECT row_number() OVER (ORDER BY id) - 1 AS n, id FROM instrument")
    for _, text in STEPS:
        sql.execute("WITH RECURSIVE n (i) AS (SELECT 0 UNION ALL SELECT i + 1 FROM n WHERE i + 1 < :count * 2) "
                    + text if " FROM n " in text or "FROM n\n" in text else text,
                    {name: value for name, value in values.items() if ":" + name in text or name == "count"})
    sql.execute("UPDATE sequence SET next = ? WHERE name = 'accession'", (ACCESSION + count + 1,))
    sql.execute("COMMIT")
    sql.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    sql.close()
