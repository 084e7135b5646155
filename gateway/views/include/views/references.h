/* views/references.h - the spectra that a course shows to all who take it.
 *
 * A reference is a standard or a demonstration of the same course whose persons all demonstrate or
 * instruct in that course. Students may have it drawn behind their own spectrum, by number, sample
 * and date; nothing else of it is opened to them. Inside read jobs; any thread.
 */
#ifndef VIEWS_REFERENCES_H
#define VIEWS_REFERENCES_H

#include <cjson/cJSON.h>

#include "base/sql.h"

#define WP_REFERENCES_MOST 20 /* listed, the newest */

/* Adds "references" to `object`: [{id, accession, sample, measured_us, technique}], empty where
 * `measurement` is of no course. WP_NO_MEMORY, or a database error. */
enum wp_status wp_add_references(struct wp_sql *sql, int64_t measurement, cJSON *object);

/* WP_OK if `other` is a reference of the course of `measurement`; else WP_NOT_FOUND. */
enum wp_status wp_reference_of(struct wp_sql *sql, int64_t measurement, int64_t other);

#endif
