/* dispatch/ipp.h - one printer asked over IPP (RFC 8010, 8011) or IPPS. Private to dispatch.
 *
 * Uses libcups as a client without any spooler. Blocking, but every wait is bounded by answer_ms
 * (the TLS handshake by ten seconds), so it runs on the printer's own lane. A connection belongs to
 * one thread.
 *
 * Certificates: printers sign their own, so the first one seen is kept (its SHA-256) and any other
 * is refused from then on, until an administrator forgets it.
 *
 * Errors of every call: WP_RETRY: no answer, or it broke off; what was asked may have been done.
 * WP_IO: the printer refused and did nothing; the text says why. WP_CONFLICT: it refused because it
 * is busy. WP_NOT_FOUND: it has no such job. WP_DENIED: it wants a password, or shows another
 * certificate. WP_NO_MEMORY.
 */
#ifndef DISPATCH_IPP_H
#define DISPATCH_IPP_H

#include "base/status.h"
#include "health.h"

#define WP_CERTIFICATE_ROOM 65

struct wp_ipp;

struct wp_ipp_target {
    char uri[512];                         /* ipp: or ipps: */
    char certificate[WP_CERTIFICATE_ROOM]; /* hex; "": none seen yet, filled on connecting */
    unsigned answer_ms;
};

/* What a printer says of itself. */
struct wp_ipp_look {
    struct wp_printer_words words;
    int jobs; /* queued, -1: not told */
    int64_t up_time;
    bool creates_jobs; /* Create-Job and Send-Document */
    bool takes_pdf;
    int colour; /* -1: not told */
    char model[128];
    char media[256]; /* ready, joined by commas */
    char sides[64];
};

/* WP_INVALID: the address is no ipp: or ipps: address. */
enum wp_status wp_ipp_check_uri(const char *uri, struct wp_error *error);

/* Connects. On success the caller closes `*ipp`. */
enum wp_status wp_ipp_open(struct wp_ipp_target *target, struct wp_ipp **ipp,
                           struct wp_error *error);
void wp_ipp_close(struct wp_ipp *ipp);

enum wp_status wp_ipp_ask(struct wp_ipp *ipp, struct wp_ipp_look *look, struct wp_error *error);

/* An empty job (Create-Job); `media` as RFC 8011 names it. */
enum wp_status wp_ipp_create(struct wp_ipp *ipp, const char *name, const char *media, int *job,
                             struct wp_error *error);
/* The sheet as its only document (Send-Document). */
enum wp_status wp_ipp_send(struct wp_ipp *ipp, int job, const void *pdf, size_t size,
                           struct wp_error *error);
/* Both at once (Print-Job), for printers that know nothing else. */
enum wp_status wp_ipp_print(struct wp_ipp *ipp, const char *name, const char *media,
                            const void *pdf, size_t size, int *job, struct wp_error *error);

/* What became of a job. WP_NOT_FOUND also if the number belongs to a job of another name. */
enum wp_status wp_ipp_job(struct wp_ipp *ipp, int job, const char *name, struct wp_job_words *words,
                          struct wp_error *error);
enum wp_status wp_ipp_cancel(struct wp_ipp *ipp, int job, struct wp_error *error);

/* Looks for a job by name among open and finished ones. WP_NOT_FOUND fills `*list` (without
 * up_time and sent_ago). */
enum wp_status wp_ipp_find(struct wp_ipp *ipp, const char *name, int *job, struct wp_job_list *list,
                           struct wp_error *error);

#endif
