/* post/post.h - mail: building messages, and reading what a mail server answered.
 *
 * Messages follow RFC 5322 (fields, dates, Message-ID), RFC 2045 and 2046 (MIME), RFC 2047 (names
 * and subjects in any script) and RFC 3834 (Auto-Submitted: auto-generated). Lines are at most 76
 * bytes and end in CR LF; the text is quoted-printable, attachments are base64. Attachments are
 * named by accession number alone. Nothing that came from outside can start a new field: control
 * characters never reach the header.
 *
 * Pure but for wp_post_send. Thread: any; wp_post_send on the loop's.
 */
#ifndef POST_POST_H
#define POST_POST_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/accession.h"
#include "base/bytes.h"
#include "base/http.h"
#include "base/status.h"

#define WP_ADDRESS_ROOM 256  /* RFC 5321 section 4.5.3.1.3: 254 and the zero byte, rounded up */
#define WP_MAIL_MARK_ROOM 48 /* see post/report.h */
#define WP_POST_SHEETS 20    /* sheets in one mail at most; more make another mail */

struct wp_post_options {
    const char *url;         /* smtp://host:port or smtps://host:port */
    bool require_tls;        /* STARTTLS or nothing; smtps is always TLS */
    const char *user;        /* NULL: no authentication */
    const char *password;    /* never logged */
    const char *ca_file;     /* PEM of trusted roots; NULL: the system's */
    const char *from;        /* address of sender and envelope */
    const char *from_name;   /* "Teaching laboratory"; NULL: the address alone */
    const char *reply_to;    /* NULL: none */
    const char *sub_address; /* what parts a local part from its sub-address, "+"; NULL: none */
    const char *public_url;
    unsigned timeout_ms; /* 0: 60 s */
};

/* What a mail says of one sheet. The first sheet's `to` and `to_name` are the mail's. */
struct wp_post_sheet {
    char to[WP_ADDRESS_ROOM];
    char to_name[128];
    char accession[WP_ACCESSION_ROOM];
    char sample[128];
    char instrument[64];
    char measured_at[40]; /* local date and time, as it shall read */
    char verdict[256];    /* "Usable." with its advice, one or two sentences */
    char link[512];       /* the measurement's page */
};

struct wp_post_part {
    const struct wp_post_sheet *sheet;
    const void *pdf; /* NULL: link only */
    size_t pdf_size;
};

struct wp_post_mail {
    const struct wp_post_part *parts; /* 1 to WP_POST_SHEETS */
    size_t count;
    const char *mark;        /* makes Message-ID, and is known again when the mail comes back */
    int64_t at_us;           /* for Date */
    const char *choice_link; /* where the reader changes what is mailed; NULL: none */
};

/* True if `address` can stand in an envelope and a header as it is: local@domain of printable ASCII
 * without blanks, quotes, brackets, commas; at most 254 bytes. */
bool wp_address_valid(const char *address);

/* Appends the whole message. WP_INVALID: an address that is not valid, no part, too many.
 * WP_TOO_LARGE past out->limit, WP_NO_MEMORY. On failure `*out` is as it was. */
enum wp_status wp_post_build(const struct wp_post_options *options, const struct wp_post_mail *mail,
                             struct wp_bytes *out, struct wp_error *error);

/* A short mail of plain text to one member of staff; the same id, the same Message-ID. Errors as
 * wp_post_build. */
struct wp_post_note {
    const char *to;
    const char *to_name; /* any script; "": the address alone */
    const char *subject;
    const char *text; /* UTF-8, lines ended by "\n" */
    int64_t id;
    int64_t at_us;
};
enum wp_status wp_post_note(const struct wp_post_options *options, const struct wp_post_note *note,
                            struct wp_bytes *out, struct wp_error *error);

/* One header field whose text may be in any script: "Subject: =?UTF-8?B?...?=", folded. Control
 * characters become blanks. */
enum wp_status wp_post_field(struct wp_bytes *out, const char *name, const char *text);

/* Reply classes. The enhanced code of RFC 3463 (class.subject.detail) counts where the server gives
 * one, else the first digit of the reply (RFC 5321 section 4.2.1). */
enum wp_reply {
    WP_REPLY_TAKEN,     /* 2yz */
    WP_REPLY_TEMPORARY, /* 4yz, and no answer at all: try again later */
    WP_REPLY_PERMANENT  /* 5yz: this mail will never be taken */
};
enum wp_reply wp_reply_class(enum wp_status status, long code, const char *text);

/* A sentence for a person from subject and detail of the enhanced code: "The mailbox does not
 * exist.", "The mailbox is full.". Never NULL. */
const char *wp_reply_meaning(long code, const char *text);

/* When to try again: 1, 5, 15, 30 minutes, then hourly; `attempt` counts from 1. 0: give up, after
 * WP_POST_ATTEMPTS (about two days). The caller adds its own jitter. */
#define WP_POST_ATTEMPTS 50
int64_t wp_post_backoff_us(int attempt);

/* Sends one built message; `mark` goes into the envelope's sender (NULL: none); `done` as in
 * base/http.h. Errors as wp_mail_send. */
enum wp_status wp_post_send(struct wp_http *http, const struct wp_post_options *options,
                            const char *to, const char *mark, const struct wp_bytes *message,
                            wp_http_done done, void *arg);

#endif
