/* dispatch/ipp_parts.h - what ipp.c (connection) and ipp_jobs.c (operations) share. */
#ifndef DISPATCH_IPP_PARTS_H
#define DISPATCH_IPP_PARTS_H

#include <cups/cups.h>

#include "ipp.h"

struct wp_ipp {
    http_t *http;
    char uri[512];
    char host[256];
    char resource[256];
    int port;
    bool tls;
    char certificate[WP_CERTIFICATE_ROOM];
};

/* A request to this printer with charset, language and printer-uri; NULL: no memory. */
ipp_t *wp_ipp_request(struct wp_ipp *ipp, ipp_op_t operation);
void wp_ipp_request_user(ipp_t *request);

/* Sends `request` (freed here, may be NULL) and `data` once. `*answer` is the caller's to delete,
 * also on failure. */
enum wp_status wp_ipp_exchange(struct wp_ipp *ipp, ipp_t *request, const void *data, size_t size,
                               ipp_t **answer, struct wp_error *error);

/* The connection is to the printer it has been to before; libcups may have made it anew. */
enum wp_status wp_ipp_check_peer(struct wp_ipp *ipp, struct wp_error *error);

#endif
