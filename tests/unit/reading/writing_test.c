/* What is written is a proper file, and reads back to the same values. */
#include "reading_fixture.h"

static struct wp_reading again(const struct wp_spectrum *s, enum wp_jcamp_form form,
                               const struct wp_write_notes *notes, struct wp_bytes *bytes)
{
    wp_bytes_init(bytes, 1 << 24);
    assert_int_equal(wp_write_jcamp(s, form, notes, bytes), WP_OK);
    struct wp_reading r;
    if (wp_read(bytes->data, bytes->size, NULL, &r) != WP_OK)
        fail_msg("line %ld: %s\n%s", r.error.line, r.error.text, bytes->data);
    assert_int_equal(r.spectrum_count, 1);
    return r;
}

static void expect_same(const struct wp_spectrum *a, const struct wp_spectrum *b)
{
    assert_int_equal(a->count, b->count);
    for (size_t i = 0; i < a->count; i++) {
        assert_true(a->x[i] == b->x[i]);
        assert_true(a->y[i] == b->y[i] || (isnan(a->y[i]) && isnan(b->y[i])));
    }
    assert_int_equal(a->x_unit, b->x_unit);
    assert_int_equal(a->y_unit, b->y_unit);
    assert_int_equal(a->technique, b->technique);
    assert_int_equal(a->time.utc_us, b->time.utc_us);
}

static void both_forms_read_back_bit_for_bit(void **state)
{
    (void)state;
    struct wp_reading r = read_ok(block("##FIRSTX=4000\n##LASTX=3991\n##NPOINTS=10\n"
                                        "##LONG DATE=2026/03/02 10:11:12\n##RESOLUTION=4\n",
                                        "##XYDATA=(X++(Y..Y))\n4000 -900 800 800 800 ? 700\n"
                                        "3994 600 -1234567 0 1"));
    for (int form = WP_JCAMP_AFFN; form <= WP_JCAMP_DIFDUP; form++) {
        struct wp_bytes bytes;
        struct wp_reading back = again(&r.spectra[0], (enum wp_jcamp_form)form, NULL, &bytes);
        expect_same(&r.spectra[0], &back.spectra[0]);
        assert_int_equal(back.warning_count, 0);
        assert_true(back.spectra[0].resolution == 4.0);
        assert_string_equal(back.dialect, form == WP_JCAMP_AFFN ? "JCAMP-DX 5.01, AFFN"
                                                                : "JCAMP-DX 5.01, DIFDUP");
        wp_reading_release(&back);
        wp_bytes_release(&bytes);
    }
    wp_reading_release(&r);
}

static void uneven_points_go_into_pairs(void **state)
{
    (void)state;
    struct wp_reading r = read_ok("cm-1,A\n400.1,0.123456789\n402.5,\n407.25,-1e-12\n");
    for (int form = WP_JCAMP_AFFN; form <= WP_JCAMP_DIFDUP; form++) {
        struct wp_bytes bytes;
        struct wp_reading back = again(&r.spectra[0], (enum wp_jcamp_form)form, NULL, &bytes);
        expect_same(&r.spectra[0], &back.spectra[0]);
        assert_non_null(strstr(bytes.data, "(XY..XY)"));
        wp_reading_release(&back);
        wp_bytes_release(&bytes);
    }
    wp_reading_release(&r);
}

static void a_rounded_grid_keeps_its_digits_when_compressed(void **state)
{
    (void)state;
    char text[4096] = "cm-1,%T\n";
    for (int k = 0; k < 60; k++) {
        char line[64];
        (void)snprintf(line, sizeof line, "%.3f,%.2f\n", 400.0 + 3600.0 * k / 59.0, 90.0 - k);
        (void)strcat(text, line);
    }
    struct wp_reading r = read_ok(text);
    struct wp_bytes bytes;
    struct wp_reading back = again(&r.spectra[0], WP_JCAMP_DIFDUP, NULL, &bytes);
    assert_string_equal(back.dialect, "JCAMP-DX 5.01, DIFDUP");
    for (size_t i = 0; i < 60; i++) {
        char a[32];
        char b[32];
        (void)snprintf(a, sizeof a, "%.3f", r.spectra[0].x[i]);
        (void)snprintf(b, sizeof b, "%.3f", back.spectra[0].x[i]);
        assert_string_equal(a, b);
        assert_true(fabs(r.spectra[0].y[i] - back.spectra[0].y[i]) < 1e-13);
    }
    wp_reading_release(&back);
    wp_bytes_release(&bytes);
    back = again(&r.spectra[0], WP_JCAMP_AFFN, NULL, &bytes);
    expect_same(&r.spectra[0], &back.spectra[0]);
    wp_reading_release(&back);
    wp_bytes_release(&bytes);
    wp_reading_release(&r);
}

static void text_cannot_break_out_of_its_label(void **state)
{
    (void)state;
    struct wp_reading r = read_ok("1,1\n2,2\n3,3\n");
    struct wp_spectrum *s = &r.spectra[0];
    free(s->title);
    s->title = strdup("evil\r\n##END=\n##NPOINTS=9 $$ comment ###### \x1B[31m \xFF");
    const struct wp_write_notes notes = {
        .origin = "##XYDATA=(X++(Y..Y))",
        .owner = "a very long owner whose name goes on and on and on until the line of eighty "
                 "characters is full, and then on into the next one ## and beyond",
        .sample = "=HYPERLINK(\"x\")",
        .accession = "1234X",
    };
    struct wp_bytes bytes;
    struct wp_reading back = again(s, WP_JCAMP_AFFN, &notes, &bytes);
    assert_int_equal(back.spectra[0].count, 3);
    assert_non_null(strstr(back.spectra[0].title, "evil"));
    assert_null(strstr(bytes.data, "\x1B"));
    assert_string_equal(wp_spectrum_label(&back.spectra[0], "$ACCESSIONNUMBER"), "1234X");
    assert_non_null(wp_spectrum_label(&back.spectra[0], "OWNER"));
    for (const char *line = bytes.data; *line; line = strchr(line, '\n') + 1)
        assert_in_range(strcspn(line, "\r"), 0, 80);
    wp_reading_release(&back);
    wp_bytes_release(&bytes);
    wp_reading_release(&r);
}

static void csv_has_a_heading_points_and_empty_fields(void **state)
{
    (void)state;
    struct wp_reading r = read_ok("nm;Absorbance\n200,5;0,1\n201;\n202;1e-7\n");
    struct wp_bytes bytes;
    wp_bytes_init(&bytes, 4096);
    assert_int_equal(wp_write_csv(&r.spectra[0], &bytes), WP_OK);
    assert_string_equal(bytes.data,
                        "Wavelength (nm),Absorbance\r\n200.5,0.1\r\n201,\r\n202,1E-07\r\n");
    struct wp_reading back = read_ok(bytes.data);
    expect_same(&r.spectra[0], &back.spectra[0]);
    wp_reading_release(&back);
    wp_bytes_release(&bytes);
    wp_reading_release(&r);
}

static void a_copy_is_deep(void **state)
{
    (void)state;
    struct wp_reading r = read_ok("cm-1,A\n1,1\n2,2\n3,3\n");
    struct wp_spectrum copy;
    assert_int_equal(wp_spectrum_copy(&r.spectra[0], &copy), WP_OK);
    wp_reading_release(&r);
    assert_int_equal(copy.count, 3);
    assert_true(copy.y[2] == 3.0);
    assert_string_equal(copy.title, "");
    wp_spectrum_release(&copy);
}

static void nothing_is_written_of_nothing(void **state)
{
    (void)state;
    struct wp_spectrum empty = {.count = 0};
    struct wp_bytes bytes;
    wp_bytes_init(&bytes, 4096);
    assert_int_equal(wp_write_jcamp(&empty, WP_JCAMP_AFFN, NULL, &bytes), WP_INVALID);
    assert_int_equal(wp_write_csv(&empty, &bytes), WP_INVALID);
    assert_int_equal(bytes.size, 0);
    struct wp_reading r = read_ok("cm-1,A\n1,1\n2,2\n3,3\n");
    bytes.limit = 20;
    assert_int_equal(wp_write_jcamp(&r.spectra[0], WP_JCAMP_AFFN, NULL, &bytes), WP_TOO_LARGE);
    wp_reading_release(&r);
    wp_bytes_release(&bytes);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(both_forms_read_back_bit_for_bit),
        cmocka_unit_test(uneven_points_go_into_pairs),
        cmocka_unit_test(a_rounded_grid_keeps_its_digits_when_compressed),
        cmocka_unit_test(text_cannot_break_out_of_its_label),
        cmocka_unit_test(csv_has_a_heading_points_and_empty_fields),
        cmocka_unit_test(a_copy_is_deep),
        cmocka_unit_test(nothing_is_written_of_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
