/* views/instrument_fault.h - remarks that are the instrument's are no advice to a student.
 *
 * While a notice says that an instrument has a fault (the same remark on three turns running), the
 * spectra it falls into keep the remark, but what to do about it is for staff. Inside read jobs;
 * any thread.
 */
#ifndef VIEWS_INSTRUMENT_FAULT_H
#define VIEWS_INSTRUMENT_FAULT_H

#include <cjson/cJSON.h>

#include "base/sql.h"

/* `object` is a measurement as lists show it: of its "remarks", those that are the instrument's get
 * `instrument` true and other words as advice. Database errors. */
enum wp_status wp_ease_remarks(struct wp_sql *sql, cJSON *object);

#endif
