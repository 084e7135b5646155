/* The compressed form: differences and repeat counts in pseudo-digits (4.24, section 5.8). */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "write_table.h"

#define LINE 80
#define TOKEN 48

static const char sqz[] = "ihgfedcba@ABCDEFGHI";
static const char dif[] = "rqponmlkj%JKLMNOPQR";
static const char dup[] = "?STUVWXYZs";

/* A whole number whose sign and first digit become one character of `digits`. */
static size_t pseudo(long long value, const char *digits, char *text)
{
    char plain[24];
    int size = snprintf(plain, sizeof plain, "%lld", value < 0 ? -value : value);
    int first = plain[0] - '0';
    text[0] = digits[9 + (value < 0 ? -first : first)];
    memcpy(text + 1, plain + 1, (size_t)size - 1);
    return (size_t)size;
}

static size_t repeat(size_t count, char *text)
{
    int size = snprintf(text, 24, "%zu", count);
    text[0] = dup[text[0] - '0'];
    return (size_t)size;
}

struct writer {
    const struct wp_spectrum *spectrum;
    double factor;
    size_t at;   /* the next point */
    bool in_dif; /* the last ordinate written was a difference */
};

static bool missing(const struct writer *w, size_t i)
{
    return isnan(w->spectrum->y[i]);
}

static long long whole(const struct writer *w, size_t i)
{
    return (long long)nearbyint(w->spectrum->y[i] / w->factor);
}

/* The next ordinates as one token; `*points` of them. `free_start` is false on an empty line. */
static size_t token(const struct writer *w, bool free_start, char text[TOKEN], size_t *points,
                    bool *in_dif)
{
    size_t i = w->at;
    *points = 1;
    *in_dif = false;
    if (missing(w, i)) {
        text[0] = '?';
        return 1;
    }
    if (!free_start || missing(w, i - 1))
        return pseudo(whole(w, i), sqz, text);
    long long last = whole(w, i);
    long long step = last - whole(w, i - 1);
    size_t count = 1;
    while (i + count < w->spectrum->count && !missing(w, i + count) &&
           whole(w, i + count) - last == step) {
        last = whole(w, i + count);
        count++;
    }
    size_t size = pseudo(step, dif, text);
    if (count > 1)
        size += repeat(count, text + size);
    *points = count;
    *in_dif = true;
    return size;
}

static enum wp_status write_line(struct writer *w, struct wp_bytes *out)
{
    char line[LINE + TOKEN];
    bool check = w->in_dif;
    size_t size = wp_head_text(w->spectrum->x[check ? w->at - 1 : w->at], line);
    if (check)
        size += pseudo(whole(w, w->at - 1), sqz, line + size);
    bool begun = check;
    w->in_dif = false;
    while (w->at < w->spectrum->count) {
        char text[TOKEN];
        size_t points;
        bool in_dif;
        size_t more = token(w, begun, text, &points, &in_dif);
        if (size + more > LINE)
            break;
        memcpy(line + size, text, more);
        size += more;
        w->at += points;
        w->in_dif = in_dif;
        begun = true;
    }
    line[size++] = '\r';
    line[size++] = '\n';
    return wp_bytes_add(out, line, size);
}

enum wp_status wp_difdup_write(const struct wp_spectrum *spectrum, double factor,
                               struct wp_bytes *out)
{
    struct writer w = {.spectrum = spectrum, .factor = factor};
    enum wp_status status = WP_OK;
    while (!status && (w.at < spectrum->count || w.in_dif))
        status = write_line(&w, out);
    return status;
}
