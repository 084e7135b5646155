#include "deliveries.h"

#include <ctype.h>
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "acts/render.h"
#include "acts/site.h"
#include "base/bytes.h"
#include "base/id.h"
#include "db/event.h"
#include "people/persons.h"

/* The verdict and what the first remark says, while there is time to do something about it. */
static void say_verdict(const struct wp_examination *examination, char *out, size_t room)
{
    const char *words = wp_verdict_words(examination->verdict);
    size_t first = 0;
    while (first < examination->remark_count && examination->remarks[first].staff_only)
        first++;
    bool remark = first < examination->remark_count;
    snprintf(out, room, "%c%s.%s%s", toupper((unsigned char)words[0]), words + 1, remark ? " " : "",
             remark ? examination->remarks[first].text : "");
}

static void fill_mail(const struct wp_loaded *loaded, struct wp_post_sheet *mail)
{
    wp_text_copy(mail->accession, sizeof mail->accession, loaded->accession);
    wp_text_copy(mail->sample, sizeof mail->sample, loaded->stamp.sample);
    wp_text_copy(mail->instrument, sizeof mail->instrument, loaded->instrument);
    wp_text_copy(mail->measured_at, sizeof mail->measured_at, loaded->measured_at);
    say_verdict(&loaded->examination, mail->verdict, sizeof mail->verdict);
    snprintf(mail->link, sizeof mail->link, "%s/#/spectrum/%" PRId64, wp_site.public_url,
             loaded->id);
}

static enum wp_status address_mail(struct wp_sql *sql, int64_t person, struct wp_post_sheet *mail,
                                   struct wp_error *error)
{
    enum wp_status status = wp_person_email(sql, person, mail->to, sizeof mail->to);
    if (!status)
        status = wp_person_name(sql, person, mail->to_name, sizeof mail->to_name);
    if (!status && !mail->to[0])
        return wp_fail(error, WP_INVALID, "There is no address to mail to.");
    return status;
}

static enum wp_status describe(struct wp_sql *sql, const struct wp_sheet_wanted *wanted,
                               struct wp_post_sheet *mail, struct wp_error *error)
{
    struct wp_loaded loaded;
    memset(mail, 0, sizeof *mail);
    enum wp_status status = wp_loaded_read(sql, wanted->measurement, &loaded, error);
    if (!status)
        fill_mail(&loaded, mail);
    wp_loaded_release(&loaded);
    return status ? status : address_mail(sql, wanted->person, mail, error);
}

enum wp_status wp_deliveries_render(void *arg, const struct wp_sheet_wanted *wanted,
                                    struct wp_bytes *pdf, struct wp_post_sheet *mail,
                                    struct wp_error *error)
{
    const struct wp_deliveries *deliveries = arg;
    struct wp_render what = {.measurement = wanted->measurement,
                             .format = WP_SHEET_PDF,
                             .large_print = wanted->large_print,
                             .letter = wanted->letter};
    struct wp_sql *sql = NULL;
    enum wp_status status = wp_db_reader(deliveries->db, &sql, error);
    if (status)
        return status;
    if (wanted->for_mail)
        what.letter = wp_sheet_paper(sql) == WP_SHEET_LETTER;
    if (!wanted->no_pdf)
        status = wp_render_sheet(sql, deliveries->fonts, &what, pdf, error);
    if (!status && wanted->for_mail)
        status = describe(sql, wanted, mail, error);
    wp_sql_close(sql);
    return status;
}

enum wp_status wp_deliveries_tell(struct wp_txn *txn, const struct wp_delivery_change *change)
{
    char body[256];
    snprintf(body, sizeof body,
             "{\"kind\":\"delivery\",\"delivery\":%" PRId64 ",\"measurement\":%" PRId64
             ",\"state\":\"%s\"}",
             change->id, change->measurement, change->to);
    enum wp_status status = wp_event_add(txn, "fleet", 0, body);
    if (!status && change->instrument)
        status = wp_event_add(txn, "instrument", change->instrument, body);
    if (!status && change->person)
        status = wp_event_add(txn, "person", change->person, body);
    return status;
}

enum wp_status wp_deliveries_printer(struct wp_txn *txn, int64_t printer, const char *state)
{
    enum wp_status status = wp_sql_run(txn->sql,
                                       "UPDATE span SET to_us = ? WHERE subject = 'printer' AND "
                                       "subject_id = ? AND to_us IS NULL",
                                       "ii", txn->now, printer);
    if (!status)
        status = wp_sql_run(txn->sql,
                            "INSERT INTO span (id, subject, subject_id, state, from_us) "
                            "VALUES (?, 'printer', ?, ?, ?)",
                            "iiti", wp_id_next(), printer, state, txn->now);
    return status ? status : wp_event_add(txn, "fleet", 0, "{\"kind\":\"printer\"}");
}
