#include "mime.h"

#include <ctype.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

/* The next line without its end; false at the end of the text. */
static bool next_line(struct wp_slice *text, struct wp_slice *line)
{
    if (text->at >= text->end)
        return false;
    const char *end = memchr(text->at, '\n', (size_t)(text->end - text->at));
    line->at = text->at;
    line->end = end != NULL ? end : text->end;
    text->at = end != NULL ? end + 1 : text->end;
    if (line->end > line->at && line->end[-1] == '\r')
        line->end--;
    return true;
}

static bool blank(char letter)
{
    return letter == ' ' || letter == '\t';
}

/* Appends what is of one line of value, as far as there is room. */
static void append(char value[WP_MIME_VALUE_ROOM], size_t *used, struct wp_slice line)
{
    for (; line.at < line.end && *used + 1 < WP_MIME_VALUE_ROOM; line.at++)
        value[(*used)++] = (unsigned char)*line.at < 0x20 ? ' ' : *line.at;
    value[*used] = '\0';
}

static void copy_lower(char *out, size_t room, struct wp_slice text)
{
    size_t used = 0;
    for (; text.at < text.end && used + 1 < room; text.at++)
        out[used++] = (char)tolower((unsigned char)*text.at);
    out[used] = '\0';
}

/* Lines that begin with a blank go on with the one before (RFC 5322 section 2.2.3). */
static void unfold(struct wp_slice *text, char value[WP_MIME_VALUE_ROOM], size_t used)
{
    static const char space[] = " ";
    struct wp_slice line;
    while (text->at < text->end && blank(*text->at) && next_line(text, &line)) {
        while (line.at < line.end && blank(*line.at))
            line.at++;
        append(value, &used, (struct wp_slice){space, space + 1});
        append(value, &used, line);
    }
}

bool wp_mime_next_field(struct wp_slice *text, struct wp_mime_field *field)
{
    struct wp_slice line;
    while (next_line(text, &line) && line.at < line.end) {
        const char *colon = memchr(line.at, ':', (size_t)(line.end - line.at));
        if (colon == NULL || blank(*line.at))
            continue;
        struct wp_slice name = {line.at, colon};
        while (name.end > name.at && blank(name.end[-1]))
            name.end--;
        copy_lower(field->name, sizeof field->name, name);
        size_t used = 0;
        line.at = colon + 1;
        while (line.at < line.end && blank(*line.at))
            line.at++;
        append(field->value, &used, line);
        unfold(text, field->value, used);
        return true;
    }
    return false;
}

/* One parameter's value, quoted or not; returns where the next one may begin. */
static const char *read_value(const char *at, char *out, size_t room)
{
    size_t used = 0;
    bool quoted = *at == '"';
    at += quoted;
    for (; *at != '\0' && (quoted ? *at != '"' : *at != ';' && !blank(*at)); at++) {
        if (quoted && *at == '\\' && at[1] != '\0')
            at++;
        if (used + 1 < room)
            out[used++] = *at;
    }
    out[used] = '\0';
    return at;
}

static void lower(char *text)
{
    for (; *text != '\0'; text++)
        *text = (char)tolower((unsigned char)*text);
}

void wp_mime_type_read(const char *value, struct wp_mime_type *type)
{
    size_t size = strcspn(value, "; \t");
    memset(type, 0, sizeof *type);
    copy_lower(type->type, sizeof type->type, (struct wp_slice){value, value + size});
    for (const char *at = strchr(value, ';'); at != NULL; at = strchr(at, ';')) {
        at += 1 + strspn(at + 1, " \t");
        char other[4];
        if (strncasecmp(at, "boundary=", 9) == 0)
            at = read_value(at + 9, type->boundary, sizeof type->boundary);
        else if (strncasecmp(at, "report-type=", 12) == 0)
            at = read_value(at + 12, type->report_type, sizeof type->report_type);
        else if (at[strcspn(at, "=;")] == '=')
            at = read_value(strchr(at, '=') + 1, other, sizeof other);
    }
    lower(type->report_type);
}

/* 1: the boundary, 2: the last one, 0: neither. */
static int is_boundary(struct wp_slice line, const char *boundary, size_t size)
{
    if ((size_t)(line.end - line.at) < size + 2 || line.at[0] != '-' || line.at[1] != '-' ||
        memcmp(line.at + 2, boundary, size) != 0)
        return 0;
    const char *rest = line.at + 2 + size;
    bool last = line.end - rest >= 2 && rest[0] == '-' && rest[1] == '-';
    for (rest += last ? 2 : 0; rest < line.end; rest++)
        if (!blank(*rest))
            return 0;
    return last ? 2 : 1;
}

bool wp_mime_next_part(struct wp_slice *body, const char *boundary, struct wp_slice *part)
{
    struct wp_slice line;
    size_t size = strlen(boundary);
    int found = 0;
    while (found == 0 && next_line(body, &line))
        found = is_boundary(line, boundary, size);
    if (found != 1)
        return false;
    part->at = part->end = body->at;
    for (;;) {
        const char *before = body->at;
        if (!next_line(body, &line))
            break;
        if (is_boundary(line, boundary, size) != 0) {
            body->at = before; /* it begins the next part as well */
            break;
        }
        part->end = body->at;
    }
    return true;
}
