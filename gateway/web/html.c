#include "html.h"

#include <inttypes.h>
#include <stddef.h>
#include <time.h>

#include "problem.h"

void wp_html_raw(struct wp_html *html, const char *markup)
{
    if (!html->status)
        html->status = wp_bytes_add_text(html->bytes, markup);
}

void wp_html_text(struct wp_html *html, const char *text)
{
    if (!html->status && text)
        html->status = wp_html_add(html->bytes, text);
}

void wp_html_int(struct wp_html *html, int64_t number)
{
    if (!html->status)
        html->status = wp_bytes_addf(html->bytes, "%" PRId64, number);
}

void wp_html_around(struct wp_html *html, const char *before, const char *text, const char *after)
{
    if (!text || !text[0])
        return;
    wp_html_raw(html, before);
    wp_html_text(html, text);
    wp_html_raw(html, after);
}

void wp_html_clock(struct wp_html *html, int64_t at_us)
{
    time_t at = (time_t)(at_us / 1000000);
    struct tm local;
    char text[8] = "";
    if (localtime_r(&at, &local) && strftime(text, sizeof text, "%H:%M", &local) > 0)
        wp_html_raw(html, text);
}

const cJSON *wp_member(const cJSON *object, const char *name)
{
    const cJSON *item = cJSON_GetObjectItemCaseSensitive(object, name);
    return cJSON_IsNull(item) ? NULL : item;
}

const char *wp_member_text(const cJSON *object, const char *name)
{
    return cJSON_GetStringValue(wp_member(object, name));
}

int64_t wp_member_int(const cJSON *object, const char *name)
{
    const cJSON *item = wp_member(object, name);
    return cJSON_IsNumber(item) ? (int64_t)item->valuedouble : 0;
}
