#include <math.h>
#include <stdio.h>

#include "page.h"

#define KEY_GREY 0.42
#define TEACHING                                                                                   \
    "Teaching record. Not an identification; not a safety assessment. See the SDS and local "      \
    "rules."

/* How the table's columns stand in one group of rows. */
struct columns {
    size_t groups;
    double width; /* of a group */
    double position_end;
    double strength;
    double shape;
    double leading;
};

static struct columns columns_of(const struct sheet_plan *plan)
{
    if (plan->style.large)
        return (struct columns){4, plan->table.w / 4, 40, 50, 124, 23};
    return (struct columns){2, plan->table.w / 2 + 6, 24, 38, 82, 10.1};
}

static void draw_table_head(const struct sheet_pen *pen, const struct sheet_plan *plan,
                            const struct columns *columns, size_t groups)
{
    struct sheet_type type = {.size = plan->style.large ? 16 : 6.8, .grey = KEY_GREY};
    double y = plan->table.y + type.size;
    for (size_t g = 0; g < groups; g++) {
        double x = plan->table.x + columns->width * (double)g;
        sheet_text(pen, &type, x + columns->position_end, y, 0, SHEET_RIGHT,
                   plan->input->spectrum->x_unit == WP_X_NM && !plan->x.wavenumbers
                       ? "nm"
                       : "cm\xE2\x81\xBB\xC2\xB9");
        if (plan->style.large || plan->input->spectrum->discrete)
            continue;
        sheet_text(pen, &type, x + columns->strength, y, 0, SHEET_LEFT, "strength");
        sheet_text(pen, &type, x + columns->shape, y, 0, SHEET_LEFT, "shape");
    }
    double rule = y + type.size * 0.45;
    sheet_line(pen->cr, plan->table.x, rule, plan->table.x + plan->table.w, rule);
    sheet_stroke(pen->cr, 0.5, 0.6);
}

static const char *no_rows(const struct sheet_plan *plan)
{
    if (plan->input->spectrum->technique != WP_INFRARED)
        return "bands are listed for infrared spectra only";
    return plan->input->examination ? "no bands found" : "no bands listed";
}

void sheet_table_draw(const struct sheet_pen *pen, const struct sheet_plan *plan)
{
    struct columns columns = columns_of(plan);
    size_t rows = WP_SHEET_BANDS_MOST / columns.groups;
    size_t groups = (plan->row_count + rows - 1) / rows;
    if (groups)
        draw_table_head(pen, plan, &columns, groups);
    struct sheet_type type = {.size = plan->style.table};
    double first = plan->table.y + (plan->style.large ? 24 : 10) + columns.leading;
    if (!plan->row_count)
        sheet_text(pen, &type, plan->table.x, first, 0, SHEET_LEFT, no_rows(plan));
    for (size_t i = 0; i < plan->row_count; i++) {
        size_t group = i / rows;
        double x = plan->table.x + columns.width * (double)group;
        double y = first + columns.leading * (double)(i % rows);
        const struct sheet_row *row = &plan->rows[i];
        sheet_text(pen, &type, x + columns.position_end, y, 0, SHEET_RIGHT, row->position);
        sheet_text(pen, &type, x + columns.strength, y, 0, SHEET_LEFT, row->strength);
        sheet_text(pen, &type, x + columns.shape, y, 0, SHEET_LEFT, row->shape);
    }
}

/* An empty box with lines 7 to 9 mm apart, as writing paper has them. */
void sheet_ruled_draw(const struct sheet_pen *pen, const struct sheet_plan *plan)
{
    const struct sheet_box *box = &plan->ruled;
    struct sheet_type type = {.size = plan->style.large ? 16 : 6.8, .grey = KEY_GREY};
    sheet_text(pen, &type, box->x + 6, box->y + type.size * 1.25, 0, SHEET_LEFT,
               "Assignments, by hand");
    double pitch = plan->style.large ? 26 : 20.5;
    int lines = (int)((box->h - type.size * 1.6) / pitch);
    for (int i = 1; i <= lines; i++) {
        double y = box->y + box->h - pitch * i;
        sheet_line(pen->cr, box->x, y, box->x + box->w, y);
    }
    sheet_stroke(pen->cr, 0.35, 0.75);
    cairo_rectangle(pen->cr, box->x, box->y, box->w, box->h);
    sheet_stroke(pen->cr, 0.6, 0.25);
}

/* In large print the file's name stands among the facts. */
void sheet_foot_draw(const struct sheet_pen *pen, const struct sheet_plan *plan)
{
    struct sheet_type type = {.size = plan->style.foot, .grey = KEY_GREY};
    double inner = plan->width - 2 * plan->margin;
    double taken = sheet_text(pen, &type, plan->margin, plan->foot, inner, SHEET_LEFT, TEACHING);
    char name[SHEET_TEXT_ROOM];
    char line[SHEET_TEXT_ROOM + 16];
    sheet_clean(plan->input->file_name, name);
    if (!*name || plan->style.large)
        return;
    snprintf(line, sizeof line, "File %s", name);
    sheet_text(pen, &type, plan->margin + inner, plan->foot, inner - taken - 30, SHEET_RIGHT, line);
}
