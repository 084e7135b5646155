#include "dates.h"

#include <string.h>
#include <strings.h>

#define US 1000000LL

static const char *blanks(const char *p)
{
    while (*p == ' ' || *p == '\t' || *p == ',' || (*p == 'T' && p[1] >= '0' && p[1] <= '9'))
        p++;
    return p;
}

static bool digit(char c)
{
    return c >= '0' && c <= '9';
}

/* Up to `most` digits; NULL if there is none. */
static const char *whole(const char *p, int most, int *value, int *count)
{
    *value = 0;
    *count = 0;
    while (digit(*p) && *count < most) {
        *value = *value * 10 + (*p++ - '0');
        ++*count;
    }
    return *count ? p : NULL;
}

/* Days from 1970-01-01 of the proleptic Gregorian calendar (H. Hinnant, "chrono-Compatible
 * Low-Level Date Algorithms"). */
static int64_t days_from_civil(int year, int month, int day)
{
    int y = year - (month <= 2);
    int era = (y >= 0 ? y : y - 399) / 400;
    int of_era = y - era * 400;
    int of_year = (153 * (month + (month > 2 ? -3 : 9)) + 2) / 5 + day - 1;
    int day_of_era = of_era * 365 + of_era / 4 - of_era / 100 + of_year;
    return (int64_t)era * 146097 + day_of_era - 719468;
}

static bool valid(int year, int month, int day)
{
    static const int days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    if (year < 1900 || year > 2200 || month < 1 || month > 12 || day < 1)
        return false;
    bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
    return day <= days[month - 1] + (month == 2 && leap);
}

static int full_year(int year, int digits)
{
    if (digits > 2)
        return year;
    return year + (year < 69 ? 2000 : 1900);
}

static int month_name(const char *p)
{
    static const char names[] = "janfebmaraprmayjunjulaugsepoctnovdec";
    for (int i = 0; i < 12; i++)
        if (strncasecmp(p, names + 3 * (size_t)i, 3) == 0)
            return i + 1;
    return 0;
}

static const char *skip_word(const char *p)
{
    while ((*p >= 'a' && *p <= 'z') || (*p >= 'A' && *p <= 'Z') || *p == '.')
        p++;
    return p;
}

static const char *separator(const char *p)
{
    while (*p == ' ' || *p == '/' || *p == '-' || *p == '.' || *p == ',')
        p++;
    return p;
}

static void set(struct wp_file_time *time, int year, int month, int day)
{
    time->present = true;
    time->utc_us = days_from_civil(year, month, day) * 86400 * US;
}

/* "01 Jun 2009", "1-Jun-09", "Jun 1, 2009", "Mon Jun 01 2009". */
static const char *read_named(const char *p, struct wp_file_time *time)
{
    int day = 0;
    int year = 0;
    int digits = 0;
    static const char week[] = "montuewedthufrisatsun";
    for (int i = 0; i < 7; i++)
        if (strncasecmp(p, week + 3 * (size_t)i, 3) == 0 && !month_name(p))
            p = separator(skip_word(p));
    int month = month_name(p);
    if (month) {
        p = whole(separator(skip_word(p)), 2, &day, &digits);
    } else {
        p = whole(p, 2, &day, &digits);
        if (!p)
            return NULL;
        p = separator(p);
        month = month_name(p);
        p = month ? skip_word(p) : NULL;
    }
    if (!p)
        return NULL;
    p = whole(separator(p), 4, &year, &digits);
    if (!p || !valid(full_year(year, digits), month, day))
        return NULL;
    set(time, full_year(year, digits), month, day);
    return p;
}

static enum wp_date_style arrange(const int part[3], const int digits[3], struct wp_file_time *time)
{
    if (digits[0] == 4 || digits[2] <= 2) {
        int year = full_year(part[0], digits[0]);
        if (digits[0] != 3 && valid(year, part[1], part[2])) {
            set(time, year, part[1], part[2]);
            return WP_DATE_STANDARD;
        }
    }
    if (digits[2] == 3 || digits[0] > 2)
        return WP_DATE_NONE;
    int year = full_year(part[2], digits[2]);
    bool day_first = valid(year, part[1], part[0]);
    bool month_first = valid(year, part[0], part[1]);
    if (day_first)
        set(time, year, part[1], part[0]);
    else if (month_first)
        set(time, year, part[0], part[1]);
    else
        return WP_DATE_NONE;
    return day_first && month_first && part[0] != part[1] ? WP_DATE_AMBIGUOUS : WP_DATE_OTHER;
}

/* Three numbers with separators, or eight digits. */
static enum wp_date_style read_numbers(const char **at, struct wp_file_time *time)
{
    int part[3];
    int digits[3];
    const char *p = *at;
    int all = 0;
    int count = 0;
    const char *after = whole(p, 8, &all, &count);
    if (after && count == 8 && !digit(*after)) {
        *at = after;
        int year = all / 10000;
        int month = all / 100 % 100;
        if (!valid(year, month, all % 100))
            return WP_DATE_NONE;
        set(time, year, month, all % 100);
        return WP_DATE_OTHER;
    }
    for (int i = 0; i < 3; i++) {
        p = whole(i ? separator(p) : p, 4, &part[i], &digits[i]);
        if (!p || (i < 2 && separator(p) == p))
            return WP_DATE_NONE;
    }
    *at = p;
    return arrange(part, digits, time);
}

static const char *read_zone(const char *p, struct wp_file_time *time)
{
    int sign = *p == '-' ? -1 : 1;
    int hours = 0;
    int minutes = 0;
    int count = 0;
    if (*p == 'Z' || *p == 'z') {
        time->zone_known = true;
        return p + 1;
    }
    if (*p != '+' && *p != '-')
        return p;
    const char *q = whole(p + 1, 2, &hours, &count);
    if (!q || count != 2)
        return p;
    const char *r = whole(*q == ':' ? q + 1 : q, 2, &minutes, &count);
    if (r && count == 2)
        q = r;
    else
        minutes = 0;
    if (hours > 14 || minutes > 59)
        return p;
    time->zone_known = true;
    time->utc_us -= sign * (hours * 60LL + minutes) * 60 * US;
    return q;
}

bool wp_time_read(const char *text, struct wp_file_time *time)
{
    int hour = 0;
    int minute = 0;
    int second = 0;
    int count = 0;
    const char *p = whole(blanks(text), 2, &hour, &count);
    if (!p || (*p != ':' && *p != '.'))
        return false;
    p = whole(p + 1, 2, &minute, &count);
    if (!p)
        return false;
    int64_t fraction = 0;
    if (*p == ':' || *p == '.') {
        const char *q = whole(p + 1, 2, &second, &count);
        p = q ? q : p;
        if (q && (*p == '.' || *p == ',') && digit(p[1])) {
            int64_t unit = US / 10;
            for (p++; digit(*p); p++, unit /= 10)
                fraction += (*p - '0') * unit;
        }
    }
    while (*p == ' ')
        p++;
    if (strncasecmp(p, "PM", 2) == 0 && hour < 12)
        hour += 12;
    else if (strncasecmp(p, "AM", 2) == 0 && hour == 12)
        hour = 0;
    if (hour > 23 || minute > 59 || second > 60)
        return false;
    if (strncasecmp(p, "PM", 2) == 0 || strncasecmp(p, "AM", 2) == 0)
        p += 2;
    while (*p == ' ')
        p++;
    time->has_time = true;
    time->utc_us += (hour * 3600LL + minute * 60LL + second) * US + fraction;
    (void)read_zone(p, time);
    return true;
}

enum wp_date_style wp_date_read(const char *text, struct wp_file_time *time)
{
    *time = (struct wp_file_time){.present = false};
    const char *p = blanks(text);
    const char *after = read_named(p, time);
    enum wp_date_style style = WP_DATE_OTHER;
    if (!after) {
        after = p;
        style = read_numbers(&after, time);
    }
    if (style != WP_DATE_NONE)
        (void)wp_time_read(after, time);
    return style;
}
