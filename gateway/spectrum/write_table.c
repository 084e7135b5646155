#include "write_table.h"

#include <float.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "number.h"
#include "spectrum/number_text.h"
#include "write_text.h"

#define LINE 80

/* True if the grid of FIRSTX, LASTX and NPOINTS meets every abscissa to `tolerance`. */
static bool on_grid(const struct wp_spectrum *s, double tolerance)
{
    double span = s->x[s->count - 1] - s->x[0];
    double parts = (double)(s->count - 1);
    if (!(fabs(span) > 0.0))
        return false;
    for (size_t k = 0; k < s->count; k++)
        if (!(fabs(s->x[0] + (double)k * span / parts - s->x[k]) <= tolerance))
            return false;
    return true;
}

static bool is_even(const struct wp_spectrum *s, enum wp_jcamp_form form)
{
    if (s->count < 2 || s->discrete)
        return false;
    double largest = fmax(fabs(s->x[0]), fabs(s->x[s->count - 1]));
    if (on_grid(s, 4.0 * DBL_EPSILON * largest))
        return true;
    int decimals = form == WP_JCAMP_DIFDUP ? wp_decimals_of(s->x, s->count) : -1;
    return decimals >= 0 && on_grid(s, 0.49999 * wp_decimal_value(1, -decimals));
}

void wp_table_plan(const struct wp_spectrum *spectrum, enum wp_jcamp_form form,
                   struct wp_table_plan *plan)
{
    *plan = (struct wp_table_plan){.x_factor = 1.0, .y_factor = 1.0};
    if (!is_even(spectrum, form)) {
        plan->layout = WP_LAYOUT_PAIRS;
        plan->class_name = spectrum->discrete ? "PEAK TABLE" : "XYPOINTS";
        return;
    }
    plan->layout = form == WP_JCAMP_DIFDUP ? WP_LAYOUT_DIFDUP : WP_LAYOUT_AFFN;
    plan->class_name = "XYDATA";
    struct wp_scaling scaling = wp_scaling_find(spectrum);
    plan->integers = scaling.exact || form == WP_JCAMP_DIFDUP;
    if (plan->integers)
        plan->y_factor = scaling.factor;
}

size_t wp_head_text(double x, char text[WP_HEAD_TEXT])
{
    (void)snprintf(text, WP_HEAD_TEXT, "%.9g", x);
    for (char *c = text; *c; c++)
        *c = *c == 'e' ? 'E' : *c == ',' ? '.' : *c;
    return strlen(text);
}

/* An ordinate with the blank or sign that divides it from what stands before. */
static size_t ordinate(const struct wp_table_plan *plan, double y, char text[WP_NUMBER_TEXT + 2])
{
    text[0] = ' ';
    if (isnan(y)) {
        text[1] = '?';
        return 2;
    }
    if (plan->integers) {
        int size =
            snprintf(text + 1, WP_NUMBER_TEXT, "%lld", (long long)nearbyint(y / plan->y_factor));
        return 1 + (size_t)size;
    }
    return 1 + wp_number_text(y, text + 1);
}

static enum wp_status write_affn(const struct wp_spectrum *s, const struct wp_table_plan *plan,
                                 struct wp_bytes *out)
{
    enum wp_status status = WP_OK;
    for (size_t i = 0; i < s->count && !status;) {
        char line[LINE + WP_NUMBER_TEXT + 4];
        size_t size = wp_head_text(s->x[i], line);
        size_t begun = i;
        while (i < s->count) {
            char text[WP_NUMBER_TEXT + 2];
            size_t more = ordinate(plan, s->y[i], text);
            if (size + more > LINE && i > begun)
                break;
            memcpy(line + size, text, more);
            size += more;
            i++;
        }
        line[size++] = '\r';
        line[size++] = '\n';
        status = wp_bytes_add(out, line, size);
    }
    return status;
}

static enum wp_status write_pairs(const struct wp_spectrum *s, struct wp_bytes *out)
{
    enum wp_status status = WP_OK;
    for (size_t i = 0; i < s->count && !status; i++) {
        char line[2 * WP_NUMBER_TEXT + 8];
        size_t size = wp_number_text(s->x[i], line);
        line[size++] = ',';
        line[size++] = ' ';
        if (isnan(s->y[i]))
            line[size++] = '?';
        else
            size += wp_number_text(s->y[i], line + size);
        line[size++] = '\r';
        line[size++] = '\n';
        status = wp_bytes_add(out, line, size);
    }
    return status;
}

enum wp_status wp_table_write(const struct wp_spectrum *spectrum, const struct wp_table_plan *plan,
                              struct wp_bytes *out)
{
    bool pairs = plan->layout == WP_LAYOUT_PAIRS;
    enum wp_status status =
        wp_bytes_addf(out, "##%s=%s\r\n", plan->class_name, pairs ? "(XY..XY)" : "(X++(Y..Y))");
    if (status)
        return status;
    if (pairs)
        return write_pairs(spectrum, out);
    if (plan->layout == WP_LAYOUT_DIFDUP)
        return wp_difdup_write(spectrum, plan->y_factor, out);
    return write_affn(spectrum, plan, out);
}
