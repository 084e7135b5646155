/* views/classes.h - around a class: are its instruments ready, and who has what when it ends.
 *
 * From half an hour before a class its instruments are looked at: the PC heard, nothing waiting on
 * it, its folders reached, the printer it prints at, a film check of today that failed, an open
 * fault. Any of these makes an instrument *not ready*. That there was no film check today, and how
 * old the newest background is, is told beside it and makes nothing red: many labs check weekly.
 * From ten minutes before its end until an hour after it: who has a usable spectrum of this class,
 * who fewer than the experiment expects, who should run again, who has nothing, how long the rest
 * would take on the instruments that are ready and free, and how much paper lies at which printer.
 *
 * Computed when asked; thresholds are common practice, no source. Inside read or write jobs.
 */
#ifndef VIEWS_CLASSES_H
#define VIEWS_CLASSES_H

#include "base/clock.h"
#include "views/measurements.h"

#define WP_CLASS_BEFORE (30 * WP_MINUTE)
#define WP_CLASS_ENDING (10 * WP_MINUTE)
#define WP_CLASS_AFTER WP_HOUR

/* Adds "instruments" of the section's place to `object` [{id, name, ready, problems, notes}] and
 * "text": "Instruments for CHM 221-A at 14:00: IR-1 ready, IR-2 not: no paper at 214-B." `*red`:
 * one is not ready. `meeting` is the id in table meeting. */
enum wp_status wp_class_readiness(struct wp_sql *sql, int64_t meeting, int64_t now, cJSON *object,
                                  bool *red);

/* Adds "ending" to `object`. */
enum wp_status wp_class_ending(struct wp_sql *sql, int64_t meeting, int64_t now, cJSON *object);

/* Classes of the asking person's sections (site staff: all) that begin within half an hour, run, or
 * ended less than an hour ago. Shape: schema/openapi.yaml, "Classes". */
WP_VIEW(wp_view_classes);

/* Of a bench: "nothing" {since_us, text} if nothing has arrived three minutes after sign-on, else
 * null. */
#define WP_NOTHING_AFTER (3 * WP_MINUTE)
enum wp_status wp_bench_nothing(struct wp_sql *sql, int64_t instrument, cJSON *out);

#endif
