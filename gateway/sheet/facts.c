#include <math.h>
#include <stdio.h>
#include <string.h>

#include "page.h"

#define KEY_GREY 0.42
#define FACTS_MOST 16

struct fact {
    const char *key;
    char text[SHEET_TEXT_ROOM];
};

struct facts {
    struct fact list[FACTS_MOST];
    size_t count;
};

static void add(struct facts *facts, const char *key, const char *text)
{
    if (!text || !*text || facts->count == FACTS_MOST)
        return;
    struct fact *fact = &facts->list[facts->count];
    sheet_clean(text, fact->text);
    fact->key = key;
    facts->count += *fact->text ? 1 : 0;
}

static void add_course(struct facts *facts, const struct wp_sheet_input *input)
{
    add(facts, "Course", input->course);
    add(facts, "Section", input->section);
    add(facts, "Experiment", input->experiment);
    add(facts, "Instrument", input->instrument);
    add(facts, "Place", input->place);
}

static void add_measurement(struct facts *facts, const struct wp_sheet_input *input)
{
    char text[40];
    add(facts, "Kind", wp_kind_text(input->kind));
    add(facts, "Preparation", wp_preparation_text(input->preparation));
    add(facts, "Plates", wp_plates_text(input->plates));
    if (input->scans > 0) {
        snprintf(text, sizeof text, "%d", input->scans);
        add(facts, "Scans", text);
    }
    if (isfinite(input->resolution) && input->resolution > 0) {
        snprintf(text, sizeof text, "%g cm\xE2\x81\xBB\xC2\xB9", input->resolution);
        add(facts, "Resolution", text);
    }
    if (input->processed)
        add(facts, "Data", "processed");
    add(facts, "Named by", input->named_by);
}

static double natural_width(const struct sheet_pen *pen, const struct sheet_style *style,
                            const struct fact *fact)
{
    struct sheet_type key = {.size = style->key};
    struct sheet_type value = {.size = style->value};
    return fmax(sheet_text_width(pen->painter, &key, fact->key),
                sheet_text_width(pen->painter, &value, fact->text));
}

/* The widest that a cell may be so that all fit into `room`: wide ones give way first. */
static double fair_cap(const double *widths, size_t count, double room)
{
    double cap = room;
    for (size_t round = 0; round < count; round++) {
        double narrow = 0;
        size_t wide = 0;
        for (size_t i = 0; i < count; i++) {
            narrow += widths[i] <= cap ? widths[i] : 0;
            wide += widths[i] > cap ? 1 : 0;
        }
        double next = wide ? (room - narrow) / (double)wide : cap;
        double all = narrow + cap * (double)wide;
        if (all <= room && !(next > cap))
            break;
        cap = wide || all <= room ? next : room / (double)count;
    }
    return fmax(cap, room / (double)count);
}

/* A row of cells: what it is called in small grey type, below it what it says. */
static void draw_row(const struct sheet_pen *pen, const struct sheet_plan *plan,
                     const struct facts *facts, double y)
{
    if (!facts->count)
        return;
    const struct sheet_style *style = &plan->style;
    double gap = 16;
    double widths[FACTS_MOST];
    double total = 0;
    for (size_t i = 0; i < facts->count; i++) {
        widths[i] = natural_width(pen, style, &facts->list[i]);
        total += widths[i];
    }
    double room = plan->facts.w - gap * (double)(facts->count - 1);
    double cap = total > room ? fair_cap(widths, facts->count, room) : room;
    double spare = fmax(0, fmin(28, (room - total) / (double)facts->count));
    struct sheet_type key = {.size = style->key, .grey = KEY_GREY};
    struct sheet_type value = {.size = style->value};
    double x = plan->facts.x;
    for (size_t i = 0; i < facts->count; i++) {
        double width = fmin(widths[i], cap);
        sheet_text(pen, &key, x, y, width + 1, SHEET_LEFT, facts->list[i].key);
        sheet_text(pen, &value, x, y + style->value * 1.2, width + 1, SHEET_LEFT,
                   facts->list[i].text);
        x += width + gap + spare;
    }
}

static void draw_usual(const struct sheet_pen *pen, const struct sheet_plan *plan)
{
    struct facts facts = {.count = 0};
    add_course(&facts, plan->input);
    draw_row(pen, plan, &facts, plan->facts.y + 10);
    facts.count = 0;
    add_measurement(&facts, plan->input);
    draw_row(pen, plan, &facts, plan->facts.y + 34);
}

/* Large print: two columns, each field in a line of its own. */
static void draw_large(const struct sheet_pen *pen, const struct sheet_plan *plan)
{
    struct facts facts = {.count = 0};
    add_course(&facts, plan->input);
    add_measurement(&facts, plan->input);
    add(&facts, "File", plan->input->file_name);
    struct sheet_type key = {.size = plan->style.key, .grey = KEY_GREY};
    struct sheet_type value = {.size = plan->style.value};
    size_t rows = (facts.count + 1) / 2;
    double leading = plan->style.value * 1.5;
    double column = plan->facts.w * 0.58;
    for (size_t i = 0; i < facts.count; i++) {
        double x = plan->facts.x + (i < rows ? 0 : column);
        double most = (i < rows ? column : plan->facts.w - column) - 118;
        double y = plan->facts.y + leading * (double)((i < rows ? i : i - rows) + 1) - 6;
        sheet_text(pen, &key, x, y, 98, SHEET_LEFT, facts.list[i].key);
        sheet_text(pen, &value, x + 104, y, most, SHEET_LEFT, facts.list[i].text);
    }
}

void sheet_facts_draw(const struct sheet_pen *pen, const struct sheet_plan *plan)
{
    if (plan->style.large)
        draw_large(pen, plan);
    else
        draw_usual(pen, plan);
}
