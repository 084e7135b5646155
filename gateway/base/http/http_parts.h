/* http_parts.h - what the files of this room share.
 *
 * http.c makes requests and their answers, mail.c the SMTP ones, imap.c the IMAP ones, drive.c lets
 * curl's sockets and its clock run on the loop.
 */
#ifndef HTTP_PARTS_H
#define HTTP_PARTS_H

#include <curl/curl.h>

#include "base/http.h"

#define MOST_CALLS 256

struct call {
    struct call *next, *before;
    struct wp_http *http;
    CURL *easy;
    struct curl_slist *headers;
    struct curl_slist *recipients;
    struct wp_bytes answer;
    bool mail;
    bool overflow;
    const char *message;
    size_t message_size, message_sent;
    char trouble[CURL_ERROR_SIZE];
    wp_http_done done;
    void *arg;
};

struct wp_http {
    uv_loop_t *loop;
    CURLM *multi;
    uv_timer_t timer;
    unsigned handles; /* libuv handles not yet closed; the memory goes with the last */
    struct call *calls;
    size_t load;
    unsigned connections;
    char *ca_file, *pinned_key, *proxy, *unix_path;
    bool pin_only;
    bool handing_out; /* a done callback is running */
    bool closing;
};

/* Binds the multi handle to the loop; false if libuv or curl refuse. */
bool http_drive_start(struct wp_http *http);
/* Closes the timer and the multi handle; the memory goes once the loop has turned. */
void http_drive_stop(struct wp_http *http);

/* A call with the settings every request shares. NULL if out of memory. */
struct call *http_call_new(struct wp_http *http, wp_http_done done, void *arg);
void http_call_free(struct call *call);
/* Hands the call to curl. On failure the call is freed and done is not called. */
enum wp_status http_call_start(struct call *call);
/* Takes the call out, tells its owner, frees it. */
void http_call_finish(struct wp_http *http, struct call *call, CURLcode result);
/* Ends all calls and stops; not from inside a done callback. */
void http_end(struct wp_http *http);

#endif
