#include "mailbox.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "base/log.h"
#include "mailbox_read.h"
#include "returned.h"

/* A report's two parts that count come first; of the mail that came back only the header matters.
 */
enum { FETCH_MOST = 256 * 1024, WINDOW = 500, ROUND_MOST = 20000, URL_ROOM = 400 };

struct wp_mailbox {
    struct wp_db *db;
    uv_loop_t *loop;
    const struct wp_mailbox_options *options;
    struct wp_http *http; /* one for each round, see begin_round */
    size_t *pending;
    bool busy; /* a round is under way */
    bool stopping;
    int64_t next_round; /* steady */
    /* the place, as stored */
    int64_t validity;
    int64_t last;
    /* this round */
    int64_t next;   /* the number that the next message will get */
    int64_t window; /* the last number looked for */
    int64_t uids[WINDOW];
    size_t count, at;
    size_t done; /* messages read */
    struct wp_report report;
    bool readable; /* `report` is one */
    bool ours;
};

static void search(struct wp_mailbox *mailbox);
static void fetch(struct wp_mailbox *mailbox);

static void end_round(struct wp_mailbox *mailbox)
{
    mailbox->busy = false;
    wp_http_free(mailbox->http);
    mailbox->http = NULL;
    mailbox->next_round = wp_clock_steady() + mailbox->options->every_us;
}

/* The round ends here; what is not done yet is done in the next one. */
static void give_up(struct wp_mailbox *mailbox, const char *what, const char *why)
{
    if (!mailbox->stopping)
        wp_log(WP_LOG_WARN, "mailbox", "%s: %s", what, why);
    end_round(mailbox);
}

/* ---- speaking to the server ---- */

static void ask(struct wp_mailbox *mailbox, const char *path, const char *command, size_t most,
                wp_http_done done)
{
    char url[URL_ROOM];
    const struct wp_mailbox_options *options = mailbox->options;
    snprintf(url, sizeof url, "%s/%s", options->url, path);
    struct wp_imap_request request = {.url = url,
                                      .require_tls = options->require_tls,
                                      .user = options->user,
                                      .password = options->password,
                                      .command = command,
                                      .answer_most = most};
    if (mailbox->http == NULL || wp_imap_send(mailbox->http, &request, done, mailbox) != WP_OK) {
        give_up(mailbox, "not asked", "the mailbox cannot be asked now");
        return;
    }
    ++*mailbox->pending;
}

/* The folder's path; the server refuses the rest if its numbers no longer mean the same. */
static void folder_path(const struct wp_mailbox *mailbox, char path[160], const char *more)
{
    snprintf(path, 160, "%s;UIDVALIDITY=%" PRId64 "%s", mailbox->options->folder, mailbox->validity,
             more);
}

/* ---- the place in the mailbox, and what a message means: one transaction ---- */

static enum wp_status write_place(struct wp_txn *txn, const struct wp_mailbox *mailbox, int64_t uid)
{
    return wp_sql_run(txn->sql,
                      "INSERT INTO mailbox_place (name, validity, last_uid, changed_us)"
                      " VALUES ('returned', ?, ?, ?) ON CONFLICT (name) DO UPDATE SET"
                      " validity = excluded.validity, last_uid = excluded.last_uid,"
                      " changed_us = excluded.changed_us",
                      "iii", mailbox->validity, uid, txn->now);
}

static enum wp_status write_message(struct wp_txn *txn, void *job)
{
    struct wp_mailbox *mailbox = job;
    enum wp_status status = WP_OK;
    mailbox->ours = false;
    if (mailbox->readable)
        status = wp_returned_apply(txn, &mailbox->report, &mailbox->ours);
    return status ? status : write_place(txn, mailbox, mailbox->uids[mailbox->at]);
}

static void next_message(struct wp_mailbox *mailbox)
{
    mailbox->at++;
    mailbox->done++;
    fetch(mailbox);
}

static void put_back(void *arg, const struct wp_http_answer *answer)
{
    struct wp_mailbox *mailbox = arg;
    --*mailbox->pending;
    if (answer->status && !mailbox->stopping)
        wp_log(WP_LOG_WARN, "mailbox", "a mail stays marked as seen: %s", answer->error.text);
    next_message(mailbox);
}

static void message_written(void *job, enum wp_status status)
{
    struct wp_mailbox *mailbox = job;
    char path[160];
    char command[80];
    --*mailbox->pending;
    if (status) {
        give_up(mailbox, "a mail was not taken down", wp_status_name(status));
        return;
    }
    if (mailbox->ours) {
        wp_log(WP_LOG_INFO, "mailbox", "a mail of ours came back (%s)", mailbox->report.code);
        next_message(mailbox);
        return;
    }
    snprintf(command, sizeof command, "UID STORE %" PRId64 " -FLAGS.SILENT (\\Seen)",
             mailbox->uids[mailbox->at]);
    folder_path(mailbox, path, "");
    ask(mailbox, path, command, 0, put_back);
}

static void write_down(struct wp_mailbox *mailbox)
{
    if (wp_db_write(mailbox->db, write_message, message_written, mailbox) == WP_OK)
        ++*mailbox->pending;
    else
        give_up(mailbox, "a mail was not taken down", "the database takes no more jobs");
}

static void fetched(void *arg, const struct wp_http_answer *answer)
{
    struct wp_mailbox *mailbox = arg;
    --*mailbox->pending;
    if (answer->status && answer->status != WP_NOT_FOUND && answer->status != WP_TOO_LARGE) {
        give_up(mailbox, "a mail cannot be read", answer->error.text);
        return;
    }
    /* Gone meanwhile, or no report: the place moves on. */
    mailbox->readable = answer->status == WP_OK &&
                        wp_report_read(answer->body, answer->size, &mailbox->report) == WP_OK;
    write_down(mailbox);
}

/* ---- windows of numbers ---- */

static enum wp_status write_window(struct wp_txn *txn, void *job)
{
    struct wp_mailbox *mailbox = job;
    return write_place(txn, mailbox, mailbox->window);
}

static void window_written(void *job, enum wp_status status)
{
    struct wp_mailbox *mailbox = job;
    --*mailbox->pending;
    if (status) {
        give_up(mailbox, "the place was not taken down", wp_status_name(status));
        return;
    }
    mailbox->last = mailbox->window;
    search(mailbox);
}

static void fetch(struct wp_mailbox *mailbox)
{
    char path[160];
    char message[64];
    if (mailbox->at < mailbox->count) {
        snprintf(message, sizeof message, "/;UID=%" PRId64 ";PARTIAL=0.%d",
                 mailbox->uids[mailbox->at], FETCH_MOST);
        folder_path(mailbox, path, message);
        ask(mailbox, path, NULL, FETCH_MOST + 1, fetched);
        return;
    }
    if (wp_db_write(mailbox->db, write_window, window_written, mailbox) == WP_OK)
        ++*mailbox->pending;
    else
        give_up(mailbox, "the place was not taken down", "the database takes no more jobs");
}

static void searched(void *arg, const struct wp_http_answer *answer)
{
    struct wp_mailbox *mailbox = arg;
    --*mailbox->pending;
    if (answer->status) {
        give_up(mailbox, "looking for new mail", answer->error.text);
        return;
    }
    mailbox->at = 0;
    mailbox->count =
        wp_mailbox_found(answer->body, mailbox->last + 1, mailbox->window, mailbox->uids, WINDOW);
    fetch(mailbox);
}

/* The next WINDOW numbers: most may be gone, so it is asked which are there. */
static void search(struct wp_mailbox *mailbox)
{
    char path[160];
    char command[80];
    if (mailbox->last + 1 >= mailbox->next || mailbox->done >= ROUND_MOST) {
        end_round(mailbox);
        return;
    }
    mailbox->window = mailbox->last + WINDOW;
    if (mailbox->window >= mailbox->next)
        mailbox->window = mailbox->next - 1;
    snprintf(command, sizeof command, "UID SEARCH UID %" PRId64 ":%" PRId64, mailbox->last + 1,
             mailbox->window);
    folder_path(mailbox, path, "");
    ask(mailbox, path, command, 0, searched);
}

/* ---- a round ---- */

static void status_came(void *arg, const struct wp_http_answer *answer)
{
    struct wp_mailbox *mailbox = arg;
    int64_t validity;
    --*mailbox->pending;
    if (answer->status || !wp_mailbox_status(answer->body, &validity, &mailbox->next)) {
        give_up(mailbox, "the mailbox's state",
                answer->status ? answer->error.text : "the answer is not understood");
        return;
    }
    /* Other numbers: the mailbox was made anew. What was read before is read again and changes
     * nothing, since its deliveries are no longer done. */
    if (validity != mailbox->validity)
        mailbox->last = 0;
    mailbox->validity = validity;
    search(mailbox);
}

static enum wp_status read_place(struct wp_sql *sql, void *job)
{
    struct wp_mailbox *mailbox = job;
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        sql, &rows, "SELECT validity, last_uid FROM mailbox_place WHERE name = 'returned'", "");
    if (status)
        return status;
    bool found = wp_rows_next(&rows);
    mailbox->validity = found ? wp_rows_int(&rows, 0) : 0;
    mailbox->last = found ? wp_rows_int(&rows, 1) : 0;
    return wp_rows_end(&rows);
}

/* A connection that has a folder open may be told old numbers of it (RFC 3501 section 6.3.10), so
 * each round has a connection of its own. */
static bool begin_round(struct wp_mailbox *mailbox)
{
    struct wp_http_options http = {.connections = 1, .ca_file = mailbox->options->ca_file};
    if (!mailbox->stopping)
        mailbox->http = wp_http_new(mailbox->loop, &http);
    return mailbox->http != NULL;
}

static void place_read(void *job, enum wp_status status)
{
    struct wp_mailbox *mailbox = job;
    char command[160];
    --*mailbox->pending;
    if (status || !begin_round(mailbox)) {
        give_up(mailbox, "the place in the mailbox",
                wp_status_name(status ? status : WP_NO_MEMORY));
        return;
    }
    snprintf(command, sizeof command, "STATUS %.100s (UIDVALIDITY UIDNEXT)",
             mailbox->options->folder);
    ask(mailbox, "", command, 0, status_came);
}

void wp_mailbox_tick(struct wp_mailbox *mailbox)
{
    if (mailbox == NULL || mailbox->busy || mailbox->stopping ||
        wp_clock_steady() < mailbox->next_round)
        return;
    mailbox->done = 0;
    mailbox->busy = wp_db_read(mailbox->db, read_place, place_read, mailbox) == WP_OK;
    if (mailbox->busy)
        ++*mailbox->pending;
}

struct wp_mailbox *wp_mailbox_new(struct wp_db *db, uv_loop_t *loop,
                                  const struct wp_mailbox_options *options, size_t *pending)
{
    struct wp_mailbox *made = calloc(1, sizeof *made);
    if (made == NULL)
        return NULL;
    made->db = db;
    made->loop = loop;
    made->options = options;
    made->pending = pending;
    return made;
}

void wp_mailbox_stop(struct wp_mailbox *mailbox)
{
    if (mailbox == NULL || mailbox->stopping)
        return;
    mailbox->stopping = true;
    /* What is asked ends now, and with it the round. */
    struct wp_http *http = mailbox->http;
    mailbox->http = NULL;
    wp_http_free(http);
}

void wp_mailbox_free(struct wp_mailbox *mailbox)
{
    wp_mailbox_stop(mailbox);
    free(mailbox);
}
