/* A peer on loopback that answers each connection with prepared words and keeps what it heard. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <arpa/inet.h>
#include <pthread.h>
#include <sys/socket.h>
#include <unistd.h>

#include <cmocka.h>

#include "base/http.h"

struct peer {
    int listener;
    int port;
    const char *const *lines; /* what it says, one before each reading; NULL ends */
    char heard[65536];
    size_t size;
    pthread_t thread;
};

static void *speak(void *arg)
{
    struct peer *peer = arg;
    int connection = accept(peer->listener, NULL, NULL);
    for (size_t i = 0; connection >= 0 && peer->lines[i]; i++) {
        if (peer->lines[i][0] &&
            send(connection, peer->lines[i], strlen(peer->lines[i]), MSG_NOSIGNAL) < 0)
            break;
        ssize_t got =
            recv(connection, peer->heard + peer->size, sizeof peer->heard - 1 - peer->size, 0);
        if (got <= 0)
            break;
        peer->size += (size_t)got;
    }
    if (connection >= 0)
        close(connection);
    return NULL;
}

static void start(struct peer *peer, const char *const *lines)
{
    struct sockaddr_in address = {.sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    socklen_t size = sizeof address;
    struct timeval patience = {.tv_sec = 20};
    memset(peer, 0, sizeof *peer);
    peer->lines = lines;
    peer->listener = socket(AF_INET, SOCK_STREAM, 0);
    assert_int_equal(bind(peer->listener, (struct sockaddr *)&address, size), 0);
    assert_int_equal(listen(peer->listener, 4), 0);
    assert_int_equal(getsockname(peer->listener, (struct sockaddr *)&address, &size), 0);
    peer->port = ntohs(address.sin_port);
    setsockopt(peer->listener, SOL_SOCKET, SO_RCVTIMEO, &patience, sizeof patience);
    assert_int_equal(pthread_create(&peer->thread, NULL, speak, peer), 0);
}

static void stop(struct peer *peer)
{
    shutdown(peer->listener, SHUT_RDWR);
    pthread_join(peer->thread, NULL);
    close(peer->listener);
}

struct outcome {
    unsigned calls;
    enum wp_status status;
    long code, retry_after_s;
    char body[256], type[64], why[256];
};

static void done(void *arg, const struct wp_http_answer *answer)
{
    struct outcome *outcome = arg;
    outcome->calls++;
    outcome->status = answer->status;
    outcome->code = answer->code;
    outcome->retry_after_s = answer->retry_after_s;
    snprintf(outcome->body, sizeof outcome->body, "%s", answer->body);
    snprintf(outcome->type, sizeof outcome->type, "%s",
             answer->content_type ? answer->content_type : "");
    snprintf(outcome->why, sizeof outcome->why, "%s", answer->error.text);
}

static void finish(uv_loop_t *loop, struct wp_http *http)
{
    while (wp_http_load(http) > 0)
        uv_run(loop, UV_RUN_ONCE);
    wp_http_free(http);
    uv_run(loop, UV_RUN_DEFAULT);
    assert_int_equal(uv_loop_close(loop), 0);
}

static struct outcome ask(struct peer *peer, struct wp_http_request request)
{
    struct outcome outcome = {0};
    char url[128];
    uv_loop_t loop;
    assert_int_equal(uv_loop_init(&loop), 0);
    struct wp_http *http = wp_http_new(&loop, NULL);
    assert_non_null(http);
    snprintf(url, sizeof url, "http://127.0.0.1:%d/path", peer->port);
    request.url = url;
    assert_int_equal(wp_http_send(http, &request, done, &outcome), WP_OK);
    assert_int_equal(outcome.calls, 0);
    finish(&loop, http);
    stop(peer);
    assert_int_equal(outcome.calls, 1);
    return outcome;
}

static void a_request_goes_out_as_asked_and_the_answer_comes_back(void **state)
{
    (void)state;
    static const char *const lines[] = {
        "",
        "HTTP/1.1 503 Busy\r\nRetry-After: 7\r\nContent-Type: application/problem+json\r\n"
        "Content-Length: 4\r\nConnection: close\r\n\r\n{ } ",
        NULL};
    static const char *const headers[] = {"X-One: 1", "Content-Type: text/plain", NULL};
    struct peer peer;
    start(&peer, lines);
    struct outcome outcome =
        ask(&peer, (struct wp_http_request){
                       .method = "PUT", .headers = headers, .body = "body\0!", .size = 6});
    assert_int_equal(outcome.status, WP_OK);
    assert_int_equal(outcome.code, 503);
    assert_int_equal(outcome.retry_after_s, 7);
    assert_string_equal(outcome.body, "{ } ");
    assert_string_equal(outcome.type, "application/problem+json");
    assert_memory_equal(peer.heard, "PUT /path HTTP/1.1\r\n", 20);
    assert_non_null(strstr(peer.heard, "X-One: 1\r\n"));
    assert_null(strstr(peer.heard, "Expect"));
    assert_memory_equal(peer.heard + peer.size - 6, "body\0!", 6);
}

static void an_answer_beyond_its_bound_is_refused(void **state)
{
    (void)state;
    static const char *const lines[] = {
        "", "HTTP/1.1 200 OK\r\nContent-Length: 11\r\nConnection: close\r\n\r\n12345678901", NULL};
    struct peer peer;
    start(&peer, lines);
    struct outcome outcome =
        ask(&peer, (struct wp_http_request){.method = "GET", .answer_most = 10});
    assert_int_equal(outcome.status, WP_TOO_LARGE);
}

static void silence_ends_at_the_time_limit(void **state)
{
    (void)state;
    static const char *const lines[] = {"", "", NULL};
    struct peer peer;
    start(&peer, lines);
    struct outcome outcome =
        ask(&peer, (struct wp_http_request){.method = "GET", .timeout_ms = 200});
    assert_int_equal(outcome.status, WP_RETRY);
    assert_true(outcome.why[0]);
}

static void an_answer_that_breaks_off_is_no_answer(void **state)
{
    (void)state;
    static const char *const lines[] = {"", "HTTP/1.1 200 OK\r\nContent-Length: 50\r\n\r\nhalf",
                                        NULL};
    struct peer peer;
    start(&peer, lines);
    peer.lines = lines;
    struct outcome outcome =
        ask(&peer, (struct wp_http_request){.method = "GET", .timeout_ms = 500});
    assert_int_equal(outcome.status, WP_RETRY);
}

static void malformed_requests_are_refused_at_once(void **state)
{
    (void)state;
    static const char *const split[] = {"X: a\r\nY: b", NULL};
    struct outcome outcome = {0};
    uv_loop_t loop;
    assert_int_equal(uv_loop_init(&loop), 0);
    struct wp_http *http = wp_http_new(&loop, NULL);
    struct wp_http_request request = {.method = "GET", .url = "file:///etc/passwd"};
    assert_int_equal(wp_http_send(http, &request, done, &outcome), WP_INVALID);
    request.url = "not a url";
    assert_int_equal(wp_http_send(http, &request, done, &outcome), WP_INVALID);
    request.url = "http://127.0.0.1/\r\nHost: x";
    assert_int_equal(wp_http_send(http, &request, done, &outcome), WP_INVALID);
    request.url = "http://127.0.0.1:1/";
    request.headers = split;
    assert_int_equal(wp_http_send(http, &request, done, &outcome), WP_INVALID);
    struct wp_mail_request mail = {.url = "smtp://127.0.0.1:1",
                                   .from = "a@example.org",
                                   .to = "b>\r\nRCPT TO:<c",
                                   .message = ""};
    assert_int_equal(wp_mail_send(http, &mail, done, &outcome), WP_INVALID);
    finish(&loop, http);
    assert_int_equal(outcome.calls, 0);
}

static void freeing_the_client_ends_every_request(void **state)
{
    (void)state;
    static const char *const lines[] = {"", "", NULL};
    struct outcome outcome = {0};
    struct peer peer;
    char url[128];
    uv_loop_t loop;
    start(&peer, lines);
    assert_int_equal(uv_loop_init(&loop), 0);
    struct wp_http *http = wp_http_new(&loop, NULL);
    snprintf(url, sizeof url, "http://127.0.0.1:%d/", peer.port);
    struct wp_http_request request = {.method = "GET", .url = url};
    for (int i = 0; i < 5; i++)
        assert_int_equal(wp_http_send(http, &request, done, &outcome), WP_OK);
    for (int i = 0; i < 5; i++)
        uv_run(&loop, UV_RUN_NOWAIT);
    wp_http_free(http);
    assert_int_equal(outcome.calls, 5);
    assert_int_equal(outcome.status, WP_RETRY);
    uv_run(&loop, UV_RUN_DEFAULT);
    assert_int_equal(uv_loop_close(&loop), 0);
    stop(&peer);
}

static void free_client(void *arg, const struct wp_http_answer *answer)
{
    (void)answer;
    wp_http_free(*(struct wp_http **)arg);
}

static void the_client_may_be_freed_when_an_answer_comes(void **state)
{
    (void)state;
    static const char *const lines[] = {"", "HTTP/1.1 204 Fine\r\n\r\n", NULL};
    struct peer peer;
    char url[128];
    uv_loop_t loop;
    start(&peer, lines);
    assert_int_equal(uv_loop_init(&loop), 0);
    struct wp_http *http = wp_http_new(&loop, NULL);
    snprintf(url, sizeof url, "http://127.0.0.1:%d/", peer.port);
    struct wp_http_request request = {.method = "GET", .url = url};
    assert_int_equal(wp_http_send(http, &request, free_client, &http), WP_OK);
    uv_run(&loop, UV_RUN_DEFAULT);
    assert_int_equal(uv_loop_close(&loop), 0);
    stop(&peer);
}

static struct outcome mail(struct peer *peer)
{
    static const char message[] = "Subject: x\r\n\r\nline\r\n.dot\r\n";
    struct outcome outcome = {0};
    char url[128];
    uv_loop_t loop;
    assert_int_equal(uv_loop_init(&loop), 0);
    struct wp_http *http = wp_http_new(&loop, NULL);
    snprintf(url, sizeof url, "smtp://127.0.0.1:%d", peer->port);
    struct wp_mail_request request = {.url = url,
                                      .from = "lab@example.org",
                                      .to = "ada@example.org",
                                      .message = message,
                                      .size = sizeof message - 1};
    assert_int_equal(wp_mail_send(http, &request, done, &outcome), WP_OK);
    finish(&loop, http);
    stop(peer);
    assert_int_equal(outcome.calls, 1);
    return outcome;
}

static void a_letter_is_handed_over_with_its_dots_doubled(void **state)
{
    (void)state;
    static const char *const lines[] = {
        "220 ready\r\n", "250 hello\r\n", "250 from\r\n", "250 to\r\n",
        "354 go\r\n",    "250 kept\r\n",  "221 bye\r\n",  NULL};
    struct peer peer;
    start(&peer, lines);
    struct outcome outcome = mail(&peer);
    assert_int_equal(outcome.status, WP_OK);
    assert_int_equal(outcome.code, 250);
    assert_non_null(strstr(peer.heard, "MAIL FROM:<lab@example.org>"));
    assert_non_null(strstr(peer.heard, "RCPT TO:<ada@example.org>"));
    assert_non_null(strstr(peer.heard, "\r\n..dot\r\n.\r\n"));
}

static void a_refused_recipient_is_an_answer_with_its_code(void **state)
{
    (void)state;
    static const char *const lines[] = {"220 ready\r\n",   "250 hello\r\n", "250 from\r\n",
                                        "550 unknown\r\n", "221 bye\r\n",   NULL};
    struct peer peer;
    start(&peer, lines);
    struct outcome outcome = mail(&peer);
    assert_int_equal(outcome.status, WP_OK);
    assert_int_equal(outcome.code, 550);
}

static void a_mail_server_that_hangs_up_is_tried_again(void **state)
{
    (void)state;
    static const char *const lines[] = {"220 ready\r\n", NULL};
    struct peer peer;
    start(&peer, lines);
    assert_int_equal(mail(&peer).status, WP_RETRY);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_request_goes_out_as_asked_and_the_answer_comes_back),
        cmocka_unit_test(an_answer_beyond_its_bound_is_refused),
        cmocka_unit_test(silence_ends_at_the_time_limit),
        cmocka_unit_test(an_answer_that_breaks_off_is_no_answer),
        cmocka_unit_test(malformed_requests_are_refused_at_once),
        cmocka_unit_test(freeing_the_client_ends_every_request),
        cmocka_unit_test(the_client_may_be_freed_when_an_answer_comes),
        cmocka_unit_test(a_letter_is_handed_over_with_its_dots_doubled),
        cmocka_unit_test(a_refused_recipient_is_an_answer_with_its_code),
        cmocka_unit_test(a_mail_server_that_hangs_up_is_tried_again),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
