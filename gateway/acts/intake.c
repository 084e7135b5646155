#include "acts/intake.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "acts/site.h"
#include "archive/object.h"
#include "archive/removal.h"
#include "db/event.h"
#include "intake_parts.h"

static bool is_offer(const struct wp_intake *intake)
{
    return !intake->data && !intake->stage_path;
}

/* The same number again: the same bytes get the same receipt, others are refused. */
static enum wp_status repeated(struct wp_txn *txn, const struct wp_who *who,
                               struct wp_intake *intake)
{
    unsigned char digest[WP_SHA256_SIZE] = {0};
    enum wp_status status =
        wp_capture_find(txn->sql, who->id, intake->number, &intake->receipt, digest, &intake->head);
    if (status)
        return status;
    if (memcmp(digest, intake->digest, sizeof digest) != 0)
        return wp_fail(&intake->error, WP_CONFLICT,
                       "Capture %" PRId64 " was already taken with other bytes.", intake->number);
    intake->repeated = true;
    return WP_OK;
}

static enum wp_status have_object(struct wp_sql *sql, const unsigned char digest[WP_SHA256_SIZE])
{
    int64_t one = 0;
    return wp_sql_int(sql, &one, "SELECT 1 FROM object WHERE sha256 = ?", "b", digest,
                      (size_t)WP_SHA256_SIZE);
}

/* An offer is taken only if this same agent sent the bytes before. */
static enum wp_status offered(struct wp_txn *txn, const struct wp_who *who,
                              struct wp_intake *intake)
{
    int64_t one = 0;
    return wp_sql_int(txn->sql, &one,
                      "SELECT 1 FROM capture WHERE agent_id = ? AND sha256 = ? LIMIT 1", "ib",
                      who->id, intake->digest, (size_t)WP_SHA256_SIZE);
}

static enum wp_status keep_object(struct wp_txn *txn, struct wp_intake *intake)
{
    bool stored = intake->stage_path != NULL;
    if (stored) {
        /* The file is synced and renamed into place before the commit that speaks of it; after a
         * crash in between it is an unknown file that verify reports and a repeat adopts. */
        enum wp_status status = wp_site.store->ops->adopt(wp_site.store, intake->digest,
                                                          intake->stage_path, &intake->error);
        if (status)
            return status;
        intake->adopt = true;
    }
    enum wp_status status =
        wp_object_add(txn, intake->digest, intake->size, stored,
                      wp_format_text(intake->reading.format), &intake->reading.error);
    if (!status && !stored)
        status = wp_object_stage(txn, intake->digest, intake->size, intake->packed.data,
                                 intake->packed.size);
    return status;
}

static enum wp_status add_capture(struct wp_txn *txn, struct wp_taking *taking)
{
    struct wp_intake *intake = taking->intake;
    struct wp_capture capture = {
        .agent = taking->who.actor == WP_ACTOR_AGENT ? taking->who.id : 0,
        .number = intake->number,
        .instrument = taking->instrument,
        .path = intake->path,
        .mtime_us = intake->mtime_us,
        .captured_us = intake->captured_us,
        .steady_us = intake->steady_us,
        .boot_id = intake->boot_id,
        .corrected_us = taking->time.captured_us,
        .backfill = intake->backfill,
        .brought_by = intake->brought_by,
        .known = intake->known,
    };
    memcpy(capture.digest, intake->digest, WP_SHA256_SIZE);
    enum wp_status status =
        wp_capture_add(txn, &capture, taking->who.actor, taking->who.id, &intake->head);
    intake->receipt = taking->capture = capture.id;
    return status;
}

static enum wp_status tell_unread(struct wp_txn *txn, struct wp_taking *taking)
{
    const struct wp_error *error = &taking->intake->reading.error;
    char text[WP_ERROR_TEXT + 32];
    if (error->line)
        (void)snprintf(text, sizeof text, "Line %ld: %s", error->line, error->text);
    else
        (void)snprintf(text, sizeof text, "%s", error->text);
    struct wp_notice notice = {.kind = "unread",
                               .instrument = taking->instrument,
                               .capture = taking->capture,
                               .text = text};
    enum wp_status status = wp_notice_add(txn, &notice);
    if (!status)
        status = wp_event_addf(txn, "instrument", taking->instrument,
                               "{\"kind\":\"unread\",\"capture\":%" PRId64 "}", taking->capture);
    return status ? status : wp_event_add(txn, "staff", 0, "{\"kind\":\"unread\"}");
}

/* Bytes that could not be read before, exported again: told wherever that is not on the list yet.
 */
static enum wp_status tell_unread_again(struct wp_txn *txn, struct wp_taking *taking)
{
    int64_t one = 0;
    enum wp_status status = wp_sql_int(
        txn->sql, &one,
        "SELECT 1 FROM capture c JOIN notice n ON n.capture_id = c.id WHERE c.sha256 = ? "
        "AND n.kind = 'unread' AND n.instrument_id = ? AND n.settled_us IS NULL LIMIT 1",
        "bi", taking->intake->digest, (size_t)WP_SHA256_SIZE, taking->instrument);
    return status == WP_NOT_FOUND ? tell_unread(txn, taking) : status;
}

/* The spectra of bytes that are known, for an offer: nothing is read again, the renditions tell. */
static enum wp_status take(struct wp_txn *txn, struct wp_taking *taking)
{
    struct wp_intake *intake = taking->intake;
    enum wp_status status = have_object(txn->sql, intake->digest);
    if (status && status != WP_NOT_FOUND)
        return status;
    intake->known = status == WP_OK;
    if (!intake->known) {
        status = keep_object(txn, intake);
        if (status)
            return status;
    }
    status = intake->known ? wp_removed_before(txn->sql, intake->digest, 0) : WP_NOT_FOUND;
    intake->removed = status == WP_OK;
    if (intake->removed)
        intake->path[0] = '\0'; /* its name went with it */
    if (!status || status == WP_NOT_FOUND)
        status = add_capture(txn, taking);
    if (status || intake->removed)
        return status;
    if (!is_offer(intake) && intake->reading.error.status && !intake->spectrum_count)
        return intake->known ? tell_unread_again(txn, taking) : tell_unread(txn, taking);
    return wp_take_spectra(txn, taking);
}

/* Staff uploads number themselves below zero, so that they never meet an agent's numbers. */
static enum wp_status number_upload(struct wp_txn *txn, struct wp_intake *intake)
{
    return wp_sql_int(txn->sql, &intake->number,
                      "SELECT coalesce(min(number), 0) - 1 FROM capture WHERE agent_id = 0", "");
}

/* Staff are told the number of each spectrum that they brought. */
static enum wp_status number_made(struct wp_txn *txn, struct wp_intake *intake)
{
    enum wp_status status = WP_OK;
    for (size_t i = 0; !status && i < intake->made_count; i++) {
        int64_t accession = 0;
        status = wp_sql_int(txn->sql, &accession, "SELECT accession FROM measurement WHERE id = ?",
                            "i", intake->made[i].id);
        if (!status)
            wp_accession_format((uint64_t)accession, intake->made[i].accession);
    }
    return status;
}

enum wp_status wp_act_take_capture(struct wp_txn *txn, void *job)
{
    struct wp_taking taking = {.intake = job};
    struct wp_intake *intake = job;
    intake->repeated = intake->known = intake->removed = false;
    intake->made_count = 0;
    enum wp_status status =
        wp_intake_who(txn->sql, txn->now, intake, &taking.who, &taking.instrument);
    if (status)
        return status;
    if (taking.who.actor == WP_ACTOR_AGENT) {
        status = repeated(txn, &taking.who, intake);
        if (status != WP_NOT_FOUND)
            return status;
        status = is_offer(intake) ? offered(txn, &taking.who, intake) : WP_OK;
    } else {
        status = number_upload(txn, intake);
    }
    if (!status)
        status = wp_export_time(txn->sql, txn->now, taking.who.id, intake, &taking.time);
    if (!status)
        status = take(txn, &taking);
    return status || !intake->brought_by ? status : number_made(txn, intake);
}
