#include "staff_mail.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/log.h"

#define MESSAGE_MOST (64 * 1024)

struct wp_staff_mail {
    struct wp_db *db;
    const struct wp_post_options *post;
    struct wp_http *http;
    bool busy, stopping;
    /* the one on its way */
    int64_t id;
    int64_t tries;
    char to[WP_ADDRESS_ROOM], to_name[128], subject[256], body[8192];
    struct wp_bytes message;
    bool sent, refused;
};

static enum wp_status read_due(struct wp_sql *sql, void *job)
{
    struct wp_staff_mail *mail = job;
    struct wp_rows rows;
    mail->id = 0;
    int64_t now = wp_clock_utc();
    enum wp_status status =
        wp_sql_query(sql, &rows,
                     "SELECT m.id, m.tries, p.email, trim(p.given || ' ' || p.family), m.subject, "
                     "m.body FROM staff_mail m JOIN person p ON p.id = m.person_id WHERE "
                     "m.sent_us IS NULL AND m.given_up_us IS NULL AND m.due_us <= ? ORDER BY "
                     "m.due_us, m.id LIMIT 1",
                     "i", now);
    if (status)
        return status;
    if (wp_rows_next(&rows)) {
        mail->id = wp_rows_int(&rows, 0);
        mail->tries = wp_rows_int(&rows, 1);
        wp_text_copy(mail->to, sizeof mail->to, wp_rows_text(&rows, 2));
        wp_text_copy(mail->to_name, sizeof mail->to_name, wp_rows_text(&rows, 3));
        wp_text_copy(mail->subject, sizeof mail->subject, wp_rows_text(&rows, 4));
        wp_text_copy(mail->body, sizeof mail->body, wp_rows_text(&rows, 5));
    }
    return wp_rows_end(&rows);
}

static enum wp_status write_outcome(struct wp_txn *txn, void *job)
{
    const struct wp_staff_mail *mail = job;
    int64_t wait = wp_post_backoff_us((int)mail->tries + 1);
    if (mail->sent)
        return wp_sql_run(txn->sql,
                          "UPDATE staff_mail SET sent_us = ?, tries = tries + 1 WHERE id = ?", "ii",
                          txn->now, mail->id);
    return wp_sql_run(txn->sql,
                      "UPDATE staff_mail SET tries = tries + 1, due_us = ?1, given_up_us = CASE "
                      "WHEN ?2 OR until_us < ?1 THEN ?3 END WHERE id = ?4",
                      "iiii", txn->now + wait, (int64_t)(mail->refused || wait == 0), txn->now,
                      mail->id);
}

static void written(void *job, enum wp_status status)
{
    struct wp_staff_mail *mail = job;
    mail->busy = false;
    if (status)
        wp_log(WP_LOG_WARN, "mail", "what became of staff mail %" PRId64 " was not written: %s",
               mail->id, wp_status_name(status));
    else
        wp_staff_mail_kick(mail);
}

static void settle(struct wp_staff_mail *mail)
{
    if (!mail->sent)
        wp_log(WP_LOG_WARN, "mail", "staff mail %" PRId64 " was not sent%s", mail->id,
               mail->refused ? ", and will not be" : "");
    if (mail->stopping || wp_db_write(mail->db, write_outcome, written, mail))
        mail->busy = false;
}

static void answered(void *arg, const struct wp_http_answer *answer)
{
    struct wp_staff_mail *mail = arg;
    enum wp_reply reply = wp_reply_class(answer->status, answer->code, answer->body);
    wp_bytes_release(&mail->message);
    mail->sent = reply == WP_REPLY_TAKEN;
    mail->refused = reply == WP_REPLY_PERMANENT;
    settle(mail);
}

static void read_one(void *job, enum wp_status status)
{
    struct wp_staff_mail *mail = job;
    if (status || !mail->id || mail->stopping) {
        mail->busy = false;
        return;
    }
    struct wp_post_note note = {.to = mail->to,
                                .to_name = mail->to_name,
                                .subject = mail->subject,
                                .text = mail->body,
                                .id = mail->id,
                                .at_us = wp_clock_utc()};
    mail->sent = mail->refused = false;
    wp_bytes_init(&mail->message, MESSAGE_MOST);
    status = wp_post_note(mail->post, &note, &mail->message, NULL);
    mail->refused = status == WP_INVALID;
    if (!status)
        status =
            wp_post_send(mail->http, mail->post, mail->to, NULL, &mail->message, answered, mail);
    if (!status)
        return;
    wp_bytes_release(&mail->message);
    settle(mail);
}

enum wp_status wp_staff_mail_new(struct wp_db *db, uv_loop_t *loop,
                                 const struct wp_post_options *post, struct wp_staff_mail **mail,
                                 struct wp_error *error)
{
    *mail = NULL;
    if (!post)
        return WP_OK;
    struct wp_staff_mail *made = calloc(1, sizeof *made);
    struct wp_http_options http = {.connections = 1, .ca_file = post->ca_file};
    if (made)
        made->http = wp_http_new(loop, &http);
    if (!made || !made->http) {
        free(made);
        return wp_fail(error, WP_NO_MEMORY, "There is no memory for mail.");
    }
    made->db = db;
    made->post = post;
    *mail = made;
    return WP_OK;
}

void wp_staff_mail_kick(struct wp_staff_mail *mail)
{
    if (!mail || mail->busy || mail->stopping)
        return;
    mail->busy = wp_db_read(mail->db, read_due, read_one, mail) == WP_OK;
}

void wp_staff_mail_stop(struct wp_staff_mail *mail)
{
    if (!mail)
        return;
    mail->stopping = true;
    wp_http_free(mail->http);
    mail->http = NULL;
}

void wp_staff_mail_free(struct wp_staff_mail *mail)
{
    free(mail);
}
