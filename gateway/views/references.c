#include "views/references.h"

#include "base/accession.h"
#include "rows.h"

/* ?1: the measurement whose course counts. The bits are demonstrator and instructor. */
#define REFERENCES                                                                                 \
    " FROM measurement m JOIN section n ON n.id = m.section_id JOIN section x ON "                 \
    "x.course_id = n.course_id JOIN measurement r ON r.section_id = x.id JOIN stamp s ON "         \
    "s.id = r.stamp_id WHERE m.id = ?1 AND r.id <> m.id AND r.unclaimed = 0 AND "                  \
    "s.kind IN ('standard', 'demonstration') AND EXISTS (SELECT 1 FROM owned o WHERE "             \
    "o.measurement_id = r.id) AND NOT EXISTS (SELECT 1 FROM owned o WHERE "                        \
    "o.measurement_id = r.id AND NOT EXISTS (SELECT 1 FROM section_staff t JOIN section y ON "     \
    "y.id = t.section_id WHERE y.course_id = n.course_id AND t.person_id = o.person_id AND "       \
    "(t.roles & 6) <> 0)) "

enum wp_status wp_add_references(struct wp_sql *sql, int64_t measurement, cJSON *object)
{
    enum wp_status status = wp_add_rows(
        sql, object, "references",
        "SELECT r.id, r.accession AS number, s.sample, r.measured_us, r.technique" REFERENCES
        "ORDER BY r.id DESC LIMIT ?2",
        "ii", measurement, (int64_t)WP_REFERENCES_MOST);
    cJSON *row = NULL;
    cJSON_ArrayForEach(row, cJSON_GetObjectItemCaseSensitive(object, "references"))
    {
        char accession[WP_ACCESSION_ROOM];
        cJSON *number = cJSON_DetachItemFromObjectCaseSensitive(row, "number");
        wp_accession_format((uint64_t)cJSON_GetNumberValue(number), accession);
        cJSON_Delete(number);
        if (!cJSON_AddStringToObject(row, "accession", accession))
            status = WP_NO_MEMORY;
    }
    return status;
}

enum wp_status wp_reference_of(struct wp_sql *sql, int64_t measurement, int64_t other)
{
    int64_t found = 0;
    return wp_sql_int(sql, &found, "SELECT 1" REFERENCES "AND r.id = ?2", "ii", measurement, other);
}
