/* Each kind of sheet against a picture that somebody has looked at. With WAVEPOST_GOLDEN=write in
 * the environment the pictures are written anew, and the test fails so that nobody forgets to
 * look at them. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cairo.h>
#include <cmocka.h>

#include "fixture.h"

#define DOTS 50

struct difference {
    double mean;  /* of 255 */
    double share; /* of the dots that are another shade altogether */
};

struct reading {
    const char *data;
    size_t size, at;
};

static cairo_status_t read_bytes(void *closure, unsigned char *out, unsigned int size)
{
    struct reading *reading = closure;
    if (reading->size - reading->at < size)
        return CAIRO_STATUS_READ_ERROR;
    memcpy(out, reading->data + reading->at, size);
    reading->at += size;
    return CAIRO_STATUS_SUCCESS;
}

static struct wp_bytes draw(struct wp_sheet_fonts *fonts, struct wp_sheet_input input)
{
    struct wp_bytes bytes;
    wp_bytes_init(&bytes, 16 << 20);
    input.options.dots_an_inch = DOTS;
    assert_int_equal(wp_sheet_render(fonts, &input, WP_SHEET_PNG, &bytes, NULL), WP_OK);
    return bytes;
}

static cairo_surface_t *surface_of(const struct wp_bytes *bytes)
{
    struct reading reading = {bytes->data, bytes->size, 0};
    cairo_surface_t *surface = cairo_image_surface_create_from_png_stream(read_bytes, &reading);
    assert_int_equal(cairo_surface_status(surface), CAIRO_STATUS_SUCCESS);
    return surface;
}

static struct difference compare(cairo_surface_t *a, cairo_surface_t *b)
{
    int width = cairo_image_surface_get_width(a);
    int height = cairo_image_surface_get_height(a);
    assert_int_equal(width, cairo_image_surface_get_width(b));
    assert_int_equal(height, cairo_image_surface_get_height(b));
    double sum = 0;
    size_t far = 0;
    for (int y = 0; y < height; y++) {
        const unsigned char *p =
            cairo_image_surface_get_data(a) + y * cairo_image_surface_get_stride(a);
        const unsigned char *q =
            cairo_image_surface_get_data(b) + y * cairo_image_surface_get_stride(b);
        for (int x = 0; x < width; x++) {
            int d = abs((int)p[4 * x + 1] - (int)q[4 * x + 1]);
            sum += d;
            far += d > 96 ? 1 : 0;
        }
    }
    double dots = (double)width * height;
    return (struct difference){sum / dots, (double)far / dots};
}

static bool alike(struct difference d)
{
    return d.mean < 0.5 && d.share < 0.001;
}

static void write_golden(const char *path, const struct wp_bytes *bytes)
{
    FILE *file = fopen(path, "wb");
    assert_non_null(file);
    assert_int_equal(fwrite(bytes->data, 1, bytes->size, file), bytes->size);
    assert_int_equal(fclose(file), 0);
}

static void each_kind_looks_as_it_did_when_it_was_approved(void **state)
{
    (void)state;
    const char *mode = getenv("WAVEPOST_GOLDEN");
    bool writing = mode && strcmp(mode, "write") == 0;
    struct wp_sheet_fonts *fonts = fixture_fonts();
    int wrong = 0;
    for (size_t k = 0; k < FIXTURE_KINDS; k++) {
        struct fixture_kind *kind = fixture_kind_new(k);
        char path[512];
        snprintf(path, sizeof path, "%s/%s.png", GOLDEN_DIR, kind->name);
        struct wp_bytes bytes = draw(fonts, kind->input);
        if (writing)
            write_golden(path, &bytes);
        cairo_surface_t *drawn = surface_of(&bytes);
        cairo_surface_t *golden = cairo_image_surface_create_from_png(path);
        if (cairo_surface_status(golden))
            fail_msg("%s cannot be read", path);
        struct difference d = compare(drawn, golden);
        if (!alike(d)) {
            fprintf(stderr, "%s: mean %.2f, share %.5f\n", kind->name, d.mean, d.share);
            wrong++;
        }
        cairo_surface_destroy(golden);
        cairo_surface_destroy(drawn);
        wp_bytes_release(&bytes);
        fixture_kind_free(kind);
    }
    wp_sheet_fonts_free(fonts);
    assert_int_equal(wrong, 0);
    if (writing)
        fail_msg("pictures written to %s: look at them, then run again", GOLDEN_DIR);
}

static void the_comparison_notices_one_band_moved_and_one_name_changed(void **state)
{
    (void)state;
    struct wp_sheet_fonts *fonts = fixture_fonts();
    struct fixture_kind *kind = fixture_kind_new(0);
    struct wp_bytes right = draw(fonts, kind->input);
    struct wp_sheet_input changed = kind->input;
    changed.persons[0] = "Maya Rosenthal";
    struct wp_bytes name = draw(fonts, changed);
    struct wp_spectrum moved;
    assert_int_equal(wp_spectrum_copy(kind->input.spectrum, &moved), WP_OK);
    for (size_t i = 0; i < moved.count; i++)
        moved.x[i] += moved.x[i] > 1640 && moved.x[i] < 1730 ? 12 : 0;
    changed = kind->input;
    changed.spectrum = &moved;
    struct wp_bytes band = draw(fonts, changed);
    cairo_surface_t *a = surface_of(&right);
    cairo_surface_t *b = surface_of(&name);
    cairo_surface_t *c = surface_of(&band);
    assert_true(alike(compare(a, a)));
    assert_true(compare(a, b).share > 0 && compare(a, b).mean > 0.01);
    assert_false(alike(compare(a, c)));
    cairo_surface_destroy(a);
    cairo_surface_destroy(b);
    cairo_surface_destroy(c);
    wp_bytes_release(&right);
    wp_bytes_release(&name);
    wp_bytes_release(&band);
    wp_spectrum_release(&moved);
    fixture_kind_free(kind);
    wp_sheet_fonts_free(fonts);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_comparison_notices_one_band_moved_and_one_name_changed),
        cmocka_unit_test(each_kind_looks_as_it_did_when_it_was_approved),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
