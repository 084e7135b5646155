/* A delivery begins, in the transaction of its reason. */
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "base/bytes.h"
#include "base/clock.h"
#include "base/id.h"
#include "delivery.h"
#include "mailing.h"
#include "returned.h"

enum { PAGES_MOST = 100 };

static enum wp_status check(struct wp_txn *txn, const struct wp_delivery_request *request,
                            struct wp_error *error)
{
    if (request->pages < 1 || request->pages > PAGES_MOST)
        return wp_fail(error, WP_INVALID, "A delivery has 1 to %d pages.", PAGES_MOST);
    if (request->reason == NULL || request->reason[0] == '\0')
        return wp_fail(error, WP_INVALID, "A delivery needs a reason.");
    if (request->kind == WP_DELIVERY_MAIL && request->person == 0)
        return wp_fail(error, WP_INVALID, "Mail needs a person.");
    if (request->printer == 0)
        return WP_OK;
    int64_t found;
    enum wp_status status =
        wp_sql_int(txn->sql, &found, "SELECT id FROM printer WHERE id = ? AND retired_us IS NULL",
                   "i", request->printer);
    return status == WP_NOT_FOUND ? wp_fail(error, status, "There is no such printer.") : status;
}

/* Local midnight before `now`. */
static int64_t day_start(int64_t now)
{
    int day = wp_clock_local_day(now);
    return wp_clock_from_local(day / 10000, day / 100 % 100, day % 100, 0);
}

/* Pages of this person and course that went, or are on their way, to a printer since midnight. */
static enum wp_status pages_today(struct wp_txn *txn, const struct wp_delivery_request *request,
                                  int64_t *pages)
{
    return wp_sql_int(txn->sql, pages,
                      "SELECT COALESCE(SUM(pages), 0) FROM delivery"
                      " WHERE person_id = ? AND created_us >= ? AND course_id = ?"
                      " AND kind = 'print' AND state NOT IN ('failed', 'cancelled', 'inbox')",
                      "iii", request->person, day_start(txn->now), request->course);
}

static enum wp_status over_limit(struct wp_txn *txn, const struct wp_delivery_request *request,
                                 bool *over)
{
    int64_t pages = 0;
    *over = false;
    if (request->pages_a_day <= 0 || request->person == 0)
        return WP_OK;
    enum wp_status status = pages_today(txn, request, &pages);
    *over = !status && pages + request->pages > request->pages_a_day;
    return status;
}

struct mailing {
    enum wp_mailing how;
    bool inbox; /* nothing is sent */
};

static enum wp_status insert(struct wp_txn *txn, const struct wp_delivery_request *request,
                             const struct mailing *mailing, int64_t due,
                             struct wp_delivery_made *made)
{
    bool print = request->kind == WP_DELIVERY_PRINT;
    bool inbox = made->over_limit || mailing->inbox;
    return wp_sql_run(
        txn->sql,
        "INSERT INTO delivery (id, kind, measurement_id, person_id, instrument_id, course_id, "
        "pages,"
        " large_print, mailing, wanted_printer_id, state, reason, due_us, created_us, changed_us)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        "itiiiiiitittiii", made->id, print ? "print" : "mail", request->measurement,
        request->person, request->instrument, request->course, (int64_t)request->pages,
        (int64_t)request->large_print, print ? "" : wp_mailing_name(mailing->how), request->printer,
        wp_delivery_state_name(inbox ? WP_DELIVERY_INBOX : WP_DELIVERY_WAITING), made->text, due,
        txn->now, txn->now);
}

static void limit_text(const struct wp_delivery_request *request, struct wp_delivery_made *made)
{
    snprintf(made->text, sizeof made->text,
             "This sheet is in your inbox: with it you would pass the %d pages a day that your "
             "course prints. Nothing is lost.",
             request->pages_a_day);
}

static enum wp_status decide_mailing(struct wp_txn *txn, const struct wp_delivery_request *request,
                                     struct wp_delivery_made *made, struct mailing *mailing)
{
    *mailing = (struct mailing){.how = request->mailing};
    if (request->kind != WP_DELIVERY_MAIL)
        return WP_OK;
    enum wp_status status = wp_mailing_choose(txn->sql, request->person, &mailing->how);
    if (status)
        return status;
    if (mailing->how == WP_MAILING_NONE) {
        mailing->inbox = true;
        snprintf(made->text, sizeof made->text, "Not mailed, as chosen; it is in the inbox.");
        return WP_OK;
    }
    struct wp_returned returned;
    status = wp_returned_read(txn->sql, request->person, &returned);
    if (!status && returned.stopped) {
        mailing->inbox = true;
        snprintf(made->text, sizeof made->text, "%s", WP_MAIL_STOPPED_TEXT);
    }
    return status;
}

enum wp_status wp_delivery_enqueue(struct wp_txn *txn, const struct wp_delivery_request *request,
                                   struct wp_delivery_made *made, struct wp_error *error)
{
    memset(made, 0, sizeof *made);
    enum wp_status status = check(txn, request, error);
    if (status)
        return status;
    struct mailing mailing;
    wp_text_clean(request->reason, strlen(request->reason), made->text, sizeof made->text);
    status = decide_mailing(txn, request, made, &mailing);
    if (!status && request->kind == WP_DELIVERY_PRINT)
        status = over_limit(txn, request, &made->over_limit);
    if (status)
        return status;
    if (made->over_limit)
        limit_text(request, made);
    made->id = wp_id_next();
    int64_t due = mailing.how == WP_MAILING_EACH ? 0 : request->due_us;
    status = insert(txn, request, &mailing, due > txn->now ? due : txn->now, made);
    return status ? status : wp_delivery_born(txn, made->id, request->actor, request->actor_id);
}
