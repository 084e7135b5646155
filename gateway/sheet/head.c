#include <math.h>
#include <stdio.h>
#include <string.h>

#include "page.h"
#include "qr.h"

#define KEY_GREY 0.42

/* U+2068 and U+2069 keep a name of one direction from reordering its neighbours. */
#define ISOLATE "\xE2\x81\xA8"
#define ISOLATE_END "\xE2\x81\xA9"

static bool right_to_left(const char *text)
{
    for (const char *p = text; *p; p = g_utf8_next_char(p)) {
        gunichar c = g_utf8_get_char(p);
        if (c >= 0x0590 && c <= 0x08FF)
            return true;
    }
    return false;
}

/* All persons in one line, at most `room` bytes. */
static void join_persons(const struct wp_sheet_input *input, char *out, size_t room)
{
    size_t size = 0;
    out[0] = '\0';
    for (size_t i = 0; i < input->person_count; i++) {
        char name[SHEET_TEXT_ROOM];
        sheet_clean(input->persons[i], name);
        bool isolate = input->person_count > 1 && right_to_left(name);
        int added = snprintf(out + size, room - size, "%s%s%s%s", i ? ", " : "",
                             isolate ? ISOLATE : "", name, isolate ? ISOLATE_END : "");
        size += added > 0 ? (size_t)added : 0;
        if (size >= room)
            return;
    }
}

/* Unclaimed, and the code with which its owner may claim it, in a box. */
static void draw_unclaimed(const struct sheet_pen *pen, const struct sheet_plan *plan, double y)
{
    const struct sheet_style *style = &plan->style;
    struct sheet_type name = {.size = style->name, .strong = true};
    double x = plan->margin + sheet_text(pen, &name, plan->margin, y, 0, SHEET_LEFT, "Unclaimed");
    char code[SHEET_TEXT_ROOM];
    sheet_clean(plan->input->claim_code, code);
    if (!*code)
        return;
    struct sheet_type word = {.size = style->sample, .grey = KEY_GREY};
    x += 20;
    x += sheet_text(pen, &word, x, y, 0, SHEET_LEFT, "claim code") + 10;
    double width = sheet_text(pen, &name, x, y, 260, SHEET_LEFT, code);
    cairo_rectangle(pen->cr, x - 6, y - style->name * 0.95, width + 12, style->name * 1.27);
    sheet_stroke(pen->cr, 0.8, 0);
}

/* Several names take smaller type first, then a second line. */
static void draw_persons(const struct sheet_pen *pen, const struct sheet_plan *plan, double y,
                         double most)
{
    char line[WP_SHEET_PERSONS_MOST * SHEET_TEXT_ROOM];
    join_persons(plan->input, line, sizeof line);
    struct sheet_type type = {.size = plan->style.name, .strong = true};
    double width = sheet_text_width(pen->painter, &type, line);
    double least = 0.6;
    double share = width > most ? 0.995 * most / width : 1;
    type.size *= share > least ? share : least;
    if (share > least)
        sheet_text(pen, &type, plan->margin, y, 0, SHEET_LEFT, line);
    else
        sheet_text_lines(pen, &type, plan->margin, y - type.size * 0.9, most, 2, line);
}

void sheet_head_draw(const struct sheet_pen *pen, const struct sheet_plan *plan)
{
    const struct wp_sheet_input *input = plan->input;
    const struct sheet_style *style = &plan->style;
    double side = style->large ? 84 : 72;
    double end = plan->width - plan->margin;
    if (!input->loose) {
        /* The quiet zone reaches into the margin, so that the dark part lines up with the frame. */
        double quiet = side * 4 / 29;
        sheet_qr(pen->cr, end - side + quiet, plan->head.y - quiet, side, input->accession);
        end += 2 * quiet - side - 14;
    }

    char accession[SHEET_TEXT_ROOM];
    sheet_clean(input->accession, accession);
    struct sheet_type type = {.size = style->name, .strong = true};
    double y = plan->head.y + style->name * 0.86;
    double taken = sheet_text(pen, &type, end, y, 260, SHEET_RIGHT, accession);

    double most = end - taken - 24 - plan->margin;
    if (input->person_count)
        draw_persons(pen, plan, y, most);
    else
        draw_unclaimed(pen, plan, y);

    char sample[SHEET_TEXT_ROOM];
    sheet_clean(input->sample, sample);
    struct sheet_type under = {.size = style->sample};
    sheet_text(pen, &under, plan->margin, y + style->sample * 1.75,
               end - plan->margin - (style->large ? 300 : 190), SHEET_LEFT, sample);
    char when[SHEET_TEXT_ROOM];
    sheet_clean(input->measured_at, when);
    if (*when && input->clock_corrected)
        g_strlcat(when, " (clock corrected)", sizeof when);
    under.size = style->large ? 16 : 9;
    sheet_text(pen, &under, end, y + style->sample * 1.75, 0, SHEET_RIGHT, when);
}
