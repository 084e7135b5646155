#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "acts/deliver.h"
#include "acts/site.h"
#include "archive/removal.h"
#include "db/event.h"
#include "instrument_fault.h"
#include "intake_parts.h"
#include "tell.h"
#include "views/spectrum_json.h"

/* The measurement that has a spectrum of exactly these bytes. WP_NOT_FOUND. */
static enum wp_status by_bytes(struct wp_sql *sql, const struct wp_taking *taking, size_t block,
                               struct wp_known *known)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        sql, &rows,
        "SELECT m.id, m.turn_id, m.instrument_id FROM rendition r JOIN measurement m "
        "ON m.id = r.measurement_id WHERE r.sha256 = ? AND r.block = ? "
        "ORDER BY m.instrument_id = ? DESC, r.id LIMIT 1",
        "bii", taking->intake->digest, (size_t)WP_SHA256_SIZE, (int64_t)block, taking->instrument);
    if (status)
        return status;
    bool found = wp_rows_next(&rows);
    if (found)
        *known =
            (struct wp_known){wp_rows_int(&rows, 0), wp_rows_int(&rows, 1), wp_rows_int(&rows, 2)};
    status = wp_rows_end(&rows);
    return status ? status : found ? WP_OK : WP_NOT_FOUND;
}

/* The time in the file on the gateway's clock: the first and the last instant it may stand for. */
static bool file_time(const struct wp_taking *taking, const struct wp_spectrum *spectrum,
                      int64_t *from, int64_t *at)
{
    const struct wp_file_time *time = &spectrum->time;
    if (!time->present || !time->has_time)
        return false;
    int64_t utc = time->utc_us;
    if (!time->zone_known) {
        /* Wall time of the site, counted as if it were UTC: taken apart and read again as local. */
        struct tm wall;
        time_t seconds = (time_t)(utc / WP_SECOND);
        if (!gmtime_r(&seconds, &wall))
            return false;
        utc = wp_clock_from_local(wall.tm_year + 1900, wall.tm_mon + 1, wall.tm_mday,
                                  wall.tm_hour * 60 + wall.tm_min) +
              wall.tm_sec * WP_SECOND + utc % WP_SECOND;
    }
    /* A time in whole seconds stands for the whole second; nothing was exported before it was
     * measured. */
    int64_t latest = utc % WP_SECOND ? utc : utc + WP_SECOND - 1;
    *at = latest + taking->time.offset_us;
    *from = utc + taking->time.offset_us;
    if (*at > taking->time.export_us && *from <= taking->time.export_us)
        *at = taking->time.export_us;
    return true;
}

/* From a stick or a backfill: not of the turn that is open now, so that nobody at the bench is
 * asked or shown it, and nothing is printed unless somebody asks. */
static bool of_earlier(const struct wp_taking *taking)
{
    return taking->intake->brought_by || taking->intake->backfill;
}

/* A late capture's own time says little; a time in the file does, but by a clock that nobody
 * compared with ours at that moment. */
static void weigh_late(const struct wp_taking *taking, struct wp_evidence *evidence)
{
    const struct wp_export_time *time = &taking->time;
    bool believed = evidence->has_file_time && evidence->file_us <= time->captured_us;
    evidence->doubt_us = evidence->change_us;
    if (!believed)
        evidence->clock_unknown = true;
    else if (taking->intake->brought_by) /* copying to a stick changed the file's own time */
        evidence->export_us = evidence->file_us;
}

/* The newest turns up to then are looked at; those of the days since a late file would hide its
 * own.
 */
static int64_t turns_until(const struct wp_taking *taking, const struct wp_evidence *evidence)
{
    if (taking->time.late)
        return evidence->export_us + evidence->change_us;
    return taking->time.captured_us > evidence->export_us ? taking->time.captured_us
                                                          : evidence->export_us + WP_MINUTE;
}

static enum wp_status rule(struct wp_sql *sql, const struct wp_taking *taking,
                           const struct wp_spectrum *spectrum, struct wp_ruling *ruling,
                           int64_t *named, struct wp_measurement *measurement)
{
    struct wp_turn_seen turns[WP_TURNS_SEEN];
    struct wp_evidence evidence = {.export_us = taking->time.export_us,
                                   .clock_unknown = taking->time.unknown,
                                   .change_us = wp_site.change_us,
                                   .silence_us = wp_site.silence_us,
                                   .turns = turns};
    evidence.has_file_time = file_time(taking, spectrum, &evidence.file_from_us, &evidence.file_us);
    if (taking->time.late)
        weigh_late(taking, &evidence);
    enum wp_status status =
        wp_identity_find(sql, taking->instrument, taking->intake->path, spectrum, named);
    int64_t from = evidence.has_file_time && evidence.file_us < evidence.export_us
                       ? evidence.file_us
                       : evidence.export_us;
    if (!status)
        status = wp_turns_seen(sql, taking->instrument, from, turns_until(taking, &evidence),
                               *named, turns, &evidence.count);
    if (status)
        return status;
    evidence.named = *named != 0;
    *ruling = wp_stamping_rule(&evidence);
    bool by_file =
        evidence.has_file_time && evidence.file_us <= evidence.export_us + WP_FILE_AHEAD_US;
    measurement->measured_us = by_file ? evidence.file_us : evidence.export_us;
    measurement->time_source = by_file ? "file" : "export";
    return WP_OK;
}

static enum wp_status suggestion_json(struct wp_sql *sql, const struct wp_ruling *ruling,
                                      int64_t named, char *text, size_t room)
{
    struct wp_turn turn = {0};
    enum wp_status status =
        ruling->suggestion ? wp_turn_read(sql, ruling->suggestion, &turn) : WP_OK;
    if (status)
        return status;
    size_t used = (size_t)snprintf(text, room, "[");
    for (size_t i = 0; i < turn.person_count && used < room; i++)
        used +=
            (size_t)snprintf(text + used, room - used, "%s%" PRId64, i ? "," : "", turn.persons[i]);
    if (ruling->suggest_named && named && used < room)
        used += (size_t)snprintf(text + used, room - used, "%s%" PRId64,
                                 turn.person_count ? "," : "", named);
    if (used < room)
        (void)snprintf(text + used, room - used, "]");
    return WP_OK;
}

/* What the instrument is usually used with: all that is known where nobody said anything. */
static enum wp_status usual_words(struct wp_sql *sql, int64_t instrument, struct wp_stamp *stamp)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        sql, &rows, "SELECT preparation, plates FROM instrument WHERE id = ?", "i", instrument);
    if (status)
        return status;
    if (wp_rows_next(&rows)) {
        wp_text_copy(stamp->preparation, sizeof stamp->preparation, wp_rows_text(&rows, 0));
        wp_text_copy(stamp->plates, sizeof stamp->plates, wp_rows_text(&rows, 1));
    }
    return wp_rows_end(&rows);
}

/* The first stamp: what the rule says. Of a doubtful turn nothing is taken over: its sample and
 * section would be as wrong as its name. */
static enum wp_status first_stamp(struct wp_txn *txn, const struct wp_taking *taking,
                                  const struct wp_ruling *ruling, int64_t named,
                                  const struct wp_measurement *measurement)
{
    struct wp_stamp stamp = {.measurement = measurement->id, .author = WP_ACTOR_SYSTEM};
    struct wp_turn turn;
    enum wp_status status = WP_OK;
    if (ruling->turn) {
        status = wp_turn_read(txn->sql, ruling->turn, &turn);
        if (status)
            return status;
        wp_stamp_from_turn(&turn, "turn", &stamp);
    } else {
        status = wp_section_by_timetable(txn->sql, taking->instrument, measurement->measured_us,
                                         &stamp.section);
        if (!status)
            status = usual_words(txn->sql, taking->instrument, &stamp);
    }
    if (ruling->rule == WP_RULE_IDENTITY) {
        stamp.person_count = 1;
        stamp.persons[0] = named;
        (void)snprintf(stamp.rule, sizeof stamp.rule, "identity");
    } else if (ruling->rule == WP_RULE_NOBODY) {
        (void)snprintf(stamp.rule, sizeof stamp.rule, "nobody");
    }
    (void)snprintf(stamp.reason, sizeof stamp.reason, "%s%s",
                   taking->intake->brought_by ? "Brought by hand. " : "", ruling->reason);
    return status ? status : wp_stamp_add(txn, &stamp);
}

static enum wp_status add_rendition(struct wp_txn *txn, const struct wp_taking *taking, size_t i,
                                    int64_t measurement)
{
    const struct wp_intake *intake = taking->intake;
    struct wp_rendition rendition = {
        .measurement = measurement,
        .instrument = taking->instrument,
        .capture = taking->capture,
        .block = (int64_t)intake->reading.spectra[i].block,
        .format = wp_format_text(intake->reading.format),
        .points = (int64_t)intake->reading.spectra[i].count,
        .print = intake->spectra[i].has_print ? &intake->spectra[i].print : NULL,
    };
    memcpy(rendition.digest, intake->digest, WP_SHA256_SIZE);
    return wp_rendition_add(txn, &rendition);
}

static enum wp_status tell(struct wp_txn *txn, const struct wp_taking *taking, const char *kind,
                           int64_t measurement)
{
    enum wp_status status = wp_tell_measurement(txn, taking->instrument, kind, measurement);
    return status ? status
                  : wp_event_addf(txn, "staff", 0, "{\"kind\":\"%s\",\"measurement\":%" PRId64 "}",
                                  kind, measurement);
}

static enum wp_status note_same_data(struct wp_txn *txn, const struct wp_taking *taking,
                                     int64_t measurement, int64_t other)
{
    struct wp_notice notice = {.kind = "same-data",
                               .instrument = taking->instrument,
                               .measurement = measurement,
                               .other = other,
                               .capture = taking->capture,
                               .text = "The same data stand under two measurements. "
                                       "Compare these two."};
    return wp_notice_add(txn, &notice);
}

static enum wp_status add_measurement(struct wp_txn *txn, const struct wp_taking *taking, size_t i,
                                      const struct wp_ruling *ruling, int64_t named,
                                      struct wp_measurement *measurement)
{
    const struct wp_spectrum *spectrum = &taking->intake->reading.spectra[i];
    const struct wp_examination *examination = &taking->intake->spectra[i].examination;
    char suggestion[256];
    enum wp_status status = suggestion_json(txn->sql, ruling, named, suggestion, sizeof suggestion);
    if (status)
        return status;
    cJSON *json = wp_json_examination(examination);
    char *text = json ? cJSON_PrintUnformatted(json) : NULL;
    cJSON_Delete(json);
    if (!text)
        return WP_NO_MEMORY;
    measurement->instrument = taking->instrument;
    measurement->turn = ruling->turn;
    measurement->capture = taking->capture;
    measurement->title = spectrum->title ? spectrum->title : "";
    measurement->technique = wp_technique_text(spectrum->technique);
    measurement->clock_corrected = taking->time.corrected;
    measurement->verdict = wp_verdict_text(examination->verdict);
    measurement->examination = text;
    measurement->asked = ruling->ask && !of_earlier(taking);
    measurement->suggestion = suggestion;
    status = wp_measurement_add(txn, measurement);
    free(text);
    return status;
}

static enum wp_status new_measurement(struct wp_txn *txn, const struct wp_taking *taking, size_t i,
                                      const struct wp_ruling *ruling, int64_t named,
                                      struct wp_measurement *measurement)
{
    enum wp_status status = add_measurement(txn, taking, i, ruling, named, measurement);
    if (!status)
        status = add_rendition(txn, taking, i, measurement->id);
    if (!status)
        status = first_stamp(txn, taking, ruling, named, measurement);
    if (!status)
        status = wp_measurement_counts_by_default(txn, measurement->id);
    if (!status)
        status = of_earlier(taking) ? wp_measurement_keep(txn, measurement->id, "auto")
                                    : wp_deliver_at_once(txn, measurement->id);
    if (!status && !of_earlier(taking))
        status = wp_watch_instrument(txn, taking->instrument, measurement->id);
    return status ? status : tell(txn, taking, "measurement", measurement->id);
}

static void note_made(struct wp_taking *taking, int64_t measurement, bool known)
{
    struct wp_intake *intake = taking->intake;
    if (intake->made_count < WP_INTAKE_SPECTRA)
        intake->made[intake->made_count++] =
            (struct wp_intake_made){.id = measurement, .known = known};
}

/* Known bytes on the same instrument: nobody measured anything new. Silent within the turn and for
 * a stick that is brought again; else the bench and staff hear of it. */
static enum wp_status saved_again(struct wp_txn *txn, struct wp_taking *taking,
                                  const struct wp_known *known)
{
    struct wp_turn turn;
    note_made(taking, known->measurement, true);
    if (taking->intake->brought_by)
        return WP_OK;
    enum wp_status status = wp_turn_current(txn->sql, taking->instrument, &turn);
    if (status && status != WP_NOT_FOUND)
        return status;
    if (!status && known->turn == turn.id)
        return WP_OK;
    struct wp_notice notice = {.kind = "saved-again",
                               .instrument = taking->instrument,
                               .measurement = known->measurement,
                               .capture = taking->capture,
                               .turn = status ? 0 : turn.id,
                               .text = "An earlier spectrum was saved again; no new measurement "
                                       "was made of it."};
    status = wp_notice_add(txn, &notice);
    return status ? status : tell(txn, taking, "saved-again", known->measurement);
}

static enum wp_status take_one(struct wp_txn *txn, struct wp_taking *taking, size_t i)
{
    const struct wp_spectrum *spectrum = &taking->intake->reading.spectra[i];
    struct wp_known known = {0};
    enum wp_status status = WP_NOT_FOUND;
    if (taking->intake->known) /* of new bytes nothing was removed before */
        status = wp_removed_before(txn->sql, taking->intake->digest, (int64_t)spectrum->block);
    if (status != WP_NOT_FOUND)
        return status;
    status = by_bytes(txn->sql, taking, spectrum->block, &known);
    if (status == WP_OK && known.instrument == taking->instrument)
        return saved_again(txn, taking, &known);
    if (status && status != WP_NOT_FOUND)
        return status;
    struct wp_ruling ruling;
    struct wp_measurement measurement = {0};
    int64_t named = 0;
    status = rule(txn->sql, taking, spectrum, &ruling, &named, &measurement);
    struct wp_alike alike = {.other = known};
    if (!status && !known.measurement && taking->intake->spectra[i].has_print)
        status = wp_alike_find(txn, taking->instrument, &taking->intake->spectra[i].print, &ruling,
                               &alike);
    if (status)
        return status;
    if (alike.merge.measurement) {
        note_made(taking, alike.merge.measurement, true);
        status = add_rendition(txn, taking, i, alike.merge.measurement);
        return status ? status : tell(txn, taking, "rendition", alike.merge.measurement);
    }
    status = new_measurement(txn, taking, i, &ruling, named, &measurement);
    note_made(taking, measurement.id, false);
    if (!status && alike.other.measurement)
        status = note_same_data(txn, taking, measurement.id, alike.other.measurement);
    return status;
}

/* Offers carry no bytes, but only known ones are offered: each block's measurement is known. */
static enum wp_status take_known(struct wp_txn *txn, struct wp_taking *taking)
{
    struct wp_known known = {0};
    enum wp_status status = by_bytes(txn->sql, taking, 1, &known);
    if (status)
        return status == WP_NOT_FOUND ? WP_OK : status;
    return known.instrument == taking->instrument ? saved_again(txn, taking, &known) : WP_OK;
}

enum wp_status wp_take_spectra(struct wp_txn *txn, struct wp_taking *taking)
{
    if (!taking->intake->spectrum_count)
        return take_known(txn, taking);
    enum wp_status status = WP_OK;
    for (size_t i = 0; !status && i < taking->intake->spectrum_count; i++)
        status = take_one(txn, taking, i);
    return status;
}
