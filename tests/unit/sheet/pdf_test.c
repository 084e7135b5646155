/* What other programs find in the PDF: sound structure, the words, and nothing that must not be
 * there. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "fixture.h"
#include "pdf_tools.h"

static struct wp_bytes draw(const struct wp_sheet_input *input)
{
    struct wp_sheet_fonts *fonts = fixture_fonts();
    struct wp_bytes bytes;
    wp_bytes_init(&bytes, 16 << 20);
    assert_int_equal(wp_sheet_render(fonts, input, WP_SHEET_PDF, &bytes, NULL), WP_OK);
    wp_sheet_fonts_free(fonts);
    return bytes;
}

/* The words in the order of the page. A turned label's words come each on a line of their own. */
static char *text_of(const struct wp_sheet_input *input)
{
    struct wp_bytes bytes = draw(input);
    char *text = pdf_tool(&bytes, "pdftotext -raw", "-");
    for (char *p = text; *p; p++)
        *p = *p == '\n' || *p == '\f' ? ' ' : *p;
    wp_bytes_release(&bytes);
    return text;
}

static void says(const char *text, const char *words)
{
    if (!strstr(text, words))
        fail_msg("\"%s\" is not in the text:\n%s", words, text);
}

static void never_says(const char *text, const char *words)
{
    if (strstr(text, words))
        fail_msg("\"%s\" is in the text:\n%s", words, text);
}

static void every_kind_is_a_sound_pdf_of_the_right_size(void **state)
{
    (void)state;
    for (size_t k = 0; k < FIXTURE_KINDS; k++) {
        struct fixture_kind *kind = fixture_kind_new(k);
        struct wp_bytes bytes = draw(&kind->input);
        char *check = pdf_tool(&bytes, "qpdf --check", "");
        says(check, "No syntax or stream encoding errors found");
        char *info = pdf_tool(&bytes, "pdfinfo -isodates", "");
        bool letter = kind->input.options.paper == WP_SHEET_LETTER;
        says(info, letter ? "792 x 612 pts (letter)" : "841.89 x 595.276 pts (A4)");
        says(info, kind->input.options.large_print ? "Pages:           2" : "Pages:           1");
        says(info, "Title:           20461X");
        says(info, "Author:          person-481");
        says(info, "CreationDate:    2026-03-12T14:33:20Z");
        never_says(info, "Maya");
        free(info);
        free(check);
        wp_bytes_release(&bytes);
        fixture_kind_free(kind);
    }
}

static void the_text_holds_all_that_a_sheet_must_show(void **state)
{
    (void)state;
    struct fixture_kind *kind = fixture_kind_new(1);
    char *text = text_of(&kind->input);
    static const char *const words[] = {"Maya Rosendahl",
                                        "20461X",
                                        "Chem 231, Organic Laboratory",
                                        "014, Tuesday afternoon",
                                        "4, An alcohol",
                                        "Benzyl alcohol, distilled",
                                        "sample",
                                        "liquid film",
                                        "KBr",
                                        "IR-2",
                                        "Science, floor 2, room 214, bench C",
                                        "12 March 2026, 14:32",
                                        "clock corrected",
                                        "16",
                                        "4 cm",
                                        "signed on at the bench",
                                        "processed",
                                        "ESTER_02.DX",
                                        "off scale",
                                        "air",
                                        "Wavenumber / cm",
                                        "Transmittance / %",
                                        "Assignments, by hand",
                                        "strong",
                                        "broad",
                                        "Teaching record. Not an identification;",
                                        "not a safety assessment. See the SDS and local rules."};
    for (size_t i = 0; i < sizeof words / sizeof *words; i++)
        says(text, words[i]);
    free(text);
    fixture_kind_free(kind);
}

/* Counts a whole number among the words of the text. */
static int count_word(const char *text, const char *word)
{
    int count = 0;
    size_t size = strlen(word);
    for (const char *p = text; (p = strstr(p, word)) != NULL; p += size) {
        bool begins = p == text || strchr(" \n\f", p[-1]);
        bool ends = !p[size] || strchr(" \n\f", p[size]);
        count += begins && ends ? 1 : 0;
    }
    return count;
}

static void the_bands_are_listed_as_integers_and_labelled(void **state)
{
    (void)state;
    struct fixture_kind *kind = fixture_kind_new(0);
    char *text = text_of(&kind->input);
    const struct wp_examination *found = kind->input.examination;
    assert_true(found->band_count >= 20);
    size_t listed = 0;
    size_t twice = 0;
    for (size_t i = 0; i < found->band_count; i++) {
        char word[24];
        snprintf(word, sizeof word, "%.0f", found->bands[i].position);
        int count = count_word(text, word);
        listed += count >= 1 ? 1 : 0;
        twice += count >= 2 ? 1 : 0;
        snprintf(word, sizeof word, "%.1f", found->bands[i].position);
        never_says(text, word);
    }
    assert_true(listed >= 20);
    assert_true(twice >= 15);
    says(text, "hatched: the plates absorb below 650");
    free(text);
    fixture_kind_free(kind);
}

static void what_must_not_be_shown_is_not(void **state)
{
    (void)state;
    struct fixture_kind *kind = fixture_kind_new(1);
    struct wp_examination found = *kind->input.examination;
    found.verdict = WP_RUN_AGAIN;
    found.remark_count = 1;
    found.remarks[0] = (struct wp_remark){.code = "too-strong",
                                          .weight = WP_RUN_AGAIN,
                                          .position = 1022,
                                          .text = "5 bands are cut off flat",
                                          .advice = "Open the plates, wipe ONE"};
    struct wp_sheet_input input = kind->input;
    input.examination = &found;
    input.claim_code = "K7QP4M";
    char *text = text_of(&input);
    static const char *const never[] = {"K7QP4M",  "claim",      "Unclaimed", "too-strong",
                                        "cut off", "wipe",       "again",     "usable",
                                        "score",   "person-481", "Wavepost"};
    for (size_t i = 0; i < sizeof never / sizeof *never; i++)
        never_says(text, never[i]);
    free(text);
    fixture_kind_free(kind);
}

static void an_unclaimed_sheet_says_so_and_how_to_claim_it(void **state)
{
    (void)state;
    struct fixture_kind *kind = fixture_kind_new(2);
    char *text = text_of(&kind->input);
    says(text, "Unclaimed");
    says(text, "claim code");
    says(text, "K7QP4M");
    says(text, "Absorbance");
    free(text);
    fixture_kind_free(kind);
}

static void names_of_every_script_can_be_searched(void **state)
{
    (void)state;
    struct fixture_kind *kind = fixture_kind_new(3);
    /* One at a time, each in a sheet of its own, so that every name is whole. */
    for (size_t i = 0; i < kind->input.person_count; i++) {
        struct wp_sheet_input input = kind->input;
        input.persons[0] = kind->input.persons[i];
        input.person_count = 1;
        /* Not raw: only so does pdftotext put right-to-left letters in the order they are read. */
        struct wp_bytes bytes = draw(&input);
        char *alone = pdf_tool(&bytes, "pdftotext", "-");
        says(alone, kind->input.persons[i]);
        free(alone);
        wp_bytes_release(&bytes);
    }
    char *text = text_of(&kind->input);
    says(text, "Ελένη Παπαδάκη");
    says(text, "김하늘");
    free(text);
    fixture_kind_free(kind);
}

struct word_box {
    double x0, y0, x1, y1;
};

/* The boxes of the words as pdftotext sees them, on the first page. */
static size_t word_boxes(const char *html, struct word_box *boxes, size_t most)
{
    size_t count = 0;
    const char *end = strstr(html, "</page>");
    for (const char *p = html; (p = strstr(p, "<word ")) != NULL && p < end && count < most; p++) {
        struct word_box *box = &boxes[count];
        if (sscanf(p, "<word xMin=\"%lf\" yMin=\"%lf\" xMax=\"%lf\" yMax=\"%lf\"", &box->x0,
                   &box->y0, &box->x1, &box->y1) == 4)
            count++;
    }
    return count;
}

static void long_and_hostile_names_stay_in_their_place(void **state)
{
    (void)state;
    struct fixture_kind *kind = fixture_kind_new(0);
    struct wp_sheet_input input = kind->input;
    char name[2000] = "Evil \xE2\x80\xAE\x1B[31m\n(Tj) <script> %PDF- ";
    while (strlen(name) < 1900) {
        size_t size = strlen(name);
        snprintf(name + size, sizeof name - size, "Wolfeschlegelsteinhausenbergerdorff ");
    }
    input.persons[0] = input.sample = input.course = input.section = input.experiment = name;
    input.instrument = input.place = input.named_by = input.file_name = name;
    input.author_id = name;
    struct wp_bytes bytes = draw(&input);
    char *check = pdf_tool(&bytes, "qpdf --check", "");
    says(check, "No syntax or stream encoding errors found");
    char *text = pdf_tool(&bytes, "pdftotext -raw", "-");
    says(text, "<script>");
    says(text, "20461X");
    says(text, "12 March 2026, 14:32");
    never_says(text, "\x1B");
    never_says(text, "\xE2\x80\xAE");
    char *html = pdf_tool(&bytes, "pdftotext -bbox", "-");
    struct word_box boxes[600];
    size_t count = word_boxes(html, boxes, 600);
    assert_true(count > 40);
    for (size_t i = 0; i < count; i++)
        assert_true(boxes[i].x0 > 18 && boxes[i].x1 < 842 - 18);
    free(html);
    free(text);
    free(check);
    wp_bytes_release(&bytes);
    fixture_kind_free(kind);
}

static void no_word_lies_on_another_or_off_the_page(void **state)
{
    (void)state;
    for (size_t k = 0; k < FIXTURE_KINDS; k++) {
        struct fixture_kind *kind = fixture_kind_new(k);
        struct wp_bytes bytes = draw(&kind->input);
        char *html = pdf_tool(&bytes, "pdftotext -bbox", "-");
        struct word_box boxes[600];
        size_t count = word_boxes(html, boxes, 600);
        assert_true(count > 40);
        for (size_t i = 0; i < count; i++) {
            const struct word_box *a = &boxes[i];
            assert_true(a->x0 > 18 && a->y0 > 12 && a->x1 < 842 - 18 && a->y1 < 612 - 12);
            for (size_t n = 0; n < i; n++) {
                const struct word_box *b = &boxes[n];
                double w = fmin(a->x1, b->x1) - fmax(a->x0, b->x0);
                double h = fmin(a->y1, b->y1) - fmax(a->y0, b->y0);
                double smaller =
                    fmin((a->x1 - a->x0) * (a->y1 - a->y0), (b->x1 - b->x0) * (b->y1 - b->y0));
                /* The boxes hold the font's full height, more than the ink. */
                if (w > 0 && h > 0 && w * h > 0.35 * smaller)
                    fail_msg("%s: words %zu and %zu overlap", kind->name, n, i);
            }
        }
        free(html);
        wp_bytes_release(&bytes);
        fixture_kind_free(kind);
    }
}

static void an_overlay_names_each_of_its_spectra(void **state)
{
    (void)state;
    struct fixture_kind *kind = fixture_kind_new(5);
    assert_string_equal(kind->name, "overlay-five");
    struct wp_sheet_input *input = &kind->input;
    char *text = text_of(input);
    for (size_t i = 0; i < input->other_count; i++) {
        says(text, input->others[i].name);
        says(text, input->others[i].date);
    }
    free(text);
    /* In the largest type on the smaller paper as well: each has a line. */
    input->options.large_print = true;
    input->options.paper = WP_SHEET_LETTER;
    text = text_of(input);
    for (size_t i = 0; i < input->other_count; i++) {
        says(text, input->others[i].name);
        says(text, input->others[i].date);
    }
    free(text);
    fixture_kind_free(kind);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_kind_is_a_sound_pdf_of_the_right_size),
        cmocka_unit_test(the_text_holds_all_that_a_sheet_must_show),
        cmocka_unit_test(the_bands_are_listed_as_integers_and_labelled),
        cmocka_unit_test(what_must_not_be_shown_is_not),
        cmocka_unit_test(an_unclaimed_sheet_says_so_and_how_to_claim_it),
        cmocka_unit_test(names_of_every_script_can_be_searched),
        cmocka_unit_test(long_and_hostile_names_stay_in_their_place),
        cmocka_unit_test(an_overlay_names_each_of_its_spectra),
        cmocka_unit_test(no_word_lies_on_another_or_off_the_page),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
