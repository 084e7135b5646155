#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/digest.h"
#include "base/embed.h"
#include "request.h"

WP_EMBEDDED(wp_pages);
WP_EMBEDDED(wp_uplot);

#define PAGE_MOST (4 * 1024 * 1024)

static const char *type_of(const char *name)
{
    static const struct {
        const char *end, *type;
    } types[] = {{".html", "text/html; charset=utf-8"},
                 {".css", "text/css; charset=utf-8"},
                 {".js", "text/javascript; charset=utf-8"},
                 {".svg", "image/svg+xml"},
                 {".png", "image/png"},
                 {".ico", "image/x-icon"},
                 {".webmanifest", "application/manifest+json"},
                 {".txt", "text/plain; charset=utf-8"}};
    size_t length = strlen(name);
    for (size_t i = 0; i < sizeof types / sizeof types[0]; i++) {
        size_t end = strlen(types[i].end);
        if (length > end && !strcmp(name + length - end, types[i].end))
            return types[i].type;
    }
    return "application/octet-stream";
}

/* A file of the folder WAVEPOST_PAGES, so that pages can be worked on without a build. */
static bool serve_file(struct wp_request *request, const char *folder, const char *name)
{
    char path[1024];
    struct stat about;
    if (strchr(name, '/') || name[0] == '.')
        return false;
    snprintf(path, sizeof path, "%s/%s", folder, name);
    int fd = open(path, O_RDONLY | O_CLOEXEC | O_NOFOLLOW);
    if (fd < 0)
        return false;
    char *data = NULL;
    if (fstat(fd, &about) == 0 && S_ISREG(about.st_mode) && about.st_size <= PAGE_MOST)
        data = malloc((size_t)about.st_size + 1);
    ssize_t got = data ? read(fd, data, (size_t)about.st_size) : -1;
    close(fd);
    if (got < 0) {
        free(data);
        return false;
    }
    wp_reply_text(request, MHD_HTTP_OK, type_of(name), data, (size_t)got);
    return true;
}

/* An entity tag of the content; the few files are small, and a browser asks seldom. */
static void serve_embedded(struct wp_request *request, const struct wp_embedded *file)
{
    unsigned char digest[WP_SHA256_SIZE];
    char etag[35] = "\"";
    if (wp_sha256(file->data, file->size, digest)) {
        wp_reply_problem(request, WP_IO, NULL);
        return;
    }
    wp_hex_encode(digest, 16, etag + 1);
    etag[33] = '"';
    etag[34] = '\0';
    wp_reply_static(request, type_of(file->name), file->data, file->size, etag);
}

static const struct wp_embedded *find(const struct wp_embedded *files, size_t count,
                                      const char *name)
{
    for (size_t i = 0; i < count; i++)
        if (!strcmp(files[i].name, name))
            return &files[i];
    return NULL;
}

static void serve(struct wp_request *request, const char *name)
{
    const char *folder = getenv("WAVEPOST_PAGES");
    if (folder && folder[0] && serve_file(request, folder, name))
        return;
    const struct wp_embedded *file = find(wp_pages_files, wp_pages_count, name);
    if (!file)
        file = find(wp_uplot_files, wp_uplot_count, name);
    if (file)
        serve_embedded(request, file);
    else
        wp_reply_problem(request, WP_NOT_FOUND, NULL);
}

/* "/" is index.html, "/bench" is bench.html, "/style.css" itself. */
void wp_serve_page(struct wp_request *request)
{
    const char *asked = request->ask.param[0] ? request->ask.param[0] : "index";
    char name[256];
    snprintf(name, sizeof name, "%s%s", asked, strchr(asked, '.') ? "" : ".html");
    serve(request, name);
}

void wp_serve_asset(struct wp_request *request)
{
    serve(request, request->ask.param[0]);
}
