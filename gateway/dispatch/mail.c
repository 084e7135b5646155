/* Mails: claimed by person, drawn on a lane, sent from the loop, written down.
 *
 * Sheets for one person that are due together make one mail, unless each was to go alone.
 */
#include "mail.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/log.h"
#include "base/secret.h"

enum { ATTACHED_MOST = 15 * 1024 * 1024, MESSAGE_MOST = 24 * 1024 * 1024 };

bool wp_dispatch_holds(const struct wp_dispatch *dispatch, const struct wp_delivery_row *row)
{
    for (size_t i = 0; i < WP_MAILS_MOST; i++) {
        const struct wp_mail_job *job = dispatch->mails[i];
        for (size_t k = 0; job != NULL && k < job->count; k++)
            if (job->sheets[k].delivery == row->id)
                return true;
    }
    return false;
}

static void release(struct wp_mail_job *job)
{
    job->dispatch->mails[job->slot] = NULL;
    job->dispatch->kicked = true;
    for (size_t i = 0; i < job->count; i++)
        wp_bytes_release(&job->sheets[i].pdf);
    wp_bytes_release(&job->message);
    free(job);
}

/* ---- the last step: what became of it ---- */

static int64_t next_try_us(const struct wp_mail_job *job, int attempts)
{
    int64_t wait = wp_post_backoff_us(attempts);
    if (wait == 0)
        return 0;
    if (job->dispatch->options.backoff_us > 0)
        wait = job->dispatch->options.backoff_us;
    /* A fifth of jitter, so that a whole class is not tried again in the same second. */
    return wait + (int64_t)wp_random_below((uint32_t)(wait / 5 / 1000) + 1) * 1000;
}

/* `*moved` becomes true if the delivery still waited for this: it may have been taken back, with
 * all that is known of its person. */
static enum wp_status write_outcome(struct wp_txn *txn, const struct wp_mail_job *job,
                                    const struct wp_mail_sheet *sheet, bool *moved)
{
    int64_t attempts = 0;
    struct wp_move move = {
        .delivery = sheet->delivery, .reason = sheet->text, .actor = WP_ACTOR_SYSTEM};
    enum wp_status status = wp_sql_int(
        txn->sql, &attempts, "SELECT attempts FROM delivery WHERE id = ?", "i", sheet->delivery);
    int64_t wait = next_try_us(job, (int)attempts);
    char given_up[WP_CHOICE_TEXT];
    if (sheet->outcome == WP_MAIL_LATER && wait == 0) {
        snprintf(given_up, sizeof given_up, "Given up after %d tries. %.180s", (int)attempts,
                 sheet->text);
        move.reason = given_up;
    }
    move.to = WP_DELIVERY_FAILED;
    if (sheet->outcome == WP_MAIL_TAKEN)
        move.to = WP_DELIVERY_DONE;
    else if (sheet->outcome == WP_MAIL_LATER && wait > 0)
        move.to = WP_DELIVERY_WAITING;
    if (!status && move.to == WP_DELIVERY_WAITING)
        status = wp_sql_run(txn->sql, "UPDATE delivery SET due_us = ? WHERE id = ?", "ii",
                            txn->now + wait, sheet->delivery);
    if (!status)
        status = wp_delivery_move(txn, &move);
    if (status)
        return status == WP_CONFLICT || status == WP_NOT_FOUND ? WP_OK : status;
    *moved = true;
    if (sheet->outcome != WP_MAIL_TAKEN)
        return WP_OK;
    return wp_sql_run(txn->sql, "UPDATE delivery SET mail_id = ?, mailed_to = ? WHERE id = ?",
                      "iti", job->id, job->digest, sheet->delivery);
}

static enum wp_status write_outcomes(struct wp_txn *txn, void *arg)
{
    const struct wp_mail_job *job = arg;
    enum wp_status status = WP_OK;
    bool moved = false;
    for (size_t i = 0; i < job->count && !status; i++)
        if (job->sheets[i].outcome != WP_MAIL_NOT_OURS)
            status = write_outcome(txn, job, &job->sheets[i], &moved);
    if (!status && job->final && moved)
        status = wp_returned_note(txn, job->person, job->digest, true, job->sheets[0].text);
    return status;
}

static void outcomes_written(void *arg, enum wp_status status)
{
    struct wp_mail_job *job = arg;
    if (status)
        wp_log(WP_LOG_WARN, "post", "what became of a mail was not written: %s",
               wp_status_name(status));
    job->dispatch->pending--;
    release(job);
}

static void finish(struct wp_mail_job *job)
{
    if (wp_db_write(job->dispatch->db, write_outcomes, outcomes_written, job) == WP_OK) {
        job->dispatch->pending++;
        return;
    }
    /* The rows stay *sending*; the next deciding sees that nobody holds them. */
    wp_log(WP_LOG_WARN, "post", "the database takes no more jobs; a mail may be sent twice");
    release(job);
}

/* The same for every sheet that went into the mail. */
static void settle(struct wp_mail_job *job, enum wp_mail_outcome outcome, const char *text)
{
    for (size_t i = 0; i < job->count; i++)
        if (job->sheets[i].outcome == WP_MAIL_DRAWN) {
            job->sheets[i].outcome = outcome;
            snprintf(job->sheets[i].text, sizeof job->sheets[i].text, "%s", text);
        }
    finish(job);
}

/* ---- sending ---- */

static void sent(void *arg, const struct wp_http_answer *answer)
{
    struct wp_mail_job *job = arg;
    char text[WP_CHOICE_TEXT];
    const char *said = answer->size > 0 ? answer->body : answer->error.text;
    enum wp_reply reply = wp_reply_class(answer->status, answer->code, said);
    job->dispatch->pending--;
    if (reply == WP_REPLY_TAKEN) {
        settle(job, WP_MAIL_TAKEN, job->link ? "Link mailed." : "Mailed.");
        return;
    }
    const char *meaning = answer->trouble == WP_HTTP_PEER
                              ? "The mail server's certificate is not trusted."
                              : wp_reply_meaning(answer->code, said);
    if (answer->code >= 400)
        snprintf(text, sizeof text, "%s (%ld)", meaning, answer->code);
    else
        snprintf(text, sizeof text, "%s", meaning);
    wp_log(WP_LOG_WARN, "post", "mail of delivery %" PRId64 ": %s", job->sheets[0].delivery, text);
    job->final = reply == WP_REPLY_PERMANENT && wp_reply_is_final(said);
    settle(job, reply == WP_REPLY_PERMANENT ? WP_MAIL_REFUSED : WP_MAIL_LATER, text);
}

static void drawn(void *arg, bool ran)
{
    struct wp_mail_job *job = arg;
    struct wp_dispatch *dispatch = job->dispatch;
    dispatch->pending--;
    if (!ran || dispatch->stopping) {
        settle(job, WP_MAIL_LATER, "The gateway is being stopped; sent after that.");
        return;
    }
    if (job->message.size == 0) {
        finish(job);
        return;
    }
    enum wp_status status =
        wp_post_send(dispatch->http, &dispatch->post, job->to, job->mark, &job->message, sent, job);
    if (status == WP_OK)
        dispatch->pending++;
    else
        settle(job, status == WP_INVALID ? WP_MAIL_REFUSED : WP_MAIL_LATER,
               status == WP_INVALID ? "The mail cannot be addressed." : "Too much mail at once.");
}

/* ---- drawing, on the lane ---- */

static bool draw_sheet(struct wp_mail_job *job, struct wp_mail_sheet *sheet, bool with_pdf)
{
    const struct wp_dispatch_options *options = &job->dispatch->options;
    struct wp_error error = {0};
    struct wp_sheet_wanted wanted = {
        .delivery = sheet->delivery,
        .measurement = sheet->measurement,
        .person = job->person,
        .large_print = sheet->large_print,
        .for_mail = true,
        .no_pdf = !with_pdf,
    };
    enum wp_status status =
        options->render(options->arg, &wanted, &sheet->pdf, &sheet->words, &error);
    if (status) {
        sheet->outcome =
            status == WP_RETRY || status == WP_NO_MEMORY ? WP_MAIL_LATER : WP_MAIL_REFUSED;
        snprintf(sheet->text, sizeof sheet->text, "The mail could not be made: %.200s", error.text);
        return false;
    }
    sheet->outcome = WP_MAIL_DRAWN;
    return true;
}

/* The drawn sheets as parts; past ATTACHED_MOST bytes the rest are links only. */
static size_t collect(struct wp_mail_job *job, struct wp_post_part parts[WP_POST_SHEETS])
{
    size_t count = 0;
    size_t attached = 0;
    for (size_t i = 0; i < job->count; i++) {
        struct wp_mail_sheet *sheet = &job->sheets[i];
        if (sheet->outcome != WP_MAIL_DRAWN)
            continue;
        bool fits = sheet->pdf.size > 0 && attached + sheet->pdf.size <= ATTACHED_MOST;
        attached += fits ? sheet->pdf.size : 0;
        parts[count++] = (struct wp_post_part){.sheet = &sheet->words,
                                               .pdf = fits ? sheet->pdf.data : NULL,
                                               .pdf_size = fits ? sheet->pdf.size : 0};
    }
    return count;
}

/* The same sheets make the same Message-ID, so that a mail sent twice can be told; other sheets
 * make another, so that no mailbox drops what is new. FNV-1a over the ids (Fowler, Noll and Vo). */
static int64_t identity(const struct wp_mail_job *job)
{
    uint64_t hash = UINT64_C(14695981039346656037);
    for (size_t i = 0; i < job->count; i++)
        for (int byte = 0; byte < 8 && job->sheets[i].outcome == WP_MAIL_DRAWN; byte++)
            hash = (hash ^ ((uint64_t)job->sheets[i].delivery >> 8 * byte & 255)) *
                   UINT64_C(1099511628211);
    return (int64_t)(hash >> 1);
}

static void draw(void *arg)
{
    struct wp_mail_job *job = arg;
    struct wp_dispatch *dispatch = job->dispatch;
    struct wp_post_part parts[WP_POST_SHEETS];
    struct wp_error error = {0};
    char choice_link[300] = "";
    for (size_t i = 0; i < job->count; i++)
        if (job->sheets[i].outcome == WP_MAIL_CLAIMED)
            (void)draw_sheet(job, &job->sheets[i], !job->link);
    struct wp_post_mail mail = {.parts = parts, .count = collect(job, parts)};
    if (mail.count == 0)
        return;
    if (dispatch->post.public_url != NULL && dispatch->post.public_url[0] != '\0') {
        snprintf(choice_link, sizeof choice_link, "%s/#/account", dispatch->post.public_url);
        mail.choice_link = choice_link;
    }
    job->id = identity(job);
    wp_mail_mark(job->key, job->id, job->mark);
    mail.mark = job->mark;
    mail.at_us = wp_clock_utc();
    snprintf(job->to, sizeof job->to, "%s", parts[0].sheet->to);
    wp_mail_digest(job->key, job->to, job->digest);
    enum wp_status status = wp_post_build(&dispatch->post, &mail, &job->message, &error);
    for (size_t i = 0; i < job->count && status; i++) {
        if (job->sheets[i].outcome != WP_MAIL_DRAWN)
            continue;
        job->sheets[i].outcome = status == WP_NO_MEMORY ? WP_MAIL_LATER : WP_MAIL_REFUSED;
        snprintf(job->sheets[i].text, sizeof job->sheets[i].text, "%.200s", error.text);
    }
}

/* ---- claiming ---- */

static enum wp_status claim_one(struct wp_txn *txn, const struct wp_mail_job *job,
                                struct wp_mail_sheet *sheet)
{
    const struct wp_dispatch_options *options = &job->dispatch->options;
    enum wp_status status =
        wp_sql_run(txn->sql,
                   "UPDATE delivery SET lease_owner = ?, lease_until_us = ?,"
                   " attempts = attempts + 1 WHERE id = ? AND state = 'waiting' AND due_us <= ?",
                   "iiii", options->owner, txn->now + (int64_t)options->lease_ms * 1000,
                   sheet->delivery, txn->now);
    sheet->outcome = wp_sql_changes(txn->sql) == 1 ? WP_MAIL_CLAIMED : WP_MAIL_NOT_OURS;
    if (status || sheet->outcome == WP_MAIL_NOT_OURS)
        return status;
    struct wp_move move = {.delivery = sheet->delivery,
                           .to = WP_DELIVERY_SENDING,
                           .reason = "On its way to the mail server.",
                           .actor = WP_ACTOR_SYSTEM};
    return wp_delivery_move(txn, &move);
}

/* Nothing is sent where mail came back for good: the sheet stays in the inbox. */
static enum wp_status keep_in_inbox(struct wp_txn *txn, struct wp_mail_sheet *sheet)
{
    struct wp_move move = {.delivery = sheet->delivery,
                           .to = WP_DELIVERY_INBOX,
                           .reason = WP_MAIL_STOPPED_TEXT,
                           .actor = WP_ACTOR_SYSTEM};
    sheet->outcome = WP_MAIL_NOT_OURS;
    enum wp_status status = wp_delivery_move(txn, &move);
    return status == WP_CONFLICT || status == WP_NOT_FOUND ? WP_OK : status;
}

static enum wp_status write_claims(struct wp_txn *txn, void *arg)
{
    struct wp_mail_job *job = arg;
    struct wp_returned returned;
    enum wp_status status = wp_mail_key(txn, job->key);
    if (!status)
        status = wp_returned_read(txn->sql, job->person, &returned);
    for (size_t i = 0; i < job->count && !status; i++)
        status = returned.stopped ? keep_in_inbox(txn, &job->sheets[i])
                                  : claim_one(txn, job, &job->sheets[i]);
    return status;
}

static void claimed(void *arg, enum wp_status status)
{
    struct wp_mail_job *job = arg;
    struct wp_dispatch *dispatch = job->dispatch;
    dispatch->pending--;
    if (status) {
        release(job);
    } else if (!dispatch->stopping && /* then the lane is gone */
               wp_lane_submit(dispatch->mail_lane, draw, drawn, job) == WP_OK) {
        dispatch->pending++;
    } else {
        for (size_t i = 0; i < job->count; i++)
            if (job->sheets[i].outcome == WP_MAIL_CLAIMED)
                job->sheets[i].outcome = WP_MAIL_DRAWN;
        settle(job, WP_MAIL_LATER,
               dispatch->stopping ? "The gateway is being stopped; sent after that."
                                  : "Too much mail at once. Trying again.");
    }
}

static bool waits(const struct wp_dispatch *dispatch, const struct wp_delivery_row *row)
{
    return row->mail && row->state == WP_DELIVERY_WAITING && !wp_dispatch_holds(dispatch, row);
}

static void add_sheet(struct wp_mail_job *job, const struct wp_delivery_row *row)
{
    struct wp_mail_sheet *sheet = &job->sheets[job->count++];
    sheet->delivery = row->id;
    sheet->measurement = row->measurement;
    sheet->large_print = row->large_print;
    wp_bytes_init(&sheet->pdf, ATTACHED_MOST);
}

/* The mail that begins with `first`. */
static struct wp_mail_job *gather(struct wp_dispatch *dispatch, size_t slot,
                                  const struct wp_delivery_row *first)
{
    const struct wp_snapshot *snapshot = dispatch->snapshot;
    struct wp_mail_job *job = calloc(1, sizeof *job);
    if (job == NULL)
        return NULL;
    job->dispatch = dispatch;
    job->slot = slot;
    job->person = first->person;
    job->link = first->mailing == WP_MAILING_LINK;
    wp_bytes_init(&job->message, MESSAGE_MOST);
    add_sheet(job, first);
    bool alone = first->mailing == WP_MAILING_EACH;
    const struct wp_delivery_row *end = snapshot->rows + snapshot->count;
    for (const struct wp_delivery_row *row = first + 1;
         row < end && !alone && job->count < WP_POST_SHEETS; row++)
        if (waits(dispatch, row) && row->person == first->person && row->mailing == first->mailing)
            add_sheet(job, row);
    return job;
}

static void start_mail(struct wp_dispatch *dispatch, size_t slot,
                       const struct wp_delivery_row *first)
{
    struct wp_mail_job *job = gather(dispatch, slot, first);
    if (job == NULL)
        return;
    dispatch->mails[slot] = job;
    if (wp_db_write(dispatch->db, write_claims, claimed, job) == WP_OK)
        dispatch->pending++;
    else
        release(job);
}

void wp_dispatch_mail(struct wp_dispatch *dispatch)
{
    const struct wp_snapshot *snapshot = dispatch->snapshot;
    size_t row = 0;
    for (size_t slot = 0; slot < WP_MAILS_MOST; slot++) {
        if (dispatch->mails[slot] != NULL)
            continue;
        while (row < snapshot->count && !waits(dispatch, &snapshot->rows[row]))
            row++;
        if (row == snapshot->count)
            return;
        start_mail(dispatch, slot, &snapshot->rows[row]);
    }
}
