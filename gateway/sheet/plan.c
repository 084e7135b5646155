#include "plan.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "key.h"
#include "layout.h"
#include "marks.h"
#include "qr.h"

static enum wp_status check(const struct wp_sheet_input *input, struct wp_error *error)
{
    if (!input->spectrum)
        return wp_fail(error, WP_INVALID, "a sheet needs a spectrum");
    if (!input->accession || !*input->accession)
        return wp_fail(error, WP_INVALID, "a sheet needs an accession number");
    if (input->person_count > WP_SHEET_PERSONS_MOST)
        return wp_fail(error, WP_INVALID, "a sheet has room for %d persons, not %zu",
                       WP_SHEET_PERSONS_MOST, input->person_count);
    if (input->other_count > WP_SHEET_OTHERS_MOST)
        return wp_fail(error, WP_INVALID, "an overlay has room for %d more spectra, not %zu",
                       WP_SHEET_OTHERS_MOST, input->other_count);
    for (size_t i = 0; i < input->other_count; i++)
        if (!input->others[i].spectrum)
            return wp_fail(error, WP_INVALID, "spectrum %zu of the overlay is missing", i + 2);
    if (!sheet_qr_fits(input->accession))
        return wp_fail(error, WP_INVALID, "the accession number does not fit a QR code");
    return WP_OK;
}

static const struct wp_spectrum *spectrum_at(const struct wp_sheet_input *input, size_t index)
{
    return index ? input->others[index - 1].spectrum : input->spectrum;
}

/* An overlay's other spectra share the axes of the first, so they must have the same kind. */
static enum wp_status make_traces(struct sheet_plan *plan, struct wp_error *error)
{
    const struct wp_sheet_input *input = plan->input;
    const struct wp_spectrum *own = input->spectrum;
    bool wavenumbers = own->technique == WP_INFRARED && own->x_unit != WP_X_OTHER;
    for (size_t i = 0; i <= input->other_count; i++) {
        const struct wp_spectrum *spectrum = spectrum_at(input, i);
        if ((spectrum->y_unit == WP_Y_OTHER) != (own->y_unit == WP_Y_OTHER) ||
            (wavenumbers ? spectrum->x_unit == WP_X_OTHER : spectrum->x_unit != own->x_unit))
            return wp_fail(error, WP_INVALID,
                           "spectrum %zu of the overlay has other units than the first", i + 1);
        enum wp_status status =
            sheet_trace_make(&plan->traces[i], spectrum, wavenumbers, plan->y.ordinate, error);
        if (status)
            return status;
        plan->trace_count++;
    }
    return WP_OK;
}

static enum wp_status choose_axes(struct sheet_plan *plan, struct wp_error *error)
{
    const struct wp_sheet_input *input = plan->input;
    plan->y.ordinate = sheet_ordinate_of(input->spectrum, input->options.ordinate);
    enum wp_status status = make_traces(plan, error);
    if (status)
        return status;
    double x[2] = {INFINITY, -INFINITY};
    double v[2] = {INFINITY, -INFINITY};
    for (size_t i = 0; i < plan->trace_count; i++) {
        sheet_trace_range(&plan->traces[i], x, v);
        if (plan->traces[i].sticks && plan->y.ordinate != SHEET_PERCENT)
            v[0] = fmin(v[0], 0);
    }
    plan->x.left = plan->frame.x;
    plan->x.right = plan->frame.x + plan->frame.w;
    sheet_x_choose(&plan->x, input->spectrum, x[0], x[1], input->options.compress);
    plan->y.top = plan->frame.y;
    plan->y.bottom = plan->frame.y + plan->frame.h;
    sheet_y_choose(&plan->y, v[0], v[1]);
    for (size_t i = 0; i < plan->trace_count; i++)
        if (sheet_trace_map(&plan->traces[i], &plan->x))
            return wp_fail(error, WP_NO_MEMORY, "no memory for the curve");
    return WP_OK;
}

static void place_labels(struct sheet_plan *plan, struct sheet_painter *painter)
{
    struct sheet_type type = {.size = plan->style.label};
    for (size_t i = 0; i < plan->label_count; i++) {
        struct sheet_label *label = &plan->labels[i];
        label->anchor = sheet_x_at(&plan->x, label->position);
        label->length = sheet_text_width(painter, &type, label->text);
    }
    plan->label_count = sheet_labels_place(plan->labels, plan->label_count, &plan->label_style,
                                           &plan->x, plan->traces, plan->trace_count, plan->y.down);
    plan->y.gutter =
        sheet_labels_gutter(plan->labels, plan->label_count, &plan->label_style, &plan->y);
}

enum wp_status sheet_plan_make(struct sheet_plan *plan, const struct wp_sheet_input *input,
                               struct sheet_painter *painter, struct wp_error *error)
{
    memset(plan, 0, sizeof *plan);
    enum wp_status status = check(input, error);
    if (status)
        return status;
    plan->input = input;
    sheet_layout(plan);
    sheet_key_place(plan, painter);
    status = choose_axes(plan, error);
    if (status) {
        sheet_plan_release(plan);
        return status;
    }
    sheet_marks_take(plan);
    place_labels(plan, painter);
    return WP_OK;
}

void sheet_plan_release(struct sheet_plan *plan)
{
    for (size_t i = 0; i < SHEET_TRACES_MOST; i++)
        sheet_trace_release(&plan->traces[i]);
    memset(plan, 0, sizeof *plan);
}
