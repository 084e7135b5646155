#include "layout.h"

/* ISO 216 A4 and US Letter, in points. */
void sheet_paper_size(enum wp_sheet_paper paper, double *width, double *height)
{
    *width = paper == WP_SHEET_LETTER ? 792 : 841.89;
    *height = paper == WP_SHEET_LETTER ? 612 : 595.276;
}

static const struct sheet_style usual = {.name = 18,
                                         .sample = 11.5,
                                         .key = 6.8,
                                         .value = 9,
                                         .tick = 8,
                                         .axis = 9,
                                         .label = 7.8,
                                         .table = 8,
                                         .foot = 7.2};

static const struct sheet_style large = {.name = 24,
                                         .sample = 18,
                                         .key = 16,
                                         .value = 16,
                                         .tick = 16,
                                         .axis = 16,
                                         .label = 16,
                                         .table = 16,
                                         .foot = 16,
                                         .large = true};

static void layout_usual(struct sheet_plan *plan)
{
    double inner = plan->width - 2 * plan->margin;
    double bottom = plan->height - 26;
    plan->pages = 1;
    plan->foot = bottom;
    plan->head = (struct sheet_box){plan->margin, 26, inner, 44};
    plan->facts = (struct sheet_box){plan->margin, 70, inner - 74, 48};
    plan->table = (struct sheet_box){plan->margin, bottom - 12 - 112, 272, 112};
    plan->ruled = (struct sheet_box){plan->margin + 290, plan->table.y, inner - 290, 112};
    plan->frame.x = plan->margin + 34;
    plan->frame.y = 134;
    plan->frame.w = inner - 34;
    plan->frame.h = plan->table.y - 36 - plan->frame.y;
}

/* The second page takes the facts, the table and the ruled box. */
static void layout_large(struct sheet_plan *plan)
{
    double inner = plan->width - 2 * plan->margin;
    double bottom = plan->height - 26;
    plan->pages = 2;
    plan->foot = bottom;
    plan->head = (struct sheet_box){plan->margin, 26, inner, 62};
    plan->facts = (struct sheet_box){plan->margin, 104, inner, 178};
    plan->table = (struct sheet_box){plan->margin, 296, inner, 140};
    plan->ruled = (struct sheet_box){plan->margin, 450, inner, bottom - 24 - 450};
    plan->frame.x = plan->margin + 62;
    plan->frame.y = 128;
    plan->frame.w = inner - 62;
    plan->frame.h = bottom - 84 - plan->frame.y;
}

void sheet_layout(struct sheet_plan *plan)
{
    const struct wp_sheet_options *options = &plan->input->options;
    sheet_paper_size(options->paper, &plan->width, &plan->height);
    plan->margin = 36;
    plan->style = options->large_print ? large : usual;
    if (options->large_print)
        layout_large(plan);
    else
        layout_usual(plan);
    double size = plan->style.label;
    plan->label_style =
        (struct sheet_label_style){.pitch = size * 1.15,
                                   .gap = 3.5,
                                   .pad = 3,
                                   .shift = size * (options->large_print ? 2 : 3.5)};
}
