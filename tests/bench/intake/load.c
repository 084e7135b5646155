/* Load for the intake's bench. Two commands over one file of bodies (see bodies.py):
 *
 *   load http PORT METHOD PATH CONNECTIONS BODIES   sends every body once over keep-alive
 * connections;
 *       "%d" in PATH becomes the body's index. Prints: answered, refused, seconds.
 *   load files DIR BODIES    writes, syncs, renames each body and syncs the folder, one by one.
 *       Prints: written, 0, seconds.
 *
 * BODIES is a row of records: two little-endian 32-bit sizes, header lines, body. */
#define _GNU_SOURCE
#include <arpa/inet.h>
#include <errno.h>
#include <fcntl.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#define RECORDS_MOST 200000
#define CONNECTIONS_MOST 512
#define ANSWER_MOST 16384
#define STALL_MS 30000

struct record {
    const char *head, *body;
    uint32_t head_size, body_size;
};

struct connection {
    int socket;
    size_t record;
    char head[4096];
    size_t head_size, sent;
    char answer[ANSWER_MOST];
    size_t got;
    int busy;
};

static struct record records[RECORDS_MOST];
static size_t record_count;
static struct connection connections[CONNECTIONS_MOST];

static void die(const char *what)
{
    fprintf(stderr, "load: %s: %s\n", what, strerror(errno));
    exit(2);
}

static double seconds(void)
{
    struct timespec now;
    (void)clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

static void read_bodies(const char *path)
{
    int file = open(path, O_RDONLY | O_CLOEXEC);
    struct stat status;
    if (file < 0 || fstat(file, &status) != 0)
        die(path);
    size_t size = (size_t)status.st_size;
    const char *data = mmap(NULL, size, PROT_READ, MAP_PRIVATE | MAP_POPULATE, file, 0);
    if (data == MAP_FAILED)
        die(path);
    for (size_t at = 0; at + 8 <= size && record_count < RECORDS_MOST;) {
        struct record *record = &records[record_count++];
        memcpy(&record->head_size, data + at, 4);
        memcpy(&record->body_size, data + at + 4, 4);
        record->head = data + at + 8;
        record->body = record->head + record->head_size;
        at += 8 + (size_t)record->head_size + record->body_size;
        if (at > size)
            die("a record is cut short");
    }
    (void)close(file);
}

/* ---- files one by one ---- */

static void write_all(int file, const char *data, size_t size)
{
    while (size) {
        ssize_t put = write(file, data, size);
        if (put <= 0)
            die("write");
        data += put;
        size -= (size_t)put;
    }
}

static void write_files(const char *folder)
{
    int dir = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (dir < 0)
        die(folder);
    double start = seconds();
    for (size_t i = 0; i < record_count; i++) {
        char name[32];
        (void)snprintf(name, sizeof name, "%zu.jdx", i);
        int file = openat(dir, "part", O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
        if (file < 0)
            die("open");
        write_all(file, records[i].body, records[i].body_size);
        if (fsync(file) || close(file) || renameat(dir, "part", dir, name) || fsync(dir))
            die("sync");
    }
    printf("%zu 0 %.6f\n", record_count, seconds() - start);
}

/* ---- HTTP ---- */

static void open_connection(struct connection *connection, int port)
{
    struct sockaddr_in to = {.sin_family = AF_INET, .sin_port = htons((uint16_t)port)};
    to.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    int one = 1;
    connection->socket = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    if (connection->socket < 0 || connect(connection->socket, (struct sockaddr *)&to, sizeof to))
        die("connect");
    (void)setsockopt(connection->socket, IPPROTO_TCP, TCP_NODELAY, &one, sizeof one);
    (void)fcntl(connection->socket, F_SETFL, O_NONBLOCK);
}

static void begin(struct connection *connection, size_t index, const char *method, const char *path)
{
    const struct record *record = &records[index];
    char place[256];
    const char *mark = strstr(path, "%d");
    if (mark)
        (void)snprintf(place, sizeof place, "%.*s%zu%s", (int)(mark - path), path, index, mark + 2);
    else
        (void)snprintf(place, sizeof place, "%s", path);
    int size = snprintf(connection->head, sizeof connection->head,
                        "%s %s HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: %u\r\n%.*s\r\n",
                        method, place, record->body_size, (int)record->head_size, record->head);
    if (size < 0 || (size_t)size >= sizeof connection->head)
        die("header too long");
    connection->head_size = (size_t)size;
    connection->record = index;
    connection->sent = connection->got = 0;
    connection->busy = 1;
}

static void send_some(struct connection *connection)
{
    const struct record *record = &records[connection->record];
    size_t total = connection->head_size + record->body_size;
    while (connection->sent < total) {
        int in_head = connection->sent < connection->head_size;
        const char *from = in_head ? connection->head + connection->sent
                                   : record->body + (connection->sent - connection->head_size);
        size_t size = in_head ? connection->head_size - connection->sent : total - connection->sent;
        ssize_t put = send(connection->socket, from, size, MSG_NOSIGNAL | (in_head ? MSG_MORE : 0));
        if (put < 0 && errno == EAGAIN)
            return;
        if (put <= 0)
            die("send");
        connection->sent += (size_t)put;
    }
}

/* The status once the whole answer is there; 0 before. */
static int receive_some(struct connection *connection)
{
    ssize_t got = recv(connection->socket, connection->answer + connection->got,
                       sizeof connection->answer - 1 - connection->got, 0);
    if (got < 0 && errno == EAGAIN)
        return 0;
    if (got <= 0)
        die("the server closed a connection");
    connection->got += (size_t)got;
    connection->answer[connection->got] = '\0';
    const char *end = strstr(connection->answer, "\r\n\r\n");
    if (!end)
        return 0;
    const char *length = strcasestr(connection->answer, "\r\nContent-Length:");
    size_t body = length && length < end ? (size_t)strtoul(length + 17, NULL, 10) : 0;
    if (connection->got < (size_t)(end - connection->answer) + 4 + body)
        return 0;
    return atoi(connection->answer + 9);
}

struct run {
    const char *method, *path;
    size_t next, done, refused;
};

static void finish(struct run *run, struct connection *connection, int status)
{
    size_t again = connection->record;
    connection->busy = 0;
    if (status == 503 && run->refused < record_count) {
        run->refused++;
        begin(connection, again, run->method, run->path);
        return;
    }
    if (status < 200 || status > 299) {
        fprintf(stderr, "load: %s\n", connection->answer);
        exit(2);
    }
    run->done++;
    if (run->next < record_count)
        begin(connection, run->next++, run->method, run->path);
}

static void send_over_http(int port, const char *method, const char *path, size_t count)
{
    struct run run = {.method = method, .path = path};
    struct pollfd polled[CONNECTIONS_MOST];
    for (size_t i = 0; i < count; i++)
        open_connection(&connections[i], port);
    double start = seconds();
    for (size_t i = 0; i < count && run.next < record_count; i++)
        begin(&connections[i], run.next++, method, path);
    while (run.done < record_count) {
        for (size_t i = 0; i < count; i++) {
            struct connection *one = &connections[i];
            size_t total = one->head_size + (one->busy ? records[one->record].body_size : 0);
            polled[i].fd = one->busy ? one->socket : -1;
            polled[i].events = (short)(POLLIN | (one->sent < total ? POLLOUT : 0));
        }
        if (poll(polled, count, STALL_MS) <= 0)
            die("nothing moved for half a minute");
        for (size_t i = 0; i < count; i++) {
            if (polled[i].fd >= 0 && polled[i].revents & POLLOUT)
                send_some(&connections[i]);
            int status = polled[i].fd >= 0 && polled[i].revents & ~POLLOUT
                             ? receive_some(&connections[i])
                             : 0;
            if (status)
                finish(&run, &connections[i], status);
        }
    }
    printf("%zu %zu %.6f\n", run.done, run.refused, seconds() - start);
}

int main(int argc, char **argv)
{
    if (argc == 4 && !strcmp(argv[1], "files")) {
        read_bodies(argv[3]);
        write_files(argv[2]);
        return 0;
    }
    size_t count = argc == 7 ? (size_t)strtoul(argv[5], NULL, 10) : 0;
    if (argc != 7 || strcmp(argv[1], "http") != 0 || !count || count > CONNECTIONS_MOST) {
        fprintf(stderr,
                "usage: load http PORT METHOD PATH CONNECTIONS BODIES | load files DIR BODIES\n");
        return 2;
    }
    read_bodies(argv[6]);
    send_over_http(atoi(argv[2]), argv[3], argv[4], count);
    return 0;
}
