/* The dispatcher alone, for tests/system/delivery_case.py: commands are JSON lines on standard
 * input, each is answered with one JSON line.
 *
 *   {"act": NAME, "param": "1", "body": {...}, "query": {...}, "as": "staff"|"bench"|ID}
 *   {"enqueue": {"kind": "print", "person": 1, "instrument": 1, ...}}
 *   {"person": {"id": 1, "login": "...", "email": "..."}}
 *   {"instrument": {"id": 1, "place": "...", "first": 0, "second": 0}}
 *
 * Options: --data DIR, --watch/--follow/--answer/--silence MS, --backoff MS, --smtp URL, --ca FILE,
 * --user, --password, --tls, --sub-address C, --imap URL with --imap-user and --imap-password,
 * --keep DIR (each sheet it draws as DIR/ID.pdf), --crash-at STATE (dies
 * by SIGKILL inside the transaction that would have recorded that state: after the deed, before the
 * record).
 */
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cairo-pdf.h>

#include "base/clock.h"
#include "base/secret.h"
#include "dispatch/dispatch.h"
#include "people/persons.h"

#define LINE_MOST 65536

static uv_loop_t *loop;
static uv_pipe_t input;
static struct wp_db *db;
static struct wp_dispatch *dispatch;
static char line[LINE_MOST];
static size_t line_size;
static const char *crash_at = "";
static const char *keep_in;

/* ---- the sheet: a page that says whose delivery it is ---- */

static cairo_status_t collect(void *arg, const unsigned char *data, unsigned size)
{
    struct wp_bytes *pdf = arg;
    return wp_bytes_add(pdf, data, size) == WP_OK ? CAIRO_STATUS_SUCCESS : CAIRO_STATUS_WRITE_ERROR;
}

static void draw(struct wp_bytes *pdf, int64_t delivery)
{
    char text[64];
    snprintf(text, sizeof text, "delivery %lld", (long long)delivery);
    cairo_surface_t *surface = cairo_pdf_surface_create_for_stream(collect, pdf, 842, 595);
    cairo_t *cr = cairo_create(surface);
    cairo_move_to(cr, 100, 100);
    cairo_show_text(cr, text);
    cairo_destroy(cr);
    cairo_surface_destroy(surface);
}

static void keep(const struct wp_bytes *pdf, int64_t delivery)
{
    char path[512];
    snprintf(path, sizeof path, "%s/%lld.pdf", keep_in, (long long)delivery);
    FILE *file = fopen(path, "wb");
    if (file == NULL || fwrite(pdf->data, 1, pdf->size, file) != pdf->size || fclose(file) != 0)
        abort();
}

/* As "person" has set it. */
static bool known_address(int64_t person, char to[WP_ADDRESS_ROOM])
{
    struct wp_sql *sql;
    if (wp_db_reader(db, &sql, NULL) != WP_OK)
        abort();
    enum wp_status status = wp_person_email(sql, person, to, WP_ADDRESS_ROOM);
    wp_sql_close(sql);
    return status == WP_OK && to[0] != '\0';
}

static void make_address(int64_t person, const char *domain, char to[WP_ADDRESS_ROOM])
{
    if (person == 1)
        snprintf(to, WP_ADDRESS_ROOM, "student@%s", domain);
    else
        snprintf(to, WP_ADDRESS_ROOM, "person%lld@%s", (long long)person, domain);
}

static enum wp_status render(void *arg, const struct wp_sheet_wanted *wanted, struct wp_bytes *pdf,
                             struct wp_post_sheet *mail, struct wp_error *error)
{
    const char *domain = arg;
    if (wanted->measurement == 404)
        return wp_fail(error, WP_NOT_FOUND, "the spectrum was removed");
    if (!wanted->no_pdf)
        draw(pdf, wanted->delivery);
    if (!wanted->no_pdf && keep_in != NULL)
        keep(pdf, wanted->delivery);
    if (mail == NULL)
        return WP_OK;
    if (!known_address(wanted->person, mail->to))
        make_address(wanted->person, domain, mail->to);
    snprintf(mail->to_name, sizeof mail->to_name, "Zo\xc3\xab\r\nBcc: other@%s", domain);
    snprintf(mail->accession, sizeof mail->accession, "%lldK", (long long)wanted->measurement);
    snprintf(mail->sample, sizeof mail->sample, "<b>benzo\xc3\xafn & \xe6\xb0\xb4</b>");
    snprintf(mail->instrument, sizeof mail->instrument, "IR-1");
    snprintf(mail->measured_at, sizeof mail->measured_at, "2026-03-02 14:05");
    snprintf(mail->verdict, sizeof mail->verdict, "Usable.");
    snprintf(mail->link, sizeof mail->link, "https://gateway.example/m/%lld",
             (long long)wanted->measurement);
    return WP_OK;
}

static enum wp_status on_change(struct wp_txn *txn, const struct wp_delivery_change *change)
{
    (void)txn;
    if (strcmp(change->to, crash_at) == 0)
        (void)raise(SIGKILL);
    return WP_OK;
}

/* ---- commands ---- */

struct command {
    cJSON *text;
    struct wp_ask ask;
    struct wp_who who;
    cJSON *empty;
    wp_act_fn act;
    wp_view_fn view;
    cJSON *out;
    struct wp_error error;
};

static const struct {
    const char *name;
    wp_act_fn act;
    wp_view_fn view;
} table[] = {
    {"printer-add", wp_printer_act_add, NULL},
    {"printer-change", wp_printer_act_change, NULL},
    {"printer-pause", wp_printer_act_pause, NULL},
    {"printer-drain", wp_printer_act_drain, NULL},
    {"printer-resume", wp_printer_act_resume, NULL},
    {"printer-remove", wp_printer_act_remove, NULL},
    {"printers", NULL, wp_printer_view_list},
    {"retry", wp_delivery_act_retry, NULL},
    {"redirect", wp_delivery_act_redirect, NULL},
    {"cancel", wp_delivery_act_cancel, NULL},
    {"answer", wp_delivery_act_answer, NULL},
    {"resolve", wp_delivery_act_resolve, NULL},
    {"deliveries", NULL, wp_delivery_view_list},
    {"delivery", NULL, wp_delivery_view_one},
    {"mail-choose", wp_mail_act_choose, NULL},
    {"mail", NULL, wp_mail_view_choice},
};

static void say(struct command *command, enum wp_status status)
{
    cJSON *answer = cJSON_CreateObject();
    cJSON_AddStringToObject(answer, "status", wp_status_name(status));
    if (status)
        cJSON_AddStringToObject(answer, "error", command->error.text);
    if (command->out != NULL)
        cJSON_AddItemToObject(answer, "out", command->out);
    char *text = cJSON_PrintUnformatted(answer);
    printf("%s\n", text);
    fflush(stdout);
    cJSON_free(text);
    cJSON_Delete(answer);
    cJSON_Delete(command->text);
    cJSON_Delete(command->empty);
    free(command);
}

static void answered(void *job, enum wp_status status)
{
    say(job, status);
}

static enum wp_status run_act(struct wp_txn *txn, void *job)
{
    struct command *command = job;
    cJSON_Delete(command->out);
    command->out = NULL;
    return command->act(txn, &command->ask, &command->out, &command->error);
}

static enum wp_status run_view(struct wp_sql *sql, void *job)
{
    struct command *command = job;
    return command->view(sql, &command->ask, &command->out, &command->error);
}

static int64_t number(const cJSON *object, const char *name, int64_t otherwise)
{
    const cJSON *member = cJSON_GetObjectItem(object, name);
    return cJSON_IsNumber(member) ? (int64_t)member->valuedouble : otherwise;
}

static const char *word(const cJSON *object, const char *name, const char *otherwise)
{
    const cJSON *member = cJSON_GetObjectItem(object, name);
    return cJSON_IsString(member) ? member->valuestring : otherwise;
}

static enum wp_mailing mailing_of(const char *text)
{
    if (strcmp(text, "each") == 0)
        return WP_MAILING_EACH;
    return strcmp(text, "link") == 0 ? WP_MAILING_LINK : WP_MAILING_DIGEST;
}

static enum wp_status run_enqueue(struct wp_txn *txn, void *job)
{
    struct command *command = job;
    const cJSON *wanted = cJSON_GetObjectItem(command->text, "enqueue");
    struct wp_delivery_made made;
    struct wp_delivery_request request = {
        .kind = strcmp(word(wanted, "kind", "print"), "mail") == 0 ? WP_DELIVERY_MAIL
                                                                   : WP_DELIVERY_PRINT,
        .measurement = number(wanted, "measurement", 1),
        .person = number(wanted, "person", 1),
        .instrument = number(wanted, "instrument", 1),
        .course = number(wanted, "course", 0),
        .printer = number(wanted, "printer", 0),
        .pages = (int)number(wanted, "pages", 1),
        .pages_a_day = (int)number(wanted, "pages_a_day", 0),
        .mailing = mailing_of(word(wanted, "mailing", "digest")),
        .due_us = number(wanted, "due_us", 0),
        .reason = "Kept at the bench.",
        .actor = WP_ACTOR_BENCH,
        .actor_id = 1,
    };
    enum wp_status status = wp_delivery_enqueue(txn, &request, &made, &command->error);
    if (status)
        return status;
    cJSON_Delete(command->out);
    command->out = cJSON_CreateObject();
    cJSON_AddNumberToObject(command->out, "id", (double)made.id);
    cJSON_AddStringToObject(command->out, "text", made.text);
    return WP_OK;
}

static enum wp_status run_instrument(struct wp_txn *txn, void *job)
{
    struct command *command = job;
    const cJSON *wanted = cJSON_GetObjectItem(command->text, "instrument");
    return wp_sql_run(txn->sql,
                      "INSERT INTO instrument (id, name, place, first_printer_id,"
                      " second_printer_id, created_us) VALUES (?, ?, ?, ?, ?, 0)",
                      "ittii", number(wanted, "id", 1), word(wanted, "name", "IR-1"),
                      word(wanted, "place", ""), number(wanted, "first", 0),
                      number(wanted, "second", 0));
}

static enum wp_status run_person(struct wp_txn *txn, void *job)
{
    struct command *command = job;
    const cJSON *wanted = cJSON_GetObjectItem(command->text, "person");
    enum wp_status status =
        wp_sql_run(txn->sql, "DELETE FROM person WHERE id = ?", "i", number(wanted, "id", 1));
    return status ? status
                  : wp_sql_run(txn->sql,
                               "INSERT INTO person (id, login, given, family, email, created_us)"
                               " VALUES (?, ?, 'Zo', 'E', ?, 0)",
                               "itt", number(wanted, "id", 1), word(wanted, "login", "zoe"),
                               word(wanted, "email", ""));
}

static void set_who(struct command *command)
{
    const cJSON *as = cJSON_GetObjectItem(command->text, "as");
    command->who.actor = WP_ACTOR_PERSON;
    command->who.id = 99;
    command->who.roles = WP_ROLE_TECHNICIAN;
    if (cJSON_IsNumber(as)) {
        command->who.id = (int64_t)as->valuedouble;
        command->who.roles = WP_ROLE_STUDENT;
    } else if (cJSON_IsString(as) && strcmp(as->valuestring, "bench") == 0) {
        command->who = (struct wp_who){
            .actor = WP_ACTOR_BENCH, .id = 7, .roles = WP_ROLE_BENCH, .instrument = 1};
    }
}

static void set_ask(struct command *command)
{
    set_who(command);
    command->empty = cJSON_CreateObject();
    const cJSON *query = cJSON_GetObjectItem(command->text, "query");
    command->ask = (struct wp_ask){
        .who = &command->who,
        .param = {word(command->text, "param", NULL)},
        .query = query != NULL ? query : command->empty,
        .body = cJSON_GetObjectItem(command->text, "body"),
    };
    const char *name = word(command->text, "act", "");
    for (size_t i = 0; i < sizeof table / sizeof *table; i++)
        if (strcmp(table[i].name, name) == 0) {
            command->act = table[i].act;
            command->view = table[i].view;
        }
}

static void obey(const char *text)
{
    struct command *command = calloc(1, sizeof *command);
    if (command == NULL)
        abort();
    command->text = cJSON_Parse(text);
    set_ask(command);
    enum wp_status status = WP_INVALID;
    if (cJSON_HasObjectItem(command->text, "enqueue"))
        status = wp_db_write(db, run_enqueue, answered, command);
    else if (cJSON_HasObjectItem(command->text, "person"))
        status = wp_db_write(db, run_person, answered, command);
    else if (cJSON_HasObjectItem(command->text, "instrument"))
        status = wp_db_write(db, run_instrument, answered, command);
    else if (command->act != NULL)
        status = wp_db_write(db, run_act, answered, command);
    else if (command->view != NULL)
        status = wp_db_read(db, run_view, answered, command);
    if (status)
        say(command, status);
}

/* ---- input ---- */

static void allocate(uv_handle_t *handle, size_t wanted, uv_buf_t *buffer)
{
    (void)handle;
    (void)wanted;
    *buffer = uv_buf_init(line + line_size, (unsigned)(LINE_MOST - 1 - line_size));
}

static void on_input(uv_stream_t *stream, ssize_t size, const uv_buf_t *buffer)
{
    (void)buffer;
    if (size < 0) {
        uv_close((uv_handle_t *)stream, NULL);
        uv_stop(loop);
        return;
    }
    line_size += (size_t)size;
    char *end;
    while ((end = memchr(line, '\n', line_size)) != NULL) {
        *end = '\0';
        obey(line);
        size_t used = (size_t)(end + 1 - line);
        line_size -= used;
        memmove(line, end + 1, line_size);
    }
}

static void committed(void *arg)
{
    (void)arg;
    wp_dispatch_kick(dispatch);
}

/* ---- options; the last of several counts ---- */

static const char *option(int count, char **words, const char *name, const char *otherwise)
{
    const char *last = otherwise;
    for (int i = 1; i + 1 < count; i++)
        if (strcmp(words[i], name) == 0)
            last = words[i + 1];
    return last;
}

static unsigned milliseconds(int count, char **words, const char *name)
{
    return (unsigned)strtoul(option(count, words, name, "0"), NULL, 10);
}

int main(int count, char **words)
{
    struct wp_error error = {0};
    static char domain[] = "college.example";
    struct wp_db_options db_options = {.folder = option(count, words, "--data", "."),
                                       .committed = committed};
    struct wp_post_options post = {
        .url = option(count, words, "--smtp", NULL),
        .require_tls = option(count, words, "--tls", NULL) != NULL,
        .user = option(count, words, "--user", NULL),
        .password = option(count, words, "--password", NULL),
        .ca_file = option(count, words, "--ca", NULL),
        .sub_address = option(count, words, "--sub-address", NULL),
        .from = "lab@college.example",
        .from_name = "Teaching laboratory",
        .public_url = "https://gateway.example",
        .timeout_ms = 5000,
    };
    struct wp_mailbox_options mailbox = {
        .url = option(count, words, "--imap", NULL),
        .folder = "INBOX",
        .user = option(count, words, "--imap-user", NULL),
        .password = option(count, words, "--imap-password", NULL),
        .ca_file = option(count, words, "--imap-ca", NULL),
        .require_tls = true,
        .every_us = WP_SECOND / 5,
    };
    struct wp_dispatch_options options = {
        .render = render,
        .arg = domain,
        .post = post.url != NULL ? &post : NULL,
        .mailbox = mailbox.url != NULL ? &mailbox : NULL,
        .watch_ms = milliseconds(count, words, "--watch"),
        .follow_ms = milliseconds(count, words, "--follow"),
        .answer_ms = milliseconds(count, words, "--answer"),
        .silence_ms = milliseconds(count, words, "--silence"),
        .backoff_us = (int64_t)milliseconds(count, words, "--backoff") * 1000,
    };
    crash_at = option(count, words, "--crash-at", "");
    keep_in = option(count, words, "--keep", NULL);
    loop = uv_default_loop();
    wp_delivery_set_hook(on_change);
    enum wp_status status = wp_secret_init();
    if (!status)
        status = wp_db_open(&db_options, &db, &error);
    if (!status)
        status = wp_db_start(db, loop);
    if (!status)
        status = wp_dispatch_start(db, loop, &options, &dispatch, &error);
    if (status) {
        fprintf(stderr, "cannot start: %s %s\n", wp_status_name(status), error.text);
        return 1;
    }
    uv_pipe_init(loop, &input, 0);
    uv_pipe_open(&input, 0);
    uv_read_start((uv_stream_t *)&input, allocate, on_input);
    printf("{\"status\":\"ready\"}\n");
    fflush(stdout);
    uv_run(loop, UV_RUN_DEFAULT);
    wp_dispatch_stop(dispatch);
    dispatch = NULL;
    wp_db_close(db);
    uv_run(loop, UV_RUN_DEFAULT);
    uv_loop_close(loop);
    printf("{\"status\":\"stopped\"}\n");
    return 0;
}
