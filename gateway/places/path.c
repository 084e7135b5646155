/* Paths of places: tidied, and compared part by part. */
#include <stdio.h>
#include <string.h>

#include "base/bytes.h"
#include "places/places.h"

struct part {
    const char *text;
    size_t size;
};

/* Splits at slashes and trims blanks; empty parts do not count. Returns the number of parts, of
 * which the first WP_PLACE_PARTS are stored. */
static size_t split(const char *path, struct part parts[WP_PLACE_PARTS])
{
    size_t count = 0;
    const char *at = path;
    for (;;) {
        size_t size = strcspn(at, "/");
        const char *text = at;
        size_t length = size;
        while (length > 0 && *text == ' ') {
            text++;
            length--;
        }
        while (length > 0 && text[length - 1] == ' ')
            length--;
        if (length > 0 && count < WP_PLACE_PARTS)
            parts[count] = (struct part){text, length};
        count += length > 0;
        if (at[size] == '\0')
            return count;
        at += size + 1;
    }
}

static bool has_control(const char *text)
{
    for (; *text != '\0'; text++)
        if ((unsigned char)*text < 0x20 || *text == 0x7f)
            return true;
    return false;
}

enum wp_status wp_place_tidy(const char *typed, char path[WP_PLACE_ROOM], struct wp_error *error)
{
    struct part parts[WP_PLACE_PARTS];
    if (typed == NULL || !wp_utf8_valid(typed, strlen(typed)) || has_control(typed))
        return wp_fail(error, WP_INVALID, "A place is plain text such as Science/2/214/bench C.");
    size_t count = split(typed, parts);
    if (count == 0)
        return wp_fail(error, WP_INVALID, "The place is empty.");
    if (count > WP_PLACE_PARTS)
        return wp_fail(error, WP_INVALID, "A place has at most %d parts.", WP_PLACE_PARTS);
    char tidy[WP_PLACE_ROOM];
    size_t used = 0;
    for (size_t i = 0; i < count; i++) {
        if (used + parts[i].size + 1 >= WP_PLACE_ROOM)
            return wp_fail(error, WP_INVALID, "A place has at most %d bytes.", WP_PLACE_ROOM - 1);
        if (i > 0)
            tidy[used++] = '/';
        memcpy(tidy + used, parts[i].text, parts[i].size);
        used += parts[i].size;
    }
    tidy[used] = '\0';
    memcpy(path, tidy, used + 1);
    return WP_OK;
}

static char fold(char letter)
{
    return letter >= 'A' && letter <= 'Z' ? (char)(letter - 'A' + 'a') : letter;
}

static bool same_part(const struct part *a, const struct part *b)
{
    if (a->size != b->size)
        return false;
    for (size_t i = 0; i < a->size; i++)
        if (fold(a->text[i]) != fold(b->text[i]))
            return false;
    return true;
}

enum wp_near wp_place_near(const char *a, const char *b)
{
    struct part left[WP_PLACE_PARTS];
    struct part right[WP_PLACE_PARTS];
    size_t left_count = a != NULL ? split(a, left) : 0;
    size_t right_count = b != NULL ? split(b, right) : 0;
    size_t most = left_count < right_count ? left_count : right_count;
    size_t common = 0;
    while (common < most && common < WP_PLACE_PARTS && same_part(&left[common], &right[common]))
        common++;
    if (common >= 4)
        return WP_NEAR_BENCH;
    static const enum wp_near by_parts[] = {WP_NEAR_ELSEWHERE, WP_NEAR_BUILDING, WP_NEAR_FLOOR,
                                            WP_NEAR_ROOM};
    return by_parts[common];
}

const char *wp_near_text(enum wp_near near)
{
    switch (near) {
    case WP_NEAR_BENCH:
        return "the same bench";
    case WP_NEAR_ROOM:
        return "the same room";
    case WP_NEAR_FLOOR:
        return "the same floor";
    case WP_NEAR_BUILDING:
        return "the same building";
    case WP_NEAR_ELSEWHERE:
        break;
    }
    return "another building";
}

/* Takes the last part off `path`, whose size is `*size`. */
static void last_part(const char *path, size_t *size, const char **part, size_t *part_size)
{
    size_t from = *size;
    while (from > 0 && path[from - 1] != '/')
        from--;
    *part = path + from;
    *part_size = *size - from;
    *size = from > 0 ? from - 1 : 0;
}

static void parts_backwards(const char *path, char *words, size_t room)
{
    size_t left = strlen(path);
    size_t used = 0;
    words[0] = '\0';
    while (left > 0 && used + 1 < room) {
        const char *part;
        size_t size;
        last_part(path, &left, &part, &size);
        int more =
            snprintf(words + used, room - used, "%s%.*s", used > 0 ? ", " : "", (int)size, part);
        used += more > 0 ? (size_t)more : 0;
    }
}

void wp_place_words(const char *path, enum wp_near near, char *words, size_t room)
{
    const char *floor = strchr(path, '/');
    const char *found = floor != NULL ? strchr(floor + 1, '/') : NULL;
    if (found == NULL) {
        parts_backwards(path, words, room);
        return;
    }
    found++;
    size_t size = strcspn(found, "/");
    bool number = *found >= '0' && *found <= '9';
    bool other = near == WP_NEAR_ELSEWHERE;
    snprintf(words, room, "%s%.*s%s%.*s", number ? "room " : "", (int)size, found,
             other ? ", " : "", other ? (int)(floor - path) : 0, path);
}
