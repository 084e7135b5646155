#include "key.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define BETWEEN 14.0 /* points from a name to the next curve's piece */

double sheet_key_size(const struct sheet_plan *plan)
{
    return plan->style.large ? 16 : 7.5;
}

void sheet_hatch_words(double cut_off, char words[SHEET_HATCH_ROOM])
{
    snprintf(words, SHEET_HATCH_ROOM, "hatched: the plates absorb below %ld cm\xE2\x81\xBB\xC2\xB9",
             lround(cut_off));
}

static void set_words(struct sheet_plan *plan, bool dates)
{
    const struct wp_sheet_input *input = plan->input;
    sheet_clean(input->accession, plan->key[0].words);
    for (size_t i = 0; i < input->other_count; i++) {
        const struct wp_sheet_other *other = &input->others[i];
        char both[SHEET_TEXT_ROOM];
        bool date = dates && other->date && *other->date;
        snprintf(both, sizeof both, "%s%s%s", other->name ? other->name : "", date ? ", " : "",
                 date ? other->date : "");
        sheet_clean(both, plan->key[i + 1].words);
    }
}

/* How wide the names of one line may be at most, so that the line takes no more than `width`: the
 * short ones keep their length, the long ones share what is left. INFINITY: all fit. */
static double widest_name(const double *names, size_t count, double width)
{
    double room = width - (double)count * (SHEET_KEY_INDENT + BETWEEN) + BETWEEN;
    double all = 0;
    for (size_t i = 0; i < count; i++)
        all += names[i];
    if (all <= room)
        return INFINITY;
    double share = room / (double)count;
    for (size_t pass = 0; pass < count; pass++) {
        double left = room;
        size_t longer = 0;
        for (size_t i = 0; i < count; i++) {
            if (names[i] > share)
                longer++;
            else
                left -= names[i];
        }
        if (longer)
            share = left / (double)longer;
    }
    return share;
}

/* Places entries `from` to `to` in one line; false if a name had to be cut. */
static bool place_line(struct sheet_plan *plan, const double *names, size_t from, size_t to,
                       double width, int line)
{
    double most = widest_name(names + from, to - from, width);
    double x = plan->frame.x;
    for (size_t i = from; i < to; i++) {
        struct sheet_key_entry *entry = &plan->key[i];
        entry->x = x;
        entry->line = line;
        entry->most = isinf(most) ? 0 : most;
        x += SHEET_KEY_INDENT + fmin(names[i], most) + BETWEEN;
    }
    return isinf(most);
}

/* `taken`: by the words about the hatching, right in the line next to the frame. */
static bool try_lines(struct sheet_plan *plan, struct sheet_painter *painter, double taken,
                      bool dates, int lines)
{
    struct sheet_type type = {.size = sheet_key_size(plan)};
    double names[SHEET_TRACES_MOST];
    size_t count = plan->input->other_count + 1;
    size_t each = (count + (size_t)lines - 1) / (size_t)lines;
    bool whole = true;
    set_words(plan, dates);
    for (size_t i = 0; i < count; i++)
        names[i] = sheet_text_width(painter, &type, plan->key[i].words);
    size_t from = 0;
    for (int line = lines - 1; line >= 0; line--) {
        size_t to = line == 0 || from + each > count ? count : from + each;
        double width = plan->frame.w - (line == 0 ? taken : 0);
        whole = place_line(plan, names, from, to, width, line) && whole;
        from = to;
    }
    plan->key_lines = lines;
    return whole;
}

void sheet_key_place(struct sheet_plan *plan, struct sheet_painter *painter)
{
    const struct wp_examination *examination = plan->input->examination;
    struct sheet_type type = {.size = sheet_key_size(plan)};
    double taken = 0;
    if (!plan->input->other_count)
        return;
    if (examination && examination->cut_off > 0) {
        char words[SHEET_HATCH_ROOM];
        sheet_hatch_words(examination->cut_off, words);
        taken = sheet_text_width(painter, &type, words) + BETWEEN;
    }
    /* Large print has room for two lines above the frame as it is, and takes as many as it needs:
     * at last one for each name, and one for the words about the hatching. */
    int most = plan->style.large ? (int)plan->input->other_count + 2 : 2;
    int free_lines = plan->style.large ? 2 : 1;
    int lines = 1;
    while (lines <= most && !try_lines(plan, painter, taken, true, lines))
        lines++;
    if (lines > most)
        (void)try_lines(plan, painter, taken, false, most);
    int extra = plan->key_lines > free_lines ? plan->key_lines - free_lines : 0;
    double lower = extra * type.size * SHEET_KEY_LINE;
    plan->frame.y += lower;
    plan->frame.h -= lower;
}
