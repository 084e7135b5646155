#include "base/clock.h"

#include <stdio.h>
#include <string.h>
#include <time.h>

static int64_t read_clock(clockid_t which)
{
    struct timespec now;
    if (clock_gettime(which, &now))
        return 0;
    return (int64_t)now.tv_sec * WP_SECOND + now.tv_nsec / 1000;
}

int64_t wp_clock_utc(void)
{
    return read_clock(CLOCK_REALTIME);
}

int64_t wp_clock_steady(void)
{
    return read_clock(CLOCK_MONOTONIC);
}

/* Division that rounds down, so that instants before 1970 keep a positive fraction. */
static int64_t whole_seconds(int64_t us)
{
    return us / WP_SECOND - (us % WP_SECOND < 0);
}

void wp_clock_iso(int64_t utc_us, char text[WP_ISO_ROOM])
{
    time_t seconds = (time_t)whole_seconds(utc_us);
    long fraction = (long)(utc_us - (int64_t)seconds * WP_SECOND);
    struct tm parts;
    if (!gmtime_r(&seconds, &parts)) {
        text[0] = '\0';
        return;
    }
    char head[WP_ISO_ROOM];
    if (!strftime(head, sizeof head, "%Y-%m-%dT%H:%M:%S", &parts))
        head[0] = '\0';
    (void)snprintf(text, WP_ISO_ROOM, "%.22s.%06ldZ", head, fraction);
}

/* Reads exactly `count` digits and moves `*text` past them. */
static bool digits(const char **text, int count, int *value)
{
    *value = 0;
    for (int i = 0; i < count; i++) {
        char c = (*text)[i];
        if (c < '0' || c > '9')
            return false;
        *value = *value * 10 + (c - '0');
    }
    *text += count;
    return true;
}

static bool literal(const char **text, char c)
{
    if (**text != c)
        return false;
    (*text)++;
    return true;
}

static bool read_date(const char **text, struct tm *parts)
{
    int year;
    int month;
    if (!digits(text, 4, &year) || !literal(text, '-') || !digits(text, 2, &month) ||
        !literal(text, '-') || !digits(text, 2, &parts->tm_mday))
        return false;
    static const int days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    if (month < 1 || month > 12 || parts->tm_mday < 1)
        return false;
    bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
    parts->tm_year = year - 1900;
    parts->tm_mon = month - 1;
    return parts->tm_mday <= days[month - 1] + (month == 2 && leap);
}

/* Digits beyond the microsecond are dropped. */
static bool read_fraction(const char **text, int64_t *us)
{
    *us = 0;
    if (!literal(text, '.'))
        return true;
    int64_t scale = WP_SECOND / 10;
    const char *first = *text;
    for (; **text >= '0' && **text <= '9'; (*text)++, scale /= 10)
        *us += (**text - '0') * scale;
    return *text > first;
}

static bool read_time(const char **text, struct tm *parts, int64_t *us)
{
    return digits(text, 2, &parts->tm_hour) && literal(text, ':') &&
           digits(text, 2, &parts->tm_min) && literal(text, ':') &&
           digits(text, 2, &parts->tm_sec) && read_fraction(text, us) && parts->tm_hour < 24 &&
           parts->tm_min < 60 && parts->tm_sec <= 60;
}

static bool read_offset(const char **text, int64_t *us)
{
    *us = 0;
    if (literal(text, 'Z') || literal(text, 'z'))
        return true;
    int sign = **text == '-' ? -1 : 1;
    if (!literal(text, '+') && !literal(text, '-'))
        return false;
    int hours;
    int minutes;
    if (!digits(text, 2, &hours) || !literal(text, ':') || !digits(text, 2, &minutes) ||
        hours > 23 || minutes > 59)
        return false;
    *us = sign * (hours * WP_HOUR + minutes * WP_MINUTE);
    return true;
}

bool wp_clock_parse(const char *text, int64_t *utc_us)
{
    struct tm parts = {0};
    int64_t fraction = 0;
    int64_t offset = 0;
    if (!read_date(&text, &parts))
        return false;
    if (*text) {
        if (!literal(&text, 'T') && !literal(&text, 't') && !literal(&text, ' '))
            return false;
        if (!read_time(&text, &parts, &fraction) || !read_offset(&text, &offset) || *text)
            return false;
    }
    *utc_us = (int64_t)timegm(&parts) * WP_SECOND + fraction - offset;
    return true;
}

static struct tm local_parts(int64_t utc_us)
{
    time_t seconds = (time_t)whole_seconds(utc_us);
    struct tm parts = {0};
    (void)localtime_r(&seconds, &parts);
    return parts;
}

void wp_clock_local(int64_t utc_us, char text[WP_ISO_ROOM])
{
    struct tm parts = local_parts(utc_us);
    if (!strftime(text, WP_ISO_ROOM, "%Y-%m-%d %H:%M", &parts))
        text[0] = '\0';
}

int wp_clock_local_day(int64_t utc_us)
{
    struct tm parts = local_parts(utc_us);
    return (parts.tm_year + 1900) * 10000 + (parts.tm_mon + 1) * 100 + parts.tm_mday;
}

int64_t wp_clock_from_local(int year, int month, int day, int minute_of_day)
{
    struct tm parts = {.tm_year = year - 1900,
                       .tm_mon = month - 1,
                       .tm_mday = day,
                       .tm_hour = minute_of_day / 60,
                       .tm_min = minute_of_day % 60,
                       .tm_isdst = -1};
    return (int64_t)mktime(&parts) * WP_SECOND;
}
