/* One visit to one IPP printer. */
#include "visit.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

#include "base/bytes.h"
#include "base/clock.h"

enum { PDF_MOST = 32 * 1024 * 1024, CONFIRM_TRIES = 6, CONFIRM_PAUSE_MS = 400 };

void wp_visit_say(struct wp_visit_item *item, enum wp_visit_result result, const char *text)
{
    item->result = result;
    wp_text_clean(text, strlen(text), item->text, sizeof item->text);
}

bool wp_visit_draw(struct wp_visit *visit, struct wp_visit_item *item, struct wp_bytes *pdf)
{
    struct wp_error error = {0};
    struct wp_sheet_wanted wanted = {
        .delivery = item->delivery,
        .measurement = item->measurement,
        .person = item->person,
        .large_print = item->large_print,
        .letter = visit->letter,
    };
    enum wp_status status = visit->options->render(visit->options->arg, &wanted, pdf, NULL, &error);
    if (!status && pdf->size > 0)
        return true;
    bool later = status == WP_RETRY || status == WP_NO_MEMORY;
    wp_visit_say(item, later ? WP_VISIT_DRAW_LATER : WP_VISIT_NOT_DRAWN, error.text);
    return false;
}

struct mark {
    int64_t delivery;
    int64_t printer;
    int64_t job;
};

static enum wp_status write_mark(struct wp_txn *txn, void *job)
{
    const struct mark *mark = job;
    enum wp_status status =
        wp_sql_run(txn->sql,
                   "UPDATE delivery SET in_doubt = 1, job = ?, attempts = attempts + 1"
                   " WHERE id = ? AND printer_id = ? AND state = 'sending' AND withdraw = 0"
                   " AND in_doubt = 0",
                   "iii", mark->job, mark->delivery, mark->printer);
    if (status)
        return status;
    return wp_sql_changes(txn->sql) == 1 ? WP_OK : WP_CONFLICT;
}

bool wp_visit_mark(struct wp_visit *visit, struct wp_visit_item *item, int job)
{
    struct mark mark = {item->delivery, visit->printer, job};
    enum wp_status status = wp_db_write_wait(visit->db, write_mark, &mark);
    if (status)
        wp_visit_say(item, WP_VISIT_UNANSWERED, "");
    return status == WP_OK;
}

/* Records that the sheet is to be taken back, so that a cancelled job is known to be our doing. */
static enum wp_status write_withdrawal(struct wp_txn *txn, void *job)
{
    const struct mark *mark = job;
    return wp_sql_run(txn->sql,
                      "UPDATE delivery SET withdraw = 2 WHERE id = ? AND withdraw = 0"
                      " AND state IN ('sending', 'printing', 'uncertain')",
                      "i", mark->delivery);
}

static void pause_ms(long ms)
{
    struct timespec pause = {ms / 1000, ms % 1000 * 1000000};
    (void)nanosleep(&pause, NULL);
}

static void name_of(const struct wp_visit_item *item, char name[24])
{
    snprintf(name, 24, "%" PRId64, item->delivery);
}

/* The printer confirms that the job is cancelled. Was the page already on its way? Only a job that
 * had not begun, or a printer that stood still all the time, surely printed nothing: some printers
 * finish the page and call it cancelled all the same. */
static void settle_cancelled(struct wp_visit *visit, struct wp_ipp *ipp, struct wp_visit_item *item,
                             bool had_begun, const char *text)
{
    struct wp_ipp_look now;
    bool sure =
        !had_begun || (wp_printer_stands(&visit->look.words) &&
                       wp_ipp_ask(ipp, &now, NULL) == WP_OK && wp_printer_stands(&now.words));
    if (sure)
        wp_visit_say(item, WP_VISIT_TAKEN_BACK, text);
    else if (item->withdraw == 1)
        wp_visit_say(item, WP_VISIT_TAKEN_BACK, "had begun the page, which may have come out");
    else
        wp_visit_say(item, WP_VISIT_CANNOT_SAY, "was at work on the page when it was cancelled");
}

/* What a state means once the gateway itself has asked for the job to be cancelled. True: settled.
 */
static bool settle_withdrawn(struct wp_visit *visit, struct wp_ipp *ipp, struct wp_visit_item *item,
                             const struct wp_job_words *words, bool had_begun, const char *text)
{
    switch (wp_job_judge(words, true)) {
    case WP_JOB_CAME_OUT:
        wp_visit_say(item, WP_VISIT_CAME_OUT, "");
        return true;
    case WP_JOB_CAME_TO_NIL:
        settle_cancelled(visit, ipp, item, had_begun && words->state == WP_JOB_CANCELED, text);
        return true;
    case WP_JOB_HALFWAY:
        wp_visit_say(item, WP_VISIT_CANNOT_SAY, "had begun the page when it was cancelled");
        return true;
    case WP_JOB_GOES_ON:
    case WP_JOB_NO_SHEET:
        break;
    }
    return false;
}

/* Cancels the job and waits until the printer confirms it. */
static void take_back(struct wp_visit *visit, struct wp_ipp *ipp, struct wp_visit_item *item,
                      bool had_begun, const char *text)
{
    char name[24];
    name_of(item, name);
    wp_visit_say(item, WP_VISIT_UNANSWERED, "");
    if (wp_ipp_cancel(ipp, item->job, NULL) == WP_RETRY)
        return;
    for (int i = 0; i < CONFIRM_TRIES; i++) {
        struct wp_job_words words;
        if (wp_ipp_job(ipp, item->job, name, &words, NULL) != WP_OK)
            return;
        if (settle_withdrawn(visit, ipp, item, &words, had_begun, text))
            return;
        pause_ms(CONFIRM_PAUSE_MS);
    }
    wp_visit_say(item, WP_VISIT_GOES_ON, "is asked to give the sheet back");
}

/* A job that will come out: leave it, or take it back because a person wants that or because this
 * printer is in trouble and another is ready. */
static void go_on(struct wp_visit *visit, struct wp_ipp *ipp, struct wp_visit_item *item,
                  enum wp_job_state state)
{
    bool trouble = visit->health != WP_HEALTH_READY;
    bool had_begun = state == WP_JOB_PROCESSING;
    if (item->withdraw) {
        take_back(visit, ipp, item, had_begun, "");
    } else if (trouble && item->movable && (!had_begun || wp_printer_stands(&visit->look.words))) {
        struct mark mark = {item->delivery, visit->printer, item->job};
        if (wp_db_write_wait(visit->db, write_withdrawal, &mark) == WP_OK)
            take_back(visit, ipp, item, had_begun, visit->lacks);
    } else {
        wp_visit_say(item, WP_VISIT_GOES_ON, trouble ? visit->lacks : "");
    }
}

/* Cancelled or given up without a page. If it was our doing, an earlier visit asked for it and did
 * not see it happen, so the job may have begun. */
static void came_to_nil(struct wp_visit *visit, struct wp_ipp *ipp, struct wp_visit_item *item,
                        enum wp_job_state state)
{
    if (state == WP_JOB_ABORTED)
        wp_visit_say(item, WP_VISIT_REFUSED, "gave the sheet up");
    else if (item->withdraw)
        settle_cancelled(visit, ipp, item, true, "");
    else
        wp_visit_say(item, WP_VISIT_CANCELLED, "");
}

static void judge_job(struct wp_visit *visit, struct wp_ipp *ipp, struct wp_visit_item *item,
                      const struct wp_job_words *words)
{
    switch (wp_job_judge(words, item->sheet_sent)) {
    case WP_JOB_GOES_ON:
        go_on(visit, ipp, item, words->state);
        return;
    case WP_JOB_CAME_OUT:
        wp_visit_say(item, WP_VISIT_CAME_OUT, "");
        return;
    case WP_JOB_NO_SHEET:
        take_back(visit, ipp, item, false, "did not get the whole sheet");
        return;
    case WP_JOB_CAME_TO_NIL:
        came_to_nil(visit, ipp, item, words->state);
        return;
    case WP_JOB_HALFWAY:
        wp_visit_say(item, WP_VISIT_CANNOT_SAY, "stopped after a page had come out");
        return;
    }
}

/* Without a number: by name. A printer that lists no such job may still have printed it. */
static bool find_job(struct wp_visit *visit, struct wp_ipp *ipp, struct wp_visit_item *item,
                     bool was_numbered)
{
    char name[24];
    struct wp_job_list list;
    name_of(item, name);
    enum wp_status status = wp_ipp_find(ipp, name, &item->job, &list, NULL);
    if (status == WP_OK)
        return true;
    list.up_time = visit->look.up_time;
    list.sent_ago = (wp_clock_utc() - item->sent_us) / WP_SECOND + 1;
    if (status == WP_RETRY)
        wp_visit_say(item, WP_VISIT_UNANSWERED, "");
    else if (status == WP_NOT_FOUND && !was_numbered && wp_job_surely_absent(&list))
        wp_visit_say(item, WP_VISIT_TAKEN_BACK, "never got the sheet");
    else
        wp_visit_say(item, WP_VISIT_CANNOT_SAY, "no longer knows the job");
    return false;
}

static void ask_after(struct wp_visit *visit, struct wp_ipp *ipp, struct wp_visit_item *item)
{
    char name[24];
    struct wp_job_words words;
    bool numbered = item->job > 0;
    name_of(item, name);
    enum wp_status status =
        numbered ? wp_ipp_job(ipp, item->job, name, &words, NULL) : WP_NOT_FOUND;
    if (status == WP_NOT_FOUND || status == WP_IO) {
        if (!find_job(visit, ipp, item, numbered))
            return;
        status = wp_ipp_job(ipp, item->job, name, &words, NULL);
    }
    if (status == WP_OK)
        judge_job(visit, ipp, item, &words);
    else
        wp_visit_say(item, WP_VISIT_UNANSWERED, "");
}

/* A printer may be kept busy by an empty job of this very delivery: made, but not recorded, by a
 * gateway that was killed. */
static void end_empty_job(struct wp_ipp *ipp, const char *name)
{
    int job;
    struct wp_job_list list;
    if (wp_ipp_find(ipp, name, &job, &list, NULL) == WP_OK)
        (void)wp_ipp_cancel(ipp, job, NULL);
}

static void not_taken(struct wp_visit_item *item, enum wp_status status, const char *text)
{
    enum wp_visit_result result = WP_VISIT_NOT_SENT;
    if (status == WP_IO)
        result = WP_VISIT_REFUSED;
    else if (status == WP_CONFLICT)
        result = WP_VISIT_BUSY;
    wp_visit_say(item, result, text);
}

static void send_in_two_steps(struct wp_visit *visit, struct wp_ipp *ipp,
                              struct wp_visit_item *item, const struct wp_bytes *pdf)
{
    char name[24];
    struct wp_error error = {0};
    name_of(item, name);
    const char *media = visit->letter ? "na_letter_8.5x11in" : "iso_a4_210x297mm";
    enum wp_status status = wp_ipp_create(ipp, name, media, &item->job, &error);
    if (status) {
        if (status == WP_CONFLICT)
            end_empty_job(ipp, name);
        not_taken(item, status, error.text);
        return;
    }
    if (!wp_visit_mark(visit, item, item->job)) {
        (void)wp_ipp_cancel(ipp, item->job, NULL);
        return;
    }
    status = wp_ipp_send(ipp, item->job, pdf->data, pdf->size, &error);
    if (status == WP_OK) {
        wp_visit_say(item, WP_VISIT_SENT, "");
    } else if (status == WP_RETRY) {
        wp_visit_say(item, WP_VISIT_UNANSWERED, "");
    } else {
        take_back(visit, ipp, item, false, "");
        if (item->result == WP_VISIT_TAKEN_BACK)
            wp_visit_say(item, WP_VISIT_REFUSED, error.text);
    }
}

static void send_at_once(struct wp_visit *visit, struct wp_ipp *ipp, struct wp_visit_item *item,
                         const struct wp_bytes *pdf)
{
    char name[24];
    struct wp_error error = {0};
    name_of(item, name);
    if (!wp_visit_mark(visit, item, 0))
        return;
    enum wp_status status =
        wp_ipp_print(ipp, name, visit->letter ? "na_letter_8.5x11in" : "iso_a4_210x297mm",
                     pdf->data, pdf->size, &item->job, &error);
    if (status == WP_OK)
        wp_visit_say(item, WP_VISIT_SENT, "");
    else if (status == WP_RETRY)
        wp_visit_say(item, WP_VISIT_UNANSWERED, "");
    else
        not_taken(item, status == WP_CONFLICT ? status : WP_IO, error.text);
}

static void send_sheet(struct wp_visit *visit, struct wp_ipp *ipp, struct wp_visit_item *item)
{
    if (visit->health == WP_HEALTH_BLOCKED || item->withdraw ||
        (visit->health == WP_HEALTH_DOUBTFUL && item->movable)) {
        wp_visit_say(item, WP_VISIT_NOT_SENT, item->withdraw ? "did not get it" : visit->lacks);
        return;
    }
    if (visit->look.jobs > visit->behind_most) {
        wp_visit_say(item, WP_VISIT_NOT_SENT, "has a long queue");
        return;
    }
    struct wp_bytes pdf;
    wp_bytes_init(&pdf, PDF_MOST);
    if (wp_visit_draw(visit, item, &pdf)) {
        if (visit->look.creates_jobs)
            send_in_two_steps(visit, ipp, item, &pdf);
        else
            send_at_once(visit, ipp, item, &pdf);
    }
    wp_bytes_release(&pdf);
}

/* Nothing was asked: sheets not yet sent can go elsewhere, of the others nothing is known. */
static void answer_without_printer(struct wp_visit *visit, size_t from, const char *text)
{
    for (size_t i = from; i < visit->count; i++)
        wp_visit_say(&visit->items[i],
                     visit->items[i].in_doubt ? WP_VISIT_UNANSWERED : WP_VISIT_NOT_SENT, text);
}

static enum wp_status look(struct wp_visit *visit, struct wp_ipp **ipp)
{
    struct wp_error error = {0};
    enum wp_status status = wp_ipp_open(&visit->target, ipp, &error);
    if (!status)
        status = wp_ipp_ask(*ipp, &visit->look, &error);
    visit->answered = status == WP_OK;
    if (status) {
        wp_text_clean(error.text, strlen(error.text), visit->trouble, sizeof visit->trouble);
        visit->health = WP_HEALTH_BLOCKED;
        visit->lacks = status == WP_RETRY ? "does not answer" : "does not let the gateway in";
        return status;
    }
    visit->health = wp_health_judge(&visit->look.words, &visit->lacks);
    if (!visit->look.takes_pdf) {
        visit->health = WP_HEALTH_BLOCKED;
        visit->lacks = "takes no PDF";
    }
    return WP_OK;
}

void wp_visit_run(struct wp_visit *visit)
{
    struct wp_ipp *ipp = NULL;
    if (look(visit, &ipp) != WP_OK)
        answer_without_printer(visit, 0, visit->lacks);
    for (size_t i = 0; visit->answered && i < visit->count; i++) {
        struct wp_visit_item *item = &visit->items[i];
        if (item->in_doubt)
            ask_after(visit, ipp, item);
        else
            send_sheet(visit, ipp, item);
        if (item->result == WP_VISIT_UNANSWERED && i + 1 < visit->count) {
            answer_without_printer(visit, i + 1, "does not answer");
            break;
        }
    }
    wp_ipp_close(ipp);
}
