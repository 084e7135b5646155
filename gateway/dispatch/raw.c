/* Printers on port 9100: the sheet goes down a TCP connection, and nothing comes back.
 *
 * Common practice, no source: there is no protocol, only the connection. So *done* here means that
 * the printer's end took every byte, and whatever breaks off half way is uncertain.
 */
#include <errno.h>
#include <linux/sockios.h>
#include <netdb.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/socket.h>
#include <unistd.h>

#include "base/clock.h"
#include "convert.h"
#include "raw.h"
#include "visit.h"

enum { PDF_MOST = 32 * 1024 * 1024, DEFAULT_PORT = 9100 };

bool wp_raw_uri(const char *uri, char host[256], char port[8])
{
    static const char scheme[] = "socket://";
    if (strncmp(uri, scheme, sizeof scheme - 1) != 0)
        return false;
    const char *at = uri + sizeof scheme - 1;
    const char *end = *at == '[' ? strchr(at, ']') : at + strcspn(at, ":/");
    const char *start = *at == '[' ? at + 1 : at;
    if (end == NULL || end == start || end - start > 255)
        return false;
    snprintf(host, 256, "%.*s", (int)(end - start), start);
    if (*end == ']')
        end++;
    long number = DEFAULT_PORT;
    if (*end == ':') {
        char *rest;
        number = strtol(end + 1, &rest, 10);
        end = rest;
    }
    if ((*end != '\0' && strcmp(end, "/") != 0) || number < 1 || number > 65535)
        return false;
    snprintf(port, 8, "%ld", number);
    return true;
}

/* Waits for `events`. False: not within the time left until `end`. */
static bool wait_for(int fd, short events, int64_t end)
{
    struct pollfd one = {.fd = fd, .events = events};
    int64_t left = (end - wp_clock_steady()) / 1000;
    int ready = left > 0 ? poll(&one, 1, (int)left) : 0;
    return ready == 1;
}

static bool connected(int fd, const struct addrinfo *address, int64_t end)
{
    int problem = 0;
    socklen_t size = sizeof problem;
    if (connect(fd, address->ai_addr, address->ai_addrlen) == 0)
        return true;
    return errno == EINPROGRESS && wait_for(fd, POLLOUT, end) &&
           getsockopt(fd, SOL_SOCKET, SO_ERROR, &problem, &size) == 0 && problem == 0;
}

/* A connection, or -1. */
static int connect_to(const char *uri, int64_t end)
{
    char host[256];
    char port[8];
    struct addrinfo hints = {.ai_socktype = SOCK_STREAM};
    struct addrinfo *list = NULL;
    int fd = -1;
    if (!wp_raw_uri(uri, host, port) || getaddrinfo(host, port, &hints, &list) != 0)
        return -1;
    for (struct addrinfo *at = list; at != NULL && fd < 0; at = at->ai_next) {
        fd = socket(at->ai_family, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
        if (fd >= 0 && !connected(fd, at, end)) {
            close(fd);
            fd = -1;
        }
    }
    freeaddrinfo(list);
    return fd;
}

/* Writes all. `*written` tells how far it came; each piece has `answer_us` to go. */
static bool write_all(int fd, const char *data, size_t size, int64_t answer_us, size_t *written)
{
    *written = 0;
    while (*written < size) {
        ssize_t done = send(fd, data + *written, size - *written, MSG_NOSIGNAL);
        bool full = done < 0 && (errno == EAGAIN || errno == EINTR);
        if (done > 0)
            *written += (size_t)done;
        else if (!full || !wait_for(fd, POLLOUT, wp_clock_steady() + answer_us))
            return false;
    }
    return true;
}

/* The printer has taken everything when it closes its side too; many never do, so it is enough that
 * its end has acknowledged every byte. */
static bool taken_by_printer(int fd, int64_t end)
{
    char ignored[512];
    if (shutdown(fd, SHUT_WR) != 0)
        return false;
    for (;;) {
        int unsent = 1;
        bool readable = wait_for(fd, POLLIN, wp_clock_steady() + 100 * 1000);
        ssize_t size = readable ? recv(fd, ignored, sizeof ignored, 0) : -1;
        if (size == 0)
            return true;
        if (readable && size < 0 && errno != EAGAIN && errno != EINTR)
            return false;
        if (wp_clock_steady() >= end)
            return ioctl(fd, SIOCOUTQ, &unsent) == 0 && unsent == 0;
    }
}

static void send_bytes(struct wp_visit *visit, struct wp_visit_item *item, int fd,
                       const struct wp_bytes *bytes)
{
    size_t written;
    int64_t answer_us = (int64_t)visit->target.answer_ms * 1000;
    if (!wp_visit_mark(visit, item, 0))
        return;
    if (!write_all(fd, bytes->data, bytes->size, answer_us, &written))
        wp_visit_say(item, written == 0 ? WP_VISIT_TAKEN_BACK : WP_VISIT_CANNOT_SAY,
                     "broke off while it was taking the sheet");
    else if (taken_by_printer(fd, wp_clock_steady() + answer_us))
        wp_visit_say(item, WP_VISIT_CAME_OUT, "");
    else
        wp_visit_say(item, WP_VISIT_CANNOT_SAY, "did not take the whole sheet");
}

static void send_sheet(struct wp_visit *visit, struct wp_visit_item *item)
{
    struct wp_bytes bytes;
    struct wp_error error = {0};
    wp_bytes_init(&bytes, PDF_MOST);
    if (!wp_visit_draw(visit, item, &bytes)) {
        wp_bytes_release(&bytes);
        return;
    }
    enum wp_status status = wp_convert_pdf(visit->language, visit->options->spool, &bytes, &error);
    if (status) {
        wp_visit_say(item, WP_VISIT_DRAW_LATER, error.text);
        wp_bytes_release(&bytes);
        return;
    }
    int fd =
        connect_to(visit->target.uri, wp_clock_steady() + (int64_t)visit->target.answer_ms * 1000);
    if (fd < 0) {
        visit->answered = false;
        visit->health = WP_HEALTH_BLOCKED;
        visit->lacks = "cannot be reached";
        wp_visit_say(item, WP_VISIT_NOT_SENT, visit->lacks);
    } else {
        send_bytes(visit, item, fd, &bytes);
        close(fd);
    }
    wp_bytes_release(&bytes);
}

/* Only a printer that was in trouble is tried without a sheet: some print an empty page. */
static void try_connection(struct wp_visit *visit)
{
    int fd =
        connect_to(visit->target.uri, wp_clock_steady() + (int64_t)visit->target.answer_ms * 1000);
    visit->answered = fd >= 0;
    visit->health = fd >= 0 ? WP_HEALTH_READY : WP_HEALTH_BLOCKED;
    visit->lacks = fd >= 0 ? "" : "cannot be reached";
    if (fd >= 0)
        close(fd);
}

void wp_raw_visit_run(struct wp_visit *visit)
{
    bool troubled = visit->health == WP_HEALTH_BLOCKED;
    visit->answered = true;
    if (!troubled) {
        visit->health = WP_HEALTH_READY;
        visit->lacks = "";
    }
    for (size_t i = 0; i < visit->count; i++) {
        struct wp_visit_item *item = &visit->items[i];
        if (item->in_doubt)
            wp_visit_say(item, WP_VISIT_CANNOT_SAY, "does not report what it has printed");
        else if (item->withdraw)
            wp_visit_say(item, WP_VISIT_NOT_SENT, "did not get it");
        else if (visit->answered)
            send_sheet(visit, item);
        else
            wp_visit_say(item, WP_VISIT_NOT_SENT, visit->lacks);
    }
    if (troubled && visit->count == 0)
        try_connection(visit);
    else if (troubled && visit->answered)
        visit->health = WP_HEALTH_READY;
}
