#include "problem.h"

#include <cjson/cJSON.h>

#include "html.h"

#define PAGE_MOST ((size_t)16 * 1024)

unsigned wp_problem_code(enum wp_status status, const struct wp_error *error)
{
    switch (status) {
    case WP_OK:
        return 200;
    case WP_RETRY:
        return error && error->text[0] ? 429 : 503;
    case WP_CONSTRAINT:
    case WP_CONFLICT:
        return 409;
    case WP_FULL:
        return 507;
    case WP_NOT_FOUND:
        return 404;
    case WP_INVALID:
        return 422;
    case WP_DENIED:
        return 403;
    case WP_TOO_LARGE:
        return 413;
    case WP_NO_MEMORY:
        return 503;
    case WP_BROKEN:
    case WP_IO:
        break;
    }
    return 500;
}

const char *wp_problem_title(unsigned code)
{
    static const struct {
        unsigned code;
        const char *title;
    } titles[] = {{400, "Bad Request"},
                  {401, "Unauthorized"},
                  {403, "Forbidden"},
                  {404, "Not Found"},
                  {405, "Method Not Allowed"},
                  {408, "Request Timeout"},
                  {409, "Conflict"},
                  {410, "Gone"},
                  {411, "Length Required"},
                  {413, "Content Too Large"},
                  {414, "URI Too Long"},
                  {415, "Unsupported Media Type"},
                  {422, "Unprocessable Content"},
                  {429, "Too Many Requests"},
                  {500, "Internal Server Error"},
                  {503, "Service Unavailable"},
                  {507, "Insufficient Storage"}};
    for (size_t i = 0; i < sizeof titles / sizeof titles[0]; i++)
        if (titles[i].code == code)
            return titles[i].title;
    return "Error";
}

char *wp_problem_json(unsigned code, enum wp_status status, const char *detail,
                      const char *instance, const struct wp_error *place, unsigned long long limit)
{
    cJSON *json = cJSON_CreateObject();
    if (!json)
        return NULL;
    cJSON_AddStringToObject(json, "type", "about:blank");
    cJSON_AddStringToObject(json, "title", wp_problem_title(code));
    cJSON_AddNumberToObject(json, "status", code);
    if (detail && detail[0])
        cJSON_AddStringToObject(json, "detail", detail);
    if (instance)
        cJSON_AddStringToObject(json, "instance", instance);
    if (status)
        cJSON_AddStringToObject(json, "code", wp_status_name(status));
    if (place && place->line > 0)
        cJSON_AddNumberToObject(json, "line", (double)place->line);
    if (place && place->column > 0)
        cJSON_AddNumberToObject(json, "column", (double)place->column);
    if (limit > 0)
        cJSON_AddNumberToObject(json, "limit", (double)limit);
    char *text = cJSON_PrintUnformatted(json);
    cJSON_Delete(json);
    return text;
}

enum wp_status wp_html_add(struct wp_bytes *html, const char *text)
{
    static const struct {
        char from;
        const char *to;
    } escapes[] = {{'&', "&amp;"}, {'<', "&lt;"}, {'>', "&gt;"}, {'"', "&quot;"}, {'\'', "&#39;"}};
    enum wp_status status = WP_OK;
    for (; *text && !status; text++) {
        const char *escape = NULL;
        for (size_t i = 0; i < sizeof escapes / sizeof escapes[0]; i++)
            if (*text == escapes[i].from)
                escape = escapes[i].to;
        status = escape ? wp_bytes_add_text(html, escape) : wp_bytes_add_byte(html, *text);
    }
    return status;
}

char *wp_say_html(const char *title, const char *detail, const char *back)
{
    struct wp_bytes bytes;
    wp_bytes_init(&bytes, PAGE_MOST);
    struct wp_html html = {.bytes = &bytes};
    wp_html_raw(&html, "<!doctype html><html lang=\"en\"><head><meta charset=\"utf-8\">"
                       "<meta name=\"viewport\" content=\"width=device-width\">"
                       "<link rel=\"icon\" href=\"/icon.svg\">");
    wp_html_around(&html, "<title>", title, "</title>");
    wp_html_raw(&html, "<link rel=\"stylesheet\" href=\"/style.css\"></head>"
                       "<body><main class=\"narrow\">");
    wp_html_around(&html, "<h1>", title, "</h1>");
    wp_html_around(&html, "<p>", detail, "</p>");
    if (back)
        wp_html_around(&html, "<p><a href=\"", back, "\">Back</a></p>");
    else
        wp_html_raw(&html, "<p><a href=\"/\">To the first page</a></p>");
    wp_html_raw(&html, "</main></body></html>\n");
    if (!html.status)
        return wp_bytes_take(&bytes, NULL);
    wp_bytes_release(&bytes);
    return NULL;
}

char *wp_problem_html(unsigned code, const char *detail, const char *back)
{
    return wp_say_html(wp_problem_title(code), detail, back);
}
