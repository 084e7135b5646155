#include <stdio.h>
#include <string.h>
#include <strings.h>
#include <time.h>

#include "people/timetable.h"

static const char *const weekdays[] = {"Monday", "Tuesday",  "Wednesday", "Thursday",
                                       "Friday", "Saturday", "Sunday"};

/* Noon of the day, counted in UTC: whole days apart whatever the local rules are. */
static time_t noon(int day)
{
    struct tm parts = {.tm_year = day / 10000 - 1900,
                       .tm_mon = day / 100 % 100 - 1,
                       .tm_mday = day % 100,
                       .tm_hour = 12};
    return timegm(&parts);
}

static int day_of(time_t seconds)
{
    struct tm parts = {0};
    (void)gmtime_r(&seconds, &parts);
    return (parts.tm_year + 1900) * 10000 + (parts.tm_mon + 1) * 100 + parts.tm_mday;
}

bool wp_day_parse(const char *text, int *day)
{
    int64_t utc_us = 0;
    if (!text || strlen(text) != 10 || !wp_clock_parse(text, &utc_us))
        return false;
    *day = day_of((time_t)(utc_us / WP_SECOND));
    return *day >= 19900101 && *day <= 21991231;
}

void wp_day_text(int day, char text[WP_DAY_ROOM])
{
    (void)snprintf(text, WP_DAY_ROOM, "%04u-%02u-%02u", (unsigned)day / 10000 % 10000,
                   (unsigned)day / 100 % 100, (unsigned)day % 100);
}

int wp_day_add(int day, int days)
{
    return day_of(noon(day) + (time_t)days * 86400);
}

int wp_days_between(int from, int to)
{
    return (int)((noon(to) - noon(from)) / 86400);
}

int wp_day_weekday(int day)
{
    time_t seconds = noon(day);
    struct tm parts = {0};
    (void)gmtime_r(&seconds, &parts);
    return parts.tm_wday == 0 ? 7 : parts.tm_wday;
}

bool wp_weekday_parse(const char *text, int *weekday)
{
    size_t size = text ? strlen(text) : 0;
    for (int i = 0; size >= 2 && i < 7; i++)
        if (size <= strlen(weekdays[i]) && !strncasecmp(weekdays[i], text, size)) {
            *weekday = i + 1;
            return true;
        }
    return false;
}

const char *wp_weekday_text(int weekday)
{
    return weekday >= 1 && weekday <= 7 ? weekdays[weekday - 1] : "";
}

bool wp_minute_parse(const char *text, int *minute)
{
    int value[2] = {0, 0}, digits[2] = {0, 0}, part = 0;
    for (const char *c = text ? text : "?"; *c; c++) {
        if (*c == ':' && part == 0 && digits[0]) {
            part = 1;
        } else if (*c >= '0' && *c <= '9' && digits[part] < 2) {
            value[part] = value[part] * 10 + (*c - '0');
            digits[part]++;
        } else {
            return false;
        }
    }
    *minute = value[0] * 60 + value[1];
    return digits[1] == 2 && value[1] < 60 && *minute <= 1440;
}

void wp_minute_text(int minute, char text[WP_DAY_ROOM])
{
    (void)snprintf(text, WP_DAY_ROOM, "%02u:%02u", (unsigned)minute / 60 % 100,
                   (unsigned)minute % 60);
}

static int64_t instant(int day, int minute)
{
    return wp_clock_from_local(day / 10000, day / 100 % 100, day % 100, minute);
}

struct wp_span wp_day_span(int day, int starts_minute, int ends_minute)
{
    struct wp_span span = {instant(day, starts_minute), instant(day, ends_minute)};
    if (span.ends_us <= span.starts_us)
        span.ends_us = span.starts_us + (ends_minute - starts_minute) * WP_MINUTE;
    return span;
}
