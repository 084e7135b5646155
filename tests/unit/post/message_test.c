/* Mails: what is built, and what a server's answer means. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "base/clock.h"
#include "post/post.h"

#define LIMIT (4 * 1024 * 1024)

static struct wp_post_options options(void)
{
    return (struct wp_post_options){.url = "smtp://localhost",
                                    .from = "lab@college.example",
                                    .from_name = "Teaching laboratory"};
}

static struct wp_post_sheet sheet(void)
{
    return (struct wp_post_sheet){.to = "maya@college.example",
                                  .to_name = "Maya R.",
                                  .accession = "10042K",
                                  .sample = "aspirin",
                                  .instrument = "IR-2",
                                  .measured_at = "2026-03-02 15:05",
                                  .verdict = "Usable.",
                                  .link = "https://gateway.example/m/10042K"};
}

static enum wp_status build(const struct wp_post_sheet *one, const char *pdf, struct wp_bytes *out)
{
    struct wp_post_options own = options();
    struct wp_post_part part = {
        .sheet = one, .pdf = pdf, .pdf_size = pdf != NULL ? strlen(pdf) : 0};
    struct wp_post_mail mail = {
        .parts = &part, .count = 1, .mark = "17", .at_us = INT64_C(1772460309) * WP_SECOND};
    wp_bytes_init(out, LIMIT);
    return wp_post_build(&own, &mail, out, NULL);
}

static void contains(const struct wp_bytes *mail, const char *text)
{
    if (strstr(mail->data, text) == NULL)
        fail_msg("missing: %s\n%s", text, mail->data);
}

static void contains_not(const struct wp_bytes *mail, const char *text)
{
    if (strstr(mail->data, text) != NULL)
        fail_msg("present: %s\n%s", text, mail->data);
}

/* Every line ends in CR LF, has at most 78 bytes before it, and is ASCII without controls. */
static void check_lines(const struct wp_bytes *mail)
{
    size_t length = 0;
    for (size_t i = 0; i < mail->size; i++) {
        unsigned char byte = (unsigned char)mail->data[i];
        if (byte == '\r') {
            assert_true(i + 1 < mail->size && mail->data[i + 1] == '\n');
            assert_true(length <= 78);
            length = 0;
            i++;
            continue;
        }
        assert_true(byte >= 0x20 && byte < 0x7f);
        length++;
    }
    assert_int_equal(length, 0);
}

static void a_mail_has_its_fields_two_texts_and_the_pdf(void **state)
{
    (void)state;
    struct wp_post_sheet one = sheet();
    struct wp_bytes mail;
    assert_int_equal(build(&one, "%PDF-1.7 and so on", &mail), WP_OK);
    check_lines(&mail);
    contains(&mail, "Date: Mon, 02 Mar 2026 14:05:09 +0000\r\n");
    contains(&mail, "From: Teaching laboratory\r\n <lab@college.example>\r\n");
    contains(&mail, "<maya@college.example>\r\n");
    contains(&mail, "Subject: Your spectrum 10042K: aspirin\r\n");
    contains(&mail, "Message-ID:\r\n <wavepost.17@college.example>\r\n");
    contains(&mail, "Auto-Submitted: auto-generated\r\n");
    contains(&mail, "MIME-Version: 1.0\r\n");
    contains(&mail, "Content-Type: multipart/mixed;");
    contains(&mail, "Content-Type: multipart/alternative;");
    contains(&mail, "Content-Type: text/plain; charset=utf-8");
    contains(&mail, "Content-Type: text/html; charset=utf-8");
    contains(&mail, "Content-Disposition: attachment; filename=\"10042K.pdf\"");
    contains(&mail, "JVBERi0xLjcgYW5kIHNvIG9u\r\n");
    wp_bytes_release(&mail);
}

static void a_link_only_mail_has_no_attachment(void **state)
{
    (void)state;
    struct wp_post_sheet one = sheet();
    struct wp_bytes mail;
    assert_int_equal(build(&one, NULL, &mail), WP_OK);
    check_lines(&mail);
    contains_not(&mail, "multipart/mixed");
    contains_not(&mail, "application/pdf");
    contains(&mail, "https://gateway.example/m/10042K");
    wp_bytes_release(&mail);
}

static void hostile_names_cannot_make_a_field_a_tag_or_a_boundary(void **state)
{
    (void)state;
    static const char *const hostile[] = {
        "x\r\nBcc: all@college.example",
        "x\nBcc: all@college.example\n\nbody",
        "x\rBcc: y",
        "=?UTF-8?B?eA==?=",
        "\"quoted\" <other@college.example>, third@college.example",
        "<script>alert(1)</script>",
        "\" onclick=\"x",
        "--=_sheets--",
        "\xff\xfe bad bytes \x80",
        "\xe2\x80\xae right to left override",
        "a\tb\x01\x7f",
    };
    for (size_t i = 0; i < sizeof hostile / sizeof *hostile; i++) {
        struct wp_post_sheet one = sheet();
        struct wp_bytes mail;
        snprintf(one.to_name, sizeof one.to_name, "%s", hostile[i]);
        snprintf(one.sample, sizeof one.sample, "%s", hostile[i]);
        snprintf(one.verdict, sizeof one.verdict, "%s", hostile[i]);
        snprintf(one.link, sizeof one.link, "%s", hostile[i]);
        assert_int_equal(build(&one, "pdf", &mail), WP_OK);
        check_lines(&mail);
        contains_not(&mail, "\r\nBcc:");
        const char *html = strstr(mail.data, "text/html");
        assert_non_null(html);
        assert_null(strstr(html, "<script"));
        assert_null(strstr(html, "\" onclick"));
        contains_not(&mail, "To: \"quoted\"");
        contains_not(&mail, "To: =?UTF-8?B?eA==?=\r\n");
        contains_not(&mail, "\r\n--=_sheets--\r\n\r\n");
        wp_bytes_release(&mail);
    }
}

static void long_text_in_any_script_is_folded_at_whole_characters(void **state)
{
    (void)state;
    struct wp_bytes text;
    wp_bytes_init(&text, LIMIT);
    for (int i = 0; i < 40; i++) /* water, e acute, z */
        assert_int_equal(wp_bytes_add_text(&text, "\xe6\xb0\xb4\xc3\xa9z"), WP_OK);
    struct wp_bytes field;
    wp_bytes_init(&field, LIMIT);
    assert_int_equal(wp_post_field(&field, "Subject", text.data), WP_OK);
    check_lines(&field);
    /* Whole characters in every word: decoded, each begins and ends cleanly. "5rC0" is the first.
     */
    contains(&field, "=?UTF-8?B?5rC0");
    contains_not(&field, "?B?"
                         "?=");
    wp_bytes_release(&text);
    wp_bytes_release(&field);
}

static void only_plain_addresses_are_valid(void **state)
{
    (void)state;
    static const char *const good[] = {"a@b", "maya.r+lab@college.example",
                                       "x_1@sub.college.example"};
    static const char *const bad[] = {
        "",      "a",       "@b",      "a@",         "a@b@c", "a b@c", "a@b\r\nRCPT TO:<x>",
        "<a@b>", "a@b,c@d", "\"a\"@b", "\xc3\xa9@b", "-oX@b", "a@-b",  "a@.b",
        NULL};
    char longest[400];
    memset(longest, 'a', sizeof longest);
    memcpy(longest + 10, "@b", 2);
    longest[sizeof longest - 1] = '\0';
    for (size_t i = 0; i < sizeof good / sizeof *good; i++)
        assert_true(wp_address_valid(good[i]));
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        assert_false(wp_address_valid(bad[i]));
    assert_false(wp_address_valid(longest));
}

static void a_mail_that_cannot_be_right_is_refused_whole(void **state)
{
    (void)state;
    struct wp_post_sheet one = sheet();
    struct wp_bytes mail;
    snprintf(one.to, sizeof one.to, "nobody");
    assert_int_equal(build(&one, NULL, &mail), WP_INVALID);
    assert_int_equal(mail.size, 0);
    one = sheet();
    snprintf(one.accession, sizeof one.accession, "1\".exe");
    assert_int_equal(build(&one, NULL, &mail), WP_INVALID);
    one = sheet();
    struct wp_post_options own = options();
    struct wp_post_part part = {.sheet = &one};
    struct wp_post_mail none = {.parts = &part, .count = 0};
    assert_int_equal(wp_post_build(&own, &none, &mail, NULL), WP_INVALID);
    struct wp_post_mail many = {.parts = &part, .count = WP_POST_SHEETS + 1};
    assert_int_equal(wp_post_build(&own, &many, &mail, NULL), WP_INVALID);
    struct wp_post_mail small = {.parts = &part, .count = 1};
    wp_bytes_init(&mail, 500);
    assert_int_equal(wp_post_build(&own, &small, &mail, NULL), WP_TOO_LARGE);
    assert_int_equal(mail.size, 0);
    wp_bytes_release(&mail);
}

static void replies_fall_into_their_class(void **state)
{
    (void)state;
    static const struct {
        enum wp_status status;
        enum wp_reply reply;
        long code;
        const char *text;
    } table[] = {
        {WP_OK, WP_REPLY_TAKEN, 250, "OK"},
        {WP_RETRY, WP_REPLY_TEMPORARY, 0, ""},
        {WP_RETRY, WP_REPLY_TEMPORARY, 450, "try later"},
        {WP_RETRY, WP_REPLY_TEMPORARY, 451, "4.7.1 greylisted"},
        {WP_RETRY, WP_REPLY_PERMANENT, 550, "5.1.1 unknown user"},
        {WP_IO, WP_REPLY_PERMANENT, 550, "no enhanced code"},
        {WP_IO, WP_REPLY_PERMANENT, 550, "version 15.1.20 of something"},
        {WP_IO, WP_REPLY_TEMPORARY, 552, "4.2.2 full, come again"},
        {WP_IO, WP_REPLY_TEMPORARY, 535, "5.7.8 wrong password"},
        {WP_IO, WP_REPLY_TEMPORARY, 530, "5.7.0 sign in first"},
        {WP_INVALID, WP_REPLY_PERMANENT, 0, ""},
        {WP_TOO_LARGE, WP_REPLY_PERMANENT, 0, NULL},
    };
    for (size_t i = 0; i < sizeof table / sizeof *table; i++)
        if (wp_reply_class(table[i].status, table[i].code, table[i].text) != table[i].reply)
            fail_msg("case %zu", i);
    assert_string_equal(wp_reply_meaning(550, "550 5.1.1 nobody"), "The mailbox does not exist.");
    assert_string_equal(wp_reply_meaning(452, "4.2.2 full"), "The mailbox is full.");
    assert_string_equal(wp_reply_meaning(0, NULL), "The mail server cannot be reached.");
}

static void waiting_grows_and_ends(void **state)
{
    (void)state;
    int64_t total = 0;
    int64_t last = 0;
    for (int attempt = 1; attempt < WP_POST_ATTEMPTS; attempt++) {
        int64_t wait = wp_post_backoff_us(attempt);
        assert_true(wait >= last && wait > 0);
        last = wait;
        total += wait;
    }
    assert_true(total > 40 * WP_HOUR && total < 60 * WP_HOUR);
    assert_int_equal(wp_post_backoff_us(WP_POST_ATTEMPTS), 0);
    assert_int_equal(wp_post_backoff_us(0), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_mail_has_its_fields_two_texts_and_the_pdf),
        cmocka_unit_test(a_link_only_mail_has_no_attachment),
        cmocka_unit_test(hostile_names_cannot_make_a_field_a_tag_or_a_boundary),
        cmocka_unit_test(long_text_in_any_script_is_folded_at_whole_characters),
        cmocka_unit_test(only_plain_addresses_are_valid),
        cmocka_unit_test(a_mail_that_cannot_be_right_is_refused_whole),
        cmocka_unit_test(replies_fall_into_their_class),
        cmocka_unit_test(waiting_grows_and_ends),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
