/* Header fields: in any script, and never more than one field a call (RFC 5322, RFC 2047). */
#include "field.h"

#include <string.h>
#include <time.h>

#include "base/clock.h"
#include "encode.h"
#include "post/post.h"

/* An encoded word holds whole characters: 33 bytes make 44 letters, 56 with its frame, which leaves
 * 20 for the field's name on the first line (RFC 2047 section 2: lines of at most 76). */
enum { WORD_BYTES = 33, LINE = 76, TEXT_MOST = 512 };

static bool address_byte(char byte)
{
    return byte > 0x20 && byte < 0x7f && strchr("\"(),:;<>[\\]", byte) == NULL;
}

bool wp_address_valid(const char *address)
{
    if (address == NULL)
        return false;
    const char *at = strchr(address, '@');
    size_t size = strlen(address);
    if (at == NULL || at == address || at - address > 64 || at[1] == '\0' || size > 254)
        return false;
    if (strchr(at + 1, '@') != NULL || at[1] == '.' || at[1] == '-' || address[0] == '-')
        return false;
    for (const char *byte = address; *byte != '\0'; byte++)
        if (!address_byte(*byte))
            return false;
    return true;
}

/* Copies `text` with every control character as a blank and every bad byte as U+FFFD. */
static void clean_text(const char *text, char clean[TEXT_MOST])
{
    char spaced[TEXT_MOST];
    size_t size = 0;
    for (; text[size] != '\0' && size + 1 < sizeof spaced; size++) {
        unsigned char byte = (unsigned char)text[size];
        spaced[size] = byte < 0x20 || byte == 0x7f ? ' ' : text[size];
    }
    size = text[size] != '\0' ? wp_utf8_cut(spaced, size, size) : size;
    wp_text_clean(spaced, size, clean, TEXT_MOST);
}

/* Letters, digits and a few marks can stand as they are; "=?" could be read as an encoded word. */
static bool is_simple(const char *text, bool phrase)
{
    for (const char *at = text; *at != '\0'; at++) {
        if (*at < 0x20 || *at >= 0x7f || (at[0] == '=' && at[1] == '?'))
            return false;
        bool letter = (*at >= 'a' && *at <= 'z') || (*at >= 'A' && *at <= 'Z') ||
                      (*at >= '0' && *at <= '9') || *at == ' ';
        if (phrase && !letter)
            return false;
    }
    return true;
}

static enum wp_status add_encoded_words(struct wp_bytes *out, const char *text)
{
    size_t left = strlen(text);
    enum wp_status status = WP_OK;
    bool first = true;
    while (left > 0 && !status) {
        size_t take = left <= WORD_BYTES ? left : wp_utf8_cut(text, left, WORD_BYTES);
        status = wp_bytes_add_text(out, first ? "=?UTF-8?B?" : "\r\n =?UTF-8?B?");
        if (!status)
            status = wp_encode_base64(out, text, take);
        if (!status)
            status = wp_bytes_add_text(out, "?=");
        first = false;
        text += take;
        left -= take;
    }
    return status;
}

/* Undoes what was added when `status` is a failure. */
static enum wp_status or_back(struct wp_bytes *out, size_t before, enum wp_status status)
{
    if (status && out->data != NULL) {
        out->size = before;
        out->data[before] = '\0';
    }
    return status;
}

enum wp_status wp_post_field(struct wp_bytes *out, const char *name, const char *text)
{
    size_t before = out->size;
    char clean[TEXT_MOST];
    clean_text(text, clean);
    enum wp_status status = wp_bytes_addf(out, "%s: ", name);
    bool simple = is_simple(clean, false) && strlen(name) + 2 + strlen(clean) <= LINE;
    if (!status)
        status = simple ? wp_bytes_add_text(out, clean) : add_encoded_words(out, clean);
    if (!status)
        status = wp_bytes_add_text(out, "\r\n");
    return or_back(out, before, status);
}

enum wp_status wp_field_address(struct wp_bytes *out, const char *name, const char *display,
                                const char *address)
{
    size_t before = out->size;
    char clean[TEXT_MOST] = "";
    if (display != NULL)
        clean_text(display, clean);
    enum wp_status status = wp_bytes_addf(out, "%s: ", name);
    if (!status && clean[0] != '\0') {
        bool simple = is_simple(clean, true) && strlen(name) + 2 + strlen(clean) <= LINE;
        status = simple ? wp_bytes_add_text(out, clean) : add_encoded_words(out, clean);
        if (!status)
            status = wp_bytes_add_text(out, "\r\n ");
    }
    if (!status)
        status = wp_bytes_addf(out, "<%s>\r\n", address);
    return or_back(out, before, status);
}

enum wp_status wp_field_date(struct wp_bytes *out, int64_t at_us)
{
    static const char days[7][4] = {"Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"};
    static const char months[12][4] = {"Jan", "Feb", "Mar", "Apr", "May", "Jun",
                                       "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};
    time_t seconds = (time_t)(at_us / WP_SECOND);
    struct tm utc;
    if (gmtime_r(&seconds, &utc) == NULL)
        return WP_INVALID;
    return wp_bytes_addf(out, "Date: %s, %02d %s %04d %02d:%02d:%02d +0000\r\n", days[utc.tm_wday],
                         utc.tm_mday, months[utc.tm_mon], utc.tm_year + 1900, utc.tm_hour,
                         utc.tm_min, utc.tm_sec);
}
